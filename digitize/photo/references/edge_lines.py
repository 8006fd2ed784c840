"""Straight edges to a fraction of a pixel: sampled across the edge, in linear light, fitted robustly.

An edge seen by a camera is a step blurred by lens and pixel. In linear light the blur is symmetrical, so the
centroid of the step's slope is the step's place; in the file's gamma-coded values it would be pulled to the
bright side.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from digitize.photo.sampling import linear_light_at

STEP_PX = 0.5  # spacing of samples across an edge
NEIGHBOURS_ALIKE = 4.0  # stations share ground texture and JPEG blocks: this many count as one
LENS_BOW = 0.004
"""A lens that shifts the picture's corner by 1 %, more than phones leave, bows a line at a common place (0.4
of the way out) by 0.004 s^2 / half the picture's diagonal. More bow than a few times this is something else.
"""


@dataclass(frozen=True)
class Side:
    """One straight (or slightly bowed) edge in the picture.

    origin, along: (2,) pixels, a point and a unit vector; across: `along` turned by +90 degrees (x right, y
    down). coeffs: offset across (pixels) = c0 + c1 s + c2 s^2 at s pixels along from the origin; c2 for the
    lens's bow. sigma_px: standard deviation of the edge's place at its ends; support: share of its length
    where the step was seen; contrast: the step's height in linear light; rms_px: scatter of the stations
    about the fit.
    """

    origin: np.ndarray
    along: np.ndarray
    coeffs: np.ndarray
    sigma_px: float
    support: float
    contrast: float
    rms_px: float

    @property
    def across(self) -> np.ndarray:
        return np.array([-self.along[1], self.along[0]])

    def at(self, s) -> np.ndarray:
        """Points of the edge at s pixels along from the origin: (n, 2) pixels."""
        s = np.atleast_1d(np.asarray(s, float))
        offset = self.coeffs[0] + self.coeffs[1] * s + self.coeffs[2] * s * s
        return self.origin + s[:, None] * self.along + offset[:, None] * self.across


def profiles_across(rgb, start, end, half_px: float, trim: float):
    """Colours across the segment start -> end.

    Returns stations s (n,) in pixels from the segment's middle, offsets across (m,), colours (n, m, 3), and
    the frame (origin, along). trim: share of the length left out at each end.
    """
    start, end = np.asarray(start, float), np.asarray(end, float)
    length = float(np.hypot(*(end - start)))
    along = (end - start) / length
    across = np.array([-along[1], along[0]])
    origin = (start + end) / 2
    n = int(np.clip(length * (1 - 2 * trim), 12, 1500))
    s = np.linspace(-(0.5 - trim), 0.5 - trim, n) * length
    t = np.arange(-half_px, half_px + STEP_PX / 2, STEP_PX)
    points = origin + s[:, None, None] * along + t[None, :, None] * across
    return s, t, linear_light_at(rgb, points), origin, along


def _smooth_along(values: np.ndarray, width: int) -> np.ndarray:
    return cv2.blur(values, (1, max(1, width)), borderType=cv2.BORDER_REPLICATE)


def _signed_slope(colours, t, place, width: int) -> np.ndarray:
    """Slope across the edge of the colour component in which the two sides differ: (n, m).

    The object's side is averaged over `width` stations. The ground's is taken close to the edge and over few:
    a line drawn on it may run up to the edge.
    """
    beyond = t[None, :] - place[:, None]
    inside = _smooth_along(_mean_where(colours, (beyond > 2) & (beyond < 6)), width)
    outside = _smooth_along(_mean_where(colours, (beyond < -1.4) & (beyond > -4)), 3)
    step = (inside - outside)[:, 0, :]
    height = np.linalg.norm(step, axis=1, keepdims=True)
    value = np.einsum("nmc,nc->nm", colours, step / np.maximum(height, 1e-6))
    return np.gradient(value, t, axis=1)


def _mean_where(colours: np.ndarray, where: np.ndarray) -> np.ndarray:
    """(n, 1, 3) mean colour of each station where `where` (n, m) holds."""
    weight = where / np.maximum(where.sum(axis=1, keepdims=True), 1)
    return np.einsum("nm,nmc->nc", weight, colours).astype(np.float32)[:, None, :]


def _consensus(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Weights 0/1 of the points on the straight line most of them share: a line drawn beside the edge, or
    print that touches it, may hold a third of the stations and would bend a fit that starts from all of them.
    """
    rng = np.random.default_rng(0)
    first, second = rng.integers(0, len(x), (2, 80))
    apart = np.abs(x[second] - x[first]) > 0.3 * np.ptp(x)
    first, second = first[apart], second[apart]
    slope = (y[second] - y[first]) / (x[second] - x[first])
    off = np.abs(y - y[first][:, None] - slope[:, None] * (x - x[first][:, None]))
    score = np.clip(1 - off / 0.6, 0, None).sum(axis=1)
    return (off[score.argmax()] < 0.8).astype(float)


