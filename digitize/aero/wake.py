"""Fin groups one behind another, solved together in one vortex lattice: the aft fins fly in the forward ones' wakes.

Each group is laid out and imaged in the body as in `lattice`; what is new is that every vortex of every group is felt
by all others. Wakes are flat: they run straight aft from where they leave the fins, at the same distance from the
body's surface. Real wakes roll up and are carried off by the body's own cross-flow, so they take less from the fins
behind: on two-stage rocket models the fins lost about 30 % at most, Mach 0.5 to 0.95 (Shirouzu, Soga, Shibato,
Akimoto, National Aerospace Laboratory of Japan TR-814 (1984), abstract). In line and of equal span, flat wakes take
most of it: this is the worst case.

Unlike one group, two of different number have no common symmetry, so each group's circulation round the body is a sum
of harmonics, those that its own number of fins and the other's fold into one another (q = 1 modulo the greatest common
divisor). The wind's first harmonic drives them; the force is the first harmonic's, averaged over the roll where the
groups have fewer than three-fold symmetry in common. Both ways the groups may stand have a mirror plane, which keeps
the harmonics real.

Strips are the same for all groups, counted from the root, with an edge at each tip: a control point beside a wake that
misses it by a hair would feel a wash that is not there.

What comes out is the change against the same lattice without coupling. Added to the finer, converged solution of
each group alone, it leaves that exact where there is nothing to couple.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise, product
from math import gcd

import numpy as np

from digitize.aero import lattice
from digitize.aero.lattice import LatticeError

STRIPS, CHORDWISE = 14, 5
"""Against twice as many each way the change moves by some 2 % of itself (`tests/test_aero_wake.py`)."""
IN_LINE, STAGGERED = "in line", "staggered"


@dataclass(frozen=True)
class CoupledGroup:
    """area, moment: slope per radian times reference area, and that times its place, as the other groups change it;
    lost: the share of the group's force that they take, negative if they add to it."""

    area: float
    moment: float
    lost: float


def arrangements(counts: Sequence[int]) -> dict[str, tuple[float, ...]]:
    """How the groups may stand round the body: the angle (radians) of each one's first fin. In line: fin behind fin as
    far as the numbers allow. Staggered: each as far from the others' as can be.

    >>> {name: [round(float(np.degrees(a))) for a in angles] for name, angles in arrangements((3, 3)).items()}
    {'in line': [0, 0], 'staggered': [0, 60]}
    """

    def nearest(angles) -> float:
        rounds = [a + 2 * np.pi * np.arange(n) / n for a, n in zip(angles, counts, strict=True)]
        gaps = [np.cos(one[:, None] - other).max() for one, other in combinations(rounds, 2)]
        return -round(max(gaps, default=-1.0), 9)

    turned = product(*((0.0, np.pi / n) for n in counts))
    return {IN_LINE: (0.0,) * len(counts), STAGGERED: max(turned, key=nearest)}


def coupled_groups(groups, angles: Sequence[float], mach: float = 0.0) -> tuple[CoupledGroup, ...]:
    """What each group's force changes by when all are solved together.

    groups: (polygon (m, 2), count, radius) each, as `lattice.group_force` takes them; angles: one of `arrangements`.
    mach: as there. Raises LatticeError where no lattice can be laid or solved.
    """
    return coupled_at(groups, angles, mach, STRIPS, CHORDWISE)


