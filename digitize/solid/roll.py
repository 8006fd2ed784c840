"""How the fins stand, and their planform: every roll is tried, the best by how it explains the silhouette.

A coarse visual hull (solid.planform) at each roll says where it is worth looking; there the planform is fitted
(solid.fin_fit), and the fits are compared by their cost in squared standard deviations. What was said of the pose is an
observation of the roll with its own standard deviation.
"""

from dataclasses import dataclass, replace

import numpy as np

from digitize.records import Silhouette
from digitize.solid.fin_fit import EdgePoints, Fitted, edge_points_of, fin_region, fit, with_side_areas
from digitize.solid.planform import Carving, Planform, Scenery, carve, drawn_fins, on_grid, without_notches
from digitize.solid.pose import Pose

GIVEN_ROLL_SIGMA_RAD = np.radians(2.5)
MOST_GIVEN_COST = 16.0
"""Most that a pose as said may weigh, in squared standard deviations: people mix poses up too."""
AS_WELL = 6.0
"""Difference of two costs within which a roll is not ruled out: 99 of 100 times by chance alone it is less."""
ONE_FIN = 2.0
"""A notch is filled where that makes one fin fit better by so much, and all of them no worse."""
UNEXPLAINED, HOPELESS_UNEXPLAINED = 0.12, 0.3
"""Share of what stands out from the body that may fit no fin: above the first it is warned of, above the second no
number can be relied on."""
SAME_RAD = np.radians(2.0)
SEARCH_STEPS, START_STEPS = 140, 800
"""Points along the longest side of the grids on which rolls are told apart, and a fit's start is carved. At every pixel
of a 12 megapixel photo, carving took two thirds of the solid's time."""


@dataclass(frozen=True)
class Search:
    """How closely the rolls are searched: every step_deg, on a grid that is coarse times coarser than the final
    carving; a planform is fitted at most_fits of them, none that leaves more than most_misfit of the fins'
    silhouette; where none explains it, the silhouette may lack
    most_absent neighbouring fins, as long as it shows two."""

    step_deg: float = 5.0
    coarse: float = 3.0
    most_fits: int = 5
    most_misfit: float = np.inf
    most_absent: int = 2


ABSENT = Search(step_deg=10.0, coarse=6.0, most_fits=2)
ABSENT_COST = 150.0
"""For each fin taken to be absent, in squared standard deviations: about what a whole fin's edge costs that lies far
outside (fin_fit.EDGE_MODES, TAIL), so that a number of fins or a lens that explains all that is seen comes first."""


def find_fins(
    silhouette: Silhouette,
    scene: Scenery,
    pose: Pose,
    job: Carving,
    given_rad: list[float],
    search: Search = Search(),
) -> list[Fitted]:
    """The fits that can't be ruled out, the best first; empty where nothing of a fin stands clear of the body.

    given_rad: rolls that fit what was said, from the line of sight; empty if nothing was said. Rolls that differ by
    a mirror image toward and away from the camera both appear where the picture can't tell them apart.
    """
    seen = edge_points_of(silhouette, scene, pose, job)
    fits = _fits(seen, scene, pose, job, given_rad, search)
    for lacking in range(1, min(search.most_absent, job.count - 2) + 1):
        if min((f.unexplained for f in fits), default=1.0) < HOPELESS_UNEXPLAINED:
            break
        absent = [tuple(sorted((k + j) % job.count for j in range(lacking))) for k in range(job.count)]
        shown = [f for each in absent for f in _fits(seen, scene, pose, replace(job, absent=each), given_rad, ABSENT)]
        extra = lacking * ABSENT_COST
        fits = [replace(f, cost=f.cost + extra) for f in shown if f.unexplained < UNEXPLAINED] or fits
    gap = 2 * np.pi / job.count
    chosen: list[Fitted] = []
    for found in sorted(fits, key=lambda f: f.cost):
        again = any(abs(_apart(found.roll_rad, other.roll_rad, gap)) < SAME_RAD for other in chosen)
        if not again and (not chosen or found.cost < chosen[0].cost + AS_WELL):
            chosen.append(found)
    return [with_side_areas(found, seen, scene, pose, replace(job, absent=found.absent)) for found in chosen]


