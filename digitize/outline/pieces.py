"""Which pieces of a figure are the rocket: no strings, lines of the ground, soft shadows or specks."""

import cv2
import numpy as np
from scipy import ndimage

from digitize.errors import OutlineRefusal
from digitize.outline.advice import ADVICE
from digitize.outline.axis import Axis, Slices, body_axis, slice_region
from digitize.outline.body import Body

_DISC = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
# Beside the body: what stands up less, in half-widths, is a lug, a line of the ground or a shade; no fin is
# smaller, in squares of the half-width.
_LOW_PIECE = 0.2
_SMALL_PIECE = 0.5
# A crumb is about as wide as a patch; its ground and its fin are several steps of colour apart.
_CRUMB_PX = 8
_CRUMB_STEP = 4.0
_CRUMB_SHARE = 0.35


def first_region(figure: np.ndarray, contrast: np.ndarray) -> np.ndarray:
    """(h, w) bool: the piece of the figure most like a rocket, with what lies in line with it, holes filled.

    contrast: (h, w) unlikeness to the ground over the threshold figure was found with. The figure is also looked
    at above twice and four times that threshold, where shadows no longer join the rocket to its neighbours.
    """
    best, best_score = None, 0.0
    for level in (1, 2, 4):
        best_score *= 1.15  # a higher threshold loses dark or pale paint: it must be clearly better
        solid = ndimage.binary_fill_holes(figure & (contrast > level))
        opened = cv2.morphologyEx(solid.astype(np.uint8), cv2.MORPH_OPEN, _DISC)
        label, count = ndimage.label(opened)
        area = np.bincount(label.ravel(), minlength=count + 1)[1:]
        for number in np.argsort(-area, kind="stable")[:3] + 1:
            if area[number - 1] < 0.1 * area.max() or area[number - 1] < 100:
                continue
            piece = _with_pieces_in_line(label, int(number))
            score = rocket_likeness(piece)
            if score > best_score:
                best, best_score = (piece, solid & ~opened.astype(bool)), score
    if best is None:
        return np.zeros_like(figure)
    core, thin = best
    axis = body_axis(core)
    return _with_thin_ends(thin, core, axis, float(np.median(slice_region(core, axis).half_width_px)))


def rocket_likeness(piece: np.ndarray) -> float:
    """A score for choosing among pieces: long, slender, mirrored about its axis where it is no wider than usual
    (a shadow along one side spoils that, fins do not), no plain bar, off the frame."""
    if not piece.any():
        return 0.0
    slices = slice_region(piece, body_axis(piece))
    half = np.median(slices.half_width_px)
    plain = slices.half_width_px < 1.3 * half
    even = np.abs(slices.low_px + slices.high_px) / 2 < 0.2 * half + 1
    mirrored = np.mean(even[plain])
    length = np.ptp(slices.along_px)
    slender = np.clip(length / (2 * half) / 5, 0.05, 1)
    rows, columns = np.nonzero(piece)
    (_, (width, height), _) = cv2.minAreaRect(np.stack([columns, rows], 1).astype(np.float32))
    bar = 0.2 if len(rows) > 0.88 * (width + 1) * (height + 1) else 1.0
    rim = piece[0].any() + piece[-1].any() + piece[:, 0].any() + piece[:, -1].any()
    return float(length * mirrored**3 * min(1.0, 2 * np.mean(plain)) * slender * bar * 0.5**rim)


def with_body(figure: np.ndarray, evidence: np.ndarray, body: Body, feature: np.ndarray) -> np.ndarray:
    """(h, w) bool: the body, and the pieces of the figure attached to it that can be fins."""
    if not (figure & body.core).any():
        raise OutlineRefusal("What stands out from the ground has no body a rocket could have", ADVICE)
    # Beside the body a patch must speak for itself: what only its neighbours make figure is shadow or ground.
    figure = figure & (body.near | (evidence > 0))
    closed = cv2.morphologyEx((figure | body.mask).astype(np.uint8), cv2.MORPH_CLOSE, _DISC)
    solid = without_soft_pieces(ndimage.binary_fill_holes(closed), body, feature)
    opened = cv2.morphologyEx(solid.astype(np.uint8), cv2.MORPH_OPEN, _DISC).astype(bool)
    core = _without_low_pieces(opened, evidence, body) | (body.mask & solid)
    label, _ = ndimage.label(core)
    area = np.bincount(label[body.core & core], minlength=2)
    area[0] = 0
    main = label == area.argmax()
    return _with_thin_ends(solid & ~core & (evidence > 0.3), main, body.axis, body.half_px)


