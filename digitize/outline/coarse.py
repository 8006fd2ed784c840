"""Where the rocket is: one elongated region, to a pixel or two, at a reduced size."""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy import ndimage

from digitize.errors import OutlineRefusal
from digitize.outline.cut import minimum_cut
from digitize.outline.ground import frame_patches, unlike_ground
from digitize.outline.patches import colour_features, cut_into_patches

LONG_SIDE_PX = 1000


@dataclass(frozen=True)
class Region:
    """mask: (h, w) bool at reduced size; scale: reduced pixels per pixel of the picture; ground_noise and
    threshold: of the unlikeness to the ground; touches_frame: whether it reaches the picture's edge."""

    mask: np.ndarray
    scale: float
    touches_frame: bool

    def to_picture_px(self, points: np.ndarray) -> np.ndarray:
        return (np.asarray(points, float) + 0.5) / self.scale - 0.5


def find_region(rgb: np.ndarray, excluded_px: list[np.ndarray]) -> Region:
    """The rocket's region. excluded_px: polygons, in pixels of rgb, that are not the rocket."""
    scale = min(1.0, LONG_SIDE_PX / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    patches = cut_into_patches(colour_features(small))
    cover = np.zeros(small.shape[:2], np.uint8)
    for polygon in excluded_px:
        cv2.fillPoly(cover, [np.round((polygon + 0.5) * scale - 0.5).astype(np.int32)], 1)
    excluded = patches.mean(cv2.dilate(cover, np.ones((9, 9), np.uint8))) > 0.3
    frame = frame_patches(patches, excluded)
    unlike = unlike_ground(patches, frame)
    usual = max(0.25, float(np.percentile(unlike[frame], 99)))
    foreign = unlike[(unlike > 3 * usual) & ~excluded]
    if len(foreign) < 10:
        raise OutlineRefusal(
            "Nothing in the picture stands out from the ground",
            "Photograph the rocket on a plain ground of another colour, filling most of the frame",
        )
    threshold = np.sqrt(2 * usual * np.median(foreign))
    evidence = np.clip(np.log(unlike / threshold + 1e-6), -1, 1)
    evidence[excluded] = -1
    steady = patches.step[frame[patches.pairs].all(1)]
    figure = minimum_cut(patches, evidence, 2.0, max(2.0, 3 * float(np.median(steady))))
    mask = _rocket_like(figure[patches.label])
    rim = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    return Region(mask, scale, bool(rim.any()))


def _rocket_like(mask: np.ndarray) -> np.ndarray:
    """The elongated component, holes filled, without strings and specks."""
    solid = ndimage.binary_fill_holes(mask)
    opened = cv2.morphologyEx(
        solid.astype(np.uint8), cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    )
    label, count = ndimage.label(opened)
    if count == 0:
        raise OutlineRefusal(
            "No rocket was found in the picture",
            "Photograph it from the side on a plain ground, whole and alone but for the reference",
        )
    area = np.bincount(label.ravel())
    area[0] = 0
    core = label == area.argmax()
    thin = solid & ~opened.astype(bool)
    return ndimage.binary_propagation(core, mask=core | _ends(thin, core))


def _ends(thin: np.ndarray, core: np.ndarray) -> np.ndarray:
    """Thin pieces that continue the core along its own axis: a nose tip, a fin seen edge-on."""
    y, x = np.nonzero(core)
    centre = np.array([x.mean(), y.mean()])
    _, direction = np.linalg.eigh(np.cov(np.stack([x, y])))
    across = direction[:, 0]
    ys, xs = np.nonzero(thin)
    off = (np.stack([xs, ys], 1) - centre) @ across
    half = np.median(np.abs((np.stack([x, y], 1) - centre) @ across)) * 2
    label, count = ndimage.label(thin, structure=np.ones((3, 3)))
    far = ndimage.maximum(np.abs(off), label[ys, xs], np.arange(count + 1))
    size = np.bincount(label.ravel(), minlength=count + 1)
    keep = (np.asarray(far) < half) | (size < 60)
    keep[0] = False
    return keep[label]
