"""Where in the picture a row of evenly spaced graduations may run.

A row of ticks is, in a small block of the picture, one strong line in the spectrum: its direction is the ruler's, its
frequency the graduation's. Blocks that agree along their own direction make a row.
"""

from dataclasses import dataclass

import cv2
import numpy as np

BLOCK = 48  # pixels, side of a block
STRIDE = 24
LOW, HIGH = 1 / 9, 1 / 2.25  # cycles per pixel looked for on each level; coarser rows show on the next level
LEAST_SHARE = 0.12  # of a block's spectral power in that range, in one line


@dataclass(frozen=True)
class Row:
    """A row of ticks, roughly. centre, along: (2,) pixels of the full picture, unit vector; period_px at the centre;
    reach: (from, to) pixels along from the centre; drift: relative change of the frequency per pixel along."""

    centre: np.ndarray
    along: np.ndarray
    period_px: float
    reach: tuple[float, float]
    drift: float
    score: float


def find_rows(grey: np.ndarray, most: int = 12) -> list[Row]:
    """Candidate rows in grey (H, W) float32, best first."""
    rows, reduce = [], 1
    while min(grey.shape) / reduce > 4 * BLOCK and reduce <= 8:
        level = (
            grey
            if reduce == 1
            else cv2.resize(
                grey, (grey.shape[1] // reduce, grey.shape[0] // reduce), interpolation=cv2.INTER_AREA
            )
        )
        rows += _rows_of_level(level, reduce, most)
        reduce *= 2
    return sorted(rows, key=lambda row: -row.score)


def _blocks(level: np.ndarray):
    """Blocks with one strong spectral line: centres (n, 2), frequencies (n, 2) cycles per pixel, shares (n,)."""
    window = np.hanning(BLOCK).astype(np.float32)
    window = window[:, None] * window[None, :]
    fy = np.fft.fftfreq(BLOCK)[:, None]
    fx = np.fft.rfftfreq(BLOCK)[None, :]
    radius = np.hypot(fx, fy)
    ring = (radius >= LOW) & (radius <= HIGH)
    views = np.lib.stride_tricks.sliding_window_view(level, (BLOCK, BLOCK))[::STRIDE, ::STRIDE]
    centres, frequencies, shares = [], [], []
    for j in range(views.shape[0]):
        blocks = views[j]
        lively = blocks.std(axis=(1, 2)) > 0.008
        if not lively.any():
            continue
        blocks = blocks[lively] - blocks[lively].mean(axis=(1, 2), keepdims=True)
        power = np.abs(np.fft.rfft2(blocks * window)).astype(np.float32) ** 2 * ring
        total = power.sum(axis=(1, 2))
        best = power.reshape(len(power), -1).argmax(axis=1)
        rows, columns = np.divmod(best, power.shape[2])
        near_y = (rows[:, None] + np.arange(-1, 2)) % BLOCK
        near_x = np.clip(columns[:, None] + np.arange(-1, 2), 0, power.shape[2] - 1)
        patch = power[np.arange(len(power))[:, None, None], near_y[:, :, None], near_x[:, None, :]]
        weight = patch.sum(axis=(1, 2)) + 1e-12
        dy = (patch * np.arange(-1, 2)[None, :, None]).sum(axis=(1, 2)) / weight
        dx = (patch * np.arange(-1, 2)[None, None, :]).sum(axis=(1, 2)) / weight
        share = weight / (total + 1e-9)
        good = share > LEAST_SHARE
        x = np.flatnonzero(lively)[good] * STRIDE + (BLOCK - 1) / 2
        centres.append(np.column_stack([x, np.full(len(x), j * STRIDE + (BLOCK - 1) / 2)]))
        frequencies.append(np.column_stack([(columns + dx) / BLOCK, fy[rows, 0] + dy / BLOCK])[good])
        shares.append(share[good])
    if not centres:
        return np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0)
    return np.vstack(centres), np.vstack(frequencies), np.concatenate(shares)


def _rows_of_level(level: np.ndarray, reduce: int, most: int) -> list[Row]:
    centres, frequencies, shares = _blocks(level)
    left = shares.copy()
    rows = []
    for _ in range(most):
        found = None
        for seed in np.argsort(-left)[:24]:
            if left[seed] <= 0:
                break
            inside = _agreeing(seed, centres, frequencies) & (left > 0)
            score = _evenness(centres[inside], frequencies[seed]) * left[inside].sum()
            if inside.sum() >= 3 and (found is None or score > found[0]):
                found = (score, seed, inside)
        if found is None:
            break
        rows.append(_as_row(found[1], found[2], centres, frequencies, found[0], reduce))
        near = np.abs((centres - centres[found[1]]) @ _turned(_unit(frequencies[found[1]]))) < BLOCK / 2
        left[found[2] | (near & _agreeing(found[1], centres, frequencies, reach_px=BLOCK))] = 0
    return rows


def _unit(vector: np.ndarray) -> np.ndarray:
    return vector / np.maximum(np.linalg.norm(vector, axis=-1, keepdims=True), 1e-12)


def _turned(along: np.ndarray) -> np.ndarray:
    return np.array([-along[1], along[0]])


def _agreeing(seed: int, centres, frequencies, reach_px: float = 0.45 * BLOCK) -> np.ndarray:
    """Blocks on the seed's own line with nearly its frequency (it drifts with foreshortening)."""
    own = frequencies[seed]
    along = _unit(own)
    offset = centres - centres[seed]
    sign = np.sign(frequencies @ own)[:, None]
    alike = np.linalg.norm(frequencies * sign - own, axis=1) < 0.12 * np.linalg.norm(own)
    across = np.abs(offset @ _turned(along))
    return alike & (across < reach_px + 0.03 * np.abs(offset @ along))


def _evenness(centres: np.ndarray, frequency: np.ndarray) -> float:
    """Share of a row's length that has blocks: a row is unbroken, chance agreements are scattered."""
    along = np.sort(centres @ _unit(frequency))
    if len(along) < 3:
        return 0.0
    filled = len(np.unique((along / STRIDE).round()))
    return filled / ((along[-1] - along[0]) / STRIDE + 1)


def _as_row(seed, inside, centres, frequencies, score, reduce) -> Row:
    points = centres[inside]
    own = frequencies[seed]
    values = frequencies[inside] * np.sign(frequencies[inside] @ own)[:, None]
    centre = points.mean(axis=0)
    spread = points - centre
    along = _unit(own)
    if len(points) >= 5:
        main = np.linalg.svd(spread, full_matrices=False)[2][0]
        along = main * np.sign(main @ own)
    s = spread @ along
    magnitude = np.linalg.norm(values, axis=1)
    drift = 0.0
    if len(points) >= 6 and np.ptp(s) > 4 * BLOCK:
        slope, middle = np.polyfit(s, magnitude, 1)
        drift = slope / middle
    full = centre * reduce + (reduce - 1) / 2
    return Row(
        centre=full,
        along=along,
        period_px=float(reduce / np.median(magnitude)),
        reach=(float(s.min() - STRIDE) * reduce, float(s.max() + STRIDE) * reduce),
        drift=float(drift / reduce),
        score=float(score),
    )
