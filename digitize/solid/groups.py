"""Each fin group of a silhouette: where along the body it is looked for, and the ways it may stand."""

from dataclasses import dataclass

import numpy as np

from digitize.errors import FinsRefusal
from digitize.photo.camera import CameraPrior
from digitize.records import Silhouette
from digitize.solid.fin_edges import edge_sigma_px, misfit_sigma_px, outward
from digitize.solid.fin_fit import Fitted
from digitize.solid.planform import Carving, scenery
from digitize.solid.pose import Pose
from digitize.solid.roll import find_fins


@dataclass(frozen=True)
class GivenFins:
    """What the user said of one group. roll_rad: rolls that fit the words, from the photo's plane; none if nothing was
    said."""

    count: int
    roll_rad: tuple[float, ...]
    thickness_mm: float


@dataclass(frozen=True)
class FinTrace:
    """A fin group as seen. outline_px: (m, 2) where each point of the geometry's outline is seen, on the fin at
    angle_rad (m,) in a plane offset_mm (m,) from its middle; out_px: (m, 2) unit normals outward of the edge in the
    picture. roll_rad and its sigma, from the line of sight; unexplained: share of the silhouette; side_areas_mm2:
    area by the upper and by the lower side alone where both show a fin lying flat, else None; edge_sigma_px: typical of
    the outline there; misfit_sigma_px: what the silhouette's own contradictions are worth along the fin's edge;
    own_sigma_px: (m,) error of each point by itself, for those set by hand; turn_rad: (count,) each fin's own departure
    from its place; cost: of the fit, in squared standard deviations; absent: numbers of the fins not in the outline."""

    given: GivenFins
    outline_px: np.ndarray
    angle_rad: np.ndarray
    offset_mm: np.ndarray
    out_px: np.ndarray
    roll_rad: float
    roll_sigma_rad: float
    hidden_mm: tuple[float, float]
    unexplained: float
    side_areas_mm2: tuple[float, float] | None
    edge_sigma_px: float
    misfit_sigma_px: float = 0.0
    own_sigma_px: np.ndarray | float = 0.0
    turn_rad: np.ndarray | float = 0.0
    cost: float = 0.0
    absent: tuple[int, ...] = ()


def fins_of(adjusted, stations, profile, silhouette, fins) -> list[list[tuple[FinTrace, np.ndarray]]]:
    """[(trace, outline (m, 2) from the nose tip)] of each group, nose to tail: the ways it may stand, best first."""
    tip_s = float(adjusted.problem.ends.tip_s_mm(adjusted.pose()))
    jobs = carvings(adjusted, stations, profile, silhouette, fins)
    pairs = zip(jobs, fins, strict=True)
    return [_one_group(adjusted, job, given, tip_s, silhouette) for job, given in pairs]


def carvings(adjusted, stations, profile, silhouette, fins) -> list[Carving]:
    """Where each group of fins is looked for. Raises FinsRefusal if fewer stand out than were said."""
    pose = adjusted.pose()
    if len(stations.fin_runs) < len(fins):
        raise FinsRefusal(
            f"{len(fins)} fin group(s) were looked for but {len(stations.fin_runs)} stand out in the outline",
            "Check --fins, or turn the rocket so that a fin of each group lies flat in the photo's plane",
        )
    tip_s = float(adjusted.problem.ends.tip_s_mm(pose))
    s_all, side_all, _ = pose.limb(silhouette.outline_px)
    pixel_mm = pose.depth_mm / pose.camera.focal_px
    centre_px = flat_px(adjusted.problem.prior, adjusted.problem.view, stations.p, np.zeros(len(stations.p)))
    s_station = pose.limb(centre_px)[0]
    runs = stations.fin_runs
    found = []
    for k, (given, (first, last)) in enumerate(zip(fins, runs, strict=True)):
        after_previous = s_station[(runs[k - 1][1] + first) // 2] if k else -np.inf
        before_next = s_station[(last + runs[k + 1][0]) // 2] if k + 1 < len(runs) else s_all.max() + 30 * pixel_mm
        found.append(Carving(
            profile_s_mm=profile + np.array([tip_s, 0.0]),
            first_s_mm=max(s_station[first] - 0.6 * (s_station[last] - s_station[first]), after_previous),
            last_s_mm=before_next,
            reach_mm=_reach(s_all, side_all, s_station[first], before_next, given),
            step_mm=pixel_mm,
            half_thickness_mm=given.thickness_mm / 2,
            count=given.count,
            roll_rad=0.0,
        ))  # fmt: skip
    return found


def _reach(s, side, first, last, given) -> float:
    """How far from the axis a fin's tip may lie, if the flattest fin shows all that is seen."""
    seen = np.abs(side[(s > first) & (s < last)]).max()
    rolls = np.array(given.roll_rad or np.linspace(0, 2 * np.pi / given.count, 37))
    angles = rolls[:, None] + 2 * np.pi * np.arange(given.count) / given.count
    flattest = np.abs(np.cos(angles)).max(axis=1).min()
    return float(seen / max(flattest, 0.25) * 1.15)


def _one_group(adjusted, job: Carving, given: GivenFins, tip_s: float, silhouette: Silhouette):
    """[(trace, outline)] of each way the fins may stand, the best first."""
    pose = adjusted.pose()
    scene = scenery(silhouette.outline_px, pose, job)
    fits = find_fins(silhouette, scene, pose, job, [r + pose.roll_offset_rad() for r in given.roll_rad])
    if not fits:
        raise FinsRefusal(
            "No fin stands clear of the body in the outline",
            "Turn the rocket so that one fin lies flat in the photo's plane (--pose in-plane) and photograph it again",
        )
    return [_trace(fitted, pose, job, given, tip_s, silhouette) for fitted in fits]


def _trace(fitted: Fitted, pose: Pose, job: Carving, given: GivenFins, tip_s: float, silhouette: Silhouette):
    planform = fitted.planform
    outline = planform.outline_mm - [tip_s, 0.0]
    pixels = pose.project_fins(planform.outline_mm[:, None], planform.angle_rad, planform.offset_mm)[:, 0]
    trace = FinTrace(
        given=given,
        outline_px=pixels,
        angle_rad=planform.angle_rad,
        offset_mm=planform.offset_mm,
        out_px=outward(pose, planform.outline_mm, planform.angle_rad, planform.offset_mm),
        roll_rad=fitted.roll_rad,
        roll_sigma_rad=fitted.roll_sigma_rad,
        hidden_mm=(planform.hidden_lead_mm, planform.hidden_trail_mm),
        unexplained=fitted.unexplained,
        side_areas_mm2=fitted.side_areas_mm2,
        edge_sigma_px=edge_sigma_px(pixels, silhouette),
        misfit_sigma_px=misfit_sigma_px(pixels, outline, job, fitted.side_areas_mm2, fitted.unexplained, pose),
        turn_rad=fitted.turn_rad,
        cost=fitted.cost,
        absent=fitted.absent,
    )
    return trace, outline


def flat_px(prior: CameraPrior, view: np.ndarray, p: np.ndarray, q: np.ndarray) -> np.ndarray:
    return prior.camera.project(np.column_stack([p, q, np.ones_like(p)]) @ view)
