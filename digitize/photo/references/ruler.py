"""A ruler in the picture: its graduations, read one by one, and checked against the length the user says it has."""

from dataclasses import dataclass

import numpy as np

from digitize.errors import ScaleRefusal
from digitize.records import Photo, ReferencePoints, Warn

from .edges import grey_linear
from .ruler_body import ruler_outline
from .ruler_search import find_rows
from .ruler_ticks import Ticks, read_ticks

ROWS_READ = 16  # candidate rows looked at closely
DECADE = 0.3  # least surplus of the every-tenth pattern over an inch scale's patterns
TICK_FLOOR_PX = 0.03  # JPEG blocks and unequal tick widths move a tick about this much
SIZE_SIGMA = 0.0005  # wooden and plastic rulers keep 300 mm to about 0.3 mm (95 %)
UNITS_MM = (1.0, 0.5, 5.0, 10.0)  # what one graduation may be on a metric ruler
INCH_PARTS = (16, 8, 32, 10, 64)
REMEDY = "Show the whole ruler, flat, sharp and without glare, the graduations toward the camera, or give another --scale"


@dataclass(frozen=True)
class Reading:
    """A row of ticks with its unit settled. unit_mm: one graduation; rank: how sure, higher is surer."""

    ticks: Ticks
    unit_mm: float
    rank: float
    warnings: tuple[Warn, ...]


def find_ruler(photo: Photo, length_mm: float) -> ReferencePoints:
    """Graduations of a ruler whose graduated length is length_mm.

    points_mm: (mm, 0), a place every centimetre (every graduation where they are coarser), each averaged over its
    neighbours. Raises ScaleRefusal when no row of ticks is believable, or its count contradicts length_mm.
    """
    grey = np.sqrt(np.clip(grey_linear(photo.rgb), 0, 1))
    readings, reasons = [], []
    for row in find_rows(grey)[:ROWS_READ]:
        ticks = read_ticks(grey, row)
        if ticks is None:
            continue
        reading = settle_unit(ticks, length_mm)
        if isinstance(reading, str):
            reasons.append(reading)
            continue
        readings.append(reading)
        if reading.rank > 2.3 and not reading.warnings:
            break
    if not readings:
        told = next((reason for reason in reasons if reason), None)
        raise ScaleRefusal(told or f"No graduated ruler was found in {photo.path.name}", REMEDY)
    return _as_points(photo.rgb, max(readings, key=lambda reading: reading.rank), length_mm)


def settle_unit(ticks: Ticks, length_mm: float) -> Reading | str:
    """What one graduation is worth, from the pattern of longer ticks and from their count; or why it can't be told.

    The reason is empty when the row needn't be a ruler at all.
    """
    count = len(ticks.s)
    whole = not any(ticks.cut)
    surplus = ticks.decade - max(ticks.rival, 0.0)
    decimal = surplus > DECADE
    inches = length_mm / 25.4
    units = UNITS_MM + (tuple(25.4 / k for k in INCH_PARTS) if abs(inches - round(inches)) < 0.002 else ())
    for unit in units:
        full = length_mm / unit
        # A ruler's own ends may hide the first and the last graduation.
        counted = whole and count - 1 - 0.01 * full <= full <= count + 1.5
        if counted and _pattern_allows(ticks, unit, decimal):
            return Reading(ticks, unit, 1.0 + surplus + (1.0 if unit == 1.0 else 0.5), _coarse(unit, count))
    if not decimal:
        return (
            f"The graduation found has {count} marks without a decimal pattern: an inch scale?"
            if count > 60
            else ""
        )
    if count > 1.12 * length_mm or (whole and count < 0.6 * length_mm):
        return f"The graduation found has {count} marks; a millimetre scale of {length_mm:g} mm would show {length_mm:g}"
    return Reading(ticks, 1.0, surplus, (_other_count(count, length_mm, whole),))


def _pattern_allows(ticks: Ticks, unit_mm: float, decimal: bool) -> bool:
    """Whether the pattern of longer ticks fits the unit: half millimetres alternate, coarse marks have no decade."""
    if unit_mm == 0.5:
        return ticks.alternate > 0.4
    if unit_mm in (5.0, 10.0):
        return not decimal
    return unit_mm != 1.0 or decimal


def _coarse(unit: float, count: int) -> tuple[Warn, ...]:
    if unit < 4:
        return ()
    return (
        Warn(
            "RULER_COARSE",
            f"Only {count} marks of {unit:g} mm could be read on the ruler, not its millimetres",
            "Photograph nearer or sharper",
        ),
    )


def _other_count(count: int, length_mm: float, whole: bool) -> Warn:
    seen = "whole" if whole else "cut off by the picture's border"
    return Warn(
        "RULER_LENGTH",
        f"{count} millimetre marks were read on the ruler ({seen}), where {length_mm:g} mm was given",
        "Check that the marks are millimetres and that the length is the graduated one",
    )


def _as_points(rgb: np.ndarray, reading: Reading, length_mm: float) -> ReferencePoints:
    ticks, unit = reading.ticks, reading.unit_mm
    number = np.arange(len(ticks.s)) + (-ticks.phase10) % 10
    every = 10 if len(ticks.s) >= 60 else 5 if len(ticks.s) >= 30 else 1
    chosen = np.flatnonzero((number % every == 0) | (np.arange(len(number)) % (len(number) - 1) == 0))
    sign = 1 if ticks.side > 0 else -1
    px_per_mm = ticks.period_px / unit
    points_mm = np.column_stack([sign * number[chosen] * unit, np.zeros(len(chosen))])
    return ReferencePoints(
        kind="ruler",
        label=f"ruler, {length_mm:g} mm",
        points_px=ticks.points_px[chosen],
        points_mm=points_mm,
        sigma_px=float(np.hypot(ticks.scatter_px, TICK_FLOOR_PX)),
        size_sigma=SIZE_SIGMA,
        outline_px=ruler_outline(rgb, ticks, px_per_mm),
        warnings=reading.warnings,
    )
