"""Where the rocket is: one elongated region, to a pixel or two, at a reduced size."""

from dataclasses import dataclass

import cv2
import numpy as np

from digitize.outline.body import Body, find_body
from digitize.outline.looks import first_look, second_look
from digitize.outline.patches import colour_features, cut_into_patches
from digitize.outline.pieces import first_region, with_body

LONG_SIDE_PX = 1000


@dataclass(frozen=True)
class Region:
    """mask: (h, w) bool at reduced size; scale: reduced pixels per pixel of the picture; body: at reduced size;
    unlike: (h, w) unlikeness to the ground seen along the frame; earlier: (h, w) bool, the region one look ago.
    """

    mask: np.ndarray
    scale: float
    body: Body
    unlike: np.ndarray
    earlier: np.ndarray

    def to_picture_px(self, points: np.ndarray) -> np.ndarray:
        """Points of the reduced picture as points of the picture."""
        return (np.asarray(points, float) + 0.5) / self.scale - 0.5


def find_region(rgb: np.ndarray, excluded_px: list[np.ndarray]) -> Region:
    """The rocket's region. excluded_px: polygons, in pixels of rgb, that are not the rocket.

    Raises OutlineRefusal when nothing stands out from the ground.
    """
    scale = min(1.0, LONG_SIDE_PX / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    feature = colour_features(small)
    patches = cut_into_patches(feature)
    excluded = patches.mean(_cover(small.shape[:2], excluded_px, scale)) > 0.3
    look = first_look(patches, excluded)
    mask = first_region(look.figure[patches.label])
    for _ in range(2):
        earlier = mask
        body = find_body(feature, look.evidence[patches.label], mask)
        look = second_look(patches, look, body, mask, excluded)
        mask = with_body(look.figure[patches.label], body, feature)
    return Region(mask, scale, body, look.unlike[patches.label], earlier)


def _cover(shape: tuple[int, int], polygons_px: list[np.ndarray], scale: float) -> np.ndarray:
    """(h, w) uint8, 1 on the polygons and a little round them."""
    cover = np.zeros(shape, np.uint8)
    for polygon in polygons_px:
        cv2.fillPoly(cover, [np.round((polygon + 0.5) * scale - 0.5).astype(np.int32)], 1)
    return cv2.dilate(cover, np.ones((9, 9), np.uint8))