def _robust_bow(s: np.ndarray, y: np.ndarray, bow_sigma: float):
    """c0 + c1 s + c2 s^2 by Tukey weights from a consensus start, c2 held near 0 by a prior of bow_sigma.

    Returns coefficients, residual scale, weights, covariance.
    """
    scale = max(1.0, np.abs(s).max())
    basis = np.vander(s / scale, 3, increasing=True)
    weights = _consensus(s, y)
    sigma = 0.2
    for _ in range(8):
        prior = np.diag([0, 0, (sigma / (bow_sigma * scale**2)) ** 2 * NEIGHBOURS_ALIKE])
        normal = (basis * weights[:, None]).T @ basis + prior + 1e-9 * np.eye(3)
        coeffs = np.linalg.solve(normal, basis.T @ (weights * y))
        residual = y - basis @ coeffs
        own = residual[weights > 0.05]
        if not len(own):  # no two stations agree on an edge: take the spread of them all
            own = residual
        spread = max(1.4826 * np.median(np.abs(own - np.median(own))), 0.02)
        weights = np.clip(1 - (residual / (4.0 * spread)) ** 2, 0, None) ** 2
        sigma = np.sqrt((weights * residual**2).sum() / max(weights.sum() - 2, 1)) + 1e-3
    cov = np.linalg.inv(normal) * sigma**2 * NEIGHBOURS_ALIKE
    shrink = scale ** -np.arange(3.0)
    return coeffs * shrink, sigma, weights, cov * np.outer(shrink, shrink)


def _edge_places(slope: np.ndarray, t: np.ndarray, place: np.ndarray, reach: float):
    """Centroid of the positive slope near `place` for every station: places (n,) and their weights."""
    near = np.abs(t[None, :] - place[:, None]) <= reach
    rising = np.where(near, np.clip(slope, 0, None), 0).astype(np.float32)
    place = t[cv2.blur(rising, (3, 1)).argmax(axis=1)]
    for width in (3.0, 2.5, 2.5, 2.5):
        near = np.clip(width + 0.5 * STEP_PX - np.abs(t[None, :] - place[:, None]), 0, STEP_PX) / STEP_PX
        rising = near * np.clip(slope, 0, None)
        total = rising.sum(axis=1)
        centre = (rising * t).sum(axis=1) / np.maximum(total, 1e-9)
        place = np.where(total > 1e-6, centre, place)
    return place, total * STEP_PX


def fit_side(rgb: np.ndarray, start, end, half_px: float = 8.0, trim: float = 0.12) -> Side:
    """The straight edge near the segment start -> end (pixels), found within half_px across it; the object
    lies on the side of +90 degrees from start -> end (to the right as seen, y down).

    First the edge's coarse place on groups of stations, then every group's centroid of slope, then a robust
    fit.
    """
    bow_sigma = LENS_BOW / (np.hypot(*rgb.shape[:2]) / 2)
    length = float(np.hypot(*(np.asarray(end, float) - np.asarray(start, float))))
    for turn, reach in enumerate((half_px, 4.0, 2.5)):
        s, t, colours, origin, along = profiles_across(rgb, start, end, max(reach, 2.0) + 8.0, trim)
        group = max(1, len(s) // 60)
        blurred = _smooth_along(colours, group)[group // 2 :: group]
        stations = s[group // 2 :: group]
        place = np.zeros(len(stations))
        if turn == 0:
            place += _common_offset(colours, t, reach)
        slope = _signed_slope(blurred, t, place, max(3, len(stations) // 6))
        place, height = _edge_places(slope, t, place, min(reach, 3.0) if turn == 0 else reach)
        fit = _robust_bow(stations, place, bow_sigma)
        ends = np.array([-length / 2, length / 2])
        across = np.array([-along[1], along[0]])
        start, end = origin + ends[:, None] * along + np.polyval(fit[0][::-1], ends)[:, None] * across
    return _as_side(origin, along, fit, height, length)


def _common_offset(colours: np.ndarray, t: np.ndarray, reach: float) -> float:
    """Where the whole side's mean colour steps most, as offset across: the coarse place of the edge."""
    whole = cv2.blur(colours.mean(axis=0), (1, 5))
    brightness = whole.sum(axis=1, keepdims=True) + 0.02
    # A shadow dims all three colours alike, an object's edge seldom does: changes of hue count more than of
    # light.
    hue = np.linalg.norm(np.gradient(whole / brightness, t, axis=0), axis=1) * brightness.mean()
    light = np.abs(np.gradient(brightness[:, 0], t)) / 3
    steepness = np.where(np.abs(t) <= reach, (2 * hue + light) * (1 - 0.3 * np.abs(t) / (reach + 1)), 0)
    return float(t[steepness.argmax()])


def _as_side(origin, along, fit, height, length: float) -> Side:
    coeffs, spread, weights, cov = fit
    ends = np.vander([-length / 2, length / 2], 3, increasing=True)
    variance = np.einsum("ij,jk,ik->i", ends, cov, ends).max()
    typical = np.median(height)
    seen = (weights > 0.05) & (height > 0.25 * typical) & (height > 0.004)
    return Side(
        origin=origin,
        along=along,
        coeffs=coeffs,
        sigma_px=float(np.sqrt(variance)),
        support=float(seen.mean()),
        contrast=float(typical),
        rms_px=float(spread),
    )


def meet(first: Side, second: Side) -> np.ndarray:
    """Where two edges cross: (2,) pixels.

    Bowed edges are followed by Newton steps from their straight parts.
    """
    a = b = 0.0
    for _ in range(12):
        p, q = first.at(a)[0], second.at(b)[0]
        da = first.along + (first.coeffs[1] + 2 * first.coeffs[2] * a) * first.across
        db = second.along + (second.coeffs[1] + 2 * second.coeffs[2] * b) * second.across
        step = np.linalg.lstsq(np.column_stack([da, -db]), q - p, rcond=None)[0]
        a, b = a + step[0], b + step[1]
    return first.at(a)[0]
