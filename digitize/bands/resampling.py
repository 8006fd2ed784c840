"""The 95 % bands: every source of error sampled together, correlation kept, and each source's share.

A sample is one set of errors of everything that was observed: the adjustment's observations (which move the pose, the
scale, the lens and the edge bias together, see solid.adjust), and on top of them what only touches one part: the
fin's edges, its unseen root, the roll, the ends of the body, the body under the fins. Every point of the rocket is
carried through its own pixel, so one scale error moves all lengths together and cancels in ratios.

How far the method itself may be off is not drawn here; `second_opinion` adds it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from digitize.aero import batch
from digitize.aero.fins import planform
from digitize.records import Quantity
from digitize.result_records import BandShare, NextMeasurement
from digitize.solid.adjust import CALIPER_SIGMA_MM, TAPE_SIGMA_MM
from digitize.solid.measure import Solid

SAMPLES = 2000
"""Of them 50 lie beyond each end of the band, so an end is known to a few per cent of the band's width."""
SHARE_SAMPLES = 500
"""For one source's share, which is shown without decimals."""
EDGE_SIGMA_PX = 0.6
"""Error of a whole side of a fin or body that its own points do not average out: paint steps, texture, tone."""
FIN_EDGE_SIGMA_PX = 0.7
"""The same for a fin: with 0.5 the truth lay inside the bands of area and span in 87 and 83 % of 281 drawn photos."""
EDGE_MODES = 5
"""Places along a side between which its error may change: by eye, no source."""
BEHIND_SIGMA_MM = 3.0
"""How well a builder would measure how far a reference lies behind the axis, with a ruler. No source."""
HIDDEN_SHARE = 0.25
"""Standard deviation of where an edge meets the body, as a share of the length it is carried on unseen."""
TAIL_SHARE = 0.3
"""The same for the body's radius under the fins, as a share of its change across the hidden stretch."""

SOURCES = ("scale", "set-back", "edge", "root under the fin", "pose", "lens")
_OF_ADJUSTMENT = {
    "scale": "scale",
    "set-back": "set-back",
    "distance": "set-back",
    "edge": "edge",
    "pose": "pose",
    "lens": "lens",
}


