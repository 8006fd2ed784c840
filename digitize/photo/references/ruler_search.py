"""Where in the picture a row of evenly spaced graduations may run.

A row of ticks is, in a small block of the picture, one strong line in the spectrum: its direction is the
ruler's, its frequency the graduation's. Blocks that agree along their own direction make a row.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from .grey_levels import GreyLevels

BLOCK = 48  # pixels, side of a block
STRIDE = 24
"""Pixels from block to block: half a block, so that no stretch of a row falls between two."""
LOW, HIGH = 1 / 9, 1 / 2.25  # cycles per pixel looked for on each level; coarser rows show on the next level
COARSEST = 8  # level looked at, in pixels of the picture a pixel
ROWS_OF_LEVEL = 12
"""Rows kept of each level, the strongest: by eye, for speed."""
NEAR_CELLS = 3.2  # from block to block, where one supports another
SECTORS = 36  # of direction, in half a turn
LEAST_DEVIATION = 0.006  # of a block's values; less is noise
LEAST_SHARE = 0.15  # of a block's spectral power in that range, in one line


@dataclass(frozen=True)
class Row:
    """A row of ticks, roughly. centre, along: (2,) pixels of the full picture, unit vector; period_px at the
    centre.

    reach: (from, to) pixels along from the centre; drift: relative change of the frequency per pixel along;
    half_px: how far across from the centre to look, None when only the period can tell.
    """

    centre: np.ndarray
    along: np.ndarray
    period_px: float
    reach: tuple[float, float]
    drift: float
    score: float
    half_px: float | None = None


def coarse_rows(grey: GreyLevels) -> list[Row]:
    """Candidate rows in a picture, best first, but for rows so fine that only the full picture shows them."""
    rows, reduce = [], 2
    while _holds_blocks(grey, reduce) and reduce <= COARSEST:
        rows += _rows_of_level(grey.level(reduce), reduce)
        reduce *= 2
    return _best_first(rows)


def all_rows(grey: GreyLevels, coarse: list[Row]) -> list[Row]:
    """The same with the full picture's: of the work, three quarters."""
    return _best_first([*coarse, *(_rows_of_level(grey.level(1), 1) if _holds_blocks(grey, 1) else [])])


def _holds_blocks(grey: GreyLevels, reduce: int) -> bool:
    return min(grey.shape) / reduce > 4 * BLOCK


def _best_first(rows: list[Row]) -> list[Row]:
    return sorted(rows, key=lambda row: -row.score)


