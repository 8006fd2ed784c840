"""The body between its limbs, as the first region suggests and the picture's edges confirm."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from digitize.outline.axis import Axis, body_axis, slice_region
from digitize.outline.limbs import Limbs, axis_grid, between, centred_axis, find_limbs, symmetric_axis


@dataclass(frozen=True)
class Body:
    """In pixels of the reduced picture. half_px: the usual half-width; mask: (h, w) bool, surely within the limbs;
    core: (h, w) bool, well within them; within: (h, w) bool, up to the limbs and a little beyond both ends;
    near: (h, w) bool, within the limbs or next to them."""

    axis: Axis
    limbs: Limbs
    half_px: float
    mask: np.ndarray
    core: np.ndarray
    within: np.ndarray
    near: np.ndarray


def find_body(feature: np.ndarray, evidence: np.ndarray, mask: np.ndarray) -> Body:
    """The body, from a first region that may have gaps, fins and shadows.

    feature: (h, w, 3) colour features; evidence: (h, w) positive for figure; mask: (h, w) bool.
    """
    axis = body_axis(mask)
    slices = slice_region(mask, axis)
    half = float(np.median(slices.half_width_px))
    axis = symmetric_axis(feature, evidence, axis, (slices.along_px[0], slices.along_px[-1]), 2.5 * half)
    along, _ = axis.along_across(np.argwhere(mask)[:, ::-1])
    limbs = find_limbs(feature, evidence, axis, (along.min(), along.max()), 1.5 * half)
    usual = _usual_half_width(limbs, half)
    for _ in range(2):
        axis = centred_axis(feature, axis, limbs)
        along, _ = axis.along_across(np.argwhere(mask)[:, ::-1])
        limbs = find_limbs(feature, evidence, axis, (along.min(), along.max()), 1.5 * usual)
        usual = _usual_half_width(limbs, usual)
    # Among fins the path may follow them outward: what it says there is not body.
    sure = _without_blunt_ends(limbs, np.minimum(limbs.half_px, 1.02 * usual))
    there = limbs.half_px > 0
    # An aft end seen at an angle bulges beyond the last station.
    bulge = ndimage.binary_dilation(there, iterations=max(2, int(0.35 * usual)))
    grid = axis_grid(axis, mask.shape)
    return Body(
        axis,
        limbs,
        usual,
        between(limbs, sure, grid),
        between(limbs, 0.7 * limbs.half_px, grid),
        between(limbs, np.where(there, limbs.half_px + 0.5, 1.1 * usual * bulge), grid),
        between(limbs, np.where(there, np.minimum(limbs.half_px, 1.1 * usual) + 2, 0), grid),
    )


def _usual_half_width(limbs: Limbs, otherwise: float) -> float:
    some = limbs.half_px[limbs.half_px > 0]
    return float(np.percentile(some, 60)) if len(some) else otherwise


def _without_blunt_ends(limbs: Limbs, half_px: np.ndarray) -> np.ndarray:
    """Half-widths cut short where they end bluntly: an end seen at an angle is round, and fins may overhang it."""
    some = np.flatnonzero(half_px > 0)
    result = half_px.copy()
    if len(some):
        for end, inward in ((some[0], 1), (some[-1], -1)):
            depth = int(0.6 * half_px[end])
            if half_px[end] > 0.3 * half_px.max():
                stations = end + inward * np.arange(depth)
                result[stations[(stations >= 0) & (stations < len(result))]] = 0
    return result
