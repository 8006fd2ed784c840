"""Silhouette and references to a solid: the story of one photo, from pixels to a geometry in millimetres."""

from dataclasses import dataclass, replace

import numpy as np

from digitize.aero.components import centre_of_pressure
from digitize.errors import OutlineRefusal, ScaleRefusal
from digitize.geometry.toml import rounded
from digitize.numeric.neighbours import Nearest
from digitize.numeric.windows import opened
from digitize.photo.camera import CameraPrior
from digitize.records import FinGroup, Geometry, ReferencePoints, Silhouette, Warn
from digitize.solid.adjust import (
    LIMB_SIGMA_PX,
    Adjusted,
    EndPoints,
    GivenSizes,
    Problem,
    TubeLimbs,
    adjust,
    adjust_robustly,
)
from digitize.solid.aft import BY_RIM
from digitize.solid.agreement import blame_scales, check_roughly
from digitize.solid.axis import AxisView, find_axis, flat_of
from digitize.solid.ends import LEAST_SPUR_PX, fore_sigma_px, nose_tip, rim_of
from digitize.solid.groups import FinTrace, GivenFins, fins_of, flat_px
from digitize.solid.pose import Pose
from digitize.solid.profile import limb_of, profile_of
from digitize.solid.resting import lying
from digitize.solid.scan import base_edge
from digitize.solid.start import start_depth
from digitize.solid.stations import MIN_TUBE, Stations, find_stations
from digitize.solid.validity import check_straight, check_valid, within_caliper

POINTS_PER_TUBE = 24
END_SIGMA_PX = 0.6
RIM_REACH, EDGE_SCANS = 0.97, 40
"""The aft end's edge is read within this share of the body's half-width, on so many lines along the axis."""
MOST_RAGGED = 0.5
"""An aft edge whose places along the axis spread by more than this share of the radius is no body's end."""
WIDEST_STATIONS = 12
"""So many stations in a row show a larger diameter that is no tube."""
UNSAID_SIGMA = 0.4
"""Standard deviation of an unsaid set-back as a share of the most it is likely to be; evenly spread it were 0.29."""
SHOULDER_SHARE = 0.15
"""Standard deviation of where the body has widened, as a share of the stretch that hides it."""
MATTERS_CALIBERS, MATTERS_SHARE = 0.05, 0.02
"""Another body under the fins is told if it moves the centre of pressure by more, or is the largest diameter."""


@dataclass(frozen=True)
class Solid:
    """The measured rocket. geometry: rounded as its file will be; knots_upper_px, knots_lower_px: (n, 2) where the
    limb of each profile point is (or would be) seen; hidden_knots: (n,) bool; tip_sigma_px, base_sigma_px: of the ends
    along the axis; rim_sigma_mm: of the aft end's radius where fins hide the limb before it; edge_sigma_px: typical of
    the outline; shoulder_sigma_mm: of where the first of the widest profile points lies along the axis, where fins hide
    how the body widens; knot_sigma_px: (n,) error of each profile point by itself, for those set by hand; others: the
    same rocket with the fins otherwise, where the picture fits that as well: (how they stand in words, geometry);
    rival: the same with another body under the fins, where that can't be ruled out."""

    geometry: Geometry
    adjusted: Adjusted
    stations: Stations | None  # None of one drawn wholly by hand
    axis: AxisView
    knots_upper_px: np.ndarray
    knots_lower_px: np.ndarray
    hidden_knots: np.ndarray
    fins: tuple[FinTrace, ...]
    tip_sigma_px: float
    base_sigma_px: float
    rim_sigma_mm: float
    edge_sigma_px: float
    shoulder_sigma_mm: float = 0.0
    warnings: tuple[Warn, ...] = ()
    knot_sigma_px: np.ndarray | float = 0.0
    others: tuple[tuple[str, Geometry], ...] = ()
    rival: Geometry | None = None


