"""The part of a result's drawing that can be drawn: no points that are not finite or absurdly far away."""

from dataclasses import replace

import numpy as np

from digitize.result_records import Drawing, Result

_FURTHEST_PX = 1e6


def drawable(result: Result) -> Result:
    """The result with marks that can't be drawn set to None, lines without such points, and no drawing at all when the
    axis can't be drawn."""
    drawing = result.drawing
    if drawing is None or len(_kept(drawing.axis)) != 2:
        return replace(result, drawing=None)
    return replace(result, drawing=_clean(drawing), outline_px=_kept(result.outline_px))


def _clean(drawing: Drawing) -> Drawing:
    band = drawing.cp_band
    return replace(
        drawing,
        cp=_mark(drawing.cp),
        balance=_mark(drawing.balance),
        cutout=_mark(drawing.cutout),
        cp_band=band if band is not None and len(_kept(band)) == 2 else None,
        profile_upper=_kept(drawing.profile_upper),
        profile_lower=_kept(drawing.profile_lower),
        fins=tuple(line for line in map(_kept, drawing.fins) if len(line) > 1),
        roots=tuple(line for line in map(_kept, drawing.roots) if len(line) > 1),
        references=tuple(replace(r, outline=_kept(r.outline)) for r in drawing.references if len(_kept(r.outline)) > 2),
        stations=tuple(station for station in drawing.stations if _mark(station.point) is not None),
    )


def _mark(point: np.ndarray | None) -> np.ndarray | None:
    return point if point is not None and len(_kept(point)) else None


def _kept(points: np.ndarray) -> np.ndarray:
    found = np.asarray(points, float).reshape(-1, 2)
    return found[(np.abs(found) < _FURTHEST_PX).all(axis=1)]  # NaN compares false
