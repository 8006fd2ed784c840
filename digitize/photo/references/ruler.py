"""A ruler in the picture: its graduations, read one by one, and checked against the length the user says it
has.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from digitize.errors import ScaleRefusal
from digitize.records import Photo, ReferencePoints, Warn

from .grey_levels import GreyLevels
from .quads import find_quads
from .rectangle import SEARCH_PX
from .ruler_body import ruler_outline
from .ruler_search import Row, all_rows, coarse_rows
from .ruler_ticks import Ticks, read_ticks

ROWS_READ = 16  # candidate rows looked at closely
COARSE_READ, OUTSTANDING = 2, 9.5  # of them before the finest level is searched, and their least score
SURE_RANK = 2.3  # counted, and the tens show: nothing further is read
DECADE = 0.3  # least surplus of the every-tenth pattern over an inch scale's patterns
SURE_DECADE = 0.5  # when the count can't confirm it
FEWEST_UNCOUNTED = 40  # marks that show a decimal pattern four times
TICK_FLOOR_PX = 0.03  # JPEG blocks and unequal tick widths move a tick about this much
COARSE_FLOOR_PX = 0.12  # numerals beside coarse marks pull at them
SIZE_SIGMA = 0.0005  # wooden and plastic rulers keep 300 mm to about 0.3 mm (95 %)
COARSE_MM = (5.0, 10.0)  # marks read when the millimetres are blurred
USUAL_WIDTH_MM = 30.0
"""A ruler's body across, to look for its outline by: common ones have 25 to 35 mm (from memory)."""
TENTH_MM = 25.4 / 10
"""A tenth of an inch."""
INCH_PARTS = (16, 8, 32, 10, 64)
"""How inches are divided on rulers, the commonest first (from memory)."""
REMEDY = "Show the whole ruler flat and sharp, its graduations without glare, or give another --scale"


@dataclass(frozen=True)
class Reading:
    """A row of ticks with its unit settled. unit_mm: one graduation; rank: how sure, higher is surer."""

    ticks: Ticks
    unit_mm: float
    rank: float
    warnings: tuple[Warn, ...]
    body_px: np.ndarray | None = None


def find_ruler(photo: Photo, length_mm: float) -> ReferencePoints:
    """Graduations of a ruler whose graduated length is length_mm.

    points_mm: (mm, 0), a place every centimetre (every mark where they are coarser), each averaged over its
    neighbours. Raises ScaleRefusal when no row of ticks is believable, or its count contradicts length_mm.
    """
    grey = GreyLevels(photo.rgb)
    reading, reason = _best_reading(_Reader(grey, length_mm))
    if reading is None and not reason:
        reading = _coarse_reading(grey, photo.rgb, length_mm)
    if reading is None:
        raise ScaleRefusal(reason or f"No graduated ruler was found in {photo.path.name}", REMEDY)
    return _as_points(photo.rgb, reading, length_mm)


class _Reader:
    """Reads rows one by one, none twice, until a reading is sure."""

    def __init__(self, grey: GreyLevels, length_mm: float):
        self.grey, self.length_mm = grey, length_mm
        self.done: dict[int, Reading | str] = {}

    def read(self, rows: list[Row]) -> Reading | None:
        """The first sure reading of these rows; None if there is none."""
        for row in rows:
            if id(row) not in self.done:
                ticks = read_row(self.grey, row)
                self.done[id(row)] = "" if ticks is None else settle_unit(ticks, self.length_mm)
            reading = self.done[id(row)]
            if isinstance(reading, Reading) and reading.rank > SURE_RANK:
                return reading
        return None


def _best_reading(reader: _Reader) -> tuple[Reading | None, str]:
    """The surest reading of a row of ticks, or None and the first reason against one.

    What stands out on the coarse levels is read first: the finest holds most of the work.
    """
    coarse = coarse_rows(reader.grey)
    sure = reader.read([row for row in coarse[:COARSE_READ] if row.score > OUTSTANDING])
    if sure is not None:
        return sure, ""
    rows = all_rows(reader.grey, coarse)[:ROWS_READ]
    sure = reader.read(rows)
    if sure is not None:
        return sure, ""
    readings = [reader.done[id(row)] for row in rows]
    best = max((r for r in readings if isinstance(r, Reading)), key=lambda reading: reading.rank, default=None)
    return best, next((r for r in readings if isinstance(r, str) and r), "")


def _coarse_reading(grey: GreyLevels, rgb: np.ndarray, length_mm: float) -> Reading | None:
    """Half-centimetre or centimetre marks along a long thin rectangle: their count, and their run over its
    length.
    """
    best = None
    for body in ruler_bodies(rgb, length_mm):
        for unit in COARSE_MM:
            ticks = read_ticks(grey, _coarse_row(body, length_mm, unit))
            if ticks is None or any(ticks.cut):
                continue
            full, period_px = length_mm / unit, ticks.period * ticks.strip.reduce
            counted = len(ticks.s) - 1 <= full <= len(ticks.s) + 1.5
            filled = full * period_px / np.hypot(*(body[1] - body[0]))
            if counted and 0.88 < filled < 1.004 and (best is None or len(ticks.s) > len(best.ticks.s)):
                best = Reading(ticks, unit, 1.0, _coarse(unit, len(ticks.s)), body)
    return best


