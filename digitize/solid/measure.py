"""Silhouette and references to a solid: the story of one photo, from pixels to a geometry in millimetres."""

from dataclasses import dataclass, replace

import numpy as np

from digitize.errors import OutlineRefusal
from digitize.geometry.toml import rounded
from digitize.neighbours import tree_of
from digitize.photo.camera import CameraPrior
from digitize.records import FinGroup, Geometry, ReferencePoints, Silhouette, Warn
from digitize.solid.adjust import (
    LIMB_SIGMA_PX,
    Adjusted,
    EndPoints,
    Problem,
    Told,
    TubeLimbs,
    adjust,
    adjust_robustly,
)
from digitize.solid.agreement import blame_scales, check_roughly
from digitize.solid.axis import AxisView, find_axis
from digitize.solid.ends import LEAST_SPUR_PX, WIDEST, base_edge, nose_tip, rim_of, wider_rim
from digitize.solid.groups import FinsSaid, FinTrace, fins_of, flat_px
from digitize.solid.planform import coverage
from digitize.solid.pose import Pose
from digitize.solid.profile import limb_of, profile_of
from digitize.solid.resting import lying
from digitize.solid.sound import check_sound, check_straight, within_caliper
from digitize.solid.start import start_depth
from digitize.solid.stations import MIN_TUBE, Stations, find_stations

POINTS_PER_TUBE = 24
END_SIGMA_PX = 0.6
MOST_RAGGED = 0.5
"""An aft edge whose places along the axis spread by more than this share of the radius is no body's end."""
WIDEST_STATIONS = 12
"""So many stations in a row show a larger diameter that is no tube."""
UNSAID_SIGMA = 0.4
"""Standard deviation of an unsaid set-back as a share of the most it is likely to be; evenly spread it were 0.29."""
SHOULDER_SHARE = 0.15
"""Standard deviation of where the body has widened, as a share of the stretch that hides it."""
UNEXPLAINED = 0.12
"""Share of the fins' silhouette that may stay unexplained by one planform before it is called doubtful."""


@dataclass(frozen=True)
class Solid:
    """The measured rocket. geometry: rounded as its file will be; knots_upper_px, knots_lower_px: (n, 2) where the
    limb of each profile point is (or would be) seen; hidden_knots: (n,) bool; tip_sigma_px, base_sigma_px: of the ends
    along the axis; rim_sigma_mm: of the aft end's radius where fins hide the limb before it; edge_sigma_px: typical of
    the outline; shoulder_sigma_mm: of where the last but one profile point lies along the axis, where fins hide how the
    body widens; knot_sigma_px: (n,) error of each profile point by itself, for those set by hand; others: the same
    rocket with the fins otherwise, where the picture fits that as well: (how they stand in words, geometry)."""

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


def measure_solid(
    name: str,
    prior: CameraPrior,
    silhouette: Silhouette,
    references: tuple[ReferencePoints, ...],
    told: Told,
    fins: tuple[FinsSaid, ...],
    nose: str | None,
    resting: bool,
) -> Solid:
    """The solid behind one silhouette. Raises OutlineRefusal or ScaleRefusal."""
    axis = find_axis(prior.camera, silhouette.outline_px, nose, silhouette.nose_px)
    pixel = float(1 / prior.camera.focal_px)
    stations = find_stations(axis.flat, axis.upper, pixel, len(fins), float(np.median(silhouette.sigma_px)) * pixel)
    hand_p = np.inf if silhouette.hand is None else axis.flat[silhouette.hand, 0].min(initial=np.inf)
    check_straight(stations)
    tip_p, tip_sigma = nose_tip(stations, float(hand_p))
    problem = _problem(prior, axis, stations, tip_p, references, told, silhouette)
    check_roughly(problem)
    if references and told.behind_mm is None:
        problem = replace(problem, told=_unsaid_set_back(problem, stations))
    adjusted = adjust_robustly(problem)
    seen = _Seen(axis, stations, tip_p, tip_sigma, silhouette)
    try:
        return _shaped(name, adjusted, seen, fins, resting)
    except OutlineRefusal:
        blame_scales(adjusted)
        raise


