"""Where the rocket is: one elongated region, to a pixel or two, at a reduced size."""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy import ndimage

from digitize.errors import OutlineRefusal
from digitize.outline.axis import Axis, Slices, body_axis, slice_region
from digitize.outline.cut import minimum_cut
from digitize.outline.ground import frame_patches, plain_distance, shaded_distance, thin_out, unlike_ground
from digitize.outline.limbs import Limbs, find_limbs, limb_mask, symmetric_axis
from digitize.outline.patches import Patches, colour_features, cut_into_patches

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
    feature = colour_features(small)
    patches = cut_into_patches(feature)
    cover = np.zeros(small.shape[:2], np.uint8)
    for polygon in excluded_px:
        cv2.fillPoly(cover, [np.round((polygon + 0.5) * scale - 0.5).astype(np.int32)], 1)
    excluded = patches.mean(cv2.dilate(cover, np.ones((9, 9), np.uint8))) > 0.3
    first = first_guess(patches, excluded)
    mask = rocket_like(first.figure[patches.label])
    for _ in range(2):
        body = find_body(feature, first.evidence[patches.label], mask)
        first = second_look(patches, first, body, mask, excluded)
        mask = rocket_like(without_soft_pieces(first.figure[patches.label] | body.mask, body, feature))
    rim = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    return Region(mask, scale, bool(rim.any()))


@dataclass(frozen=True)
class Guess:
    """figure: (n,) bool per patch; sure: (n,) bool, far from the ground's colours; edge_step: see minimum_cut."""

    figure: np.ndarray
    sure: np.ndarray
    edge_step: float
    evidence: np.ndarray
    unlike: np.ndarray


def first_guess(patches: Patches, excluded: np.ndarray) -> Guess:
    """Figure is what differs from the ground seen along the frame."""
    frame = frame_patches(patches, excluded)
    unlike = unlike_ground(patches, frame)
    usual = max(0.25, float(np.percentile(unlike[frame], 99)))
    foreign = unlike[(unlike > 3 * usual) & ~excluded]
    if len(foreign) < 10:
        raise OutlineRefusal(
            "Nothing in the picture stands out from the ground",
            "Photograph the rocket on a plain ground of another colour, filling most of the frame",
        )
    threshold = float(np.sqrt(2 * usual * np.median(foreign)))
    evidence = np.clip(np.log(unlike / threshold + 1e-6), -1, 1)
    evidence[excluded] = -1
    steady = patches.step[frame[patches.pairs].all(1)]
    edge_step = max(2.0, 3 * float(np.median(steady)))
    figure = minimum_cut(patches, evidence, 2.0, edge_step)
    return Guess(figure, figure & (unlike > 1.2 * threshold), edge_step, evidence, unlike)


@dataclass(frozen=True)
class Body:
    """axis, limbs: of the body; mask: (H, W) bool within them; core: (H, W) bool well within them."""

    axis: Axis
    limbs: Limbs
    half_px: float
    mask: np.ndarray
    core: np.ndarray


def find_body(feature: np.ndarray, evidence: np.ndarray, mask: np.ndarray) -> Body:
    """The body between its limbs, from a first region that may have gaps, fins and shadows."""
    axis = body_axis(mask)
    slices = slice_region(mask, axis)
    half = float(np.median(slices.half_width_px))
    span = (slices.along_px[0], slices.along_px[-1])
    axis = symmetric_axis(feature, evidence, axis, span, 2.5 * half)
    along, across = axis.along_across(np.argwhere(mask)[:, ::-1])
    span = (along.min(), along.max())
    limbs = find_limbs(feature, evidence, axis, span, 1.5 * half)
    usual = float(np.percentile(limbs.half_px[limbs.half_px > 0], 60)) if limbs.half_px.any() else half
    if half > 1.15 * usual:
        limbs = find_limbs(feature, evidence, axis, span, 1.5 * usual)
    limbs = _trimmed(limbs, along, across)
    limited = Limbs(limbs.along_px, np.minimum(limbs.half_px, 1.02 * usual))
    return Body(
        axis, limbs, usual, limb_mask(limited, axis, mask.shape), limb_mask(limbs, axis, mask.shape, 0.7)
    )


def _trimmed(limbs: Limbs, along: np.ndarray, across: np.ndarray) -> Limbs:
    """Limbs only as far as the region (its pixels' coordinates given) fills at least half the width between."""
    station = np.round(along - limbs.along_px[0]).astype(int)
    count = len(limbs.along_px)
    legal = (station >= 0) & (station < count)
    inside = legal & (np.abs(across) < limbs.half_px[np.clip(station, 0, count - 1)])
    filled = np.bincount(station[inside], minlength=count) > limbs.half_px
    filled &= limbs.half_px > 0
    if not filled.any():
        return limbs
    first, last = np.flatnonzero(filled)[[0, -1]]
    keep = (np.arange(count) >= first) & (np.arange(count) <= last)
    return Limbs(limbs.along_px, np.where(keep, limbs.half_px, 0))


