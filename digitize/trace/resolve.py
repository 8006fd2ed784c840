"""A sketch to numbers: the geometry it means through the pose, then the same bands, margin and verdict as `measure`.

While nothing touched the axis or the scale, the pose is the measured one and only points are carried through it; else
the adjustment is solved again from what is now said, with its own covariance. A point set by hand carries its own
error of MANUAL_SIGMA_PX besides what all points share.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from digitize.bands.resampling import HIDDEN_SHARE
from digitize.errors import GeometryRefusal, UsageRefusal
from digitize.geometry.toml import check_geometry, rounded
from digitize.photo.camera import Camera
from digitize.pipeline import agreement_of, given_sizes, points_reference
from digitize.plans.to_do import with_to_do
from digitize.records import FinGroup, Geometry, Photo
from digitize.request.options import MeasureOptions, measure_options
from digitize.result.from_photo import Measured, assemble
from digitize.result_records import Result
from digitize.solid.adjust import EndPoints, Problem, TubeLimbs, adjust_near
from digitize.solid.agreement import Agreement, check_roughly
from digitize.solid.fin_edges import outward
from digitize.solid.measure import FinTrace, GivenFins, Solid
from digitize.solid.pose import Pose, view_of_axis
from digitize.solid.start import start_depth
from digitize.trace.held import hold, off_warning, unseen_warning
from digitize.trace.held_fins import UNSEEN_SIGMA_PX
from digitize.trace.reference_ends import ends_of, set_by_hand, told_lengths
from digitize.trace.sketch import MANUAL_SIGMA_PX, Sketch, SketchFin, to_json
from digitize.trace.solutions import Solutions, valid_adjustment

MANUAL_AXIS_SIGMA_PX = 1.0
SEARCHED = ("ruler", "a4", "letter", "card", "checker", "sheet")
"""Scales that are looked for in the picture: a new one needs the photo measured again."""


@dataclass(frozen=True)
class Traced:
    """measured: as the sketch has it; options: its words, parsed."""

    sketch: Sketch
    measured: Measured
    options: MeasureOptions

    @property
    def pose(self) -> Pose:
        """In pixels of the upright full-size photo."""
        return full_pose(self.measured.solid.adjusted.pose(), self.measured.photo)


def full_pose(pose: Pose, photo: Photo) -> Pose:
    """The pose of the working picture as one of the full-size photo: the same rays."""
    camera = pose.camera
    centre = photo.to_full_px(camera.centre_px)
    return replace(pose, camera=Camera(camera.focal_px * photo.shrink, centre, camera.k1))


def sketch_of(measured: Measured, texts: dict) -> Sketch:
    """What was found, as a sketch."""
    photo, solid = measured.photo, measured.solid
    pose = solid.adjusted.pose()
    ends = solid.adjusted.problem.ends
    tip_s, length = float(ends.tip_s_mm(pose)), float(solid.geometry.profile_mm[-1, 0])
    axis = photo.to_full_px(pose.project(np.array([[tip_s, 0, 0], [tip_s + length, 0, 0]])))
    body = photo.to_full_px(solid.knots_upper_px[1:])
    fins = tuple(
        SketchFin(
            t.given.count, t.given.thickness_mm, t.roll_rad, photo.to_full_px(t.outline_px), t.angle_rad, t.offset_mm,
            np.zeros(len(t.outline_px), bool),
        )
        for t in solid.fins
    )  # fmt: skip
    marks = tuple(ends_of(photo, reference) for reference in measured.references)
    return Sketch(axis[0], axis[1], body, np.zeros(len(body), bool), fins, texts=texts, ends=marks)


def trace(
    base: Measured, start: Sketch, sketch: Sketch, settled: bool = True, solutions: Solutions | None = None
) -> Traced:
    """The measurement as the sketch has it. base: as found; start: its sketch; settled: a point is let go, so look too
    whether the scales agree, which takes a solution for each; solutions: of this base, kept from before. Raises
    Refusal of the kind that fits."""
    options = options_of(base.photo, sketch.texts)
    if _same_scale_texts(start, sketch) and to_json(replace(sketch, texts=start.texts)) == to_json(start):
        # nothing was moved: the solid itself, not what comes of its points carried to pixels and back
        name = sketch.texts.get("name") or base.solid.geometry.name
        solid = replace(base.solid, geometry=replace(base.solid.geometry, name=name))
        return Traced(sketch, replace(base, solid=solid), options)
    resolve = partial(_resolved, base, start, options=options, settled=settled, solutions=solutions or Solutions())
    return Traced(sketch, _held(base, start, sketch, resolve), options)


def _resolved(
    base: Measured, start: Sketch, sketch: Sketch, options: MeasureOptions, settled: bool, solutions: Solutions
) -> Measured:
    adjusted, references, agreement = _adjusted(base, start, sketch, options, settled, solutions)
    return _measured(base, start, sketch, adjusted, references, agreement)


def _held(base: Measured, start: Sketch, sketch: Sketch, resolve: Callable[[Sketch], Measured]) -> Measured:
    """The sketch resolved; where a hand has set something else than the photo shows, with that beside it, and words."""
    measured = resolve(sketch)
    drawn = base.solid.stations is None
    pose = full_pose(measured.solid.adjusted.pose(), base.photo)
    held = hold(base.photo, pose, None if drawn else base.solid, start, sketch)
    warnings, as_shown = list(measured.warnings), base.as_shown
    if held.as_shown is not None:
        with suppress(GeometryRefusal):  # what is left of it is no rocket; the words stay
            as_shown = (*as_shown, resolve(held.as_shown).solid)
        warnings += [off_warning(words) for words in held.off]
    if held.unseen:
        warnings.append(unseen_warning(held.unseen))
        wider = UNSEEN_SIGMA_PX / base.photo.shrink
        fins = [
            replace(fin, edge_sigma_px=float(np.hypot(fin.edge_sigma_px, wider))) if k in held.unseen_fins else fin
            for k, fin in enumerate(measured.solid.fins)
        ]
        measured = replace(measured, solid=replace(measured.solid, fins=tuple(fins)))
    return replace(measured, warnings=tuple(warnings), as_shown=as_shown)


def solve_fully(traced: Traced) -> Result:
    """Every number, as `measure` gives them."""
    return with_to_do(assemble(traced.measured, traced.options), traced.measured.solid.geometry)


def solve_briefly(traced: Traced, last: Result) -> Result:
    """The numbers while a point is dragged: fewer samples, and the slow parts as the last full result has them."""
    return assemble(traced.measured, traced.options, last)


def options_of(photo: Photo, texts: dict) -> MeasureOptions:
    """The words parsed. Raises UsageRefusal."""
    try:
        return measure_options([photo.path], **texts)
    except TypeError as error:
        raise UsageRefusal(f"the options can't be read ({error})", "measure the photo again") from None


# --- pose and scale ---------------------------------------------------------------------------------------


def _same_scale_texts(start: Sketch, sketch: Sketch) -> bool:
    """Whether what is told of the scale is as it was."""
    return all(sketch.texts.get(word) == start.texts.get(word) for word in ("scale", "behind", "distance"))


def _adjusted(
    base: Measured, start: Sketch, sketch: Sketch, options: MeasureOptions, settled: bool, solutions: Solutions
):
    """(adjustment, references, how the scales agree): the measured ones unless axis or scale were touched."""
    as_before = Agreement(base.warnings, base.factors)
    if _same_scale_texts(start, sketch) and not sketch.axis_manual and not any(ends.manual for ends in sketch.ends):
        return base.solid.adjusted, base.references, as_before
    kinds = {claim.kind for claim in options.scales}
    searched = tuple(r for r in _references(base, sketch, options) if r.kind in kinds and r.kind != "points")
    missing = [k for k in SEARCHED if k in kinds and k not in {r.kind for r in searched}]
    if missing:
        raise UsageRefusal(f"{missing[0]} has to be looked for in the photo", "measure the photo again with it")
    points = tuple(points_reference(base.photo, c) for c in options.scales if c.kind == "points")
    references = (*searched, *points)
    problem = base.solid.adjusted.problem
    if sketch.axis_manual:
        problem = _manual_axis(problem, base.photo, sketch)
    given = replace(given_sizes(options), tilt=problem.given.tilt, plane_tilt=problem.given.plane_tilt)
    if references and given.behind_mm is None:
        guess, sigma = problem.given.behind_guess_mm, max(problem.given.behind_sigma_mm, 20.0)
        given = replace(given, behind_guess_mm=guess, behind_sigma_mm=sigma)
    problem = replace(problem, references=references, given=given)
    problem = replace(problem, start_depth_mm=start_depth(problem))
    if settled:
        check_roughly(problem)
    found = base.solid.adjusted
    key = repr(sketch.texts), sketch.axis_manual, _bytes(sketch)
    alike = len(problem.tubes) == len(found.problem.tubes) and len(references) == len(base.references)
    from_values = found.values if alike else None
    near = found.values_near(problem)
    adjusted = solutions.of(
        key, settled, lambda: valid_adjustment(problem, from_values), lambda: adjust_near(problem, near)
    )
    if not settled:
        return adjusted, references, as_before
    return adjusted, references, agreement_of(adjusted, options)


def _references(base: Measured, sketch: Sketch, options: MeasureOptions):
    """As found, or by the ends set by hand."""
    found, lengths_mm = list(base.references), told_lengths(base.references, options.scales)
    for k, ends in enumerate(sketch.ends[: len(found)]):
        if ends.manual:
            found[k] = set_by_hand(base.photo, found[k], ends, lengths_mm[k])
    return found


def _bytes(sketch: Sketch) -> bytes:
    """What of the sketch the adjustment depends on."""
    axis = (sketch.tip_px, sketch.aft_px, sketch.body_px) if sketch.axis_manual else ()
    return b"|".join(a.tobytes() for a in (*axis, *(e.points_px for e in sketch.ends if e.manual)))


def _manual_axis(problem: Problem, photo: Photo, sketch: Sketch) -> Problem:
    """The axis through both ends of the sketch; the limbs are its body points and their mirror images."""
    tip, aft = photo.to_working_px(sketch.tip_px), photo.to_working_px(sketch.aft_px)
    return axis_problem(problem, tip, aft, photo.to_working_px(sketch.body_px))


def axis_problem(problem: Problem, tip_px, aft_px, body_px) -> Problem:
    """The problem with its axis from tip_px to aft_px and its limbs from body_px (n, 2), working pixels.

    Two places along the body are needed to hold the axis: the widest, and the one farthest from it.
    """
    camera = problem.prior.camera
    view = view_of_axis(camera, tip_px, aft_px)
    upper = -1.0 if view[1, 1] > 0 or (view[1, 1] == 0 and view[1, 0] < 0) else 1.0
    pose = Pose(camera, view, upper, problem.start_depth_mm, 0.0)
    s, side, _ = pose.limb(body_px)
    side = np.abs(side)
    tip_s, aft_s = pose.in_fin_plane(np.array([tip_px, aft_px]), 0.0)[:, 0]
    widest = np.flatnonzero(side > 0.985 * side.max())
    away = tip_s + 0.5 * (s[0] - tip_s) if len(s) == 1 else s[np.argmax(np.abs(s - s[widest].mean()))]
    stations = [s[widest], np.array([away])]
    profile_s, profile_r = np.r_[tip_s, s], np.r_[0.0, side]
    if np.ptp(stations[0]) > 0.3 * (aft_s - tip_s):
        stations = [np.linspace(s[widest[0]], s[widest[-1]], 6)]
    tubes = []
    for at in stations:
        at = np.asarray(at, float)
        r = np.interp(at, profile_s, profile_r)
        both = np.concatenate([pose.limb_px(at, r), pose.limb_px(at, -r)])
        sign = np.r_[np.ones(len(at)), -np.ones(len(at))]
        tubes.append(TubeLimbs(both, sign, np.full(len(both), MANUAL_AXIS_SIGMA_PX)))
    base_r = float(side[-1])
    rim = pose.limb_px(np.array([aft_s, aft_s]), np.array([base_r, -base_r]))
    ends = EndPoints(np.asarray(tip_px, float), rim, rim)
    return replace(problem, view=view, upper=upper, tubes=tuple(tubes), ends=ends)


# --- geometry ---------------------------------------------------------------------------------------------


def _measured(base, start, sketch, adjusted, references, agreement: Agreement) -> Measured:
    photo, solid = base.photo, base.solid
    pose = adjusted.pose()
    ends = _ends(adjusted.problem.ends, pose, photo, sketch)
    adjusted = replace(adjusted, problem=replace(adjusted.problem, ends=ends))
    tip_s = float(ends.tip_s_mm(pose))
    profile, knots, manual = _profile(adjusted, pose, photo, sketch, tip_s, float(ends.base_s_mm(pose)))
    traced = [_fin(adjusted, pose, photo, fin, profile, tip_s, _before(solid, fin, start)) for fin in sketch.fins]
    groups = tuple(FinGroup(t.given.count, outline, t.given.thickness_mm) for t, outline in traced)
    geometry = rounded(Geometry(solid.geometry.name, profile, groups))
    check_geometry(geometry)
    same_knots = len(knots[0]) == len(solid.hidden_knots)
    new = replace(
        solid,
        geometry=replace(geometry, name=sketch.texts.get("name") or geometry.name),
        adjusted=adjusted,
        knots_upper_px=knots[0],
        knots_lower_px=knots[1],
        hidden_knots=solid.hidden_knots & ~manual if same_knots else np.zeros(len(manual), bool),
        knot_sigma_px=np.where(manual, MANUAL_SIGMA_PX, 0.0),
        fins=tuple(t for t, _ in traced),
        tip_sigma_px=MANUAL_SIGMA_PX if sketch.tip_manual else solid.tip_sigma_px,
        base_sigma_px=MANUAL_SIGMA_PX if sketch.aft_manual else solid.base_sigma_px,
        rim_sigma_mm=0.0 if manual[-1] else solid.rim_sigma_mm,
    )
    scales = {"warnings": agreement.warnings, "factors": agreement.factors}
    measured = replace(base, solid=new, references=references, **scales)
    as_found = [f.count for f in sketch.fins] == [f.count for f in start.fins]
    return measured if as_found else replace(measured, other=None, rivals=())


def _ends(ends: EndPoints, pose: Pose, photo: Photo, sketch: Sketch) -> EndPoints:
    if sketch.axis_manual:
        return ends
    if sketch.tip_manual:
        ends = replace(ends, tip_px=photo.to_working_px(sketch.tip_px))
    if sketch.aft_manual or sketch.manual[-1]:
        s = np.full(2, pose.in_fin_plane(photo.to_working_px(sketch.aft_px)[None], 0.0)[0, 0])
        r = np.abs(pose.limb(photo.to_working_px(sketch.body_px[-1:]))[1]).repeat(2)
        rim = pose.limb_px(s, r * [1, -1])
        ends = replace(ends, base_px=rim, rim_px=rim)
    return ends


def _profile(adjusted, pose: Pose, photo: Photo, sketch: Sketch, tip_s: float, base_s: float):
    """((n, 2) profile, (upper, lower) knots' pixels, (n,) set by hand), the nose tip first."""
    bias_mm = float(adjusted.edge_bias_px()) * pose.depth_mm / pose.camera.focal_px
    s, side, _ = pose.limb(photo.to_working_px(sketch.body_px))
    x, r = s - tip_s, np.abs(side) - bias_mm
    x[-1] = base_s - tip_s
    keep = np.r_[(x[:-1] > 0) & (x[:-1] < x[-1]), True]
    x, r, manual = np.r_[0.0, x[keep]], np.r_[0.0, r[keep]], np.r_[sketch.tip_manual, sketch.manual[keep]]
    if x[-1] <= 0 or (r[1:] <= 0).any():
        raise GeometryRefusal("the aft end is ahead of the nose tip, or the body has no width", "undo the last change")
    at, out = x + tip_s, r + bias_mm
    return np.column_stack([x, r]), (pose.limb_px(at, out), pose.limb_px(at, -out)), manual


def _before(solid: Solid, fin: SketchFin, start: Sketch) -> FinTrace | None:
    """The measured trace this group began as: the nearest one with any point still where it was found."""
    if fin.drawn:
        return None
    for trace_, was in zip(solid.fins, start.fins, strict=True):
        if (fin.points_px[:, None] == was.points_px[None]).all(-1).any():
            return trace_
    return solid.fins[0] if solid.fins else None


def _fin(adjusted, pose: Pose, photo: Photo, fin: SketchFin, profile, tip_s: float, before: FinTrace | None):
    """(trace, outline (m, 2) from the nose tip) of one group; the root's ends are put on the body."""
    pixels = photo.to_working_px(fin.points_px)
    plane = pose.in_fin_plane(pixels, fin.angle_rad, fin.offset_mm)
    outline = plane - [tip_s, 0.0]
    for end in (0, -1):
        x = float(np.clip(outline[end, 0], 0.0, profile[-1, 0]))
        outline[end] = x, np.interp(x, profile[:, 0], profile[:, 1])
    pixel_mm = float(pose.depth_mm / pose.camera.focal_px)
    hidden = [0.0, 0.0] if before is None else list(before.hidden_mm)
    for k, end in enumerate((0, -1)):
        if fin.manual[end]:
            hidden[k] = MANUAL_SIGMA_PX * pixel_mm / HIDDEN_SHARE
    given = GivenFins(fin.count, (fin.roll_rad - pose.roll_offset_rad(),), fin.thickness_mm)
    as_found = before is not None and fin.roll_rad == before.roll_rad
    new = FinTrace(
        given=given if before is None else replace(before.given, count=fin.count, thickness_mm=fin.thickness_mm),
        outline_px=pixels,
        angle_rad=fin.angle_rad,
        offset_mm=fin.offset_mm,
        out_px=outward(pose, plane, fin.angle_rad, fin.offset_mm),
        roll_rad=fin.roll_rad,
        roll_sigma_rad=MANUAL_ROLL_SIGMA_RAD if before is None or not as_found else before.roll_sigma_rad,
        hidden_mm=(hidden[0], hidden[1]),
        unexplained=0.0 if before is None or fin.manual.any() else before.unexplained,
        side_areas_mm2=None if before is None or fin.manual.any() else before.side_areas_mm2,
        edge_sigma_px=0.0 if before is None else before.edge_sigma_px,
        misfit_sigma_px=0.0 if before is None else before.misfit_sigma_px,
        own_sigma_px=np.where(fin.manual, MANUAL_SIGMA_PX, 0.0),
    )
    if not as_found:
        new = replace(new, given=replace(new.given, roll_rad=given.roll_rad))
    return new, outline


MANUAL_ROLL_SIGMA_RAD = np.radians(5.0)
"""How well a person tells how a fin stands, by eye."""