@dataclass(frozen=True)
class _Seen:
    """What the silhouette shows before there is any scale; tip_p, tip_sigma: the nose tip's place in the view."""

    axis: AxisView
    stations: Stations
    tip_p: float
    tip_sigma: float
    silhouette: Silhouette


def _shaped(name: str, adjusted: Adjusted, seen: _Seen, fins: tuple[FinsSaid, ...], resting: bool) -> Solid:
    """The aft rim, body and fins by a pose that is nearly known. Raises OutlineRefusal."""
    axis, stations, silhouette = seen.axis, seen.stations, seen.silhouette
    pixel, before = float(1 / adjusted.problem.prior.camera.focal_px), adjusted
    beyond_px = _flat_to_px(before.problem, base_edge(axis.flat, stations, WIDEST))
    problem, *aft_sigmas = _with_rim(adjusted, beyond_px, stations.noise / pixel)
    wider = len(problem.tubes) > len(before.problem.tubes)
    adjusted = adjust(problem, None if wider else before.values)
    profile = _profile(adjusted, stations, silhouette)
    check_sound(adjusted, profile)
    profile, doubts = within_caliper(adjusted, profile, stations)
    cover = coverage(silhouette.outline_px, silhouette.outline_px.min(0), silhouette.outline_px.max(0))
    traced = fins_of(adjusted, stations, profile, cover, silhouette, fins)
    if resting and traced:
        standing = [(group[0][0].roll_rad, group[0][0].said.count, group[0][1]) for group in traced]
        adjusted = adjust(replace(problem, told=lying(problem.told, profile, standing)), adjusted.values)
        profile, doubts = within_caliper(adjusted, _profile(adjusted, stations, silhouette), stations)
        traced = fins_of(adjusted, stations, profile, cover, silhouette, fins)
    solid = _solid(name, adjusted, stations, axis, profile, traced, (seen.tip_sigma / pixel, *aft_sigmas), silhouette)
    solid = replace(solid, warnings=doubts)
    spur_mm = (seen.tip_p - float(stations.p[0])) * float(adjusted.pose().depth_mm)
    if spur_mm > LEAST_SPUR_PX * pixel * float(adjusted.pose().depth_mm):
        solid = replace(solid, warnings=(*solid.warnings, _spur_words(spur_mm)))
    return _with_hidden_shoulder(solid) if wider else solid


def _spur_words(length_mm: float) -> Warn:
    return Warn(
        "NOSE_SPUR",
        f"A thin line {length_mm:.0f} mm long in front of the nose was taken for the ground's and left out",
        "Look at the nose tip on the overlay; a ground without lines shows it clearly. A thin spike that the rocket "
        "does carry there is not in the length",
    )


def _with_hidden_shoulder(solid: Solid) -> Solid:
    """The doubt about where the body widens under the fins, and words about it: a caliper beside another scale
    confirms the width, else it rests on the aft end's bulge alone."""
    from_mm, full_mm, length_mm = solid.geometry.profile_mm[-3:, 0]
    problem = solid.adjusted.problem
    confirmed = problem.told.tube_mm is not None and (problem.references or problem.told.length_mm is not None)
    text = (
        f"By its aft end the body is wider under the fins than ahead of them; where it widens is hidden (taken as "
        f"{from_mm:.0f} to {full_mm:.0f} mm)"
    )
    if confirmed:
        warn = Warn("WIDER_TAIL", text, "To know it better, measure with a ruler where the larger tube begins")
    else:
        warn = Warn(
            "WIDER_TAIL_UNSURE",
            text,
            "Put a caliper on the largest tube and give it with --scale tube= beside a ruler in the picture: "
            "together they show whether it is wider",
        )
    sigma_mm = SHOULDER_SHARE * (length_mm - from_mm)
    return replace(solid, shoulder_sigma_mm=sigma_mm, warnings=(*solid.warnings, warn))


def _flat_to_px(problem: Problem, flat: np.ndarray) -> np.ndarray:
    return flat_px(problem.prior, problem.view, *flat.T)