def second_look(patches: Patches, first: Guess, body: Body, mask: np.ndarray, excluded: np.ndarray) -> Guess:
    """Figure told from the rocket's own colours at the same place along its axis, and the ground's near by.

    Only patches near the body are judged; the others are ground.
    """
    along, across = body.axis.along_across(patches.centre_px)
    length = np.ptp(body.limbs.along_px)
    core = patches.mean(body.core) > 0.5
    inside = patches.mean(mask) > 0.5
    strange = first.unlike > min(3.0, 0.35 * np.median(first.unlike[core])) if core.any() else first.sure
    known_figure = (inside & first.sure & strange) | core
    known_ground = ~inside & ~first.figure & ~core
    near = np.abs(across) < 8 * body.half_px
    near &= (along > body.limbs.along_px[0] - 2 * body.half_px) & (
        along < body.limbs.along_px[-1] + 2 * body.half_px
    )
    judged = np.flatnonzero(near & ~excluded)
    figure = thin_out(np.flatnonzero(known_figure & ~excluded), 1500)
    ground = thin_out(np.flatnonzero(known_ground & near & ~excluded), 1500)
    evidence = np.full(len(along), -1.0)
    if len(ground) > 10 and len(judged):
        banded = np.column_stack([patches.features, along / (0.05 * length)])
        to_figure = plain_distance(banded[judged], banded[figure])
        to_ground = shaded_distance(patches.features[judged], patches.features[ground])
        place = patches.centre_px / (0.15 * max(patches.label.shape))
        to_ground = np.hypot(to_ground, plain_distance(place[judged], place[ground]))
        ratio = (_few_nearest(to_ground, judged, ground) + 0.3) / (
            _few_nearest(to_figure, judged, figure) + 0.3
        )
        evidence[judged] = np.clip(np.log(ratio), -1, 1)
    chosen = minimum_cut(patches, np.where(core, 3, evidence), 2.0, first.edge_step)
    return Guess(chosen, first.sure, first.edge_step, evidence, first.unlike)


def without_soft_pieces(mask: np.ndarray, body: Body, feature: np.ndarray) -> np.ndarray:
    """The region less what lies beside the body behind a soft edge: shadows have one, fins do not.

    The contrast across a sharp edge is there close by already; across a shadow's it grows with distance.
    """
    wide = Limbs(body.limbs.along_px, np.where(body.limbs.half_px > 0, body.limbs.half_px + 2, 0))
    label, count = ndimage.label(mask & ~limb_mask(wide, body.axis, mask.shape))
    result = mask.copy()
    close, far = (_contrast(mask, feature, sigma) for sigma in (1.5, 6.0))
    rim = mask & ~ndimage.binary_erosion(mask)
    for number, box in enumerate(ndimage.find_objects(label), 1):
        piece = label[box] == number
        edge = piece & rim[box]
        if edge.any() and np.median(close[box][edge] / np.maximum(far[box][edge], 1e-6)) < 0.6:
            result[box] &= ~piece
    return result


def _contrast(mask: np.ndarray, feature: np.ndarray, sigma: float) -> np.ndarray:
    """(H, W) colour difference between the region's and the ground's means around each pixel."""
    means = []
    for part in (mask, ~mask):
        weight = part.astype(np.float32)
        total = cv2.GaussianBlur(feature * weight[..., None], (0, 0), sigma)
        means.append(total / np.maximum(cv2.GaussianBlur(weight, (0, 0), sigma), 1e-3)[..., None])
    return np.linalg.norm(means[0] - means[1], axis=2)


def _few_nearest(distance: np.ndarray, row: np.ndarray, column: np.ndarray, few: int = 4) -> np.ndarray:
    """Mean of the few smallest in each row, a patch's distance to itself not counted."""
    distance = np.where(row[:, None] == column[None], np.inf, distance)
    few = min(few, distance.shape[1] - 1)
    return np.partition(distance, few - 1, axis=1)[:, :few].mean(1)


def rocket_like(mask: np.ndarray) -> np.ndarray:
    """The elongated component and what lies in line with it, holes filled, without strings and specks."""
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
    core = _with_pieces_in_line(label, int(area.argmax()))
    thin = solid & ~opened.astype(bool)
    return ndimage.binary_propagation(core, mask=core | _ends(thin, core))


def _with_pieces_in_line(label: np.ndarray, main: int) -> np.ndarray:
    """The main piece and those beyond a band of the ground's own colour: on the same axis and about as wide."""
    core = label == main
    for _ in range(3):
        axis = body_axis(core)
        slices = slice_region(core, axis)
        half = np.median(slices.half_width_px)
        joined = core.copy()
        for number in range(1, label.max() + 1):
            piece = label == number
            if (core & piece).any() or piece.sum() < half * half:
                continue
            y, x = np.nonzero(piece)
            along, across = axis.along_across(np.stack([x, y], 1))
            on_axis = np.abs(across) < half
            gap = (
                max(along[on_axis].min() - slices.along_px[-1], slices.along_px[0] - along[on_axis].max())
                if on_axis.any()
                else np.inf
            )
            if gap < 4 * half and on_axis.mean() > 0.3:
                joined |= piece | _bridge(core.shape, axis, slices, along[on_axis], half)
        if (joined == core).all():
            break
        core = joined
    return core


def _bridge(shape, axis: Axis, slices: Slices, along: np.ndarray, half: float) -> np.ndarray:
    """The body's width along the axis, across the gap between the region sliced and a piece at `along`."""
    ends = (
        (slices.along_px[-1], along.min())
        if along.min() > slices.along_px[-1]
        else (along.max(), slices.along_px[0])
    )
    across = np.array([-axis.direction[1], axis.direction[0]])
    corners = [
        axis.origin_px + s * axis.direction + t * half * across
        for s, t in ((ends[0] - 2, -0.8), (ends[1] + 2, -0.8), (ends[1] + 2, 0.8), (ends[0] - 2, 0.8))
    ]
    bridge = np.zeros(shape, np.uint8)
    cv2.fillPoly(bridge, [np.round(corners).astype(np.int32)], 1)
    return bridge.astype(bool)


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
