"""The outline of the whole ruler, from where its graduation stands: to keep it out of the rocket's
silhouette.
"""

import cv2
import numpy as np

from digitize.photo.sampling import linear_light_at

from .ruler_ticks import Ticks

WIDEST_MM, NARROWEST_MM, USUAL_MM = 48.0, 11.0, 31.0
"""A ruler's body across, from narrow steel ones to wide wooden ones (from memory)."""
LONGEST_MARGIN_MM, USUAL_MARGIN_MM = 25.0, 4.0  # of the body beyond the first and last graduation
GRADUATED_EDGE_MM = 4.0  # ticks begin at most this far from the edge
MARGIN_MM = 0.7  # the polygon is this much bigger than the body


def ruler_outline(rgb: np.ndarray, ticks: Ticks, px_per_mm: float) -> np.ndarray:
    """Polygon (4, 2) in pixels round the ruler's body.

    Edges that can't be seen are put where they usually are.
    """
    middle = sum(ticks.band) / 2
    start = -(ticks.band[1] - ticks.band[0]) / 2 / px_per_mm
    picture, s_mm, w_mm = _rectified(rgb, ticks, middle, px_per_mm)
    first, last = ticks.s[0] / px_per_mm, ticks.s[-1] / px_per_mm
    graduated = (s_mm >= first) & (s_mm <= last)
    edge = _strongest(_agreed_step(picture[:, graduated].mean(axis=2)), w_mm, start - GRADUATED_EDGE_MM, start + 0.6)
    edge = start - 1.0 if edge is None else edge
    likeness = _likeness(picture, graduated, w_mm, edge)
    near = (w_mm > edge + 1) & (w_mm < edge + NARROWEST_MM - 1)
    ends = _agreed_step(likeness[near].T)
    left = _strongest(ends, s_mm, first - LONGEST_MARGIN_MM, first + 0.6, 0.08)
    right = _strongest(ends, s_mm, last - 0.6, last + LONGEST_MARGIN_MM, 0.08)
    back = _back_edge(likeness, s_mm, w_mm, edge, (left, right), graduated)
    left = first - USUAL_MARGIN_MM if left is None else left
    right = last + USUAL_MARGIN_MM if right is None else right
    s = np.array([left - MARGIN_MM, right + MARGIN_MM, right + MARGIN_MM, left - MARGIN_MM]) * px_per_mm
    w = np.array([edge - MARGIN_MM, edge - MARGIN_MM, back + MARGIN_MM, back + MARGIN_MM]) * px_per_mm
    return ticks.strip.pixels(s, middle + ticks.side * w)


def _rectified(rgb: np.ndarray, ticks: Ticks, middle: float, px_per_mm: float):
    """Colours (root of linear light) with the graduation level: rows w (mm from the ticks' middle line,
    toward the long ticks), columns s (mm along).
    """
    step = max(1.0 / px_per_mm, 0.25)
    margin = LONGEST_MARGIN_MM + 3
    s_mm = np.arange(ticks.s[0] / px_per_mm - margin, ticks.s[-1] / px_per_mm + margin, step)
    w_mm = np.arange(-12.0, WIDEST_MM + 6.0, step)
    points = ticks.strip.pixels(s_mm[None, :] * px_per_mm, middle + ticks.side * w_mm[:, None] * px_per_mm)
    return np.sqrt(np.clip(linear_light_at(rgb, points), 0, 1)), s_mm, w_mm


def _likeness(picture: np.ndarray, graduated: np.ndarray, w_mm: np.ndarray, edge: float) -> np.ndarray:
    """(rows, columns): 1 the ruler's colour, 0 the ground's as seen beside its graduated edge."""
    on = np.median(picture[(w_mm > edge + 0.4) & (w_mm < edge + 4)][:, graduated].reshape(-1, 3), axis=0)
    off = np.median(picture[(w_mm > edge - 4) & (w_mm < edge - 1)][:, graduated].reshape(-1, 3), axis=0)
    step = on - off
    return cv2.medianBlur(((picture - off) @ step / max(step @ step, 1e-4)).astype(np.float32), 3)


def _agreed_step(picture: np.ndarray) -> np.ndarray:
    """For every row, the step across it that two thirds of its columns agree on: numerals and ticks fill
    fewer.
    """
    slope = np.gradient(cv2.blur(picture, (9, 2)), axis=0)
    low, high = np.percentile(slope, [33, 67], axis=1)
    return np.where(np.sign(low) == np.sign(high), np.minimum(np.abs(low), np.abs(high)), 0)


def _strongest(strength: np.ndarray, at: np.ndarray, low: float, high: float, least: float = 0.002) -> float | None:
    own = np.where((at >= low) & (at <= high), strength, 0)
    return float(at[own.argmax()]) if own.max() >= least else None


def _back_edge(likeness, s_mm, w_mm, edge: float, ends, graduated) -> float:
    """Where the body stops: as far as its two ends can be followed, or a strong edge there."""
    reaches = []
    for end, sign in zip(ends, (1, -1), strict=True):
        if end is None:
            continue
        inside = np.median(likeness[:, np.abs(s_mm - (end + sign * 2.0)) < 1.2], axis=1)
        outside = np.median(likeness[:, np.abs(s_mm - (end - sign * 2.0)) < 1.2], axis=1)
        step = cv2.blur((inside - outside)[:, None], (1, 5), borderType=cv2.BORDER_REFLECT)[:, 0]
        typical = np.median(step[(w_mm > edge + 1) & (w_mm < edge + NARROWEST_MM)])
        gone = (np.sign(typical) * step < 0.4 * abs(typical)) & (w_mm > edge + NARROWEST_MM)
        if gone.any() and w_mm[gone.argmax()] < edge + WIDEST_MM:
            reaches.append(float(w_mm[gone.argmax()]))
    steps = _agreed_step(likeness[:, graduated])
    if reaches:
        seen = _strongest(steps, w_mm, min(reaches) - 3, max(reaches) + 3, 0.1)
        return max(reaches) if seen is None else seen
    seen = _strongest(steps, w_mm, edge + 20, edge + WIDEST_MM, 0.15)
    return edge + USUAL_MM if seen is None else seen