def _limb_px(adjusted_or_problem, stations: Stations) -> tuple[np.ndarray, np.ndarray]:
    problem = getattr(adjusted_or_problem, "problem", adjusted_or_problem)
    upper = flat_px(problem.prior, problem.view, stations.p, problem.upper * stations.upper)
    lower = flat_px(problem.prior, problem.view, stations.p, -problem.upper * stations.lower)
    return upper, lower


def _problem(prior, axis, stations, tip_p, references, told, silhouette) -> Problem:
    view, upper = axis.view, axis.upper
    tip_px = flat_px(prior, view, np.array([tip_p]), np.zeros(1))[0]
    edge = base_edge(axis.flat, stations)
    if len(edge) < 5:
        raise OutlineRefusal(
            "The aft end of the body can't be made out in the outline",
            "Take the photo so that the edge of the aft end is clear of the ground's lines and shadows",
        )
    ends = EndPoints(tip_px, flat_px(prior, view, *edge.T), np.zeros((0, 2)))
    middle = np.median(stations.p)
    rim = flat_px(prior, view, np.full(2, middle), 0.5 * stations.caliber * np.array([1.0, -1.0]))
    ends = replace(ends, rim_px=rim)
    draft = Problem(prior, view, upper, (), ends, references, told, 1000.0)
    upper_px, lower_px = _limb_px(draft, stations)
    tubes = tuple(_tube_limbs(run, stations, upper_px, lower_px, silhouette) for run in _tube_runs(stations))
    draft = replace(draft, tubes=tubes)
    return replace(draft, start_depth_mm=start_depth(draft))


def _tube_runs(stations: Stations) -> list[np.ndarray]:
    """Station numbers of each tube, without the tenth at either end where a curve may run into it, and of the widest
    stretch of body if it is wider than any tube."""
    from scipy.ndimage import grey_opening  # as in neighbours.py

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
    level = grey_opening(half, size=WIDEST_STATIONS)
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
    nearest = tree_of(silhouette.outline_px).query(points)[1]
    return TubeLimbs(points, side, np.hypot(LIMB_SIGMA_PX, silhouette.sigma_px[nearest]))


def _unsaid_set_back(problem: Problem, stations: Stations) -> Told:
    """A reference lies level with the axis, or on the table or wall behind it, as far as the fins reach and a little
    more: anything between, so half of it is expected, and the band reaches past both ends."""
    most_mm = float(stations.reach.max()) * problem.start_depth_mm + 20.0
    return replace(problem.told, behind_guess_mm=0.5 * most_mm, behind_sigma_mm=UNSAID_SIGMA * most_mm)


def _without_caliper(adjusted: Adjusted) -> Adjusted:
    """Solved by the other scales where there are any: a caliper that was on a tube not seen yet bends the pose."""
    problem, told = adjusted.problem, adjusted.problem.told
    if told.tube_mm is None or not (problem.references or told.length_mm is not None):
        return adjusted
    return adjust(replace(problem, told=replace(told, tube_mm=None)), adjusted.values)


