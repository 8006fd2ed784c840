"""From a picture to the rocket's outline: region, edge, trust."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.spatial import cKDTree
from skimage.measure import find_contours

from digitize.outline.coarse import Region, find_region
from digitize.outline.edges import (
    SPACING_PX,
    follow_edge,
    half_way,
    outward_normals,
    resample_closed,
    room_to_corner,
    sample_ribbon,
    signed_area,
    smooth_along,
    smooth_by,
)
from digitize.outline.trust import judge, signs
from digitize.records import Photo, ReferencePoints, Silhouette


@dataclass(frozen=True)
class Marked:
    """What a person marked in the picture, as polygons (n, 2) in pixels of photo.rgb: rocket, and not rocket."""

    rocket: tuple[np.ndarray, ...] = ()
    other: tuple[np.ndarray, ...] = ()


NOTHING_MARKED = Marked()


def find_silhouette(
    photo: Photo,
    references: Sequence[ReferencePoints],
    say: Callable[[str], None] = lambda _: None,
    marked: Marked = NOTHING_MARKED,
) -> Silhouette:
    """The rocket's outline, sub-pixel, in pixels of photo.rgb.

    references: their outlines are kept out of the silhouette. say: told what is being done. marked: what is rocket
    and what is not, whatever it looks like.
    Raises OutlineRefusal when nothing trustworthy is found.
    """
    say("looking for the rocket")
    region = find_region(photo.rgb, [*(reference.outline_px for reference in references), *marked.other])
    region = _as_marked(region, marked)
    say("following its edge")
    outline = _first_outline(region)
    limb = _along_limb(region, outline)
    outline = smooth_by(outline, np.where(limb & (room_to_corner(outline) > 12), 5.0, 0.0))
    outline, sigma = refine(photo.rgb, outline, limb)
    warnings = judge(signs(region, sigma))
    return Silhouette(outline, sigma, fill(outline, photo.rgb.shape[:2]), tuple(warnings))


def _as_marked(region: Region, marked: Marked) -> Region:
    """The region with what was marked taken in and left out."""
    if not marked.rocket and not marked.other:
        return region
    mask = region.mask.copy()
    for polygons, value in ((marked.rocket, True), (marked.other, False)):
        for polygon in polygons:
            mask[fill(region.to_reduced_px(polygon), mask.shape)] = value
    return replace(region, mask=mask)


def _first_outline(region: Region) -> np.ndarray:
    """The region's border in picture pixels, even spacing, clockwise as seen."""
    soft = cv2.GaussianBlur(np.pad(region.mask, 2).astype(np.float32), (0, 0), 1.0)
    longest = max(find_contours(soft, 0.5), key=len)[:-1, ::-1] - 2
    points = resample_closed(region.to_picture_px(longest), SPACING_PX)
    return points if signed_area(points) > 0 else points[::-1]


def _along_limb(region: Region, outline: np.ndarray) -> np.ndarray:
    """(n,) bool: outline points on the body's limbs, which both sides of the body have confirmed."""
    limbs = region.limbs
    along, across = region.axis.along_across(region.to_reduced_px(outline))
    half = np.interp(along, limbs.along_px, limbs.half_px, left=0, right=0)
    return (half > 0) & (np.abs(np.abs(across) - half) < 2)


def refine(rgb: np.ndarray, outline: np.ndarray, limb: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Outline moved onto the edge, and the standard deviation of each point along the normal."""
    for reach in (12.0, 8.0):
        ribbon = sample_ribbon(rgb, outline, outward_normals(smooth_along(outline, 2.0), 2), reach)
        shift = smooth_along(follow_edge(ribbon, np.where(limb, 0.06, 0.02)), 1.0)
        moved = outline + shift[:, None] * ribbon.normal
        outline = resample_closed(moved, SPACING_PX)
        limb = limb[cKDTree(moved).query(outline)[1]]
    for _ in range(2):
        ribbon = sample_ribbon(rgb, outline, outward_normals(smooth_along(outline, 1.0), 2), 5.0)
        shift, sigma, smoothing = half_way(ribbon, room_to_corner(outline))
        outline = smooth_by(outline + np.clip(shift, -2, 2)[:, None] * ribbon.normal, smoothing)
    return outline, sigma


def fill(outline: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """(H, W) bool: pixels whose centres lie inside the polygon."""
    mask = np.zeros(shape, np.uint8)
    bits = 8
    cv2.fillPoly(mask, [np.round(outline * 2**bits).astype(np.int32)], 1, shift=bits)
    return mask.astype(bool)
