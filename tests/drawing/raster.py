"""Exact anti-aliasing: how much of each pixel a polygon covers, and painting with it."""

from dataclasses import dataclass

import numpy as np
import shapely


@dataclass(frozen=True)
class Coverage:
    """alpha: (h, w) float32, 0 to 1, of the pixels from column x0 and row y0 on."""

    alpha: np.ndarray
    x0: int
    y0: int

    @property
    def box(self) -> tuple[int, int, int, int]:
        """left, top, right, bottom; the last two just outside."""
        height, width = self.alpha.shape
        return self.x0, self.y0, self.x0 + width, self.y0 + height

    def of(self, image: np.ndarray) -> np.ndarray:
        """The part of a whole picture under this coverage (a view)."""
        left, top, right, bottom = self.box
        return image[top:bottom, left:right]


def coverage(shape: shapely.Geometry, size_px: tuple[int, int]) -> Coverage:
    """Exact area of each pixel inside a shapely polygon (holes allowed) given in pixels.

    Each edge is cut at every pixel border; every piece adds the signed area between itself and the right side
    of its pixel to that pixel, and its height to those further right, spread by a running sum along the row.
    """
    width, height = size_px
    # Bending by the lens may make a hair-thin loop of a nearly touching outline.
    frame = shapely.box(-0.5, -0.5, width - 0.5, height - 0.5)
    shape = shapely.intersection(shapely.make_valid(shape), frame)
    if shape.is_empty or shape.area == 0:
        return Coverage(np.zeros((1, 1), np.float32), 0, 0)
    left, top, right, bottom = np.array(shape.bounds) + 0.5
    x0, y0 = int(left), int(top)
    columns, rows = int(np.ceil(right)) - x0, int(np.ceil(bottom)) - y0
    starts, ends = _edges(shape)
    starts, ends = starts + 0.5 - [x0, y0], ends + 0.5 - [x0, y0]
    a, b = _cut_at_pixel_borders(starts, ends)
    middle = (a + b) / 2
    column = np.clip(middle[:, 0].astype(int), 0, columns - 1)
    row = np.clip(middle[:, 1].astype(int), 0, rows - 1)
    rise, inner = b[:, 1] - a[:, 1], middle[:, 0] - column
    cell = row * (columns + 1) + column
    size = rows * (columns + 1)
    sums = np.bincount(cell, rise * (1 - inner), size) + np.bincount(cell + 1, rise * inner, size)
    # Rings run so that the inside has one sign throughout; abs makes it positive.
    alpha = np.abs(np.cumsum(sums.reshape(rows, columns + 1), axis=1))[:, :columns]
    return Coverage(np.clip(alpha, 0, 1).astype(np.float32), x0, y0)


def _edges(shape: shapely.Geometry) -> tuple[np.ndarray, np.ndarray]:
    """Starts and ends, each (n, 2), of all edges; outer rings run one way, holes the other."""
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    rings = []
    for part in parts:
        part = shapely.orient_polygons(part)
        rings += [shapely.get_coordinates(r) for r in (part.exterior, *part.interiors)]
    return np.concatenate([r[:-1] for r in rings]), np.concatenate([r[1:] for r in rings])


def _cut_at_pixel_borders(starts: np.ndarray, ends: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The edges cut wherever x or y passes a whole number, so that each piece lies in one pixel."""
    step = ends - starts
    edge, place = [np.arange(len(starts))] * 2, [np.zeros(len(starts)), np.ones(len(starts))]
    for axis in (0, 1):
        low = np.ceil(np.minimum(starts[:, axis], ends[:, axis])).astype(int)
        high = np.floor(np.maximum(starts[:, axis], ends[:, axis])).astype(int)
        count = np.where(step[:, axis] != 0, np.maximum(high - low + 1, 0), 0)
        which = np.repeat(np.arange(len(starts)), count)
        whole = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + low[which]
        edge.append(which)
        place.append((whole - starts[which, axis]) / step[which, axis])
    edge, place = np.concatenate(edge), np.clip(np.concatenate(place), 0, 1)
    order = np.lexsort((place, edge))
    edge, place = edge[order], place[order]
    points = starts[edge] + place[:, None] * step[edge]
    same = edge[1:] == edge[:-1]
    return points[:-1][same], points[1:][same]


def paint(image: np.ndarray, cover: Coverage, colour: np.ndarray) -> None:
    """Lay a colour over a linear-light picture, in place. colour: (3,) or (h, w, 3), linear."""
    under, alpha = cover.of(image), cover.alpha[..., None]
    under += alpha * (np.asarray(colour, np.float32) - under)


def linear(srgb: tuple[int, int, int] | np.ndarray) -> np.ndarray:
    """Linear-light 0..1 float32 of sRGB 0..255 (IEC 61966-2-1)."""
    value = np.asarray(srgb, np.float32) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _encoding_table() -> np.ndarray:
    light = np.arange(4096) / 4095
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(value * 255).astype(np.uint8)


def encode(light: np.ndarray) -> np.ndarray:
    """(h, w, 3) uint8 sRGB of linear light 0..1."""
    return _ENCODING[(np.clip(light, 0, 1) * 4095 + 0.5).astype(np.uint16)]


_ENCODING = _encoding_table()
