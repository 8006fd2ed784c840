"""From a picture to the rocket's outline: where the eye sees it, then the edge itself, then trust.

The eye's border is good to about a pixel of its look, some pixels of the photo; the edge that the picture shows
there is good to a fraction of one. Where both agree, the edge alone says how sure a point is; where they don't,
their distance is
added.
"""

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from skimage.measure import find_contours

from digitize.geometry.polygons import signed_area
from digitize.numeric.neighbours import Nearest
from digitize.outline.edges import (
    SPACING_PX,
    follow_edge,
    half_way,
    outward_normals,
    resample_closed,
    room_to_corner,
    sample_ribbon,
    smooth_along,
    smooth_by,
)
from digitize.outline.marked import NOTHING_MARKED, Marked
from digitize.outline.region import FirstPass, Region, border_px, find_region, without
from digitize.outline.trust import judge, signs
from digitize.photo.sampling import sampled
from digitize.records import Photo, ReferencePoints, Silhouette
from digitize.refused import carrying

LOOK_PX = 2.6
"""The edge is followed in a copy of the picture in which one pixel of the look is about so many."""
LIMB_LOOK_PX = 1.5
"""Nearer than this to the body's own border, in pixels of the look, the rocket's border is the body's limb."""
EYE_PX = 0.6
"""Standard deviation of the eye's border on a clear edge, in pixels of its look."""


def find_silhouette(
    photo: Photo,
    references: Sequence[ReferencePoints],
    progress: Callable[[str], None] = lambda _: None,
    marked: Marked = NOTHING_MARKED,
    first: FirstPass | None = None,
) -> Silhouette:
    """The rocket's outline, sub-pixel, in pixels of photo.rgb.

    references: their outlines are kept out of the silhouette. progress: called with what is being done. marked: what is
    rocket and what is not, whatever it looks like. first: the first pass over this photo, if it was had before.
    Raises OutlineRefusal when nothing trustworthy is found.
    """
    progress("looking for the rocket")
    region = without(find_region(photo.rgb, marked, first), tuple(reference.outline_px for reference in references))
    progress("following its edge")
    seen = {"body_px": border_px(region.view, region.body), "nose_px": _nose(region)}
    outline, sigma = edge_of(photo.rgb, region)
    with carrying(outline_px=outline, **seen):
        warnings = judge(signs(region, outline, sigma, photo.rgb.shape[:2]))
    return Silhouette(outline, sigma, fill(outline, photo.rgb.shape[:2]), (*region.warnings, *warnings), **seen)


def edge_of(rgb: np.ndarray, region: Region) -> tuple[np.ndarray, np.ndarray]:
    """(outline, standard deviation of each point along its normal), pixels of rgb."""
    view = region.view
    border = _border(region.rocket)
    limb = _on_limb(border, region.body)
    first = view.to_photo(border)
    eye_sigma = _eye_sigma(region, border)
    if signed_area(first) < 0:
        first, limb, eye_sigma = first[::-1], limb[::-1], eye_sigma[::-1]
    copy, factor, corner = _copy_to_follow(rgb, first, view.scale)
    followed = follow(copy, (first - corner + 0.5) * factor - 0.5, limb)
    outline = (followed + 0.5) / factor - 0.5 + corner
    outline, sigma = halved(rgb, outline, factor)
    nearest = Nearest(first).query(outline)[1]
    away = np.abs(np.einsum("nc,nc->n", outline - first[nearest], outward_normals(first, 2)[nearest]))
    beyond = np.maximum(away - 2 * eye_sigma[nearest], 0.0)
    return outline, np.hypot(sigma, beyond)


def _border(rocket: np.ndarray) -> np.ndarray:
    """(n, 2) x, y: where the probability passes one half, half a pixel apart, round the largest region."""
    soft = cv2.GaussianBlur(np.pad(rocket, 2).astype(np.float32), (0, 0), 0.6)
    longest = max(find_contours(soft, 0.5), key=len)[:-1, ::-1] - 2
    return resample_closed(longest, 0.5)


def _on_limb(border: np.ndarray, body: np.ndarray) -> np.ndarray:
    """(n,) bool: where the rocket's border is the body's own."""
    lines = find_contours(np.pad(body, 2).astype(np.float32), 0.5)
    if not lines:
        return np.zeros(len(border), bool)
    body_border = np.concatenate(lines)[:, ::-1] - 2
    return Nearest(body_border).query(border)[0] < LIMB_LOOK_PX


