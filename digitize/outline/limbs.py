"""The body's two limbs as one half-width along the axis: both sides must agree, so one weak side is carried.

The picture is unrolled into a strip along the axis; a path r(s) through it is chosen by dynamic programming that
gathers edge strength at +r and -r together and figure evidence between them.
"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from digitize.outline.axis import Axis, moved_to
from digitize.photo.sampling import sampled


@dataclass(frozen=True)
class Limbs:
    """Half-width of the body along the axis. along_px: (n,); half_px: (n,), 0 where there is no body."""

    along_px: np.ndarray
    half_px: np.ndarray


def unroll(image: np.ndarray, axis: Axis, along: np.ndarray, across: np.ndarray, outside=0.0) -> np.ndarray:
    """(len(along), len(across), ...) samples of an image in the axis' own coordinates."""
    normal = np.array([-axis.direction[1], axis.direction[0]])
    at = axis.origin_px + along[:, None, None] * axis.direction + across[None, :, None] * normal
    return sampled(image, at[..., 0], at[..., 1], outside)


def find_limbs(
    feature: np.ndarray, evidence: np.ndarray, axis: Axis, span: tuple[float, float], widest: float
) -> Limbs:
    """feature: (H, W, 3) colour features; evidence: (H, W) float, positive for figure; span: along the axis, pixels;
    widest: the greatest half-width to look at."""
    along = np.arange(np.floor(span[0] - widest), np.ceil(span[1] + widest) + 1)
    half = np.arange(0, np.ceil(widest) + 1)
    across = np.arange(-half[-1] - 3, half[-1] + 4)
    step = _steps(feature, axis, along, across)
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


def _steps(feature: np.ndarray, axis: Axis, along: np.ndarray, across: np.ndarray) -> np.ndarray:
    """(len(along), len(across)) colour step across the axis, 1 for a strong one."""
    strip = gaussian_filter1d(unroll(feature, axis, along, across), 2.0, axis=0)
    step = np.zeros(strip.shape[:2])
    step[:, 2:-2] = np.linalg.norm(strip[:, 4:] - strip[:, :-4], axis=2)
    return np.minimum(step / max(1e-6, np.quantile(step, 0.9)), 1.0)


def centred_axis(feature: np.ndarray, axis: Axis, limbs: Limbs) -> Axis:
    """The line half way between the edges next to the two limbs: what symmetry alone leaves open by a pixel or
    two is settled by where the edges are."""
    there = limbs.half_px > 3
    if there.sum() < 20:
        return axis
    along, half = limbs.along_px[there], limbs.half_px[there]
    reach = np.arange(-4, 5)
    across = np.arange(-half.max() - 8, half.max() + 9)
    step = _steps(feature, axis, along, across) ** 2
    rows = np.arange(len(along))[:, None]
    place = []
    for side in (-1, 1):
        columns = np.round(side * half - across[0]).astype(int)[:, None] + reach
        weight = step[rows, columns] + 1e-9
        place.append(side * half + (weight * reach).sum(1) / weight.sum(1))
    return moved_to(axis, along, (place[0] + place[1]) / 2)


def _best_path(gain: np.ndarray, bend_cost: float, most: int = 2, end_cost: float = 6.0) -> np.ndarray:
    """(n,) column of each row with the greatest total gain, moving at most `most` columns a row; -1 off the path.

    The path is one stretch of rows: it may begin and end anywhere at any column, at end_cost each.
    """
    rows, width = gain.shape
    here = np.arange(width)
    moves = np.arange(-most, most + 1)
    bends = (bend_cost * np.abs(moves))[:, None]
    padded = np.full(width + 2 * most, -np.inf)
    options = np.lib.stride_tricks.sliding_window_view(padded, width)[::-1]  # row k: having moved by moves[k]
    score = gain[0] - end_cost
    back = np.full((rows, width), -1)
    best_end, end_row, end_column = score.max(), 0, int(score.argmax())
    for k in range(1, rows):
        padded[most:-most] = score
        reached = options - bends
        best = reached.argmax(0)
        reached = reached[best, here]
        begins = reached < -end_cost
        back[k] = np.where(begins, -1, here - moves[best])
        score = np.where(begins, -end_cost, reached) + gain[k]
        top = int(score.argmax())
        if score[top] > best_end:
            best_end, end_row, end_column = score[top], k, top
    path = np.full(rows, -1)
    row, column = end_row, end_column
    while column >= 0:
        path[row] = column
        column = back[row, column]
        row -= 1
    return path


def axis_grid(axis: Axis, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """(H, W) distance along the axis, and unsigned distance from it, of every pixel."""
    x = np.arange(shape[1], dtype=np.float32)[None] - np.float32(axis.origin_px[0])
    y = np.arange(shape[0], dtype=np.float32)[:, None] - np.float32(axis.origin_px[1])
    u, v = (np.float32(d) for d in axis.direction)
    return u * x + v * y, np.abs(u * y - v * x)


def between(
    limbs: Limbs, half_px: np.ndarray, grid: tuple[np.ndarray, np.ndarray], beyond: float = 0.0
) -> np.ndarray:
    """(H, W) bool: within half_px (one for each station of limbs) of the axis; `beyond` the last stations."""
    along, across = grid
    station = np.clip(np.round(along - limbs.along_px[0]).astype(np.int32) + 1, 0, len(half_px) + 1)
    return across < np.concatenate([[beyond], half_px, [beyond]]).astype(np.float32)[station]


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
    middle, tilt = _best_line(gaussian_filter1d(mirrored, 1.0, axis=1)[::2], along[::2])
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
    reach = np.ptp(along)
    shifts = np.arange(score.shape[1])
    best = (-np.inf, 0.0, 0.0)
    for spacing, around in ((2.0 / reach, 0.0), (0.25 / reach, None)):
        tilts = (best[2] if around is None else around) + spacing * np.arange(-20, 21)
        for tilt in tilts:
            column = np.round(2 * tilt * arm).astype(int)[:, None] + shifts
            legal = (column >= 0) & (column < score.shape[1])
            total = np.where(legal, score[np.arange(len(along))[:, None], column * legal], 0).sum(0)
            k = int(total.argmax())
            if total[k] > best[0]:
                best = (float(total[k]), (k - (score.shape[1] - 1) / 2) / 2, float(tilt))
    return best[1], best[2]
