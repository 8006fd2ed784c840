"""What it implies that the rocket lies on two fin tips and its front: the axis' slope over the table, its height."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from digitize.solid.adjust import GivenSizes

SLOPE_SIGMA_RAD = np.radians(1.0)
HEIGHT_SIGMA_MM = 2.0
CAMERA_SIGMA_RAD = np.radians(3.0)
"""The table against the picture's plane: a camera held over it by hand."""


def lying(given: GivenSizes, profile: np.ndarray, groups: Sequence[tuple[float, int, np.ndarray]]) -> GivenSizes:
    """What was told, with the tilt and, unless it was said, the set-back of a reference on the table put in.

    profile: (n, 2) x from the nose tip, radius; groups: (roll from the line of sight in rad, count, outline (m, 2)) of
    each fin group. The table touches the rocket's side away from the camera along the edge of its convex hull that
    spans the middle.
    """
    contact = [profile]
    for roll_rad, count, outline in groups:
        angles = roll_rad + 2 * np.pi * np.arange(count) / count
        down = max(float((-np.sin(angles)).max()), 0.0)
        contact.append(np.column_stack([outline[:, 0], outline[:, 1] * down]))
    middle = profile[-1, 0] / 2
    fore, aft = _supporting_edge(np.vstack(contact), middle)
    slope = (aft[1] - fore[1]) / (aft[0] - fore[0])
    angle = float(np.arctan(slope))
    known = given.behind_mm is not None
    return replace(
        given,
        tilt=(-angle, CAMERA_SIGMA_RAD),
        plane_tilt=(-angle, SLOPE_SIGMA_RAD),
        behind_mm=given.behind_mm if known else float(fore[1] + slope * (middle - fore[0])),
        behind_sigma_mm=given.behind_sigma_mm if known else HEIGHT_SIGMA_MM,
    )


def _supporting_edge(points: np.ndarray, middle: float) -> tuple[np.ndarray, np.ndarray]:
    """The two ends (x, height) of the upper convex hull's edge over x = middle."""
    hull: list[np.ndarray] = []
    for point in points[np.argsort(points[:, 0], kind="stable")]:
        while len(hull) >= 2 and _turns_left(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    chain = np.array(hull)
    k = int(np.clip(np.searchsorted(chain[:, 0], middle), 1, len(chain) - 1))
    return chain[k - 1], chain[k]


def _turns_left(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> bool:
    (ux, uy), (vx, vy) = b - a, c - a
    return ux * vy - uy * vx >= 0
