"""How the fins stand, found by which roll lets one planform explain the silhouette on both sides."""

from dataclasses import replace

import cv2
import numpy as np

from digitize.solid.planform import Carving, Coverage, Planform, Scenery, carve
from digitize.solid.pose import Pose

SEARCH_DEG = np.arange(-8.0, 8.1, 2.0)
TOLD_SIGMA_DEG = 2.5
COARSE = 3.0
"""The search works on a grid this many times coarser than the final carving."""
CLEARLY = 4.0
"""Difference of two costs, each a square in standard deviations, beyond which one roll is the better."""


def find_roll(
    scene: Scenery, pose: Pose, job: Carving, starts_rad: list[float]
) -> tuple[float, float, float]:
    """(roll, its standard deviation, share of the fins' silhouette left unexplained), rad.

    starts_rad: rolls that fit what the user said (an in-plane fin of three may be on either side), the likeliest
    first: a later one is taken only where it explains clearly more, since four fins in the picture's plane and four
    at 45 degrees, larger by 1.41, look alike. The cost is the area the fins leave unexplained, in units of what an
    edge error of a third of a pixel along the fins' edge would make, plus the squared departure from what was said
    over TOLD_SIGMA_DEG.
    """
    coarse = replace(job, step_mm=COARSE * job.step_mm)
    target = _fin_region(scene, pose, job)
    best = None
    for start in starts_rad:
        trial = _cost(scene, pose, replace(coarse, roll_rad=start), target)[0]
        if best is None or trial < best[0] - CLEARLY:
            best = (trial, start)
    start = best[1]
    costs = []
    for delta in SEARCH_DEG:
        misfit, _ = _cost(scene, pose, replace(coarse, roll_rad=start + np.radians(delta)), target)
        costs.append(misfit + (delta / TOLD_SIGMA_DEG) ** 2)
    delta, sigma = _parabola(SEARCH_DEG, np.array(costs))
    roll = start + np.radians(delta)
    _, missing = _cost(scene, pose, replace(coarse, roll_rad=roll), target)
    return roll, np.radians(sigma), missing


def _fin_region(scene, pose, job):
    """Bool (h, w): silhouette that is not body, within the group's stretch of the axis."""
    cover = scene.cover
    stretch = pose.project(
        np.array([[s, y, 0.0] for s, y in [
            (job.first_s_mm, -2 * job.reach_mm), (job.last_s_mm, -2 * job.reach_mm),
            (job.last_s_mm, 2 * job.reach_mm), (job.first_s_mm, 2 * job.reach_mm),
        ]])
    )  # fmt: skip
    band = np.zeros(cover.alpha.shape, np.uint8)
    cv2.fillPoly(band, [np.round(stretch - cover.corner_px).astype(np.int32)], 1)
    return (cover.alpha > 0.5) & (scene.body.alpha < 0.5) & (band > 0)


def _cost(scene, pose, job, target):
    """(cost of the silhouette's unexplained part, its share of the fins' silhouette)."""
    planform = carve(scene, pose, job)
    area = max(int(target.sum()), 1)
    if planform is None:
        return 1e9, 1.0
    drawn = drawn_fins(planform, pose, job, scene.cover)
    missing = int((target & ~drawn).sum())
    edge = max(np.sqrt(area) * 4 * 0.33 * COARSE, 1.0)
    return (missing / edge) ** 2, missing / area


def drawn_fins(planform: Planform, pose: Pose, job: Carving, like: Coverage) -> np.ndarray:
    """Bool (h, w): where the fins of this planform would be seen."""
    mask = np.zeros(like.alpha.shape, np.uint8)
    for angle in job.roll_rad + 2 * np.pi * np.arange(job.count) / job.count:
        for face in (-1.0, 0.0, 1.0):
            seen = pose.project_fin(planform.outline_mm, angle, face * job.half_thickness_mm)
            cv2.fillPoly(mask, [np.round((seen - like.corner_px) * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def _parabola(x, cost):
    """(minimum, standard deviation) from the parabola through the lowest point and its neighbours."""
    k = int(np.clip(np.argmin(cost), 1, len(x) - 2))
    step = x[1] - x[0]
    left, middle, right = cost[k - 1 : k + 2]
    curve = (left - 2 * middle + right) / step**2
    if curve <= 0:
        return float(x[int(np.argmin(cost))]), TOLD_SIGMA_DEG
    shift = float(np.clip((left - right) / (2 * step * curve), -step, step))
    return float(x[k] + shift), float(np.clip(np.sqrt(2 / curve), 0.3, TOLD_SIGMA_DEG))