def _with_rim(adjusted: Adjusted, beyond_px: np.ndarray, noise_px: float) -> tuple[Problem, float, float]:
    """(the problem with the aft rim's radius and those edge points that lie on it, the radius' deviation in mm, that of
    the end's place in pixels).

    beyond_px: the aft edge's points out to WIDEST times the body's half-width. A rim wider than any tube seen is a
    tube of its own, with its doubt in its limb points. Where no arc is made out (a dark opening, a bit that the
    outline lacks), the farthest third of the edge is taken, with the spread of all of it as the deviation.
    """
    pose, ends = adjusted.pose(), adjusted.problem.ends
    s, side, tan_phi = pose.limb(ends.base_px)
    pixel_mm, largest = float(pose.depth_mm / pose.camera.focal_px), float(adjusted.tube_radii_mm().max())
    radius, sigma_mm, on_rim = rim_of(s, side, tan_phi, largest, noise_px * pixel_mm)
    free = _without_caliper(adjusted)
    pose, largest = free.pose(), float(free.tube_radii_mm().max())
    pixel_mm, edge = float(pose.depth_mm / pose.camera.focal_px), pose.limb(beyond_px)
    wider = wider_rim(edge[0], edge[1], edge[2], largest, noise_px * pixel_mm)
    if wider is not None and wider[2].sum() > on_rim.sum():
        radius, sigma_mm, on_rim = wider
        rim_px = _rim_px(pose, edge[0][on_rim], edge[1][on_rim], edge[2][on_rim], radius)
        # both points share the one doubt about the radius
        limbs = TubeLimbs(rim_px, np.array([1.0, -1.0]), np.full(2, np.sqrt(2) * sigma_mm / pixel_mm))
        ends = replace(ends, base_px=beyond_px[on_rim], rim_px=rim_px)
        problem = replace(adjusted.problem, ends=ends, tubes=(*adjusted.problem.tubes, limbs))
        return replace(problem, start_depth_mm=start_depth(problem)), 0.0, END_SIGMA_PX
    spread_px = 0.0
    if not on_rim.any():
        place = s - np.sqrt(np.maximum(largest**2 - side**2, 0.0)) * np.abs(tan_phi)
        on_rim, radius, spread_px = place >= np.quantile(place, 0.7), largest, float(place.std() / pixel_mm)
    if spread_px * pixel_mm > MOST_RAGGED * largest:
        raise OutlineRefusal(
            "The aft end of the body can't be made out in the outline",
            "Take the photo so that the edge of the aft end is clear of the ground's lines and shadows",
        )
    rim_px = _rim_px(adjusted.pose(), s[on_rim], side[on_rim], tan_phi[on_rim], radius)
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
    edge = tree_of(silhouette.outline_px)
    sides = []
    for points, seen, sign in ((upper_px, stations.body_upper, 1.0), (lower_px, stations.body_lower, -1.0)):
        sigma = np.hypot(LIMB_SIGMA_PX, silhouette.sigma_px[edge.query(points[seen])[1]])
        sides.append((points[seen], sigma, sign))
    limb = limb_of(pose, sides, float(adjusted.edge_bias_px()))
    tip_s, base_s = float(ends.tip_s_mm(pose)), float(ends.base_s_mm(pose))
    tubes, runs, radii = [], _tube_runs(stations), adjusted.tube_radii_mm()
    for run, radius in zip(runs, radii[: len(runs)], strict=True):
        if np.ptp(run) > 0.5 * MIN_TUBE * len(stations.p):
            s = pose.limb(upper_px[run[[0, -1]]])[0]
            tubes.append((s[0], s[1], float(radius)))
    rim = float(np.abs(pose.limb(ends.rim_px)[1]).mean())
    mm_per_px, full_s = float(pose.depth_mm / pose.camera.focal_px), None
    if len(radii) > len(runs):
        rim = float(radii[-1])
        full_s = _earliest_as_wide(pose, upper_px, lower_px, stations, rim)
    return profile_of(limb, tip_s, base_s, rim, tubes, mm_per_px, full_s)


def _earliest_as_wide(pose: Pose, upper_px, lower_px, stations: Stations, radius: float) -> float:
    """Where, behind the last of the body that is seen ahead of the fins, the silhouette first leaves room for this
    radius on both sides, mm along the axis."""
    s, upper, _ = pose.limb(upper_px)
    lower = -pose.limb(lower_px)[1]
    room = np.flatnonzero((np.minimum(upper, lower) >= 0.99 * radius) & (s > s[stations.fin_runs[-1][0]]))
    return float(s[room[0]] if len(room) else s[stations.fin_runs[-1][0]])


def _others(geometry: Geometry, ways, pose: Pose) -> tuple[tuple[str, Geometry], ...]:
    """(words, geometry) of each other way one of the groups may stand."""
    found = []
    for k, group in enumerate(ways):
        for trace, outline in group[1:]:
            fins = list(geometry.fins)
            fins[k] = replace(fins[k], outline_mm=outline)
            deg = np.degrees(trace.roll_rad - pose.roll_offset_rad()) % (360 / trace.said.count)
            found.append((f"{deg:.0f} degrees", rounded(replace(geometry, fins=tuple(fins)))))
    return tuple(found)


def _solid(name, adjusted, stations, axis, profile, ways, end_sigmas, silhouette) -> Solid:
    traced = [group[0] for group in ways]
    groups = tuple(FinGroup(t.said.count, outline, t.said.thickness_mm) for t, outline in traced)
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
