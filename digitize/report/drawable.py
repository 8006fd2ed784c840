"""The part of result["drawing"] that can be drawn: no points that are not finite or absurdly far away."""

import numpy as np

_FURTHEST_PX = 1e6
_MARKS = ("cp", "balance", "cutout")
_LINES = ("profile_upper", "profile_lower")
_LISTS = ("fins", "roots")


def drawable(result: dict) -> dict:
    """The result with marks that can't be drawn set to None, lines without such points, and no drawing at all
    when the axis can't be drawn. The given dictionary is left alone.
    """
    drawing = result.get("drawing")
    if not drawing or len(_kept(drawing["axis"])) != 2:
        return {**result, "drawing": None}
    clean = dict(drawing)
    for key in _MARKS:
        if drawing[key] is not None and not len(_kept([drawing[key]])):
            clean[key] = None
    if drawing["cp_band"] is not None and len(_kept(drawing["cp_band"])) != 2:
        clean["cp_band"] = None
    for key in _LINES:
        clean[key] = _kept(drawing[key])
    for key in _LISTS:
        clean[key] = [line for line in map(_kept, drawing[key]) if len(line) > 1]
    clean["references"] = [
        {**r, "outline": _kept(r["outline"])} for r in drawing["references"] if len(_kept(r["outline"])) > 2
    ]
    clean["stations"] = [s for s in drawing["stations"] if len(_kept([s["point"]]))]
    return {**result, "drawing": clean, "outline_px": _kept(result.get("outline_px") or ())}


def _kept(points) -> list:
    points = np.asarray(points, float).reshape(-1, 2)
    return points[(np.abs(points) < _FURTHEST_PX).all(axis=1)].tolist()  # NaN compares false
