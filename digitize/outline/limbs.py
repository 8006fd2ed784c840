"""The body's two limbs as one half-width along the axis: both sides must agree, so one weak side is carried.

The picture is unrolled into a strip along the axis; a path r(s) through it is chosen by dynamic programming that
gathers edge strength at +r and -r together and figure evidence between them.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter1d

from digitize.outline.axis import Axis


@dataclass(frozen=True)
class Limbs:
    """Half-width of the body along the axis. along_px: (n,); half_px: (n,), 0 where there is no body."""

    along_px: np.ndarray
    half_px: np.ndarray


def unroll(image: np.ndarray, axis: Axis, along: np.ndarray, across: np.ndarray, outside=0.0) -> np.ndarray:
    """(len(along), len(across), ...) samples of an image in the axis' own coordinates."""
    normal = np.array([-axis.direction[1], axis.direction[0]])
    at = axis.origin_px + along[:, None, None] * axis.direction + across[None, :, None] * normal
    x, y = (np.ascontiguousarray(at[..., k], np.float32) for k in (0, 1))
    return cv2.remap(
        image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(outside,) * 4
    )


def find_limbs(
    feature: np.ndarray, evidence: np.ndarray, axis: Axis, span: tuple[float, float], widest: float
) -> Limbs:
    """feature: (H, W, 3) colour features; evidence: (H, W) float, positive for figure; span: along the axis, pixels;
    widest: the greatest half-width to look at."""
    along = np.arange(np.floor(span[0] - widest), np.ceil(span[1] + widest) + 1)
    half = np.arange(0, np.ceil(widest) + 1)
    across = np.arange(-half[-1] - 3, half[-1] + 4)
    strip = unroll(feature, axis, along, across)
    strip = gaussian_filter1d(strip, 2.0, axis=0)
    step = np.zeros(strip.shape[:2])
    step[:, 2:-2] = np.linalg.norm(strip[:, 4:] - strip[:, :-4], axis=2)
    step = np.minimum(step / max(1e-6, np.quantile(step, 0.9)), 1.0)
    figure = unroll(evidence.astype(np.float32), axis, along, across, outside=-1.0)
    centre = len(across) // 2
    column = half.astype(int)
    edge = step[:, centre + column] + step[:, centre - column]
    both = figure[:, centre + column] + figure[:, centre - column]
    inside = np.cumsum(both, axis=1)
    # Evidence per pixel of width, so that a wide body does not drown its own edges.
    # Less what the ground beyond the ends offers, so that the path ends where the body does.
    beyond = int(widest / 2)
    ground_edge = max(0.8, float(np.quantile(np.concatenate([edge[:beyond], edge[-beyond:]]), 0.8)))
    gain = 2.0 * (edge - ground_edge) + 2.0 * inside / (0.25 * len(half))
    path = _best_path(gain, 2.0)
    return Limbs(along, np.where(path < 0, 0.0, half[path]))


def _best_path(gain: np.ndarray, bend_cost: float, most: int = 2, end_cost: float = 6.0) -> np.ndarray:
    """(n,) column of each row with the greatest total gain, moving at most `most` columns a row; -1 off the path.

    The path is one stretch of rows: it may begin and end anywhere at any column, at end_cost each.
    """
    rows, width = gain.shape
    here = np.arange(width)
    moves = np.arange(-most, most + 1)
    score = gain[0] - end_cost
    back = np.full((rows, width), -1)
    best_end, end_row, end_column = score.max(), 0, int(score.argmax())
    for k in range(1, rows):
        padded = np.pad(score, most, constant_values=-np.inf)
        options = np.stack([padded[most - m : most - m + width] - bend_cost * abs(m) for m in moves])
        best = options.argmax(0)
        reached = options[best, here]
        begins = reached < -end_cost
        back[k] = np.where(begins, -1, here - moves[best])
        score = np.where(begins, -end_cost, reached) + gain[k]
        if score.max() > best_end:
            best_end, end_row, end_column = score.max(), k, int(score.argmax())
    path = np.full(rows, -1)
    row, column = end_row, end_column
    while column >= 0:
        path[row] = column
        column = back[row, column]
        row -= 1
    return path


