"""Which pieces of a figure are the rocket: no strings, lines of the ground, soft shadows or specks."""

import cv2
import numpy as np
from scipy import ndimage

from digitize.errors import OutlineRefusal
from digitize.outline.advice import ADVICE
from digitize.outline.axis import Axis, Slices, body_axis, slice_region
from digitize.outline.body import Body

_DISC = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
_LOW_PIECE = (
    0.2  # of the half-width: what stands up less from the body is a lug, a line of the ground, a shade
)


def first_region(figure: np.ndarray) -> np.ndarray:
    """(h, w) bool: the largest piece and what lies in line with it, holes filled."""
    solid = ndimage.binary_fill_holes(figure)
    opened = cv2.morphologyEx(solid.astype(np.uint8), cv2.MORPH_OPEN, _DISC)
    label, count = ndimage.label(opened)
    if count == 0:
        raise OutlineRefusal("No rocket was found in the picture", ADVICE)
    area = np.bincount(label.ravel())
    area[0] = 0
    core = _with_pieces_in_line(label, int(area.argmax()))
    axis = body_axis(core)
    half = float(np.median(slice_region(core, axis).half_width_px))
    return _with_thin_ends(solid & ~opened.astype(bool), core, axis, half)


def with_body(figure: np.ndarray, body: Body, feature: np.ndarray) -> np.ndarray:
    """(h, w) bool: the body, and the pieces of the figure attached to it that can be fins."""
    if not (figure & body.core).any():
        raise OutlineRefusal("What stands out from the ground has no body a rocket could have", ADVICE)
    closed = cv2.morphologyEx((figure | body.mask).astype(np.uint8), cv2.MORPH_CLOSE, _DISC)
    solid = without_soft_pieces(ndimage.binary_fill_holes(closed), body, feature)
    opened = cv2.morphologyEx(solid.astype(np.uint8), cv2.MORPH_OPEN, _DISC).astype(bool)
    core = _without_low_pieces(opened, body) | (body.mask & solid)
    label, _ = ndimage.label(core)
    area = np.bincount(label[body.core & core], minlength=2)
    area[0] = 0
    main = label == area.argmax()
    return _with_thin_ends(solid & ~core, main, body.axis, body.half_px)


def _without_low_pieces(mask: np.ndarray, body: Body) -> np.ndarray:
    """The region less what stands up only a little from the body: there the limbs have the last word."""
    label, _ = ndimage.label(mask & ~body.near)
    away = ndimage.distance_transform_cdt(~body.near)
    high = np.zeros_like(mask)
    for number, box in enumerate(ndimage.find_objects(label), 1):
        piece = label[box] == number
        if away[box][piece].max() >= max(4, _LOW_PIECE * body.half_px):
            high[box] |= piece
    by_a_fin = ndimage.binary_dilation(high, iterations=4)
    return mask & (high | by_a_fin | body.within)


def _with_pieces_in_line(label: np.ndarray, main: int) -> np.ndarray:
    """The main piece and those beyond a band of the ground's own colour: on the same axis and about as wide."""
    core = label == main
    boxes = ndimage.find_objects(label)
    for _ in range(3):
        axis = body_axis(core)
        slices = slice_region(core, axis)
        half = float(np.median(slices.half_width_px))
        joined = core.copy()
        for number, box in enumerate(boxes, 1):
            y, x = np.nonzero(label[box] == number)
            if len(y) < half * half or core[box][y[0], x[0]]:
                continue
            along, across = axis.along_across(np.stack([x + box[1].start, y + box[0].start], 1))
            gap = _gap(along[np.abs(across) < half], slices)
            if gap is not None and gap[1] - gap[0] < 4 * half and np.mean(np.abs(across) < half) > 0.3:
                joined |= (label == number) | _bridge(core.shape, axis, gap, half)
        if (joined == core).all():
            break
        core = joined
    return core


def _gap(along: np.ndarray, slices: Slices) -> tuple[float, float] | None:
    """The stretch of the axis between the region sliced and a piece at `along`, None if there is none."""
    if len(along) == 0:
        return None
    if along.min() > slices.along_px[-1]:
        return float(slices.along_px[-1]), float(along.min())
    if along.max() < slices.along_px[0]:
        return float(along.max()), float(slices.along_px[0])
    return None


def _bridge(shape: tuple[int, int], axis: Axis, gap: tuple[float, float], half: float) -> np.ndarray:
    """(h, w) bool: the body's width along the axis, across the gap."""
    across = np.array([-axis.direction[1], axis.direction[0]])
    corners = [
        axis.origin_px + s * axis.direction + t * half * across
        for s, t in ((gap[0] - 2, -0.8), (gap[1] + 2, -0.8), (gap[1] + 2, 0.8), (gap[0] - 2, 0.8))
    ]
    bridge = np.zeros(shape, np.uint8)
    cv2.fillPoly(bridge, [np.round(corners).astype(np.int32)], 1)
    return bridge.astype(bool)


def without_soft_pieces(mask: np.ndarray, body: Body, feature: np.ndarray) -> np.ndarray:
    """The region less what lies beside the body behind a soft edge: shadows have one, fins do not.

    The contrast across a sharp edge is there close by already; across a shadow's it grows with distance.
    """
    result = mask.copy()
    rows, columns = np.nonzero(mask)
    part = np.s_[max(0, rows.min() - 20) : rows.max() + 20, max(0, columns.min() - 20) : columns.max() + 20]
    mask, feature, near = mask[part], feature[part], body.near[part]
    label, _ = ndimage.label(mask & ~near)
    close, far = (_contrast(mask, feature, sigma) for sigma in (1.5, 6.0))
    rim = mask & ~ndimage.binary_erosion(mask)
    for number, box in enumerate(ndimage.find_objects(label), 1):
        piece = label[box] == number
        edge = piece & rim[box]
        if edge.any() and np.median(close[box][edge] / np.maximum(far[box][edge], 1e-6)) < 0.6:
            result[part][box] &= ~piece
    return result


def _contrast(mask: np.ndarray, feature: np.ndarray, sigma: float) -> np.ndarray:
    """(h, w) colour difference between the region's and the ground's means around each pixel."""
    means = []
    for part in (mask, ~mask):
        weight = part.astype(np.float32)
        total = cv2.GaussianBlur(feature * weight[..., None], (0, 0), sigma)
        means.append(total / np.maximum(cv2.GaussianBlur(weight, (0, 0), sigma), 1e-3)[..., None])
    away = means[0] - means[1]
    return np.sqrt(np.einsum("hwc,hwc->hw", away, away))


def _with_thin_ends(thin: np.ndarray, core: np.ndarray, axis: Axis, half: float) -> np.ndarray:
    """The core with the thin pieces that belong to it: those in line with the body (a nose tip, a fin seen
    edge-on) and corners of fins. Strings, and lines of the ground that meet the body's sides, do not."""
    label, count = ndimage.label(thin, structure=np.ones((3, 3)))
    if count == 0:
        return core
    y, x = np.nonzero(thin)
    off = np.abs(axis.along_across(np.stack([x, y], 1))[1])
    number = np.arange(1, count + 1)
    nearest = ndimage.minimum(off, label[y, x], number)
    farthest = ndimage.maximum(off, label[y, x], number)
    size = np.bincount(label.ravel(), minlength=count + 1)[1:]
    keep = (farthest < 0.95 * half) | ((nearest > 1.3 * half) & (size < 60))
    kept = np.concatenate([[False], keep])[label]
    return ndimage.binary_propagation(core, mask=core | kept, structure=np.ones((3, 3)))
