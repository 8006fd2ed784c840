"""How much of each pixel a polygon covers, exactly, for any part of the picture.

Green's theorem, pixel by pixel: a piece of the border inside one pixel covers of it what lies between the piece and the
pixel's right side, and of every pixel to the right of that in its row as much as it rises; summed along the rows that
is the covered area. It costs as much as the border is long and one sum over the part asked for.
"""

from dataclasses import dataclass

import numpy as np

from digitize.photo.sampling import sampled


@dataclass(frozen=True)
class Coverage:
    """How much of each pixel the silhouette covers, (h, w) 0..1, for the part of the picture at `corner_px` (x, y)."""

    alpha: np.ndarray
    corner_px: np.ndarray

    def at(self, points_px: np.ndarray) -> np.ndarray:
        """Coverage (...,) at pixels (..., 2), 0 outside."""
        return self.at_places(points_px[..., 0], points_px[..., 1])

    def at_places(self, x_px: np.ndarray, y_px: np.ndarray) -> np.ndarray:
        """The same with the coordinates by themselves, each (...)."""
        x, y = self.corner_px.astype(x_px.dtype)
        return sampled(self.alpha, x_px - x, y_px - y, outside=0.0)


def coverage(outline_px: np.ndarray, low_px: np.ndarray, high_px: np.ndarray) -> Coverage:
    """Pixel coverage by a polygon (n, 2) inside the box low_px..high_px, whether it lies in it or reaches beyond."""
    corner = np.floor(low_px).astype(int) - 3
    width, height = (int(v) for v in np.ceil(high_px).astype(int) + 3 - corner)
    # a pixel reaches half a pixel to either side of its centre
    (x0, y0), (x1, y1) = (points.T for points in _pieces(outline_px - corner + 0.5, width, height))
    # what lies to the left of the part covers its pixels as if it lay on its border; to the right, none
    x0, x1 = np.clip(x0, 0.0, width), np.clip(x1, 0.0, width)
    column = np.minimum(np.floor((x0 + x1) / 2).astype(int), width - 1)
    row = np.floor((y0 + y1) / 2).astype(int)
    inside = (row >= 0) & (row < height)
    rise, left = (y1 - y0)[inside], ((x0 + x1) / 2 - column)[inside]
    at = (row * (width + 1) + column)[inside]
    summed = np.bincount(np.r_[at, at + 1], np.r_[rise * (1 - left), rise * left], height * (width + 1))
    covered = np.cumsum(summed.reshape(height, width + 1)[:, :width], axis=1)
    return Coverage(np.clip(np.abs(covered), 0.0, 1.0).astype(np.float32), corner.astype(float))


def _pieces(points: np.ndarray, width: int, height: int) -> tuple[np.ndarray, np.ndarray]:
    """(starts, ends), each (k, 2): the sides of a closed polygon (n, 2) cut where they cross from pixel to pixel, whose
    borders are at whole numbers; only those that tell of a part of the picture from (0, 0) to (width, height)."""
    start, end = points, np.roll(points, -1, axis=0)
    # rows above and below the part know nothing of each other, and what lies to the right of it covers nothing
    low, high = np.minimum(start, end), np.maximum(start, end)
    near = (low[:, 0] < width) & (low[:, 1] < height) & (high[:, 1] > 0)
    start, end = start[near], end[near]
    sides, shares = [np.arange(len(start))], [np.zeros(len(start))]
    for axis in (0, 1):
        a, b = start[:, axis], end[:, axis]
        first = np.floor(np.minimum(a, b)) + 1
        crossings = np.maximum(np.ceil(np.maximum(a, b)) - first, 0).astype(int)
        side = np.repeat(np.arange(len(start)), crossings)
        number = np.arange(len(side)) - np.repeat(np.cumsum(crossings) - crossings, crossings)
        sides.append(side)
        shares.append((first[side] + number - a[side]) / (b - a)[side])
    side, share = np.concatenate(sides), np.concatenate(shares)
    order = np.lexsort((share, side))
    side, share = side[order], share[order]
    until = np.where(np.append(side[1:] == side[:-1], False), np.append(share[1:], 1.0), 1.0)
    run = (end - start)[side]
    return start[side] + share[:, None] * run, start[side] + until[:, None] * run
