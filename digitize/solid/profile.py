"""The body's profile r(x) in millimetres from the limbs on both sides, carried through under the fins.

Kept as it is: a polyline through knots, corners where the rocket has them, not a catalogue shape.
"""

from dataclasses import dataclass

import numpy as np

from digitize.geometry.polygons import points_needed
from digitize.solid.pose import Pose
from digitize.solid.stations import middle

KNOT_TOLERANCE_PX = 0.35
MAX_KNOTS = 60
TAIL_BEND = 0.15
"""Share of a hidden tail's narrowing that is done half way along, on the mean: a straight taper to the end, begun
anywhere in the hidden stretch alike, has max(0, (1/2 - u) / (1 - u)) there, of mean (1 - ln 2) / 2 = 0.153."""
LEAST_TAPER = 0.97
"""An end that is wider than this share of the body ahead is as wide as it."""
SMOOTH_PX = 10.0
"""Half the stretch over which both sides are pooled: long enough to outvote a bump, short enough for corners."""


@dataclass(frozen=True)
class Limb:
    """Body limb as seen, both sides pooled, in order along the axis: s_mm, radius_mm, sigma_mm, each (n,)."""

    s_mm: np.ndarray
    radius_mm: np.ndarray
    sigma_mm: np.ndarray


def limb_of(pose: Pose, sides, bias_px: float) -> Limb:
    """Radii from the limb's pixels.

    sides: ((n, 2) pixels, (n,) their standard deviation in pixels, sign) of either side, sign +1 on the photo's
    upper side. Where the profile slopes, a grazing ray touches it a little beside the ray's nearest point to the
    axis: with slope r' and the ray leaning by tan_phi, at s + r r' tan_phi^2 and r / sqrt(1 - (r' tan_phi)^2) (the
    envelope of the rays' hyperbolas; derived for this project).
    """
    px_mm = pose.depth_mm / pose.camera.focal_px
    parts = []
    for points_px, sigma_px, sign in sides:
        s, side, lean = pose.limb(points_px)
        radius = sign * side - bias_px * px_mm
        slope = np.clip(_slope(s, radius), -3.0, 3.0)
        lift = np.clip((slope * lean) ** 2, 0.0, 0.5)
        parts.append((s + radius * slope * lean**2, radius / np.sqrt(1 - lift), sigma_px * px_mm))
    s, radius, sigma = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.argsort(s, kind="stable")
    return Limb(s[order], radius[order], sigma[order])


def _slope(x: np.ndarray, y: np.ndarray, reach: int = 6) -> np.ndarray:
    """dy/dx over +-reach neighbours; the ends use what they have."""
    index = np.arange(len(x))
    fore, aft = np.maximum(index - reach, 0), np.minimum(index + reach, len(x) - 1)
    return (y[aft] - y[fore]) / np.maximum(x[aft] - x[fore], 1e-9)


def profile_of(
    limb: Limb,
    tip_s_mm: float,
    base_s_mm: float,
    rim_mm: float,
    tubes,
    mm_per_px: float,
    full: tuple[float, float] | None = None,
) -> np.ndarray:
    """(n, 2) knots x from the nose tip, radius.

    rim_mm: radius of the aft end by its own edge; full: where a wider body that fins hide is as wide as that, s_mm
    and radius; tubes: [(first s_mm, last s_mm, radius_mm)], runs known to be of constant radius. The two sides are
    pooled in a robust local line, so that a bit of shadow or a string on one side does not count; the knots are placed
    where a polyline needs them (Douglas-Peucker) and their radii fitted to all the points (least squares), so that
    chords do not cut the curves' bulge off.
    """
    length = base_s_mm - tip_s_mm
    x, r = limb.s_mm - tip_s_mm, limb.radius_mm
    inside = (x > 1.5 * mm_per_px) & (x < length - 2.5 * mm_per_px) & (r > 0)
    x, r, noise = _pooled(x[inside], r[inside], limb.sigma_mm[inside], SMOOTH_PX * mm_per_px)
    largest = max((radius for _, _, radius in tubes), default=np.inf)
    for first, last, radius in tubes:
        along = (x >= first - tip_s_mm) & (x <= last - tip_s_mm)
        r = np.where(along | (np.abs(r - radius) < 0.4 * mm_per_px + 2 * noise), radius, r)
    # what stands out of the widest tube by a hair is noise, a decal or tape
    r = np.where((r > largest) & (r < 1.03 * largest + 2 * mm_per_px), largest, r)
    seen_to_end = x[-1] > 0.98 * length
    end = _run_on(x, r, length) if seen_to_end or abs(rim_mm - r[-1]) < 0.05 * r[-1] else rim_mm
    if full is not None:
        at = float(np.clip(full[0] - tip_s_mm, 0.0, 0.98 * length))
        ahead = x < at - mm_per_px
        x, r, end = np.r_[x[ahead], at], np.r_[r[ahead], full[1]], min(rim_mm, full[1])
        end = end if end < LEAST_TAPER * full[1] else full[1]
    x, r = _bent_where_hidden(np.r_[x, length], np.r_[r, end])
    x, r = np.r_[0.0, x], np.r_[0.0, r]
    knots = _knots(x, r, KNOT_TOLERANCE_PX * mm_per_px + noise)
    return _refit(x, r, knots)