def measure_solid(
    name: str,
    prior: CameraPrior,
    silhouette: Silhouette,
    references: tuple[ReferencePoints, ...],
    given: GivenSizes,
    fins: tuple[GivenFins, ...],
    nose: str | None,
    resting: bool,
) -> Solid:
    """The solid behind one silhouette, told with what its body may be under the fins as well: between two that the
    outline can't tell apart, what was said of the scale decides. Raises OutlineRefusal or ScaleRefusal."""
    axis = find_axis(prior.camera, silhouette.outline_px, nose, silhouette.nose_px)
    pixel = float(1 / prior.camera.focal_px)
    sigma, body = float(np.median(silhouette.sigma_px)) * pixel, silhouette.body_px
    body = None if body is None else flat_of(prior.camera, axis.view, body)
    ways = find_stations(axis.flat, axis.upper, pixel, len(fins), sigma, body)
    solids: list[tuple[float, Solid]] = []
    refused = None
    for stations in ways:
        try:
            solid = _measured(name, prior, silhouette, references, given, fins, resting, axis, stations)
            solids.append((given_cost(solid.adjusted) + stations.tail.cost, solid))
        except (OutlineRefusal, ScaleRefusal) as refusal:
            refused = refused or refusal
    if refused is not None and not solids:
        raise refused
    solids.sort(key=lambda one: one[0])
    (cost, solid), rest = solids[0], solids[1:]
    if not rest or rest[0][0] > cost + BY_RIM:
        return solid
    wider = max(2 * stations.tail.half / stations.caliber for stations in ways)
    return _with_rival(solid, rest[0][1], wider - 1)


def given_cost(adjusted: Adjusted) -> float:
    """What was said against the solution, in squared standard deviations: all but the limbs."""
    return float((adjusted.residuals[np.array(adjusted.names) != "tube limbs"] ** 2).sum())


def _measured(name, prior, silhouette, references, given, fins, resting, axis: AxisView, stations: Stations) -> Solid:
    """The solid with the body as one reading of the outline has it."""
    manual_p = np.inf if silhouette.manual is None else float(axis.flat[silhouette.manual, 0].min(initial=np.inf))
    check_straight(stations)
    tip_p, tip_sigma = nose_tip(stations, manual_p, fore_sigma_px(axis.flat[:, 0], silhouette.sigma_px, stations.pixel))
    problem = _problem(prior, axis, stations, tip_p, references, given, silhouette)
    check_roughly(problem)
    if references and given.behind_mm is None:
        problem = replace(problem, given=unsaid_set_back(problem, stations))
    adjusted = adjust_robustly(problem)
    seen = _Unscaled(axis, stations, tip_p, tip_sigma, silhouette)
    try:
        return _shaped(name, adjusted, seen, fins, resting)
    except OutlineRefusal:
        blame_scales(adjusted)
        raise


@dataclass(frozen=True)
class _Unscaled:
    """What the silhouette shows before there is any scale; tip_p, tip_sigma: the nose tip's place in the view."""

    axis: AxisView
    stations: Stations
    tip_p: float
    tip_sigma: float
    silhouette: Silhouette


def _shaped(name: str, adjusted: Adjusted, seen: _Unscaled, fins: tuple[GivenFins, ...], resting: bool) -> Solid:
    """The aft rim, body and fins by a pose that is nearly known. Raises OutlineRefusal."""
    axis, stations, silhouette = seen.axis, seen.stations, seen.silhouette
    pixel = float(1 / adjusted.problem.prior.camera.focal_px)
    problem, *aft_sigmas = _with_rim(adjusted, stations)
    adjusted = adjust(problem, adjusted.values)
    profile = _profile(adjusted, stations, silhouette)
    check_valid(adjusted, profile)
    profile, doubts = within_caliper(adjusted, profile, stations)
    traced = fins_of(adjusted, stations, profile, silhouette, fins)
    if resting and traced:
        standing = [(group[0][0].roll_rad, group[0][0].given.count, group[0][1]) for group in traced]
        adjusted = adjust(replace(problem, given=lying(problem.given, profile, standing)), adjusted.values)
        profile, doubts = within_caliper(adjusted, _profile(adjusted, stations, silhouette), stations)
        traced = fins_of(adjusted, stations, profile, silhouette, fins)
    solid = _solid(name, adjusted, stations, axis, profile, traced, (seen.tip_sigma / pixel, *aft_sigmas), silhouette)
    solid = replace(solid, warnings=doubts)
    spur_mm = (seen.tip_p - float(stations.p[0])) * float(adjusted.pose().depth_mm)
    if spur_mm > LEAST_SPUR_PX * pixel * float(adjusted.pose().depth_mm):
        solid = replace(solid, warnings=(*solid.warnings, _spur_words(spur_mm)))
    return solid if stations.tail.shown else _with_hidden_shoulder(solid)


def _spur_words(length_mm: float) -> Warn:
    return Warn(
        "NOSE_SPUR",
        f"A thin line {length_mm:.0f} mm long in front of the nose was taken for the ground's and left out",
        "Look at the nose tip in the picture (overlay.png); a ground without lines shows it clearly. A thin spike that "
        "the rocket does carry there is not in the length",
    )


