"""A first axis of an elongated region: the line its slices' middles agree on."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Axis:
    """A line in the picture. origin_px: (2,) on it; direction: (2,) unit, along it."""

    origin_px: np.ndarray
    direction: np.ndarray

    def along_across(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Distance along the axis from the origin, and signed distance from it."""
        arm = np.asarray(points, float) - self.origin_px
        across = np.array([-self.direction[1], self.direction[0]])
        return arm @ self.direction, arm @ across


@dataclass(frozen=True)
class Slices:
    """A region cut across its axis at whole pixels along it.

    along_px: (n,); low_px, high_px: (n,) the across coordinate of the region's two sides there.
    """

    along_px: np.ndarray
    low_px: np.ndarray
    high_px: np.ndarray

    @property
    def half_width_px(self) -> np.ndarray:
        return (self.high_px - self.low_px) / 2


def principal_axis(mask: np.ndarray) -> Axis:
    """Axis of least spread of a region's pixels."""
    y, x = np.nonzero(mask)
    centre = np.array([x.mean(), y.mean()])
    _, vectors = np.linalg.eigh(np.cov(np.stack([x, y])))
    return Axis(centre, vectors[:, 1])


def slice_region(mask: np.ndarray, axis: Axis) -> Slices:
    """Extent of the region across the axis, at each whole pixel along it where there is any."""
    y, x = np.nonzero(mask)
    along, across = axis.along_across(np.stack([x, y], 1))
    station = np.round(along).astype(int)
    first = station.min()
    count = station.max() - first + 1
    low = np.full(count, np.inf)
    high = np.full(count, -np.inf)
    np.minimum.at(low, station - first, across)
    np.maximum.at(high, station - first, across)
    some = np.isfinite(low)
    return Slices(np.arange(count)[some] + float(first), low[some] - 0.5, high[some] + 0.5)


def body_axis(mask: np.ndarray, rounds: int = 4) -> Axis:
    """The line most slices' middles lie on: fins and shadows, being one-sided, are outvoted (L1 line fit)."""
    axis = principal_axis(mask)
    for _ in range(rounds):
        slices = slice_region(mask, axis)
        axis = moved_to(axis, slices.along_px, (slices.low_px + slices.high_px) / 2)
    return axis


def moved_to(axis: Axis, along_px: np.ndarray, middle_px: np.ndarray) -> Axis:
    """The line most middles lie on. middle_px: (n,) distance from `axis` of the middle at each place along it."""
    weight = np.ones(len(middle_px))
    slope = level = 0.0
    for _ in range(12):
        slope, level = np.polyfit(along_px, middle_px, 1, w=np.sqrt(weight))
        weight = 1 / np.maximum(np.abs(middle_px - slope * along_px - level), 0.5)
    across = np.array([-axis.direction[1], axis.direction[0]])
    direction = axis.direction + slope * across
    return Axis(axis.origin_px + level * across, direction / np.linalg.norm(direction))
