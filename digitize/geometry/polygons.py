"""Area of a polygon, and which points of a line it needs."""

from collections.abc import Callable

import numpy as np


def signed_area(points: np.ndarray) -> float:
    """Of a closed polygon (n, 2), first point not repeated (shoelace); positive when the points run counterclockwise
    with y up, which is clockwise as seen with y down.

    >>> signed_area(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0]]))
    1.0
    """
    x, y = points.T
    return float((np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def polygon_area(points: np.ndarray) -> float:
    """Area of a closed polygon (n, 2), whichever way round."""
    return abs(signed_area(points))


def points_needed(count: int, off: Callable[[int, int], np.ndarray], tolerance: float) -> list[int]:
    """Numbers of those of `count` points, first and last among them, that a line needs to pass all others within the
    tolerance (D. Douglas, T. Peucker, Cartographica 10 (1973) 112; from memory).

    off: of the points between two numbers, how far each is off the line from the one to the other, in the tolerance's
    unit. By shapely's `simplify` when the distance is the ordinary one and the numbers don't matter.

    >>> y = np.array([0.0, 0.1, 3.0, 0.0])
    >>> points_needed(4, lambda a, b: np.abs(y[a + 1 : b] - np.interp(np.arange(a + 1, b), [a, b], y[[a, b]])), 0.5)
    [0, 1, 2, 3]
    """
    keep, stack = {0, count - 1}, [(0, count - 1)]
    while stack:
        a, b = stack.pop()
        if b - a < 2:
            continue
        away = off(a, b)
        worst = int(np.argmax(away))
        if away[worst] > tolerance:
            keep.add(a + 1 + worst)
            stack += [(a, a + 1 + worst), (a + 1 + worst, b)]
    return sorted(keep)