def _with_hidden_shoulder(solid: Solid) -> Solid:
    """The doubt about where the body widens under the fins, and words about it."""
    x, radius = solid.geometry.profile_mm.T
    k = int(np.argmax(radius))
    warn = Warn(
        "WIDER_TAIL",
        f"The body is wider under the fins than ahead of them, {2 * radius[k]:.0f} mm by what is seen of it; where it "
        f"widens is hidden (taken as {x[k - 1]:.0f} to {x[k]:.0f} mm)",
        "To know it better, put a caliper on the larger tube and measure with a ruler where it begins",
    )
    sigma_mm = SHOULDER_SHARE * float(x[-1] - x[k - 1])
    return replace(solid, shoulder_sigma_mm=sigma_mm, warnings=(*solid.warnings, warn))


def _with_rival(solid: Solid, other: Solid, share: float) -> Solid:
    """The solid with the doubt whether its body is the other one's under the fins, where that matters. share: by which
    it is wider there than ahead of them, by the one or the other."""
    one, two = (2 * float(s.geometry.profile_mm[:, 1].max()) for s in (solid, other))
    apart = abs(centre_of_pressure(solid.geometry).x_mm - centre_of_pressure(other.geometry).x_mm) / one
    if apart < MATTERS_CALIBERS and abs(two - one) < MATTERS_SHARE * one:
        return solid
    warn = Warn(
        "WIDER_TAIL_UNSURE",
        f"Under the fins the body may be {share:.0%} wider than ahead of them, or as wide as there: what is seen does "
        f"not settle it, and the centre of pressure moves by {apart:.1f} calibers",
        "Put a caliper on the body ahead of the fins and between them; photograph it with the fins turned so that the "
        "body between them is seen",
    )
    kept = tuple(w for w in solid.warnings if w.code != "WIDER_TAIL")
    return replace(solid, rival=other.geometry, warnings=(*kept, warn))


def _limb_px(adjusted_or_problem, stations: Stations) -> tuple[np.ndarray, np.ndarray]:
    problem = getattr(adjusted_or_problem, "problem", adjusted_or_problem)
    upper = flat_px(problem.prior, problem.view, stations.p, problem.upper * stations.upper)
    lower = flat_px(problem.prior, problem.view, stations.p, -problem.upper * stations.lower)
    return upper, lower


def _problem(prior, axis, stations, tip_p, references, given, silhouette) -> Problem:
    view, upper = axis.view, axis.upper
    tip_px = flat_px(prior, view, np.array([tip_p]), np.zeros(1))[0]
    tail = stations.tail
    reach = RIM_REACH * (0.5 * stations.caliber if tail.shown else tail.half)
    edge = base_edge(axis.flat, stations.p, reach, EDGE_SCANS)
    if len(edge) < 5:
        raise OutlineRefusal(
            "The aft end of the body can't be made out in the outline",
            "Take the photo so that the edge of the aft end is clear of the ground's lines and shadows",
        )
    ends = EndPoints(tip_px, flat_px(prior, view, *edge.T), np.zeros((0, 2)))
    middle = np.median(stations.p)
    rim = flat_px(prior, view, np.full(2, middle), 0.5 * stations.caliber * np.array([1.0, -1.0]))
    ends = replace(ends, rim_px=rim)
    draft = Problem(prior, view, upper, (), ends, references, given, 1000.0)
    upper_px, lower_px = _limb_px(draft, stations)
    tubes = [_tube_limbs(run, stations, upper_px, lower_px, silhouette) for run in _tube_runs(stations)]
    if not tail.shown:  # a tube of its own, known by both sides of its end; they share the one doubt about it
        sides = np.array([1.0, -1.0])
        limbs = flat_px(prior, view, np.full(2, np.median(edge[:, 0])), upper * sides * tail.half)
        tubes.append(TubeLimbs(limbs, sides, np.full(2, np.sqrt(2) * tail.sigma / stations.pixel)))
    draft = replace(draft, tubes=tuple(tubes))
    return replace(draft, start_depth_mm=start_depth(draft))


