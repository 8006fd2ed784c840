"""Backgrounds that repeat: plain sheet, plastered wall, wood grain, concrete, cutting mat. Linear light."""

from functools import lru_cache

import cv2
import numpy as np

from .raster import linear

TEXELS = 1024
TILE_MM = {"sheet": 500.0, "wall": 300.0, "wood": 500.0, "concrete": 500.0, "mat": 250.0}


def _noise(seed: int, grain_mm: tuple[float, float], tile_mm: float) -> np.ndarray:
    """(TEXELS, TEXELS) smooth repeating noise, mean 0, deviation 1; grain: Gaussian sigma along x and y."""
    white = np.random.default_rng(seed).standard_normal((TEXELS, TEXELS), dtype=np.float32)
    per_mm = np.fft.fftfreq(TEXELS, tile_mm / TEXELS)
    keep_x = np.exp(-((2 * np.pi * per_mm[: TEXELS // 2 + 1] * grain_mm[0]) ** 2) / 2)
    keep_y = np.exp(-((2 * np.pi * per_mm * grain_mm[1]) ** 2) / 2)
    smooth = np.fft.irfft2(np.fft.rfft2(white) * keep_x * keep_y[:, None])
    smooth -= smooth.mean()
    return (smooth / smooth.std()).astype(np.float32)


def _lines(period_mm: float, width_mm: float, tile_mm: float) -> np.ndarray:
    """(TEXELS,) share of each texel under lines that repeat, the first one centred on 0."""
    texel = tile_mm / TEXELS
    centre = (np.arange(TEXELS) + 0.5) * texel
    apart = np.abs((centre + period_mm / 2) % period_mm - period_mm / 2)
    return np.clip((width_mm / 2 - apart) / texel + 0.5, 0, 1)


def _pattern(kind: str, seed: int) -> np.ndarray:
    """(TEXELS, TEXELS) brightness relative to the background's colour (mat: share under its lines)."""
    tile = TILE_MM[kind]
    if kind == "sheet":
        return 1 + 0.012 * _noise(seed, (40, 40), tile) + 0.006 * _noise(seed + 1, (0.6, 0.6), tile)
    if kind == "wall":
        bumps = _noise(seed, (1.2, 1.2), tile)
        return 1 + 0.03 * (bumps - np.roll(bumps, (2, 2), (0, 1))) + 0.02 * _noise(seed + 1, (30, 30), tile)
    if kind == "wood":
        grain = 0.5 * _noise(seed, (60, 0.7), tile) + 0.5 * _noise(seed + 1, (90, 3), tile)
        return 1 + 0.16 * grain + 0.05 * _noise(seed + 2, (6, 0.4), tile)
    if kind == "concrete":
        clouds = 0.07 * _noise(seed, (20, 20), tile) + 0.06 * _noise(seed + 1, (3, 3), tile)
        pits = _noise(seed + 2, (0.5, 0.5), tile) > 3.2
        return (1 + clouds + 0.04 * _noise(seed + 3, (0.4, 0.4), tile)) * (1 - 0.5 * pits)
    fine, bold = (_lines(10, 0.4, tile), _lines(50, 0.9, tile))
    fine, bold = (1 - (1 - one)[:, None] * (1 - one) for one in (fine, bold))
    return np.maximum(0.5 * fine, bold)


@lru_cache(maxsize=8)
def _tile(kind: str, colour: tuple[int, int, int], seed: int) -> np.ndarray:
    base, pattern = linear(colour), _pattern(kind, seed).astype(np.float32)[..., None]
    if kind == "mat":
        return base + pattern * (linear((205, 225, 190)) - base)
    return np.clip(base * pattern, 0, 1)


def background(kind: str, colour: tuple[int, int, int], seed: int, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
    """(h, w, 3) the backdrop's colour where each pixel's ray meets it, from the backdrop's own x and y."""
    tile = _tile(kind, colour, seed % 4)
    texel_mm = TILE_MM[kind] / TEXELS
    pixel_mm = abs(float(x_mm[0, -1] - x_mm[0, 0])) / x_mm.shape[1]
    # A pixel averages the texels under it; without this, thin lines would break up.
    blur = 0.4 * pixel_mm / texel_mm
    tile = cv2.GaussianBlur(tile, (0, 0), blur) if blur > 0.3 else tile
    return cv2.remap(
        tile,
        x_mm / np.float32(texel_mm) - np.float32(0.5),
        y_mm / np.float32(texel_mm) - np.float32(0.5),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_WRAP,
    )
