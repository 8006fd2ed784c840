"""The adjustment of what a hand has set, solved if it can be, and not twice."""

from collections.abc import Callable

import numpy as np

from digitize.errors import GeometryRefusal
from digitize.solid.adjust import Adjusted, Problem, adjust
from digitize.solid.validity import MOST_TILT_RAD

MOST_SOLUTIONS = 8
"""Kept of one outline, a few kilobytes each: a drag goes to and fro among fewer."""


class Solutions:
    """Adjustments of one outline that there are already, the newest few, by what they depend on of the sketch, and
    whether a point was let go. Not a value: it fills as it is asked."""

    def __init__(self) -> None:
        self._kept: dict[tuple, dict[bool, Adjusted]] = {}

    def clear(self) -> None:
        self._kept.clear()

    def of(
        self, key: tuple, settled: bool, in_full: Callable[[], Adjusted], quickly: Callable[[], Adjusted]
    ) -> Adjusted:
        """While a point is dragged, quickly; one that is solved in full already does for both."""
        found = self._kept.pop(key, {})
        self._kept[key] = found
        if len(self._kept) > MOST_SOLUTIONS:
            del self._kept[next(iter(self._kept))]
        if True in found or settled in found:
            return found.get(True) or found[settled]
        near = None if settled else _valid_or_none(quickly)
        found[settled] = near or in_full()
        return found[settled]


def valid_adjustment(problem: Problem, start: np.ndarray | None = None) -> Adjusted:
    """The problem solved, from values (m,) near by if there are any; what was set by hand may be anything, so it may
    have no solution. Raises GeometryRefusal."""
    adjusted = _valid_or_none(lambda: adjust(problem, start))
    if adjusted is None:
        raise GeometryRefusal(
            "axis, body and scale do not fit together", "undo the last change, or draw the body again"
        )
    return adjusted


def _valid_or_none(solve: Callable[[], Adjusted]) -> Adjusted | None:
    """The solution, None where it is none a rocket can have."""
    try:
        with np.errstate(all="ignore"):  # trial steps may go astray; the solution is looked at below
            adjusted = solve()
            numbers = [float(adjusted.pose().tilt_rad), float(adjusted.pose().depth_mm), *adjusted.tube_radii_mm()]
        if np.isfinite([*numbers, *adjusted.covariance.ravel()]).all() and abs(numbers[0]) < MOST_TILT_RAD:
            return adjusted
    except (np.linalg.LinAlgError, ValueError):
        pass
    return None