def _tube_runs(stations: Stations) -> list[np.ndarray]:
    """Station numbers of each tube, without the tenth at either end where a curve may run into it, and of the widest
    stretch of body if it is wider than any tube."""
    both = stations.body_upper & stations.body_lower
    runs = []
    for first, last in stations.tubes:
        run = np.arange(first, last + 1)
        run = run[both[run]]
        trim = len(run) // 10
        runs.append(run[trim : len(run) - trim])
    runs = [run for run in runs if len(run) >= 6]
    half = np.where(both, (stations.upper + stations.lower) / 2, 0.0)
    if stations.fin_runs:  # beside fins one side may show a larger tube where the other is hidden
        one = (np.arange(len(half)) >= stations.fin_runs[-1][0]) & (stations.body_upper ^ stations.body_lower)
        half[one] = np.where(stations.body_upper, stations.upper, stations.lower)[one]
    half = half / _taper(stations, runs)
    level = opened(half, WIDEST_STATIONS)
    widest = np.flatnonzero((level > 0.985 * level.max()) & (half < 1.03 * level.max()))
    margin = 1.03 + 2 * stations.noise / stations.caliber
    if not runs or level.max() > margin * max(np.median(half[run]) for run in runs):
        runs.append(widest)  # the largest diameter is not on a tube
    return runs


def _taper(stations: Stations, runs: list[np.ndarray]) -> np.ndarray:
    """(n,) how much perspective enlarges the half-widths at each station, by the longest tube's sides."""
    if not runs:
        return np.ones(len(stations.p))
    run = max(runs, key=len)
    half = (stations.upper + stations.lower)[run] / 2
    slope, level = np.polyfit(stations.p[run], half, 1)
    line = slope * stations.p + level
    return np.maximum(line / np.median(half), 0.2)


def _tube_limbs(run, stations, upper_px, lower_px, silhouette) -> TubeLimbs:
    pick = run[np.linspace(0, len(run) - 1, min(POINTS_PER_TUBE, len(run))).astype(int)]
    upper, lower = pick[stations.body_upper[pick]], pick[stations.body_lower[pick]]
    side = np.r_[np.ones(len(upper)), -np.ones(len(lower))]
    points = np.concatenate([upper_px[upper], lower_px[lower]])
    nearest = Nearest(silhouette.outline_px).query(points)[1]
    return TubeLimbs(points, side, np.hypot(LIMB_SIGMA_PX, silhouette.sigma_px[nearest]))


def unsaid_set_back(problem: Problem, stations: Stations) -> GivenSizes:
    """A reference lies level with the axis, or on the table or wall behind it, as far as the fins reach and a little
    more: anything between, so half of it is expected, and the band reaches past both ends."""
    most_mm = float(stations.reach.max()) * problem.start_depth_mm + 20.0
    return replace(problem.given, behind_guess_mm=0.5 * most_mm, behind_sigma_mm=UNSAID_SIGMA * most_mm)


def _with_rim(adjusted: Adjusted, stations: Stations) -> tuple[Problem, float, float]:
    """(the problem with the aft rim's radius and those edge points that lie on it, the radius' deviation in mm, that of
    the end's place in pixels). Where no arc is made out (a dark opening, a bit that the outline lacks), the farthest
    third of the edge is taken, with the spread of all of it as the deviation."""
    pose, ends = adjusted.pose(), adjusted.problem.ends
    s, side, tan_phi = pose.limb(ends.base_px)
    pixel_mm, largest = float(pose.depth_mm / pose.camera.focal_px), float(adjusted.tube_radii_mm().max())
    noise_mm = stations.noise / stations.pixel * pixel_mm
    radius, sigma_mm, on_rim = rim_of(s, side, tan_phi, largest, noise_mm)
    spread_px = 0.0
    if not on_rim.any():
        place = s - np.sqrt(np.maximum(largest**2 - side**2, 0.0)) * np.abs(tan_phi)
        on_rim, radius, spread_px = place >= np.quantile(place, 0.7), largest, float(place.std() / pixel_mm)
    if spread_px * pixel_mm > MOST_RAGGED * largest:
        raise OutlineRefusal(
            "The aft end of the body can't be made out in the outline",
            "Take the photo so that the edge of the aft end is clear of the ground's lines and shadows",
        )
    rim_px = _rim_px(pose, s[on_rim], side[on_rim], tan_phi[on_rim], radius)
    ends = replace(ends, base_px=ends.base_px[on_rim], rim_px=rim_px)
    return replace(adjusted.problem, ends=ends), sigma_mm, max(END_SIGMA_PX, spread_px)


def _rim_px(pose: Pose, s, side, tan_phi, radius: float) -> np.ndarray:
    """(2, 2) upper and lower limb of a rim of this radius through these edge points."""
    bulge = np.sqrt(np.maximum(radius**2 - side**2, 0.0)) * np.abs(tan_phi)
    return pose.limb_px(np.full(2, np.median(s - bulge)), np.array([radius, -radius]))


