"""Whether another number of fins explains the silhouette clearly better than the one that was said.

A number is typed wrong, or counts what is seen from one side. What was said is never changed; but it is a claim like
any other, and is held against the picture by the same cost that compares the ways the fins may stand (solid.roll). A
cost is never below nought, so where the number said fits well no other can fit clearly better, and nothing is tried.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from digitize.geometry.toml import rounded
from digitize.records import Geometry, Silhouette
from digitize.solid.groups import GivenFins, carvings
from digitize.solid.measure import Solid
from digitize.solid.planform import scenery
from digitize.solid.roll import Search, find_fins

CLEARLY = 3.0
"""Difference of two costs, in squared standard deviations, that outweighs a word: the other number is then 4.5 times as
likely by the picture, and of some dozens of people one types a wrong one."""
QUICK = Search(step_deg=10.0, coarse=6.0, most_fits=2, most_absent=0)
"""Where the fins are measured it is done more closely: here it is only asked whether there is a good fit at all."""
CARVED = 0.04
"""What a hull so coarsely carved may leave of the fins' silhouette more than a fit does."""


@dataclass(frozen=True)
class Rival:
    """Another number of fins that fits clearly better. group: from 0, nose to tail; cost: of its fit; geometry: the
    rocket with it."""

    group: int
    count: int
    cost: float
    geometry: Geometry


def rivals(solid: Solid, silhouette: Silhouette, others: Sequence[Sequence[GivenFins]]) -> tuple[Rival, ...]:
    """For each group the number that explains its silhouette best, if that is clearly better than the one said.

    others: for each group what else it may be, the likeliest first, with the pose as said.
    """
    poor = [k for k, trace in enumerate(solid.fins) if trace.cost > CLEARLY]
    if not poor:
        return ()
    given = [trace.given for trace in solid.fins]
    found = []
    for k in poor:
        best = None
        for other in others[k]:
            rival = _with(solid, silhouette, [*given[:k], other, *given[k + 1 :]], k)
            if rival is not None and rival.cost < (best.cost if best else solid.fins[k].cost - CLEARLY):
                best = rival
            if best and best.cost < CLEARLY:
                break  # none can be clearly better than this one
        found.append(best)
    return tuple(rival for rival in found if rival is not None)


def _with(solid: Solid, silhouette: Silhouette, fins: list[GivenFins], k: int) -> Rival | None:
    """Group k fitted with another number, None where nothing fits."""
    adjusted, pose = solid.adjusted, solid.adjusted.pose()
    assert solid.stations is not None  # a solid that was measured in a photo has them
    job = carvings(adjusted, solid.stations, solid.geometry.profile_mm, silhouette, fins)[k]
    given_rad = [roll + pose.roll_offset_rad() for roll in fins[k].roll_rad]
    search = replace(QUICK, most_misfit=solid.fins[k].unexplained + CARVED)
    fits = find_fins(silhouette, scenery(silhouette.outline_px, pose, job), pose, job, given_rad, search)
    if not fits:
        return None
    outline = fits[0].planform.outline_mm - [float(adjusted.problem.ends.tip_s_mm(pose)), 0.0]
    groups = list(solid.geometry.fins)
    groups[k] = replace(groups[k], count=fins[k].count, outline_mm=np.asarray(outline))
    return Rival(k, fins[k].count, fits[0].cost, rounded(replace(solid.geometry, fins=tuple(groups))))