class _Spectrum:
    """What every block's spectrum is judged with: waves, frequencies, the ring looked at, sectors of direction.

    Only the ring is wanted, a third of a spectrum. So the transform is four products with matrices of cosines and
    sines about the block's centre; the rows' part is shared by all blocks that lie beside each other.
    """

    def __init__(self):
        highest = int(HIGH * BLOCK) + 1  # of the bins; a rim of nothing round the ring, for the line's neighbours
        across = np.arange(highest + 1)
        along = np.concatenate([across, np.arange(-highest, 0)])
        place = np.arange(BLOCK // 2) - (BLOCK - 1) / 2
        phase = 2 * np.pi / BLOCK * across[:, None] * place
        half_window = np.hanning(BLOCK)[: BLOCK // 2]
        self.cosine = (half_window * np.cos(phase)).astype(np.float32)  # (bins, BLOCK / 2)
        self.sine = (half_window * np.sin(phase)).astype(np.float32)
        level = 2 * self.cosine.sum(axis=1)
        self.level = np.outer(level, level).astype(np.float32)[:, None, :]  # what a block of ones gives
        self.bins = len(across)
        self.fy = along / BLOCK
        radius = np.hypot(along[:, None], across) / BLOCK
        # Edges fall off as 1 / f^2 in power: weighted by f^2, one edge is as strong at all frequencies.
        self.weight = np.where((radius >= LOW) & (radius <= HIGH), radius**2, 0).astype(np.float32)
        angle = np.degrees(np.arctan2(along[:, None], across)) % 180
        self.sector = (angle * SECTORS / 180).astype(int).ravel() % SECTORS
        self.members = np.zeros((self.sector.size, SECTORS), np.float32)
        self.members[np.arange(self.sector.size), self.sector] = self.weight.ravel() > 0

    def power(self, band: np.ndarray, lefts: np.ndarray, means: np.ndarray) -> np.ndarray:
        """Weighted power (n, 2 bins - 1, bins) of the blocks of band (BLOCK, W) that begin at columns lefts (n,).

        means: (n,) of the blocks; they are taken off. Rows and columns count bins as np.fft does.
        """
        half = BLOCK // 2
        above, below = band[:half], band[: half - 1 : -1]
        even_y, odd_y = self.cosine @ (above + below), self.sine @ (above - below)
        left, right = lefts[:, None] + np.arange(half), lefts[:, None] + np.arange(BLOCK - 1, half - 1, -1)

        def waves(rows):
            first, second = rows[:, left], rows[:, right]
            return (first + second) @ self.cosine.T, (first - second) @ self.sine.T

        (even_even, even_odd), (odd_even, odd_odd) = waves(even_y), waves(odd_y)
        even_even -= means.astype(np.float32)[:, None] * self.level
        down = (even_even - odd_odd) ** 2 + (even_odd + odd_even) ** 2
        up = (even_even + odd_odd) ** 2 + (even_odd - odd_even) ** 2
        power = np.empty((len(lefts), len(self.fy), self.bins), np.float32)
        power[:, : self.bins] = down.transpose(1, 0, 2)
        power[:, self.bins :] = up[:0:-1].transpose(1, 0, 2)
        power *= self.weight
        return power

    def peaks(self, power: np.ndarray):
        """(frequencies (n, 2) cycles per pixel, shares (n,)) of the strongest line of each block's power.

        The share leaves out what lies across the line's direction: that is the ruler's own edge, not a rival.
        """
        flat = power.reshape(len(power), -1)
        sums = flat @ self.members
        means = sums / np.maximum(self.members.sum(axis=0), 1)
        rivals = means + means.mean(axis=1, keepdims=True)
        best = (flat / np.maximum(rivals, 1e-30)[:, self.sector]).argmax(axis=1)
        rows, columns = np.divmod(best, power.shape[2])
        patch = self._around(power, rows, columns)
        total = patch.sum(axis=(1, 2)) + 1e-12
        steps = np.arange(-1, 2)
        dy = (patch * steps[None, :, None]).sum(axis=(1, 2)) / total
        dx = (patch * steps[None, None, :]).sum(axis=(1, 2)) / total
        across = (self.sector[best][:, None] + SECTORS // 2 + np.arange(-2, 3)) % SECTORS
        rest = sums.sum(axis=1) - np.take_along_axis(sums, across, axis=1).sum(axis=1)
        frequencies = np.column_stack([(columns + dx) / BLOCK, self.fy[rows] + dy / BLOCK])
        return frequencies, total / (rest + 1e-9)

    def _around(self, power, rows, columns):
        near_y = (rows[:, None] + np.arange(-1, 2)) % power.shape[1]
        near_x = np.clip(columns[:, None] + np.arange(-1, 2), 0, power.shape[2] - 1)
        return power[np.arange(len(power))[:, None, None], near_y[:, :, None], near_x[:, None, :]]


def _blocks(level: np.ndarray):
    """Blocks with one strong spectral line: centres, frequencies (n, 2) in cycles per pixel, shares (n,)."""
    spectrum = _Spectrum()
    mean, deviation = mean_and_deviation(level)
    centres, frequencies, shares = [np.zeros((0, 2))], [np.zeros((0, 2))], [np.zeros(0)]
    for j, lively in enumerate(deviation > LEAST_DEVIATION):
        columns = np.flatnonzero(lively)
        if not len(columns):
            continue
        power = spectrum.power(level[j * STRIDE : j * STRIDE + BLOCK], columns * STRIDE, mean[j, columns])
        line, share = spectrum.peaks(power)
        good = share > LEAST_SHARE
        x = columns[good] * STRIDE + (BLOCK - 1) / 2
        centres.append(np.column_stack([x, np.full(len(x), j * STRIDE + (BLOCK - 1) / 2)]))
        frequencies.append(line[good])
        shares.append(np.minimum(share[good], 1.0))
    return np.vstack(centres), np.vstack(frequencies), np.concatenate(shares)


def mean_and_deviation(level: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation of every block: (rows, columns) each, one block every STRIDE pixels."""
    height, width = (n // STRIDE * STRIDE for n in level.shape)
    level = level[:height, :width]
    cell = (width // STRIDE, height // STRIDE)
    of_cells = (cv2.resize(part, cell, interpolation=cv2.INTER_AREA) for part in (level, level * level))
    mean, square = (cv2.blur(c, (2, 2), anchor=(0, 0)).astype(float)[:-1, :-1] for c in of_cells)
    return mean, np.sqrt(np.maximum(square - mean * mean, 0))


def _rows_of_level(level: np.ndarray, reduce: int) -> list[Row]:
    centres, frequencies, shares = _blocks(level)
    left = _support(centres, frequencies, shares)
    rows = []
    for _ in range(ROWS_OF_LEVEL):
        found = None
        for seed in np.argsort(-left)[:24]:
            if left[seed] <= 0:
                break
            inside = _agreeing(seed, centres, frequencies) & (left > 0)
            if inside.sum() < 3:
                continue
            score = _evenness(centres[inside], frequencies[seed]) * shares[inside].sum()
            score *= _alone(seed, inside, centres, frequencies)
            if found is None or score > found[0]:
                found = (score, seed, inside)
        if found is None:
            break
        rows.append(_as_row(found[1], found[2], centres, frequencies, found[0], reduce))
        near = np.abs((centres - centres[found[1]]) @ _turned(_unit(frequencies[found[1]]))) < BLOCK / 2
        left[found[2] | (near & _agreeing(found[1], centres, frequencies, reach_px=BLOCK))] = 0
    return rows


def _support(centres: np.ndarray, frequencies: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Each block's share together with those of its neighbours along its own line: (n,)."""
    support = shares.copy()
    first, second = pairs_of_cells(np.rint((centres - (BLOCK - 1) / 2) / STRIDE).astype(int))
    own, other = frequencies[first], frequencies[second]
    size = np.linalg.norm(own, axis=1)
    sign = np.sign((own * other).sum(axis=1))[:, None]
    alike = np.linalg.norm(own - sign * other, axis=1) < 0.08 * size
    offset = centres[second] - centres[first]
    in_line = np.abs((offset * own).sum(axis=1)) / size > 0.9 * np.linalg.norm(offset, axis=1)
    good = alike & in_line
    np.add.at(support, first[good], shares[second[good]])
    np.add.at(support, second[good], shares[first[good]])
    return support


def pairs_of_cells(cells: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Indices (m,), (m,) of all pairs of cells (n, 2) of the blocks' grid that are near each other, each pair once."""
    if len(cells) < 2:
        return np.zeros(0, int), np.zeros(0, int)
    reach = int(NEAR_CELLS)
    width, height = cells.max(axis=0) + 1 + 2 * reach
    index = np.full((height, width), -1)
    x, y = (cells + reach).T
    index[y, x] = np.arange(len(cells))
    steps = [
        (dx, dy)
        for dy in range(reach + 1)
        for dx in range(-reach, reach + 1)
        if (dy > 0 or dx > 0) and dx * dx + dy * dy < NEAR_CELLS**2
    ]
    second = np.array([index[y + dy, x + dx] for dx, dy in steps])
    step, first = np.nonzero(second >= 0)
    return first, second[step, first]


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


def _alone(seed: int, inside: np.ndarray, centres: np.ndarray, frequencies: np.ndarray) -> float:
    """1 for a row by itself, toward 0 when blocks on either side of it show the same: grain, a cutting mat's
    grid.
    """
    along = _unit(frequencies[seed])
    offset = centres - centres[seed]
    s, across = offset @ along, np.abs(offset @ _turned(along))
    beside = (s >= s[inside].min()) & (s <= s[inside].max()) & (across > 1.5 * BLOCK) & (across < 5 * BLOCK)
    alike = beside & _agreeing(seed, centres, frequencies, reach_px=5 * BLOCK)
    return float(1 / (1 + (alike.sum() / inside.sum()) ** 2))


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
