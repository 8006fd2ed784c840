"""A ruler's ends, a flat reference's corners: where they were found, and the reference as set by them by hand."""

from dataclasses import replace

import numpy as np

from digitize.errors import GeometryRefusal, UsageRefusal
from digitize.records import Photo, ReferencePoints
from digitize.trace.sketch import HAND_SIGMA_PX, Ends

SHORTEST_PX = 20.0
_REMEDY = "set them where they are seen in the photo, or undo the last change"


def ends_of(photo: Photo, reference: ReferencePoints) -> Ends:
    """Those of a found reference; none for two points, whose ends are in the words."""
    chosen = _outermost(reference.points_mm) if reference.kind != "points" else []
    return Ends(reference.kind, reference.label, photo.to_full_px(reference.points_px[chosen].reshape(-1, 2)))


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
    kept = reference.warnings if reference.kind == "sheet" else ()
    return replace(
        reference, points_px=seen, points_mm=places, sigma_px=HAND_SIGMA_PX / photo.shrink, outline_px=seen,
        warnings=kept,
    )  # fmt: skip


def _outermost(points_mm: np.ndarray) -> list[int]:
    """Numbers of the points farthest out: both ends of a line, or four corners in turn."""
    x, y = np.asarray(points_mm, float).T
    if np.ptp(y) == 0:
        return [int(np.argmin(x)), int(np.argmax(x))]
    return [int(np.argmin(x + y)), int(np.argmax(x - y)), int(np.argmax(x + y)), int(np.argmin(x - y))]


def _turns(sides: np.ndarray) -> np.ndarray:
    after = np.roll(sides, -1, axis=0)
    return sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
