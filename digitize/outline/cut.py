"""The cheapest border between figure and ground: a minimum cut over patches (Boykov and Jolly, 2001)."""

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from digitize.outline.patches import Patches

_UNITS = 1000  # maximum_flow wants whole numbers


def minimum_cut(patches: Patches, evidence: np.ndarray, stiffness: float, edge_step: float) -> np.ndarray:
    """(n,) bool figure.

    evidence: (n,) per pixel, positive for figure, negative for ground; stiffness: cost of one pixel of border
    where there is no edge; edge_step: colour step at which a border becomes cheap.
    """
    count = len(evidence)
    source, sink = count, count + 1
    pull = evidence * patches.area_px * _UNITS
    across = patches.border_px * stiffness * np.exp(-((patches.step / edge_step) ** 2)) * _UNITS
    # A border is never quite free: without this, isolated specks cost nothing.
    across += patches.border_px * stiffness * 0.02 * _UNITS
    first, second = patches.pairs.T
    figure, ground = np.flatnonzero(pull > 0), np.flatnonzero(pull < 0)
    rows = np.concatenate([first, second, np.full(len(figure), source), ground])
    columns = np.concatenate([second, first, figure, np.full(len(ground), sink)])
    capacity = np.concatenate([across, across, pull[figure], -pull[ground]])
    graph = csr_array(
        (np.clip(capacity, 0, 2**30).astype(np.int32), (rows, columns)), shape=(count + 2, count + 2)
    )
    flow = maximum_flow(graph, source, sink).flow
    left = graph - flow
    left.eliminate_zeros()
    reached = breadth_first_order(left, source, return_predecessors=False)
    result = np.zeros(count + 2, bool)
    result[reached] = True
    return result[:count]
