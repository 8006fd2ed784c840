"""The body between its limbs, as the first region suggests and the picture's edges confirm."""

from dataclasses import dataclass

import numpy as np

from digitize.outline.axis import Axis, body_axis, slice_region
from digitize.outline.limbs import Limbs, find_limbs, limb_mask, symmetric_axis


@dataclass(frozen=True)
class Body:
    """In pixels of the reduced picture. half_px: the usual half-width; mask: (h, w) bool, surely within the limbs;
    core: (h, w) bool, well within them; within: (h, w) bool, up to the limbs and beyond both ends of the body;
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
    span = (along.min(), along.max())
    limbs = find_limbs(feature, evidence, axis, span, 1.5 * half)
    usual = _usual_half_width(limbs, half)
    if half > 1.15 * usual:
        limbs = find_limbs(feature, evidence, axis, span, 1.5 * usual)
        usual = _usual_half_width(limbs, usual)
    # Among fins the path may follow them outward: what it says there is not body.
    sure = _without_blunt_ends(limbs, np.minimum(limbs.half_px, 1.02 * usual))
    wide = np.where(limbs.half_px > 0, np.minimum(limbs.half_px, 1.1 * usual) + 2, 0)
    there = limbs.half_px > 0
    within = np.where(there, limbs.half_px + 0.5, 1.1 * usual)
    return Body(
        axis,
        limbs,
        usual,
        limb_mask(Limbs(limbs.along_px, sure), axis, mask.shape),
        limb_mask(limbs, axis, mask.shape, 0.7),
        limb_mask(Limbs(limbs.along_px, within), axis, mask.shape),
        limb_mask(Limbs(limbs.along_px, wide), axis, mask.shape),
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
