"""The axis in the picture, found by the symmetry of the body, and which end is the nose."""

from dataclasses import dataclass

import numpy as np

from digitize.errors import OutlineRefusal
from digitize.photo.camera import Camera
from digitize.solid.pose import view_of_axis
from digitize.solid.scan import crossings

ALIKE, LIMB_ALIKE = 0.04, 0.012
"""Widths of a tube, and one limb of it, lie on a line to this share of the width."""
MOST_TAPER = 0.45
"""A tube's width changes by no more than this share from one end of the rocket to the other, by perspective."""
DIRECTIONS = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "up": (0.0, -1.0), "down": (0.0, 1.0)}


@dataclass(frozen=True)
class AxisView:
    """view: (3, 3) as in Pose; upper: +-1 as in Pose; flat: (n, 2) outline in the view, nose at small p.

    nose_doubt: 0 when shape and words agree or the shape is clear, 1 when the end chosen is a guess.
    """

    view: np.ndarray
    upper: float
    flat: np.ndarray
    nose_doubt: float


def find_axis(camera: Camera, outline_px: np.ndarray, nose: str | None, nose_px: np.ndarray | None = None) -> AxisView:
    """Axis of a closed outline (n, 2); nose: 'left', 'right', 'up', 'down' in the upright photo, or None; nose_px: (2,)
    what looks like the nose, or None.

    Raises OutlineRefusal when the shape is not longer than wide or no straight body is found.
    """
    centre, direction = _principal(outline_px)
    along = (outline_px - centre) @ direction
    fore, aft = centre + along.min() * direction, centre + along.max() * direction
    for _ in range(4):
        view = view_of_axis(camera, fore, aft)
        flat = flat_of(camera, view, outline_px)
        slope, level = _centre_line(flat)
        ends = np.array([flat[:, 0].min(), flat[:, 0].max()])
        seen = np.column_stack([ends, slope * ends + level, [1.0, 1.0]]) @ view
        fore, aft = camera.project(seen)
    view = view_of_axis(camera, fore, aft)
    flat = flat_of(camera, view, outline_px)
    first_is_nose, doubt = _nose_first(flat, aft - fore, nose, _looks_first(fore, aft, nose_px))
    if not first_is_nose:
        view = view_of_axis(camera, aft, fore)
        flat = flat_of(camera, view, outline_px)
    # y of the view points down in the photo when the nose points left, up when it points right
    upper = -1.0 if view[1, 1] > 0 or (view[1, 1] == 0 and view[1, 0] < 0) else 1.0
    return AxisView(view, upper, flat, doubt)


def flat_of(camera: Camera, view: np.ndarray, points_px: np.ndarray) -> np.ndarray:
    """(n, 2) p, q of pixels (n, 2) in a view (3, 3)."""
    ray = camera.rays(points_px) @ view.T
    return ray[:, :2] / ray[:, 2:3]


def _principal(outline_px):
    """(centroid, unit direction) of the region's longest spread."""
    a, b = outline_px, np.roll(outline_px, -1, axis=0)
    middle = a.mean(0)
    a, b = a - middle, b - middle
    cross = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
    area = cross.sum() / 2
    centre = ((a + b) * cross[:, None]).sum(0) / (6 * area)
    second = np.zeros((2, 2))
    for i in range(2):
        for j in range(2):
            term = a[:, i] * a[:, j] * 2 + b[:, i] * b[:, j] * 2 + a[:, i] * b[:, j] + b[:, i] * a[:, j]
            second[i, j] = (cross * term).sum() / 24
    second = second / area - np.outer(centre, centre)
    values, vectors = np.linalg.eigh(second)
    if values[1] < 4 * values[0]:
        raise OutlineRefusal(
            "What was found in the picture is not long and slender like a rocket",
            "Lay the rocket on a plain ground of another colour and take the photo square from the side",
        )
    return middle + centre, vectors[:, 1]


