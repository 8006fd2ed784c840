"""The body's profile r(x) in millimetres from the limbs on both sides, carried through under the fins.

Kept as it is: a polyline through knots, corners where the rocket has them, not a catalogue shape.
"""

from dataclasses import dataclass

import numpy as np

from digitize.solid.pose import Pose

KNOT_TOLERANCE_PX = 0.35
MAX_KNOTS = 60


@dataclass(frozen=True)
class Limb:
    """Body limb seen at stations: s_mm (n,) along the axis, radius_mm (n,), both: (n,) bool, seen on both sides."""

    s_mm: np.ndarray
    radius_mm: np.ndarray
    both: np.ndarray


def limb_of(pose: Pose, upper_px, lower_px, seen_upper, seen_lower, bias_px: float) -> Limb:
    """Radii at stations from the limb's pixels (n, 2) on either side; seen_*: (n,) bool.

    Where the profile slopes, a grazing ray touches it a little beside the ray's nearest point to the axis: with
    slope r' and the ray leaning by tan_phi, at s + r r' tan_phi^2 and r / sqrt(1 - (r' tan_phi)^2) (the envelope of
    the rays' hyperbolas; derived for this project).
    """
    s_upper, side_upper, lean = pose.limb(upper_px)
    s_lower, side_lower, _ = pose.limb(lower_px)
    weight_upper, weight_lower = seen_upper.astype(float), seen_lower.astype(float)
    total = weight_upper + weight_lower
    seen = total > 0
    total = np.where(seen, total, 1.0)
    s = (s_upper * weight_upper + s_lower * weight_lower) / total
    radius = (side_upper * weight_upper - side_lower * weight_lower) / total
    radius = radius - bias_px * pose.depth_mm / pose.camera.focal_px
    s, radius, lean, both = s[seen], radius[seen], lean[seen], (seen_upper & seen_lower)[seen]
    slope = np.clip(_slope(s, radius), -3.0, 3.0)
    lift = np.clip((slope * lean) ** 2, 0.0, 0.5)
    return Limb(s + radius * slope * lean**2, radius / np.sqrt(1 - lift), both)


def _slope(x: np.ndarray, y: np.ndarray, reach: int = 4) -> np.ndarray:
    """dy/dx over +-reach neighbours; the ends use what they have."""
    index = np.arange(len(x))
    fore, aft = np.maximum(index - reach, 0), np.minimum(index + reach, len(x) - 1)
    return (y[aft] - y[fore]) / np.maximum(x[aft] - x[fore], 1e-9)


def profile_of(limb: Limb, tip_s_mm: float, base_s_mm: float, tubes, mm_per_px: float) -> np.ndarray:
    """(n, 2) knots x from the nose tip, radius.

    tubes: [(first s_mm, last s_mm, radius_mm)], runs known to be of constant radius. The knots are placed where a
    polyline through the limb needs them (Douglas-Peucker) and their radii fitted to all the points (least
    squares), so that chords do not cut the curves' bulge off.
    """
    length = base_s_mm - tip_s_mm
    x, r = limb.s_mm - tip_s_mm, limb.radius_mm
    inside = (x > 1.5 * mm_per_px) & (x < length - 2.5 * mm_per_px) & (r > 0)
    order = np.argsort(x[inside])
    x, r = x[inside][order], r[inside][order]
    for first, last, radius in tubes:
        r = np.where((x >= first - tip_s_mm) & (x <= last - tip_s_mm), radius, r)
    r = _smooth(x, r, mm_per_px)
    x, r = np.r_[0.0, x, length], np.r_[0.0, r, _run_on(x, r, length)]
    knots = _knots(x, r, KNOT_TOLERANCE_PX * mm_per_px)
    return _refit(x, r, knots)


def _smooth(x: np.ndarray, r: np.ndarray, mm_per_px: float) -> np.ndarray:
    """Running median of five where neighbours are close: takes out single wild stations, keeps corners."""
    out = r.copy()
    for k in range(2, len(r) - 2):
        if x[k + 2] - x[k - 2] < 25 * mm_per_px:
            middle = np.median(r[k - 2 : k + 3])
            if abs(r[k] - middle) > 0.5 * mm_per_px:
                out[k] = middle
    return out


def _run_on(x: np.ndarray, r: np.ndarray, length: float) -> float:
    """Radius at the aft end: the last stretch carried on in a straight line if it is close, else kept."""
    last = x > x[-1] - 0.02 * length
    if length - x[-1] > 0.02 * length or last.sum() < 4:
        return float(r[-1])
    slope, level = np.polyfit(x[last], r[last], 1)
    slope = slope if abs(slope) > 0.03 else 0.0  # below that it is noise or perspective, not a tail
    return float(max(np.median(r[last]) + slope * (length - x[last].mean()), 0.0))


def _knots(x: np.ndarray, r: np.ndarray, tolerance: float) -> np.ndarray:
    """Numbers of the points a polyline within the tolerance needs; more tolerance if there are too many."""
    while True:
        keep = np.zeros(len(x), bool)
        keep[[0, -1]] = True
        stack = [(0, len(x) - 1)]
        while stack:
            a, b = stack.pop()
            if b - a < 2:
                continue
            line = r[a] + (r[b] - r[a]) * (x[a + 1 : b] - x[a]) / max(x[b] - x[a], 1e-9)
            off = np.abs(r[a + 1 : b] - line)
            worst = int(np.argmax(off))
            if off[worst] > tolerance:
                keep[a + 1 + worst] = True
                stack += [(a, a + 1 + worst), (a + 1 + worst, b)]
        if keep.sum() <= MAX_KNOTS:
            return np.flatnonzero(keep)
        tolerance *= 1.5


def _refit(x: np.ndarray, r: np.ndarray, knots: np.ndarray) -> np.ndarray:
    """Radii at the knots that fit all points best; the tip stays at zero. Knots closer than the points are kept."""
    at = x[knots]
    hats = np.stack([np.interp(x, at, row) for row in np.eye(len(at))], 1)
    pull = 1e-3 * np.eye(len(at))
    fitted = np.linalg.solve(hats.T @ hats + pull, hats.T @ r + pull @ r[knots])
    fitted[0] = 0.0
    return np.column_stack([at, np.maximum(fitted, 0.0)])
