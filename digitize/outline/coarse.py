"""Where the rocket is: one elongated region, to a pixel or two, at a reduced size."""

from dataclasses import dataclass

import cv2
import numpy as np

from digitize.errors import OutlineRefusal
from digitize.outline.advice import ADVICE
from digitize.outline.axis import Axis
from digitize.outline.body import find_body
from digitize.outline.limbs import Limbs
from digitize.outline.looks import first_looks, look_again, second_look
from digitize.outline.patches import colour_features, cut_into_patches
from digitize.outline.pieces import first_region, rocket_likeness, with_body, without_crumbs

LONG_SIDE_PX = 1000
_PATCH_PX = 8
_FINE_PATCH_PX = 8


@dataclass(frozen=True)
class Region:
    """In pixels of the picture reduced by `scale`. mask: (h, w) bool; earlier: (h, w) bool, the region one look
    ago; axis, limbs, half_px: of the body."""

    mask: np.ndarray
    earlier: np.ndarray
    axis: Axis
    limbs: Limbs
    half_px: float
    scale: float

    def to_picture_px(self, points: np.ndarray) -> np.ndarray:
        """Points of the reduced picture as points of the picture."""
        return (np.asarray(points, float) + 0.5) / self.scale - 0.5

    def to_reduced_px(self, points: np.ndarray) -> np.ndarray:
        """Points of the picture as points of the reduced picture."""
        return (np.asarray(points, float) + 0.5) * self.scale - 0.5


def find_region(rgb: np.ndarray, excluded_px: list[np.ndarray]) -> Region:
    """The rocket's region. excluded_px: polygons, in pixels of rgb, that are not the rocket.

    A first look over the whole picture finds roughly where; two more, with finer patches and knowing the body,
    settle what belongs. Raises OutlineRefusal when nothing stands out from the ground.
    """
    scale = min(1.0, LONG_SIDE_PX / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    feature = colour_features(small)
    cover = _cover(small.shape[:2], excluded_px, scale)
    patches = cut_into_patches(feature, _PATCH_PX)
    looks = first_looks(patches, patches.mean(cover) > 0.3)
    regions = [
        first_region(one.figure[patches.label], (one.unlike / one.threshold)[patches.label]) for one in looks
    ]
    best = int(np.argmax([rocket_likeness(one) for one in regions]))
    look, mask = looks[best], regions[best]
    if not mask.any():
        raise OutlineRefusal("No rocket was found in the picture", ADVICE)

    box, corner = _box_around(mask)
    feature, mask = feature[box], mask[box]
    fine = cut_into_patches(feature, _FINE_PATCH_PX)
    look, excluded = look_again(look, patches.label[box], fine), fine.mean(cover[box]) > 0.3
    for _ in range(2):
        earlier = mask
        body = find_body(feature, look.evidence[fine.label], mask)
        look = second_look(fine, look, body, mask, excluded)
        mask = with_body(look.figure[fine.label], look.evidence[fine.label], body, feature)

    mask = without_crumbs(mask, body, feature)
    whole = np.zeros((2, *small.shape[:2]), bool)
    whole[0][box], whole[1][box] = mask, earlier
    axis = Axis(body.axis.origin_px + corner, body.axis.direction)
    return Region(whole[0], whole[1], axis, body.limbs, body.half_px, scale)


def _box_around(mask: np.ndarray) -> tuple[tuple[slice, slice], np.ndarray]:
    """The part of the picture round a first region that may hold the whole rocket, and its corner, x and y."""
    rows, columns = np.nonzero(mask)
    margin = int(0.12 * max(mask.shape))
    top, left = max(0, rows.min() - margin), max(0, columns.min() - margin)
    box = np.s_[top : rows.max() + margin + 1, left : columns.max() + margin + 1]
    return box, np.array([left, top], float)


def _cover(shape: tuple[int, int], polygons_px: list[np.ndarray], scale: float) -> np.ndarray:
    """(h, w) uint8, 1 on the polygons and a little round them."""
    cover = np.zeros(shape, np.uint8)
    for polygon in polygons_px:
        cv2.fillPoly(cover, [np.round((polygon + 0.5) * scale - 0.5).astype(np.int32)], 1)
    return cv2.dilate(cover, np.ones((9, 9), np.uint8))