def coupled_at(groups, angles, mach: float, strips: int, chordwise: int) -> tuple[CoupledGroup, ...]:
    beta = np.sqrt(1 - mach**2)
    rounds = [Round(np.asarray(p, float) / [beta, 1.0], n, r) for p, n, r in groups]
    levels = common_levels([one.polygon - [0, one.radius] for one in rounds], strips)
    panels = [lattice.panels(one.polygon, strips, chordwise, levels_of(one, levels)) for one in rounds]
    common = gcd(*(one.count for one in rounds))
    modes = [[q for q in range(one.count) if (q - 1) % common == 0] for one in rounds]
    keys = [(g, q) for g, own in enumerate(modes) for q in own]
    blocks = {
        (g, h): _blocks(rounds[g], panels[g], rounds[h], panels[h], angles[g], angles[h], modes[g], modes[h])
        for g, h in product(range(len(rounds)), repeat=2)
    }
    matrix = np.block([[blocks[g, h][modes[g].index(q), modes[h].index(p)] for h, p in keys] for g, q in keys])
    upwash = [1 + (one.radius / own.control[:, 1]) ** 2 for one, own in zip(rounds, panels, strict=True)]
    driven = np.concatenate([-upwash[g] * (q == 1) for g, q in keys])
    try:
        found = np.split(np.linalg.solve(matrix, driven), np.cumsum([len(upwash[g]) for g, _ in keys])[:-1])
        alone = [np.linalg.solve(blocks[g, g][own.index(1), own.index(1)], -upwash[g]) for g, own in enumerate(modes)]
    except np.linalg.LinAlgError:
        raise LatticeError("the coupled lattice has no solution") from None
    changes = []
    for g, (one, own) in enumerate(zip(rounds, panels, strict=True)):
        weight = one.count * (own.ends[:, 1, 1] - own.ends[:, 0, 1])
        change = weight * (found[keys.index((g, 1))] - alone[g])
        area, moment = change.sum(), change @ own.ends[..., 0].mean(axis=1) * beta
        changes.append(CoupledGroup(float(area), float(moment), float(-area / (weight @ alone[g]))))
    if not np.isfinite([(c.area, c.moment, c.lost) for c in changes]).all():
        raise LatticeError("the coupled lattice has no solution")
    return tuple(changes)


@dataclass(frozen=True)
class Round:
    polygon: np.ndarray
    count: int
    radius: float


def _blocks(to: Round, felt, by: Round, made, to_angle: float, by_angle: float, to_modes, by_modes) -> np.ndarray:
    """(modes of the one, modes of the other, n, m) what a group's harmonics make another's feel. Its vortices keep
    their distance from the body's surface, and are imaged in the body as it is where they are felt."""
    here = to_angle + 2 * np.pi * np.arange(to.count) / to.count
    there = by_angle + 2 * np.pi * np.arange(by.count) / by.count
    ends = made.ends + [0, to.radius - by.radius]
    between = here[:, None] - there
    apart = np.abs((between + np.pi) % (2 * np.pi) - np.pi).round(9)  # the wash is even in the angle between
    phase = np.cos(
        np.multiply.outer(np.array(to_modes), here)[:, None, :, None]
        - np.multiply.outer(np.array(by_modes), there)[None, :, None, :]
    )
    blocks = np.zeros((len(to_modes), len(by_modes), len(felt.control), len(ends)))
    for angle in np.unique(apart):
        share = (phase * (apart == angle)).sum(axis=(2, 3)) / to.count
        blocks += share[..., None, None] * lattice.imaged_wash(felt.control, ends, to.radius, angle)
    return blocks


def common_levels(fins: Sequence[np.ndarray], strips: int) -> np.ndarray:
    """(k, 3) low edge, middle and high edge of strips that serve all fins (m, 2), counted from the root: boundaries at
    all corners and tips, narrowing toward each tip, as the loads there fall to nothing."""
    tips = np.unique([np.ptp(fin[:, 1]) for fin in fins])
    if tips[0] <= 0:
        raise LatticeError("an outline has no span")
    corners = np.concatenate([lattice.corner_levels(fin) for fin in fins])
    levels = []
    for low, high in pairwise([0.0, *tips]):
        inner, size = low == 0.0, high - low
        share = np.clip((corners - low) / size, 0, 1)
        marks = np.arcsin(share) if inner else np.arccos(1 - 2 * share)
        whole = np.pi / 2 if inner else np.pi
        number = strips if inner else max(round(strips * np.sqrt(size / tips[-1])), 1)
        theta = lattice.divided(marks, whole, number)
        place = (lambda t: np.sin(t)) if inner else (lambda t: (1 - np.cos(t)) / 2)
        edges, middles = (low + size * place(t) for t in (theta, (theta[:-1] + theta[1:]) / 2))
        levels.append(np.column_stack([edges[:-1], middles, edges[1:]]))
    return np.concatenate(levels)


def levels_of(one: Round, levels: np.ndarray) -> np.ndarray:
    span = np.ptp(one.polygon[:, 1])
    return levels[levels[:, 2] <= span * (1 + 1e-9)] + one.radius