def read_row(grey: GreyLevels, row: Row) -> Ticks | None:
    """The row's ticks; where every other one is longer (half millimetres, a harmonic), those alone."""
    ticks = read_ticks(grey, row)
    if ticks is not None and ticks.alternate > 0.6:
        longer = read_ticks(grey, replace(row, period_px=2 * row.period_px))
        if longer is not None and longer.decade - longer.rival > ticks.decade - ticks.rival:
            return longer
    return ticks


def settle_unit(ticks: Ticks, length_mm: float) -> Reading | str:
    """What one mark is worth, from the pattern of longer marks and from their count; or why it can't be told.

    The reason is empty when the row needn't be a ruler at all.
    """
    count = len(ticks.s)
    whole = not any(ticks.cut)
    surplus = ticks.decade - max(ticks.rival, 0.0)
    inches = length_mm / 25.4
    units = [1.0] if surplus > DECADE else []
    if abs(inches - round(inches)) < 0.002:
        units += [25.4 / k for k in INCH_PARTS]
    for unit in units:
        full = length_mm / unit
        # A ruler's own ends may hide the first and the last mark.
        if whole and count - 1 - 0.01 * full <= full <= count + 1.5:
            return Reading(ticks, unit, surplus + 2.0, _tenths(count, length_mm) if unit == TENTH_MM else ())
    if surplus <= DECADE:
        marked = whole and count > 90 and ticks.scatter_px < 0.01 * ticks.period * ticks.strip.reduce
        return f"The {count} even marks found show no decimal pattern: an inch scale?" if marked else ""
    if count > 1.12 * length_mm or (whole and count < 0.6 * length_mm):
        return f"A graduation of {count} marks was found, where a ruler of {length_mm:g} mm has {length_mm:g}"
    even = ticks.scatter_px < 0.03 * ticks.period * ticks.strip.reduce
    if surplus < SURE_DECADE or count < FEWEST_UNCOUNTED or not even:
        return ""
    return Reading(ticks, 1.0, surplus, (_other_count(count, length_mm, whole),))


def ruler_bodies(rgb: np.ndarray, length_mm: float) -> list[np.ndarray]:
    """Long thin rectangles, each (4, 2) pixels, starting with a long side."""
    shrink = max(1.0, max(rgb.shape[:2]) / SEARCH_PX)
    small = cv2.resize(rgb, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA) if shrink > 1 else rgb
    bodies = [corners * shrink + (shrink - 1) / 2 for corners in find_quads(small, length_mm / USUAL_WIDTH_MM)[:12]]
    first_side = [np.hypot(*np.diff(corners, axis=0).T) for corners in bodies]
    return [np.roll(body, -int(side[0] < side[1]), axis=0) for body, side in zip(bodies, first_side, strict=True)]


def _coarse_row(body: np.ndarray, length_mm: float, unit_mm: float) -> Row:
    """Where marks of this unit should run on a ruler's body; its graduation is a little shorter than the
    body.
    """
    long, across = (body[1] - body[0] + body[2] - body[3]) / 2, (body[2] - body[1] + body[3] - body[0]) / 2
    length = np.hypot(*long)
    period_px = length * unit_mm / (1.01 * length_mm)
    reach = (-0.48 * length, 0.48 * length)
    return Row(body.mean(axis=0), long / length, period_px, reach, 0.0, 0.0, 0.55 * np.hypot(*across))


def _coarse(unit: float, count: int) -> tuple[Warn, ...]:
    return (
        Warn(
            "RULER_COARSE",
            f"Only {count} marks of {unit:g} mm could be read on the ruler, not its millimetres",
            "Photograph nearer or sharper",
        ),
    )


def _tenths(count: int, length_mm: float) -> tuple[Warn, ...]:
    """A centimetre ruler told in inches has just as many marks as a rare ruler in tenths of an inch."""
    inches = length_mm / 25.4
    return (
        Warn(
            "RULER_TENTHS",
            f"The ruler's {count} marks are {inches:g} inches in tenths, or {inches:g} cm in millimetres, which is far "
            "more usual",
            f"If it is a ruler of {inches:g} cm, give --scale ruler={10 * inches:g}mm; if it is not, give two of its "
            "marks with --scale points= instead",
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
    px_per_mm = ticks.period / unit
    points_mm = np.column_stack([sign * number[chosen] * unit, np.zeros(len(chosen))])
    return ReferencePoints(
        kind="ruler",
        label=f"ruler, {length_mm:g} mm",
        points_px=ticks.points_px[chosen],
        points_mm=points_mm,
        sigma_px=float(np.hypot(ticks.scatter_px, COARSE_FLOOR_PX if unit > 2 else TICK_FLOOR_PX)),
        size_sigma=SIZE_SIGMA,
        outline_px=ruler_outline(rgb, ticks, px_per_mm) if reading.body_px is None else reading.body_px,
        warnings=reading.warnings,
    )
