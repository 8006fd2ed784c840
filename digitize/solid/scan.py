"""Lines laid across an outline in the flat view, and runs of stations along it."""

import numpy as np


def crossings(flat: np.ndarray, at: np.ndarray, along: int) -> list[np.ndarray]:
    """Where lines of constant coordinate `along` (0: p, 1: q) at the values `at` cut a closed polygon (n, 2).

    Returns for each value the sorted other coordinates of the cuts.
    """
    a, b = flat, np.roll(flat, -1, axis=0)
    swap = a[:, along] > b[:, along]
    left, right = np.where(swap[:, None], b, a), np.where(swap[:, None], a, b)
    first = np.searchsorted(at, left[:, along], side="left")
    last = np.searchsorted(at, right[:, along], side="left")
    cuts: list[list[float]] = [[] for _ in at]
    for i in np.flatnonzero(last > first):
        run = right[i, along] - left[i, along]
        for k in range(first[i], last[i]):
            share = (at[k] - left[i, along]) / run
            cuts[k].append(left[i, 1 - along] + share * (right[i, 1 - along] - left[i, 1 - along]))
    return [np.sort(np.array(c)) for c in cuts]


def first_exit(q: np.ndarray) -> float:
    """The least of the cuts on the positive side, 0 without one."""
    out = q[q > 0]
    return float(out.min()) if len(out) else 0.0


def true_runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """[(first, last)] of each run of True."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def level(half: np.ndarray, reach: int, within: float) -> np.ndarray:
    """(n,) bool: part of a stretch of `reach` stations over which the half-width stays."""
    flags = np.zeros(len(half), bool)
    for k in np.flatnonzero(np.abs(half[reach:] - half[:-reach]) < within):
        flags[k : k + reach + 1] = True
    return flags


def base_edge(flat: np.ndarray, p: np.ndarray, reach: float, scans: int) -> np.ndarray:
    """(k, 2) flat points where the silhouette is left going aft within `reach` of the axis: the aft end's edge, where
    it is not covered by a fin that stands out behind it. p: (n,) the stations."""
    found, half_way = [], p[len(p) // 2]
    q = np.linspace(-reach, reach, scans)
    for cuts, at in zip(crossings(flat, q, along=1), q, strict=True):
        aft = cuts[cuts > half_way]
        outside = (len(cuts) - len(aft) + 1) % 2  # beside the body there the line enters a fin before it leaves it
        if len(aft) > outside:
            found.append([aft[outside], at])
    return np.array(found).reshape(-1, 2)
