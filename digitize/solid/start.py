"""Where the adjustment begins: how far away the rocket is, by one thing of known size and no more."""

from dataclasses import replace

import numpy as np

from digitize.errors import ScaleRefusal
from digitize.solid.adjust import Problem, similarity
from digitize.solid.pose import Pose


def start_depth(problem: Problem) -> float:
    """Distance to begin with, from whichever claim about scale there is. Raises ScaleRefusal without one."""
    for _, depth_mm in start_depths(problem):
        return depth_mm
    raise ScaleRefusal(
        "Nothing in the picture has a known size",
        "Give --scale, for example tube=41.6mm (caliper on the body) or ruler=300mm (a ruler in the picture)",
    )


def start_depths(problem: Problem) -> list[tuple[str, float]]:
    """(claim, mm from the camera) for every claim by itself: as if nothing leaned and all lay level with the axis."""
    given, unit = problem.given, replace(problem, start_depth_mm=1.0)
    pose, found = Pose(unit.prior.camera, unit.view, unit.upper, 1.0, 0.0), []
    if given.tube_mm is not None:
        widest = max(np.abs(pose.limb(tube.points_px)[1]).mean() for tube in problem.tubes)
        found.append(("tube", float(given.tube_mm / 2 / widest)))
    for reference in problem.references:
        a, b, _, _ = similarity(reference.points_mm, reference.points_px)
        found.append((reference.label, float(problem.prior.camera.focal_px / np.hypot(a, b))))
    if given.length_mm is not None:
        found.append(("length", float(given.length_mm / problem.ends.length_mm(pose))))
    return found
