"""Two looks at a photo: the whole picture, then the surroundings of what was found, turned so that it lies along the
look.

The second look is had twice, once mirrored: the mean is surer than either, and where they differ is doubt.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from digitize.eye.network import HEIGHT, WIDTH, Parts, predict

ROOM = 1.16
"""The second look shows so many times the length of what was found."""
STROKE_PX, STROKE_LENGTH_PX, STROKE_GAP_PX = 5, 75, 75
"""The network knows strokes of up to this half width and length, in pixels of a look; a large mark is told as
several."""


@dataclass(frozen=True)
class View:
    """A look's pixels and the photo's: photo = turn @ (x, y) + shift. turn: (2, 2); shift: (2,)."""

    turn: np.ndarray
    shift: np.ndarray

    @property
    def scale(self) -> float:
        """Photo pixels to one of the look's."""
        return float(np.sqrt(abs(np.linalg.det(self.turn))))

    def to_photo(self, points: np.ndarray) -> np.ndarray:
        """(n, 2) points of the look as points of the photo."""
        return np.asarray(points, float) @ self.turn.T + self.shift

    def to_view(self, points: np.ndarray) -> np.ndarray:
        """(n, 2) points of the photo as points of the look."""
        return (np.asarray(points, float) - self.shift) @ np.linalg.inv(self.turn).T

    def picture(self, pyramid: "Pyramid") -> np.ndarray:
        """(HEIGHT, WIDTH, 3) of the photo; beyond its border the border goes on."""
        return pyramid.through(self, (WIDTH, HEIGHT))


@dataclass(frozen=True)
class Pyramid:
    """A photo at halves of its size, so that a look at any size samples about one pixel for one."""

    levels: tuple[np.ndarray, ...]

    def through(self, view: View, size: tuple[int, int]) -> np.ndarray:
        """The picture (height, width, 3) that a view shows."""
        level = int(np.clip(np.floor(np.log2(max(view.scale, 1.0)) + 0.25), 0, len(self.levels) - 1))
        factor = 0.5**level
        turn = view.turn * factor
        shift = (view.shift + 0.5) * factor - 0.5
        matrix = np.column_stack([turn, shift])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return cv2.warpAffine(self.levels[level], matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)


def pyramid_of(rgb: np.ndarray) -> Pyramid:
    """Down to about the network's own size."""
    levels = [rgb]
    while max(levels[-1].shape[:2]) > 1.5 * WIDTH:
        height, width = levels[-1].shape[:2]
        levels.append(cv2.resize(levels[-1], ((width + 1) // 2, (height + 1) // 2), interpolation=cv2.INTER_AREA))
    return Pyramid(tuple(levels))


def whole_view(height: int, width: int) -> View:
    """The whole photo; an upright one lying on its side, so that it fills the look."""
    if height > width:
        scale = max(height / WIDTH, width / HEIGHT)
        turn = scale * np.array([[0.0, 1.0], [-1.0, 0.0]])
    else:
        scale = max(width / WIDTH, height / HEIGHT)
        turn = scale * np.eye(2)
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    return View(turn, middle - turn @ np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2]))


def near_view(points: np.ndarray, room: float = ROOM) -> View:
    """What shows photo points (n, 2), the longest way along the look."""
    (centre, (a, b), angle) = cv2.minAreaRect(points.astype(np.float32))
    if a < b:
        a, b, angle = b, a, angle + 90
    t = np.radians(angle)
    if np.cos(t) < 0:
        t += np.pi
    scale = room * max(a / WIDTH, b / HEIGHT)
    turn = scale * np.array([[np.cos(t), -np.sin(t)], [np.sin(t), np.cos(t)]])
    return View(turn, np.array(centre) - turn @ np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2]))


def predicted(pyramid: Pyramid, view: View, strokes: tuple[Sequence, Sequence] = ((), ())) -> Parts:
    """One look."""
    return predict(view.picture(pyramid), drawn_strokes(view, strokes))


def predicted_twice(pyramid: Pyramid, view: View, strokes: tuple[Sequence, Sequence] = ((), ())) -> tuple[Parts, Parts]:
    """A look and the look at its mirror image, mirrored back."""
    picture, marks = view.picture(pyramid), drawn_strokes(view, strokes)
    first = predict(picture, marks)
    turned = predict(np.ascontiguousarray(picture[::-1]), None if marks is None else marks[:, ::-1])
    return first, Parts(*(plane[::-1] for plane in vars(turned).values()))


def drawn_strokes(view: View, strokes: tuple[Sequence, Sequence]) -> np.ndarray | None:
    """(2, HEIGHT, WIDTH) bool of polygons in photo pixels, (rocket, not rocket), as the network knows strokes;
    None if there
    are none. Their edges, where a hand is least sure, are left out."""
    if not any(map(len, strokes)):
        return None
    planes = np.zeros((2, HEIGHT, WIDTH), bool)
    for plane, polygons in zip(planes, strokes, strict=True):
        for polygon in polygons:
            plane |= _as_strokes(filled(view, polygon))
    return planes


def filled(view: View, polygon: np.ndarray) -> np.ndarray:
    """(HEIGHT, WIDTH) bool of a polygon (n, 2) in photo pixels."""
    mask = np.zeros((HEIGHT, WIDTH), np.uint8)
    cv2.fillPoly(mask, [np.round(view.to_view(polygon) * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def _as_strokes(mask: np.ndarray) -> np.ndarray:
    """(H, W) bool: the middle of a region, in pieces no longer than a stroke."""
    depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    core = depth > max(depth.max() - STROKE_PX, 0.0)
    rows, columns = np.ogrid[: mask.shape[0], : mask.shape[1]]
    strokes, left = np.zeros_like(mask), np.where(core, depth, 0.0)
    while left.any():
        y, x = np.unravel_index(np.argmax(left), left.shape)
        away = np.hypot(rows - y, columns - x)
        strokes |= core & (away < STROKE_LENGTH_PX / 2)
        left[away < STROKE_LENGTH_PX / 2 + STROKE_GAP_PX] = 0.0
    return strokes