def _fits(
    seen: EdgePoints, scene: Scenery, pose: Pose, job: Carving, given_rad: list[float], search: Search
) -> list[Fitted]:
    """The planform fitted at each of the likeliest rolls."""
    gap = 2 * np.pi / job.count
    rolls = [*given_rad, *np.arange(0, gap - 1e-9, gap / round(np.degrees(gap) / search.step_deg))]
    coarse = on_grid(job, SEARCH_STEPS, search.coarse)
    target = fin_region(scene, pose, job)
    fits: list[Fitted] = []
    jobs = {roll: replace(coarse, roll_rad=roll) for roll in rolls}
    hulls = {roll: carve(scene, pose, at) for roll, at in jobs.items()}
    tried = [(_misfit(hulls[r], scene, pose, at, target, given_rad), r) for r, at in jobs.items()]
    for roll in _lowest(tried, gap, search):
        given, apart = _nearest(roll, given_rad, gap)
        at = replace(job, roll_rad=roll if given is None else given + apart)
        start = carve(scene, pose, on_grid(at, START_STEPS), hulls[roll])
        if start is None:
            continue
        near = abs(apart) < MOST_GIVEN_COST**0.5 * GIVEN_ROLL_SIGMA_RAD
        roll_prior = (given, GIVEN_ROLL_SIGMA_RAD) if given is not None and near else None
        best = fit(seen, scene, pose, at, start.outline_mm[1:-1], roll_prior)
        filled = without_notches(start)
        if filled is not None:
            whole = fit(seen, scene, pose, at, filled.outline_mm[1:-1], roll_prior)
            shown = (best.fin_costs - whole.fin_costs).max() > ONE_FIN
            best = whole if shown and whole.cost < best.cost + ONE_FIN else best
        fits.append(replace(best, cost=best.cost + _given_cost(best.roll_rad, given_rad, gap)))
    return fits


def _apart(one: float, other: float, gap: float) -> float:
    return (one - other + gap / 2) % gap - gap / 2


def _nearest(roll: float, given_rad, gap: float) -> tuple[float | None, float]:
    """(the roll as said that is nearest, how far the roll is from it)."""
    if not given_rad:
        return None, 0.0
    given = min(given_rad, key=lambda one: abs(_apart(roll, one, gap)))
    return given, _apart(roll, given, gap)


def _given_cost(roll: float, given_rad, gap: float) -> float:
    return min((_nearest(roll, given_rad, gap)[1] / GIVEN_ROLL_SIGMA_RAD) ** 2, MOST_GIVEN_COST)


def _misfit(hull: Planform | None, scene: Scenery, pose: Pose, job: Carving, target, given_rad) -> float:
    """Share of the fins' silhouette that the hull at this roll leaves unexplained, and the departure from what was
    said in the same measure: a standard deviation of it like one per cent."""
    if hull is None:
        return np.inf
    drawn = drawn_fins(hull, pose, job, scene.cover)
    missing = float((target & ~drawn).sum() / max(int(target.sum()), 1))
    return missing + 0.01 * _given_cost(job.roll_rad, given_rad, 2 * np.pi / job.count) ** 0.5


def _lowest(tried: list[tuple[float, float]], gap: float, search: Search) -> list[float]:
    """The rolls with the lowest misfits, none next to another, the lowest first."""
    chosen: list[float] = []
    for misfit, roll in sorted(tried):
        close = np.radians(1.6 * search.step_deg)
        possible = np.isfinite(misfit) and misfit <= search.most_misfit
        if possible and all(abs(_apart(roll, c, gap)) > close for c in chosen):
            chosen.append(roll)
    return chosen[: search.most_fits]
