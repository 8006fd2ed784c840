"""What is shown of a sketch: the measurement as it has it, the numbers, and whether they are sound."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from digitize.errors import GeometryRefusal
from digitize.records import Warn
from digitize.result.from_photo import Measured
from digitize.result.to_json import to_dict
from digitize.result_records import Result
from digitize.trace.drawn import outline_of
from digitize.trace.resolve import Solutions, Traced, solve_fully, trace
from digitize.trace.sketch import Sketch

NOT_CHECKED = Warn(
    "NOT_CHECKED",
    "Measuring refused this photo; body and fins are only what was seen, and no hand has set them right yet",
    "Go round every point, look at each edge near by, set the number of fins; then say that you have checked it",
)


@dataclass(frozen=True)
class Found:
    """An outline's solid, and its sketch before anything was changed."""

    measured: Measured
    start: Sketch
    drawn: bool
    solutions: Solutions = field(default_factory=Solutions, compare=False)


def checked_result(solve: Callable[[], Result]) -> Result:
    """The result, refused if what was drawn is a shape no numbers come out of."""
    try:
        with np.errstate(all="ignore"):
            result = solve()
        json.dumps(to_dict(replace(result, outline_px=np.zeros((0, 2)))), allow_nan=False)
        return result
    except (ArithmeticError, ValueError, IndexError, shapely.errors.ShapelyError):
        pass
    raise GeometryRefusal("what was drawn has no shape a rocket can have", "undo the last change")


def traced_of(found: Found, sketch: Sketch, settled: bool = True) -> Traced:
    traced = trace(found.measured, found.start, sketch, settled, found.solutions)
    if not sketch.checked:
        measured = traced.measured
        traced = replace(traced, measured=replace(measured, warnings=(*measured.warnings, NOT_CHECKED)))
    return with_drawn_outline(traced) if found.drawn else traced


def solved_of(found: Found, sketch: Sketch) -> tuple[Traced, Result]:
    traced = traced_of(found, sketch)
    return traced, solve_fully(traced)


def with_drawn_outline(traced: Traced) -> Traced:
    """The outline of what was drawn, body and fins, in place of one found in the picture."""
    measured, pose = traced.measured, traced.measured.solid.adjusted.pose()
    solid = measured.solid
    tip_s = float(solid.adjusted.problem.ends.tip_s_mm(pose))
    parts = [np.concatenate([solid.knots_upper_px, solid.knots_lower_px[::-1]])]
    for group, fin in zip(solid.geometry.fins, solid.fins, strict=True):
        plane = np.vstack([group.outline_mm, group.outline_mm[[-1, 0]] * [1, 0.5]]) + [tip_s, 0.0]
        parts += [pose.project_fin(plane, fin.roll_rad + 2 * np.pi * j / group.count) for j in range(group.count)]
    outline = outline_of(parts)
    silhouette = replace(measured.silhouette, outline_px=outline, sigma_px=np.ones(len(outline)))
    return replace(traced, measured=replace(measured, silhouette=silhouette))