def _pooled(x, r, sigma, reach):
    """(places, radii, typical noise): a local line at each of a few hundred places, weights tricube in distance,
    inverse variance, and bisquare in the residual (W. S. Cleveland, J. Am. Stat. Assoc. 74 (1979) 829; from memory)."""
    at = np.unique(x[np.linspace(0, len(x) - 1, min(len(x), 500)).astype(int)])
    fitted, spread = np.empty(len(at)), np.empty(len(at))
    for k, place in enumerate(at):
        near = slice(*np.searchsorted(x, [place - reach, place + reach + 1e-9]))
        u, v = x[near] - place, r[near]
        weight = (1 - np.clip(np.abs(u) / (reach * 1.0001), 0, 1) ** 3) ** 3 / np.maximum(sigma[near], 1e-6) ** 2
        fitted[k], spread[k] = _robust_level(u, v, weight)
    return at, fitted, float(np.median(spread))


def _robust_level(u, v, weight):
    """(level at u = 0, spread) of a weighted line with outliers taken out; a median where there is too little."""
    if len(u) < 5:
        return middle(v), 0.0
    robust = np.ones(len(u))
    for _ in range(4):
        w = weight * robust
        total = w.sum()
        if total <= 0:
            break
        mu, mv = (w * u).sum() / total, (w * v).sum() / total
        spread = (w * (u - mu) ** 2).sum()
        slope = (w * (u - mu) * (v - mv)).sum() / spread if spread > 0 else 0.0
        off = np.abs(v - mv - slope * (u - mu))
        scale = max(middle(off), 1e-6)
        robust = np.clip(1 - (off / (6 * scale)) ** 2, 0.0, 1.0) ** 2
    return float(mv - slope * mu), 1.48 * scale


def _bent_where_hidden(x: np.ndarray, r: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """With a point half way along the longest stretch that fins hide aft, if the body is narrower behind it and does
    not narrow ahead of it yet: where it begins to is hidden, and for any place alike TAIL_BEND is the mean there."""
    gaps = np.where(x[:-1] > 0.5 * x[-1], np.diff(x), 0.0)
    k = int(np.argmax(gaps))
    ahead = (x > x[k] - 0.02 * x[-1]) & (x <= x[k])
    if gaps[k] < 0.03 * x[-1] or r[k + 1] > LEAST_TAPER * r[k]:
        return x, r
    if ahead.sum() >= 4 and np.polyfit(x[ahead], r[ahead], 1)[0] < -0.03:
        return x, r
    at = (x[k] + x[k + 1]) / 2
    return np.insert(x, k + 1, at), np.insert(r, k + 1, r[k] - TAIL_BEND * (r[k] - r[k + 1]))


def _run_on(x: np.ndarray, r: np.ndarray, length: float) -> float:
    """Radius at the aft end: the last stretch carried on in a straight line if it is close, else kept."""
    last = x > x[-1] - 0.02 * length
    if length - x[-1] > 0.02 * length or last.sum() < 4:
        return float(r[-1])
    slope, _level = np.polyfit(x[last], r[last], 1)
    slope = slope if abs(slope) > 0.03 else 0.0  # below that it is noise or perspective, not a tail
    return float(max(np.median(r[last]) + slope * (length - x[last].mean()), 0.0))


def _knots(x: np.ndarray, r: np.ndarray, tolerance: float) -> np.ndarray:
    """Numbers of the points a polyline within the tolerance needs; more tolerance if there are too many."""

    def off(a: int, b: int) -> np.ndarray:
        return np.abs(r[a + 1 : b] - (r[a] + (r[b] - r[a]) * (x[a + 1 : b] - x[a]) / max(x[b] - x[a], 1e-9)))

    while len(keep := points_needed(len(x), off, tolerance)) > MAX_KNOTS:
        tolerance *= 1.5
    return np.array(keep)


def _refit(x: np.ndarray, r: np.ndarray, knots: np.ndarray) -> np.ndarray:
    """Radii at the knots that fit all points best; the tip stays at zero. Knots closer than the points are kept."""
    at = x[knots]
    hats = np.stack([np.interp(x, at, row) for row in np.eye(len(at))], 1)
    pull = 1e-3 * np.eye(len(at))
    fitted = np.linalg.solve(hats.T @ hats + pull, hats.T @ r + pull @ r[knots])
    fitted[0] = 0.0
    return np.column_stack([at, np.maximum(fitted, 0.0)])
