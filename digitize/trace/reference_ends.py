"""A ruler's ends, a flat reference's corners: where they were found, and the reference as set by them by hand."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from digitize.errors import GeometryRefusal, UsageRefusal
from digitize.option_records import ScaleOption
from digitize.records import Photo, ReferencePoints, Warn
from digitize.trace.sketch import MANUAL_SIGMA_PX, Ends

SHORTEST_PX = 20.0
READ_WHOLE_MM = 0.5
"""Within this the marks that were read span all of the length that was told: half a graduation."""
_REMEDY = "set them where they are seen in the photo, or undo the last change"


def ends_of(photo: Photo, reference: ReferencePoints) -> Ends:
    """Those of a found reference; none for two points, whose ends are in the words."""
    chosen = _outermost(reference.points_mm) if reference.kind != "points" else []
    return Ends(reference.kind, reference.label, photo.to_full_px(reference.points_px[chosen].reshape(-1, 2)))


@dataclass(frozen=True)
class PartlyRead:
    """A ruler whose first and last mark read are not told_mm apart but read_mm; unset: numbers of its ends (0, 1) that
    lie yet where the reading stopped."""

    read_mm: float
    told_mm: float
    unset: tuple[int, ...]


def told_lengths(references: Sequence[ReferencePoints], scales: Sequence[ScaleOption]) -> list[float | None]:
    """The length in mm that was told of each ruler among the found references; None for all else."""
    lengths = iter([claim.length_mm for claim in scales if claim.kind == "ruler"])
    return [next(lengths, None) if reference.kind == "ruler" else None for reference in references]


def partly_read(photo: Photo, found: ReferencePoints, ends: Ends, told_mm: float | None) -> PartlyRead | None:
    """Of a ruler as found, with its ends as they are now; None if it was read from end to end, or is none."""
    if found.kind != "ruler" or told_mm is None or len(ends.points_px) != 2:
        return None
    read_mm = float(np.ptp(found.points_mm[:, 0]))
    if abs(read_mm - told_mm) <= READ_WHOLE_MM:
        return None
    still = (ends.points_px == ends_of(photo, found).points_px).all(1)
    return PartlyRead(read_mm, told_mm, tuple(int(k) for k in np.flatnonzero(still)))


def set_by_hand(photo: Photo, reference: ReferencePoints, ends: Ends, ruler_mm: float | None) -> ReferencePoints:
    """The reference with its ends in place of all that was read on it; between a ruler's lies the length that was told.

    Raises GeometryRefusal where they can't be seen of such an object, UsageRefusal where they are another's.
    """
    chosen = _outermost(reference.points_mm)
    if ends.kind != reference.kind or len(ends.points_px) != len(chosen):
        raise UsageRefusal("the references are not those found before", "measure the photo again")
    seen, places = photo.to_working_px(ends.points_px), reference.points_mm[chosen]
    sides = np.roll(seen, -1, axis=0) - seen
    if np.hypot(*sides.T).min() * photo.shrink < SHORTEST_PX:
        raise GeometryRefusal(f"{reference.label}: two of its ends are nearly the same point", _REMEDY)
    if len(chosen) == 2:
        places = np.array([[0.0, 0.0], [ruler_mm or float(np.ptp(places[:, 0])), 0.0]])
    elif len(set(np.sign(_turns(sides))) | set(np.sign(_turns(np.roll(places, -1, axis=0) - places)))) != 1:
        raise GeometryRefusal(f"{reference.label}: these are not the corners of a flat rectangle", _REMEDY)
    # what is said of a sheet is of its print, of all others of how they were read
    kept = reference.warnings if reference.kind == "sheet" else _one_end(photo, reference, ends, ruler_mm)
    return replace(
        reference, points_px=seen, points_mm=places, sigma_px=MANUAL_SIGMA_PX / photo.shrink, outline_px=seen,
        warnings=kept,
    )  # fmt: skip


def _one_end(photo: Photo, found: ReferencePoints, ends: Ends, told_mm: float | None) -> tuple[Warn, ...]:
    """The length that was told does not end where the reading stopped."""
    part = partly_read(photo, found, ends, told_mm)
    if part is None or not part.unset:
        return ()
    return (
        Warn(
            "RULER_ONE_END",
            f"{found.label}: {part.read_mm:g} mm of it were read, and one of its ends still is where the reading "
            f"stopped, so the {part.told_mm:g} mm do not lie between them",
            "Set this end too, where the graduation really ends",
        ),
    )


def _outermost(points_mm: np.ndarray) -> list[int]:
    """Numbers of the points farthest out: both ends of a line, or four corners in turn."""
    x, y = np.asarray(points_mm, float).T
    if np.ptp(y) == 0:
        return [int(np.argmin(x)), int(np.argmax(x))]
    return [int(np.argmin(x + y)), int(np.argmax(x - y)), int(np.argmax(x + y)), int(np.argmin(x - y))]


def _turns(sides: np.ndarray) -> np.ndarray:
    after = np.roll(sides, -1, axis=0)
    return sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
