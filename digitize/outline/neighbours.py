"""Nearest points, by scipy's tree. scipy is loaded here when it is first asked for, not with every module that asks: on
its own it takes longer to load than all else that `measure` needs to begin.
"""

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from scipy.spatial import cKDTree


def tree_of(points: np.ndarray) -> "cKDTree":
    """scipy.spatial.cKDTree of points (n, d)."""
    from scipy.spatial import cKDTree

    return cKDTree(points)