def _eye_sigma(region: Region, border: np.ndarray) -> np.ndarray:
    """(n,) standard deviation of the eye's own border, photo pixels: its usual error, how slowly the probability
    falls across it, and how far the look and its mirror image differ there."""
    normal = outward_normals(smooth_along(border, 2.0), 2)
    inside, outside = (sampled(region.rocket, *(border + step * normal).T) for step in (-1.0, 1.0))
    slope = np.maximum((inside - outside) / 2, 0.02)
    apart = sampled(cv2.GaussianBlur(region.apart.astype(np.float32), (0, 0), 1.0), *border.T)
    slow = np.maximum(0.25 / slope - 1.0, 0.0)
    return region.view.scale * np.sqrt(EYE_PX**2 + slow**2 + (apart / slope) ** 2)


def _copy_to_follow(rgb: np.ndarray, outline: np.ndarray, scale: float) -> tuple[np.ndarray, float, np.ndarray]:
    """(part of the picture round an outline, made larger or smaller so that a pixel of the look is LOOK_PX of it;
    the factor; its corner in the picture)."""
    room = int(np.ceil(8 * scale)) + 4
    low = np.maximum(np.floor(outline.min(0)).astype(int) - room, 0)
    high = np.minimum(np.ceil(outline.max(0)).astype(int) + room + 1, rgb.shape[1::-1])
    part = rgb[low[1] : high[1], low[0] : high[0]]
    factor = float(np.clip(LOOK_PX / scale, 0.02, 8.0))
    if factor > 0.7 and factor < 1.4:
        return part, 1.0, low.astype(float)
    size = tuple(int(max(8, round(n * factor))) for n in part.shape[1::-1])
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    return cv2.resize(part, size, interpolation=how), size[0] / part.shape[1], low.astype(float)


def follow(rgb: np.ndarray, outline: np.ndarray, limb: np.ndarray) -> np.ndarray:
    """The outline moved onto the edge near it, pixels of rgb. limb: (n,) bool of the outline: there the edge stays
    nearer to where both sides of the body have it."""
    even = resample_closed(outline, SPACING_PX)
    limb = limb[Nearest(outline).query(even)[1]]
    outline = smooth_by(even, np.where(limb & (room_to_corner(even) > 12), 5.0, 0.0))
    for reach in (9.0, 6.0):
        ribbon = sample_ribbon(rgb, outline, outward_normals(smooth_along(outline, 2.0), 2), reach)
        shift = smooth_along(follow_edge(ribbon, np.where(limb, 0.1, 0.06)), 1.0)
        moved = outline + shift[:, None] * ribbon.normal
        outline = resample_closed(moved, SPACING_PX)
        limb = limb[Nearest(moved).query(outline)[1]]
    return outline


def halved(rgb: np.ndarray, outline: np.ndarray, factor: float) -> tuple[np.ndarray, np.ndarray]:
    """(outline where the light is half way across the edge, its standard deviation), pixels of rgb. factor: by how
    much larger than rgb the picture was in which it was followed."""
    outline = resample_closed(outline, SPACING_PX)
    for reach in (max(5.0, 3.0 / factor + 2.5), 5.0):
        ribbon = sample_ribbon(rgb, outline, outward_normals(smooth_along(outline, 1.0), 2), reach)
        shift, sigma, smoothing = half_way(ribbon, room_to_corner(outline))
        most = max(2.0, 1.5 / factor)
        outline = smooth_by(outline + np.clip(shift, -most, most)[:, None] * ribbon.normal, smoothing)
    return outline, sigma


def _nose(region: Region) -> np.ndarray | None:
    """(2,) photo pixels, the middle of what the eye takes for the nose; None if it sees none."""
    y, x = np.nonzero(region.nose > 0.5)
    return region.view.to_photo(np.array([[x.mean(), y.mean()]]))[0] if len(x) > 8 else None


def fill(outline: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """(H, W) bool: pixels whose centres lie inside the polygon."""
    mask = np.zeros(shape, np.uint8)
    bits = 8
    cv2.fillPoly(mask, [np.round(outline * 2**bits).astype(np.int32)], 1, shift=bits)
    return mask.astype(bool)