def limb_mask(limbs: Limbs, axis: Axis, shape: tuple[int, int], share: float = 1.0) -> np.ndarray:
    """(H, W) bool: within `share` of the half-width of the axis."""
    rows, columns = np.indices(shape)
    along, across = axis.along_across(np.stack([columns, rows], -1))
    width = np.interp(along, limbs.along_px, limbs.half_px, left=0.0, right=0.0)
    return np.abs(across) < share * width


def symmetric_axis(
    feature: np.ndarray, evidence: np.ndarray, axis: Axis, span: tuple[float, float], reach: float
) -> Axis:
    """The line about which edges mirror best, near `axis`.

    In each slice the colour slope is correlated with its own mirror image about every possible middle; the
    line through those middles that gathers most wins (a Hough transform on two parameters). Shadows and single
    fins have no partner on the other side and say nothing.
    """
    along = np.arange(np.floor(span[0]), np.ceil(span[1]) + 1)
    across = np.arange(-np.ceil(reach), np.ceil(reach) + 1)
    colour = _capped_slope(unroll(feature, axis, along, across))
    figure = _capped_slope(unroll(evidence.astype(np.float32), axis, along, across, -1.0)[..., None])
    slope = np.concatenate([colour, 2 * figure], axis=2)
    length = 2 * len(across)
    spectrum = np.fft.rfft(slope, length, axis=1)
    mirrored = -np.fft.irfft((spectrum**2).sum(2), length, axis=1)[:, : 2 * len(across) - 1]
    mirrored = np.maximum(mirrored, 0)
    mirrored = np.minimum(mirrored, 2 * np.median(mirrored.max(1)))  # no slice may shout the others down
    middle, tilt = _best_line(gaussian_filter1d(mirrored, 1.0, axis=1), along)
    normal = np.array([-axis.direction[1], axis.direction[0]])
    centre = along.mean()
    origin = axis.origin_px + centre * axis.direction + middle * normal
    direction = axis.direction + tilt * normal
    return Axis(origin, direction / np.linalg.norm(direction))


def _capped_slope(strip: np.ndarray) -> np.ndarray:
    """Slope across the axis, its size brought below 1 so that a weak limb counts beside a strong one."""
    strip = gaussian_filter1d(strip, 2.0, axis=0)
    slope = np.zeros_like(strip)
    slope[:, 2:-2] = strip[:, 4:] - strip[:, :-4]
    size = np.linalg.norm(slope, axis=2, keepdims=True)
    cap = max(float(np.quantile(size, 0.9)), 1e-6)
    return slope / np.maximum(size, cap)


def _best_line(score: np.ndarray, along: np.ndarray) -> tuple[float, float]:
    """score: (n, 2m-1), column k is the middle (k - (m-1)) / 2 pixels from the axis. Best middle at the centre of
    `along`, and slope."""
    arm = along - along.mean()
    shifts = np.arange(score.shape[1])
    best = (-np.inf, 0.0, 0.0)
    for spacing, around in ((2.0 / len(along), 0.0), (0.25 / len(along), None)):
        tilts = (best[2] if around is None else around) + spacing * np.arange(-20, 21)
        for tilt in tilts:
            column = np.round(2 * tilt * arm).astype(int)[:, None] + shifts
            legal = (column >= 0) & (column < score.shape[1])
            total = np.where(legal, score[np.arange(len(along))[:, None], column * legal], 0).sum(0)
            k = int(total.argmax())
            if total[k] > best[0]:
                best = (float(total[k]), (k - (score.shape[1] - 1) / 2) / 2, float(tilt))
    return best[1], best[2]
