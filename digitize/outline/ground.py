"""How unlike the ground a patch is, when the ground may be shaded and the rocket is not."""

import numpy as np

from digitize.outline.patches import FEATURE_SCALE, Patches

_NEIGHBOURS = 4
_FLOOR = 0.35  # feature units: no ground is so even that less than this counts as another colour
# A shadow keeps the colour and takes light away. Taking light costs little, up to the depth of a hard shadow.
_SHADOW_DEPTH = 1.75 / FEATURE_SCALE[0]
_SHADOW_COST = 0.1
_MOST_KNOWN = 700  # patches that stand for the ground: enough for every colour it has, few enough to be quick


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
    known = thin_out(np.flatnonzero(ground))
    samples = patches.features[known]
    own = np.sort(shaded_distance(samples, samples), axis=1)[:, 1 : _NEIGHBOURS + 1].mean(1)
    score = np.empty(len(patches.features))
    for part in np.array_split(np.arange(len(score)), 8):
        distance = shaded_distance(patches.features[part], samples)
        nearest = np.argpartition(distance, _NEIGHBOURS, axis=1)[:, :_NEIGHBOURS]
        near = np.take_along_axis(distance, nearest, axis=1).mean(1)
        score[part] = near / (own[nearest].mean(1) + _FLOOR)
    return score


def thin_out(indices: np.ndarray, most: int = _MOST_KNOWN) -> np.ndarray:
    """At most `most` of the indices, evenly spread: the same every time."""
    if len(indices) <= most:
        return indices
    return indices[np.linspace(0, len(indices) - 1, most).round().astype(int)]


def shaded_distance(features: np.ndarray, ground: np.ndarray) -> np.ndarray:
    """(n, m) distance of colours, one or more views of three features each, from ground colours that may lie in
    shadow."""
    features, ground = features.astype(np.float32), ground.astype(np.float32)
    views = features.shape[1] // 3
    apart = 0.0
    darker = []
    for k in range(0, 3 * views, 3):
        apart = apart + _square_distance(features[:, k + 1 : k + 3], ground[:, k + 1 : k + 3])
        darker.append(ground[None, :, k] - features[:, None, k])
    shade = np.clip(sum(darker) / views, 0, _SHADOW_DEPTH)
    apart = apart + sum((one - shade) ** 2 for one in darker)
    return np.sqrt(apart / views) + _SHADOW_COST * shade


def plain_distance(features: np.ndarray, known: np.ndarray) -> np.ndarray:
    """(n, m) distance of colours from colours."""
    return np.sqrt(_square_distance(features.astype(np.float32), known.astype(np.float32)))


def _square_distance(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    cross = a @ b.T
    return np.maximum((a * a).sum(1)[:, None] + (b * b).sum(1)[None] - 2 * cross, 0)