def _without_low_pieces(mask: np.ndarray, evidence: np.ndarray, body: Body) -> np.ndarray:
    """The region less what stands up only a little from the body, where the limbs have the last word, and less
    pieces with little to say for themselves."""
    label, _ = ndimage.label(mask & ~body.near)
    away = ndimage.distance_transform_cdt(~body.near)
    high = np.zeros_like(mask)
    for number, box in enumerate(ndimage.find_objects(label), 1):
        piece = label[box] == number
        tall = away[box][piece].max() >= max(4, _LOW_PIECE * body.half_px)
        if tall and piece.sum() > _SMALL_PIECE * body.half_px**2 and evidence[box][piece].mean() > 0.2:
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

    The contrast across a sharp edge is all there within a few pixels; across a shadow's it grows with distance.
    """
    result = mask.copy()
    rows, columns = np.nonzero(mask)
    part = np.s_[max(0, rows.min() - 20) : rows.max() + 20, max(0, columns.min() - 20) : columns.max() + 20]
    mask, feature, near = mask[part], feature[part], body.near[part]
    label, _ = ndimage.label(mask & ~near)
    sharp, far = _steepest(feature), _contrast(mask, feature, 6.0)
    rim = mask & ~ndimage.binary_erosion(mask)
    for number, box in enumerate(ndimage.find_objects(label), 1):
        piece = label[box] == number
        edge = piece & rim[box]
        if edge.any() and np.median(sharp[box][edge] / np.maximum(far[box][edge], 1e-6)) < 0.45:
            result[part][box] &= ~piece
    return result


def without_crumbs(mask: np.ndarray, body: Body, feature: np.ndarray) -> np.ndarray:
    """The region less what clings to a fin's border but has the ground's colour there: patches that the blur of the
    edge joined to the fin. Each pixel of the border is held against the ground's colour around it and the fin's further
    in."""
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * _CRUMB_PX + 1,) * 2)
    bytes_ = mask.astype(np.uint8)
    inside, outside = cv2.erode(bytes_, disc), 1 - cv2.dilate(bytes_, disc)
    means, weights = [], []
    for part in (inside, outside):
        weight = cv2.GaussianBlur(part.astype(np.float32), (0, 0), 1.5 * _CRUMB_PX)
        total = cv2.GaussianBlur(feature * part[..., None].astype(np.float32), (0, 0), 1.5 * _CRUMB_PX)
        means.append(total / np.maximum(weight, 1e-3)[..., None])
        weights.append(weight)
    fin, ground = means
    apart, off = (np.sqrt(np.einsum("hwc,hwc->hw", d, d)) for d in (fin - ground, feature - ground))
    told_apart = (np.minimum(*weights) > 0.02) & (apart > _CRUMB_STEP)
    crumb = mask & (inside == 0) & ~body.near & told_apart & (off < _CRUMB_SHARE * apart)
    crumb = cv2.morphologyEx(crumb.astype(np.uint8), cv2.MORPH_OPEN, _DISC).astype(bool)
    return mask & ~crumb


def _steepest(feature: np.ndarray) -> np.ndarray:
    """(h, w) greatest colour step over four pixels, near each pixel."""
    smooth = cv2.GaussianBlur(feature, (0, 0), 1.0)
    padded = cv2.copyMakeBorder(smooth, 2, 2, 2, 2, cv2.BORDER_REPLICATE)
    across = padded[2:-2, 4:] - padded[2:-2, :-4]
    down = padded[4:, 2:-2] - padded[:-4, 2:-2]
    step = np.maximum(*(np.einsum("hwc,hwc->hw", d, d) for d in (across, down)))
    return np.sqrt(cv2.dilate(step, np.ones((9, 9), np.uint8)))


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