def _centre_line(flat):
    """(slope, level) of the line midway between the body's two sides, from stations of the commonest width."""
    p = np.linspace(*np.quantile(flat[:, 0], [0.0, 1.0]), 240)[12:-12]
    cuts = crossings(flat, p, along=0)
    sides = np.array([(cut[0], cut[-1]) if len(cut) >= 2 else (np.nan, np.nan) for cut in cuts])
    whole = np.isfinite(sides[:, 0])
    p, width = p[whole], np.diff(sides[whole], axis=1)[:, 0]
    use = _commonest(p, width)
    if use.sum() < 8:
        raise OutlineRefusal(
            "No stretch of straight body was found in the outline",
            "Take the photo square from the side, with nothing lying over the body",
        )
    within = LIMB_ALIKE * np.median(width[use])
    return np.mean([_limb_line(p[use], side[use], within) for side in sides[whole].T], axis=0)


def _limb_line(x: np.ndarray, y: np.ndarray, within: float) -> np.ndarray:
    """(slope, level) of the line that most of one side's points lie on: a lug, a string or a bite on one side, however
    long, does not turn the axis while more of that side is the body's own."""
    pick = np.linspace(0, len(x) - 1, min(len(x), 24)).astype(int)
    i, j = pick[np.array(np.triu_indices(len(pick), 3))]
    slope = (y[j] - y[i]) / (x[j] - x[i])
    on = np.abs(y - y[i, None] - slope[:, None] * (x - x[i, None])) < within
    keep = on[on.sum(1).argmax()]
    for _ in range(3):
        line = np.polyfit(x[keep], y[keep], 1)
        keep = np.abs(y - np.polyval(line, x)) < within
    return line


def _commonest(p: np.ndarray, width: np.ndarray) -> np.ndarray:
    """(n,) bool: stations whose widths lie within ALIKE of the straight line that most of them share: a tube that
    perspective makes slenderer toward one end. The line through each two of some stations is tried (M. A. Fischler and
    R. C. Bolles, Comm. ACM 24 (1981) 381)."""
    best = np.zeros(len(p), bool)
    pick = np.linspace(0, len(p) - 1, min(len(p), 36)).astype(int)
    for k, i in enumerate(pick):
        for j in pick[k + 3 :]:
            slope = (width[j] - width[i]) / (p[j] - p[i])
            line = width[i] + slope * (p - p[i])
            if abs(slope) * (p[-1] - p[0]) > MOST_TAPER * width[i] or line.min() <= 0:
                continue
            use = np.abs(width - line) < ALIKE * line
            if use.sum() > best.sum():
                best = use
    return best


def _looks_first(fore, aft, nose_px):
    """Whether the end `fore` looks like the nose; None where nothing does, or what does lies near the middle."""
    if nose_px is None:
        return None
    to_fore, to_aft = np.hypot(*(nose_px - fore)), np.hypot(*(nose_px - aft))
    return bool(to_fore < to_aft) if max(to_fore, to_aft) > 2 * min(to_fore, to_aft) else None


def _nose_first(flat, direction_px, nose, by_look):
    """(whether the end at small p is the nose, doubt 0..1). by_look: whether it looks like it, None if neither does."""
    p = np.linspace(flat[:, 0].min(), flat[:, 0].max(), 202)[1:-1]
    reach = np.array([np.abs(cut).max(initial=0.0) for cut in crossings(flat, p, along=0)])
    fore, aft = (
        reach[:24].mean(),
        reach[-24:].mean(),
    )  # a nose is the slender end, and fins stand at the other
    clear = abs(fore - aft) / (fore + aft)
    by_shape = fore < aft
    if nose is None and by_look is not None:  # two witnesses: they agree, or it is doubtful
        return by_look, 1.0 if by_look != by_shape and clear > 0.1 else 0.0
    if nose is None:
        return bool(by_shape), 1.0 if clear < 0.1 else 0.0
    by_word = float(np.dot(-direction_px, DIRECTIONS[nose])) > 0
    return by_word, 1.0 if by_word != by_shape and clear > 0.25 else 0.0