@dataclass(frozen=True)
class Samples:
    """(S,) arrays, millimetres from the nose tip where they are places. fins: per group, name -> (S,)."""

    length_mm: np.ndarray
    max_diameter_mm: np.ndarray
    base_diameter_mm: np.ndarray
    cp_x_mm: np.ndarray
    cn_alpha_per_rad: np.ndarray
    mm_per_px: np.ndarray
    body_area_mm2: np.ndarray
    body_centroid_mm: np.ndarray
    fins: tuple[dict[str, np.ndarray], ...]
    values: np.ndarray  # (S, m) of the adjustment
    tip_s_mm: np.ndarray  # the nose tip's place along the axis, as solid.pose counts it

    def cutout(self, weights: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
        """(area, centroid) of the side view; weights: how many whole fins' area each group adds to it."""
        area, moment = self.body_area_mm2, self.body_area_mm2 * self.body_centroid_mm
        for fin, weight in zip(self.fins, weights, strict=True):
            area = area + weight * fin["area_mm2"]
            moment = moment + weight * fin["area_mm2"] * fin["centroid_mm"]
        return area, moment / area


def band(values: np.ndarray, value: float) -> Quantity:
    """value with half the width of the samples' middle 95 %."""
    low, high = np.quantile(values, [0.025, 0.975])
    return Quantity(float(value), float((high - low) / 2))


def bands(drawn: Sequence[np.ndarray], values: Sequence[float]) -> list[Quantity]:
    """The same of several, each (S,), at once: what quantiles cost is mostly the call."""
    low, high = np.quantile(np.stack(drawn), [0.025, 0.975], axis=1)
    return [Quantity(float(value), float(half)) for value, half in zip(values, (high - low) / 2, strict=True)]


def draw(solid: Solid, seed: int, count: int = SAMPLES, only: str | None = None) -> Samples:
    """`count` rockets that might as well be this one; only: let just this one of SOURCES err.

    Raises ValueError if `only` is none of them: nothing would err, and the band be nought without a word.
    """
    if only is not None and only not in SOURCES:
        raise ValueError(f"no source of error is called {only!r}: {', '.join(SOURCES)}")
    errors = _Errors(np.random.default_rng(seed), count, only)
    adjusted = solid.adjusted
    sources = np.array([_OF_ADJUSTMENT[s] for s in adjusted.sources])
    values = adjusted.sample(errors.observed(sources))
    pose = adjusted.pose(values)
    mm_per_px = np.asarray(pose.depth_mm / pose.camera.focal_px)
    bias_px = adjusted.edge_bias_px(values)
    ends = adjusted.problem.ends
    tip_s = ends.tip_s_mm(pose) + errors.normal("edge", solid.tip_sigma_px) * mm_per_px
    base_s = ends.base_s_mm(pose) + errors.normal("edge", solid.base_sigma_px) * mm_per_px
    rim = errors.normal("root under the fin", solid.rim_sigma_mm)
    radii = solid.geometry.profile_mm[:, 1]
    rim = np.minimum(rim, radii.max() - radii[-1])  # hidden, it may be narrower than the body but not wider
    base_s = base_s - rim * np.abs(pose.limb(ends.rim_px)[2]).mean(-1)  # a wider rim bulges farther aft of the axis
    profile_x, profile_r = _body(solid, values, pose, errors, tip_s, base_s, bias_px * mm_per_px)
    profile_r[:, -1] = np.maximum(profile_r[:, -1] + rim, 0.0)
    if solid.rim_sigma_mm:
        profile_r[:, -1] = np.minimum(profile_r[:, -1], profile_r[:, :-1].max(1))
    fins = [_fin(solid, k, pose, errors, tip_s, bias_px, profile_x, profile_r) for k in range(len(solid.fins))]
    arrays = [
        (t.given.count, f["planform"], f["radius_mm"], f["span_mm"]) for t, f in zip(solid.fins, fins, strict=True)
    ]
    cp_x, slope = batch.cp_batch(profile_x, profile_r, arrays)
    step, mean = np.diff(profile_x, axis=1), (profile_r[:, 1:] + profile_r[:, :-1]) / 2
    body_area = np.maximum(2 * (step * mean).sum(1), 1e-9)  # a far-off sample may have no body left
    middle = (profile_x[:, 1:] + profile_x[:, :-1]) / 2 + step * np.diff(profile_r, axis=1) / (
        12 * np.maximum(mean, 1e-9)
    )
    return Samples(
        length_mm=profile_x[:, -1],
        max_diameter_mm=2 * profile_r.max(1),
        base_diameter_mm=2 * profile_r[:, -1],
        cp_x_mm=cp_x,
        cn_alpha_per_rad=slope,
        mm_per_px=mm_per_px,
        body_area_mm2=body_area,
        body_centroid_mm=(2 * step * mean * middle).sum(1) / body_area,
        fins=tuple(fins),
        values=values,
        tip_s_mm=tip_s,
    )


class _Errors:
    """Unit-normal errors, switched off for every source but one when `only` is given."""

    def __init__(self, rng: np.random.Generator, count: int, only: str | None):
        self.rng, self.count, self.only = rng, count, only

    def observed(self, sources: np.ndarray) -> np.ndarray:
        """(S, k) for the adjustment's observations."""
        drawn = self.rng.standard_normal((self.count, len(sources)))
        return drawn if self.only is None else drawn * (sources == self.only)

    def normal(self, source: str, sigma, *shape: int) -> np.ndarray:
        """(S, *shape) of this source's own."""
        drawn = self.rng.standard_normal((self.count, *shape)) * sigma
        return drawn if self.only in (None, source) else 0.0 * drawn


def _edge_sigma(outline_sigma_px: float) -> float:
    return float(np.hypot(EDGE_SIGMA_PX, outline_sigma_px))


def _own(errors: _Errors, sigma_px) -> np.ndarray | None:
    """(S, n) errors of points set by hand, each by itself; None without any, so that no random number is spent."""
    return errors.normal("edge", sigma_px, len(sigma_px)) if np.any(sigma_px) else None


def _body(solid: Solid, values, pose, errors: _Errors, tip_s, base_s, bias_mm):
    """(profile_x, profile_r), each (S, n)."""
    s, upper, _ = pose.limb(solid.knots_upper_px)
    lower = pose.limb(solid.knots_lower_px)[1]
    nominal = solid.geometry.profile_mm
    x = s - tip_s[:, None]
    k = int(np.argmax(nominal[:, 1]))
    if solid.shoulder_sigma_mm and solid.hidden_knots[k]:
        moved = x[:, k] + errors.normal("root under the fin", solid.shoulder_sigma_mm)
        x[:, k] = np.clip(moved, x[:, k - 1], base_s - tip_s)
    x[:, 0], x[:, -1] = 0.0, base_s - tip_s
    x = np.maximum.accumulate(x, axis=1)
    wave = errors.normal("edge", _edge_sigma(solid.edge_sigma_px) / np.sqrt(2), EDGE_MODES) @ _modes(
        nominal[:, 0] / nominal[-1, 0]
    )
    own = _own(errors, solid.knot_sigma_px)
    wave = wave if own is None else wave + own
    r = (upper - lower) / 2 - bias_mm[:, None] + wave * (pose.depth_mm / pose.camera.focal_px)[:, None]
    hidden = solid.hidden_knots
    r = r + errors.normal("root under the fin", 1.0)[:, None] * _hidden_sigma(solid)
    r = np.where(hidden, np.minimum(r, r[:, ~hidden].max(1, keepdims=True)), r)  # hidden, but not wider than what shows
    nominal_radii, radii = solid.adjusted.tube_radii_mm(), solid.adjusted.tube_radii_mm(values)
    for k, radius in enumerate(nominal_radii):  # a tube's radius is known from its whole length
        r = np.where(np.abs(nominal[:, 1] - radius) < 0.003 * radius, radii[:, k : k + 1], r)
    widest = int(np.argmax(nominal_radii))
    if nominal[:, 1].max() < 1.003 * nominal_radii[widest]:  # nothing stood out of it but by noise, see solid.profile
        r = np.minimum(r, radii[:, widest : widest + 1])
    r[:, 0] = 0.0
    return x, np.maximum(r, 0.0)


def _modes(place: np.ndarray) -> np.ndarray:
    """(EDGE_MODES, n) hat functions over 0..1."""
    return np.stack([np.interp(place, np.linspace(0, 1, EDGE_MODES), row) for row in np.eye(EDGE_MODES)])


def _hidden_sigma(solid: Solid) -> np.ndarray:
    """(n,) standard deviation of the radius where no limb was seen."""
    radius, hidden = solid.geometry.profile_mm[:, 1], solid.hidden_knots
    change = np.ptp(radius[-max(hidden.sum() + 2, 2) :]) if hidden.any() else 0.0
    return TAIL_SHARE * change * hidden


def _fin(solid: Solid, k: int, pose, errors: _Errors, tip_s, bias_px, profile_x, profile_r) -> dict:
    """One group's samples: sizes (S,), the outline (S, k, 2) and the planform outside the body."""
    trace, nominal = solid.fins[k], solid.geometry.fins[k].outline_mm
    # one stretch of edge in EDGE_MODES errs alone, so together they move the area by less than each
    edge_px = np.hypot(np.hypot(FIN_EDGE_SIGMA_PX, trace.edge_sigma_px), trace.misfit_sigma_px * np.sqrt(EDGE_MODES))
    wave = errors.normal("edge", edge_px, EDGE_MODES) @ _modes(np.linspace(0, 1, len(nominal)))
    own = _own(errors, trace.own_sigma_px)
    wave = wave if own is None else wave + own
    # a fin's edge is flat and not darkened like a limb: only the doubt about the bias concerns it, not its mean
    bias_px = bias_px - float(solid.adjusted.edge_bias_px())
    outward = (wave - bias_px[:, None])[..., None] * trace.out_px
    angle = trace.angle_rad + errors.normal("pose", trace.roll_sigma_rad)[:, None]
    outline = pose.in_fin_plane(trace.outline_px + outward, angle, trace.offset_mm)
    outline[..., 0] -= tip_s[:, None]
    for end, hidden_mm in ((0, trace.hidden_mm[0]), (-1, trace.hidden_mm[1])):
        outline[:, end, 0] += errors.normal("root under the fin", HIDDEN_SHARE * hidden_mm)
        outline[:, end, 1] = _radius_at(solid, outline[:, end, 0], nominal[end, 0], profile_x, profile_r)
    between = _between(solid.geometry.profile_mm, nominal)
    body = np.stack([profile_x[:, between], profile_r[:, between]], -1)
    polygon = np.concatenate([outline, body[:, ::-1]], axis=1)
    root = np.concatenate([outline[:, :1], body, outline[:, -1:]], axis=1)
    step = np.diff(root[..., 0], axis=1)
    radius = ((root[:, 1:, 1] + root[:, :-1, 1]) / 2 * step).sum(1) / step.sum(1)
    plan = planform(polygon)
    return {
        "planform": plan,
        "outline": outline,
        "radius_mm": radius,
        "span_mm": outline[..., 1].max(1) - radius,
        "root_chord_mm": outline[:, -1, 0] - outline[:, 0, 0],
        "area_mm2": plan.area_mm2,
        "centroid_mm": plan.x_centroid_mm,
    }


def _between(profile: np.ndarray, outline: np.ndarray) -> np.ndarray:
    """Numbers of the profile's knots under the root."""
    return np.flatnonzero((profile[:, 0] > outline[0, 0]) & (profile[:, 0] < outline[-1, 0]))


def _radius_at(solid: Solid, x, nominal_x: float, profile_x, profile_r):
    """(S,) the body's radius at x (S,), on the segment where the nominal place lies."""
    at = int(np.clip(np.searchsorted(solid.geometry.profile_mm[:, 0], nominal_x), 1, profile_x.shape[1] - 1))
    run = np.maximum(profile_x[:, at] - profile_x[:, at - 1], 1e-6)
    share = np.clip((x - profile_x[:, at - 1]) / run, -0.5, 1.5)
    return profile_r[:, at - 1] + share * (profile_r[:, at] - profile_r[:, at - 1])


def shares(solid: Solid, seed: int) -> tuple[BandShare, ...]:
    """How much of the centre of pressure's variance each source brings, largest first."""
    spread = {s: float(np.std(draw(solid, seed, SHARE_SAMPLES, only=s).cp_x_mm)) for s in SOURCES}
    total = sum(v**2 for v in spread.values()) or 1.0
    found = [BandShare(s, v**2 / total, 1.96 * v) for s, v in spread.items()]
    return tuple(sorted(found, key=lambda share: -share.share))


def next_measurement(solid: Solid, samples: Samples) -> NextMeasurement | None:
    """The one further measurement that would shrink the centre of pressure's band most, if any helps by a tenth.

    The adjustment's covariance with one more observation added; the rest of the variance stays as it is.
    """
    adjusted, given = solid.adjusted, solid.adjusted.problem.given
    caliber = float(2 * solid.geometry.profile_mm[:, 1].max())
    departures = samples.values - adjusted.values
    gradient = np.linalg.lstsq(departures, samples.cp_x_mm - samples.cp_x_mm.mean(), rcond=1e-9)[0]
    total = float(np.var(samples.cp_x_mm))
    own = float(gradient @ adjusted.covariance @ gradient)
    rest = float(np.var(samples.cp_x_mm - departures @ gradient))
    candidates = []
    if given.tube_mm is None:
        candidates.append((
            "measure the largest body diameter with a caliper (--scale tube=...)",
            lambda v: 2 * adjusted.tube_radii_mm(v).max() / CALIPER_SIGMA_MM,
        ))  # fmt: skip
    if given.length_mm is None:
        candidates.append((
            "measure the body's length with a tape (--scale length=...)",
            lambda v: adjusted.problem.ends.length_mm(adjusted.pose(v)) / TAPE_SIGMA_MM,
        ))  # fmt: skip
    if adjusted.problem.references and given.behind_mm is None:
        candidates.append((
            "measure how far the reference lies behind the rocket's axis (--behind ...)",
            lambda v: adjusted.behind_mm(v)[0] / BEHIND_SIGMA_MM,
        ))  # fmt: skip
    best = None
    for action, observed in candidates:
        row = _slope(observed, adjusted.values)
        gain = adjusted.covariance @ row
        left = own - float(gradient @ gain) ** 2 / (1 + float(row @ gain))
        then = total * max(left + rest, 0.0) / (own + rest)
        if best is None or then < best[1]:
            best = (action, then)
    if best is None or best[1] > 0.81 * total:
        return None
    return NextMeasurement(best[0], 1.96 * np.sqrt(total) / caliber, 1.96 * np.sqrt(best[1]) / caliber)


def _slope(function, at: np.ndarray) -> np.ndarray:
    """Gradient of a scalar function of the adjustment's unknowns, by central differences."""
    step = 1e-4
    return np.array([(function(at + step * e) - function(at - step * e)) / (2 * step) for e in np.eye(len(at))])
