"""How unlike the ground each patch is, told from the patches along the picture's frame."""

import numpy as np
from scipy.spatial import cKDTree

from digitize.outline.patches import FEATURE_SCALE, Patches

_NEIGHBOURS = 6
_FLOOR = 0.35  # feature units: no ground is so even that less than this counts as another colour
# A shadow keeps the colour and takes light away: each of these logarithmic steps of light costs a little.
_SHADOW_STEPS = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75)
_SHADOW_COST = 0.8


def frame_patches(patches: Patches, excluded: np.ndarray, share: float = 0.07) -> np.ndarray:
    """(n,) bool: patches within `share` of the short side from the frame, and not excluded."""
    height, width = patches.label.shape
    margin = share * min(height, width)
    x, y = patches.centre_px.T
    near = (x < margin) | (x > width - margin) | (y < margin) | (y > height - margin)
    return near & ~excluded


def unlike_ground(patches: Patches, ground: np.ndarray) -> np.ndarray:
    """(n,) distance of each patch from the ground, in units of the ground's own local scatter.

    Nearest neighbours in colour rather than one mean colour: wood, concrete and a printed grid have many.
    """
    features = patches.features
    tree = cKDTree(features[ground])
    own = tree.query(features[ground], k=_NEIGHBOURS + 1)[0][:, 1:].mean(1)
    best = np.full(len(features), np.inf)
    for step in _SHADOW_STEPS:
        lit = features.copy()
        lit[:, 0] += step / FEATURE_SCALE[0]
        distance, which = tree.query(lit, k=_NEIGHBOURS)
        score = distance.mean(1) / (own[which].mean(1) + _FLOOR) + _SHADOW_COST * step
        best = np.minimum(best, score)
    return best
