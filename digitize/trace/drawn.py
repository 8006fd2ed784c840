"""A rocket drawn wholly by hand: both ends of the axis and the body's points, scaled by what was told."""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from digitize.errors import GeometryRefusal, ScaleRefusal, UsageRefusal
from digitize.geometry.toml import rounded
from digitize.pipeline import agreement_of, camera_of, given_sizes, references_of
from digitize.records import Geometry, Photo, Silhouette
from digitize.result.from_photo import Measured
from digitize.solid.adjust import EndPoints, Problem
from digitize.solid.axis import AxisView
from digitize.solid.measure import Solid
from digitize.solid.pose import Pose
from digitize.solid.start import start_depth
from digitize.solid.stations import Stations
from digitize.trace.resolve import MANUAL_SIGMA_PX, axis_problem, options_of
from digitize.trace.sketch import point, points
from digitize.trace.solutions import valid_adjustment

SHORTEST_PX = 40.0
MANUAL_BIAS_PX = (0.0, 0.5)
"""How far outward a hand sets all its points: as likely in as out, half a pixel (common practice, no source)."""


@dataclass(frozen=True)
class Drawn:
    """In pixels of the upright full-size photo. tip_px: (2,) nose tip; aft_px: (2,) where the aft edge crosses the
    axis, as seen; body_px: (n, 2) points on the body's edge, on either side, nose to tail, the last at the aft end."""

    tip_px: np.ndarray
    aft_px: np.ndarray
    body_px: np.ndarray


def drawn_of(data: dict) -> Drawn:
    """From the page's lists. Raises UsageRefusal."""
    try:
        drawn = Drawn(point(data["tip_px"]), point(data["aft_px"]), points(data["body_px"], 1))
    except (KeyError, TypeError, ValueError) as error:
        raise UsageRefusal(
            f"what was drawn is not complete ({error})", "set the nose tip, the aft end and the body's edge"
        ) from None
    if np.hypot(*(drawn.tip_px - drawn.aft_px)) < SHORTEST_PX:
        raise UsageRefusal("the nose tip and the aft end are nearly the same point", "set them at the rocket's ends")
    return drawn


def measure_drawn(photo: Photo, texts: dict, drawn: Drawn) -> Measured:
    """The body as drawn, without fins yet. Raises ScaleRefusal, UsageRefusal, GeometryRefusal."""
    options = options_of(photo, texts)
    if not options.scales:
        raise ScaleRefusal(
            "No scale was given, so there are no millimetres",
            "Give the largest diameter by caliper, or two points and their true distance",
        )
    prior, references = camera_of(photo, options), references_of(photo, options)
    tip, aft, body = (photo.to_working_px(p) for p in (drawn.tip_px, drawn.aft_px, drawn.body_px))
    nobody = EndPoints(tip, aft[None], aft[None])
    draft = Problem(prior, np.eye(3), 1.0, (), nobody, references, given_sizes(options), 1000.0, MANUAL_BIAS_PX)
    problem = axis_problem(draft, tip, aft, body)
    problem = axis_problem(draft, tip, _without_bulge(problem, aft), body)
    adjusted = valid_adjustment(replace(problem, start_depth_mm=start_depth(problem)))
    pose = adjusted.pose()
    tip_s, base_s = float(problem.ends.tip_s_mm(pose)), float(problem.ends.base_s_mm(pose))
    bias_mm = float(adjusted.edge_bias_px()) * pose.depth_mm / pose.camera.focal_px
    s, side, _ = pose.limb(body)
    order = np.argsort(s, kind="stable")
    x, r = s[order] - tip_s, np.abs(side[order]) - bias_mm
    x[-1] = base_s - tip_s
    keep = np.r_[(x[:-1] > 0) & (x[:-1] < x[-1]), True]
    x, r = np.r_[0.0, x[keep]], np.r_[0.0, r[keep]]
    if (r[1:] <= 0).any():
        raise GeometryRefusal("a point of the body lies on its axis", "set the body's points on its edge")
    at, out = x + tip_s, r + bias_mm
    upper, lower = pose.limb_px(at, out), pose.limb_px(at, -out)
    outline = np.concatenate([upper, lower[::-1]])
    count = len(x)
    solid = Solid(
        geometry=rounded(Geometry(options.name or photo.path.stem, np.column_stack([x, r]))),
        adjusted=adjusted,
        stations=NO_STATIONS,
        axis=AxisView(problem.view, problem.upper, np.zeros((0, 2)), 0.0),
        knots_upper_px=upper,
        knots_lower_px=lower,
        hidden_knots=np.zeros(count, bool),
        fins=(),
        tip_sigma_px=MANUAL_SIGMA_PX,
        base_sigma_px=MANUAL_SIGMA_PX,
        rim_sigma_mm=0.0,
        edge_sigma_px=0.0,
        knot_sigma_px=np.r_[0.0, np.full(count - 1, MANUAL_SIGMA_PX)],
    )
    agreement = agreement_of(adjusted, options)
    silhouette = Silhouette(outline, np.full(len(outline), MANUAL_SIGMA_PX), np.zeros((0, 0), bool))
    return Measured(photo, prior, silhouette, references, solid, None, agreement.warnings, factors=agreement.factors)


NO_STATIONS: Stations | None = None
"""Nothing was found in the picture, so there are no stations."""


def outline_of(outlines) -> np.ndarray:
    """(n, 2) the outside of all of them together, as one closed outline; (0, 2) if they are apart."""
    shape = shapely.union_all(shapely.make_valid([shapely.Polygon(o) for o in outlines if len(o) > 2]))
    if shape.geom_type != "Polygon":
        parts = [part for part in getattr(shape, "geoms", ()) if part.geom_type == "Polygon"]
        if not parts:
            return np.zeros((0, 2))
        shape = max(parts, key=lambda part: part.area)
    return np.array(shape.exterior.coords)[:-1]


def _without_bulge(problem: Problem, aft_px: np.ndarray) -> np.ndarray:
    """The axis' own end: the rim nearest to or farthest from the camera is what is seen to end there."""
    pose = Pose(problem.prior.camera, problem.view, problem.upper, problem.start_depth_mm, 0.0)
    radius = float(np.abs(pose.limb(problem.ends.rim_px)[1]).mean())
    s, _, lean = (v[0] for v in pose.limb(aft_px[None]))
    return pose.project(np.array([[s - radius * abs(lean), 0.0, 0.0]]))[0]