def _profile(adjusted: Adjusted, stations: Stations, silhouette: Silhouette) -> np.ndarray:
    """(n, 2) profile, x from the nose tip."""
    pose, ends = adjusted.pose(), adjusted.problem.ends
    upper_px, lower_px = _limb_px(adjusted, stations)
    edge = Nearest(silhouette.outline_px)
    sides = []
    tip_s, base_s = float(ends.tip_s_mm(pose)), float(ends.base_s_mm(pose))
    for points, body, sign in ((upper_px, stations.body_upper, 1.0), (lower_px, stations.body_lower, -1.0)):
        seen = body & (pose.limb(points)[0] < base_s)  # behind it the edge is the rim's, not the limb
        sigma = np.hypot(LIMB_SIGMA_PX, silhouette.sigma_px[edge.query(points[seen])[1]])
        sides.append((points[seen], sigma, sign))
    limb = limb_of(pose, sides, float(adjusted.edge_bias_px()))
    tubes, runs, radii = [], _tube_runs(stations), adjusted.tube_radii_mm()
    for run, radius in zip(runs, radii[: len(runs)], strict=True):
        if np.ptp(run) > 0.5 * MIN_TUBE * len(stations.p):
            s = pose.limb(upper_px[run[[0, -1]]])[0]
            tubes.append((s[0], s[1], float(radius)))
    rim = float(np.abs(pose.limb(ends.rim_px)[1]).mean())
    mm_per_px, full = float(pose.depth_mm / pose.camera.focal_px), None
    if len(radii) > len(runs):
        wide = stations.envelope > 0.98 * stations.envelope[stations.tail.first :].max()
        full = float(pose.limb(upper_px[[int(np.argmax(wide))]])[0][0]), float(radii[-1])
    return profile_of(limb, tip_s, base_s, rim, tubes, mm_per_px, full)


def _others(geometry: Geometry, ways, pose: Pose) -> tuple[tuple[str, Geometry], ...]:
    """(words, geometry) of each other way one of the groups may stand."""
    found = []
    for k, group in enumerate(ways):
        for trace, outline in group[1:]:
            fins = list(geometry.fins)
            fins[k] = replace(fins[k], outline_mm=outline)
            deg = np.degrees(trace.roll_rad - pose.roll_offset_rad()) % (360 / trace.given.count)
            found.append((f"{deg:.0f} degrees", rounded(replace(geometry, fins=tuple(fins)))))
    return tuple(found)


def _solid(name, adjusted, stations, axis, profile, ways, end_sigmas, silhouette) -> Solid:
    traced = [group[0] for group in ways]
    groups = tuple(FinGroup(t.given.count, outline, t.given.thickness_mm) for t, outline in traced)
    geometry = rounded(Geometry(name, profile, groups))
    pose = adjusted.pose()
    tip_s = float(adjusted.problem.ends.tip_s_mm(pose))
    bias_mm = float(adjusted.edge_bias_px()) * pose.depth_mm / pose.camera.focal_px
    s, radius = geometry.profile_mm[:, 0] + tip_s, geometry.profile_mm[:, 1] + bias_mm
    upper_px, _ = _limb_px(adjusted, stations)
    seen = np.sort(pose.limb(upper_px[stations.body_upper | stations.body_lower])[0])
    nearest = np.abs(s[:, None] - seen[None]).min(axis=1)
    # an end that fins hide, or a narrower one behind fins that hide the limb for a stretch: its radius rests on its
    # rim, and on the little that is seen between fins and rim
    aft = np.append(seen[seen > s[0] + 0.6 * (s[-1] - s[0])], s[-1])
    gaps = np.diff(aft) / (s[-1] - s[0])
    hidden_end = len(gaps) < 1 or gaps[-1] > 0.02
    hidden_stretch = hidden_end or gaps.max() > 0.05
    narrower = geometry.profile_mm[-1, 1] < 0.97 * geometry.profile_mm[:, 1].max()
    by_rim = hidden_end or (hidden_stretch and narrower)
    return Solid(
        geometry=geometry,
        adjusted=adjusted,
        stations=stations,
        axis=axis,
        knots_upper_px=pose.limb_px(s, radius),
        knots_lower_px=pose.limb_px(s, -radius),
        hidden_knots=nearest > 0.015 * geometry.profile_mm[-1, 0],
        fins=tuple(t for t, _ in traced),
        tip_sigma_px=float(end_sigmas[0]),
        rim_sigma_mm=end_sigmas[1] if by_rim else 0.0,
        base_sigma_px=end_sigmas[2],
        edge_sigma_px=float(np.median(silhouette.sigma_px)),
        others=_others(geometry, ways, pose),
    )
