"""Whether the things the scale rests on agree with each other, and what is to blame when they do not."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from digitize.errors import ScaleRefusal
from digitize.records import Warn
from digitize.solid.adjust import Adjusted, adjust, alone

BEYOND = 3.0
"""Standard deviations of their difference beyond which two scales disagree."""
HOPELESS = 0.08
"""Relative difference beyond which no number is given at all."""
NEAREST_MM, FARTHEST_MM = 120.0, 15000.0
SMALLEST_CALIBER_MM, LARGEST_CALIBER_MM = 4.0, 450.0


@dataclass(frozen=True)
class ScaleAlone:
    """The scale at the axis that one claim alone gives: logarithm of mm per pixel, and its standard deviation."""

    name: str
    log_scale: float
    sigma: float


def check_agreement(adjusted: Adjusted, claims: tuple[str, ...]) -> tuple[Warn, ...]:
    """Warnings about scales that differ. Raises ScaleRefusal where the scale is not believable."""
    _check_believable(adjusted, claims)
    singles = _singles(adjusted)
    warnings = []
    for one, other in combinations(singles, 2):
        apart = one.log_scale - other.log_scale
        doubt = float(np.hypot(one.sigma, other.sigma))
        if abs(apart) <= BEYOND * doubt:
            continue
        percent = 100 * abs(np.expm1(apart))
        larger = one.name if apart > 0 else other.name
        text = (
            f"The {one.name} and the {other.name} give scales {percent:.1f} % apart; "
            f"the {larger} makes the rocket larger"
        )
        remedy = _cause(one.name, other.name, adjusted)
        if abs(apart) > HOPELESS:
            raise ScaleRefusal(text, remedy)
        warnings.append(Warn("SCALES_DISAGREE", text, remedy))
    return (*warnings, *_distance_warning(adjusted, claims))


def _distance_warning(adjusted: Adjusted, claims: tuple[str, ...]) -> list[Warn]:
    """A distance the user said, and the focal length, against what the scale makes of them."""
    told, prior = adjusted.problem.told.distance_mm, adjusted.problem.prior
    names = np.array(adjusted.names)
    off = adjusted.residuals[(names == "camera distance") | (names == "focal length")]
    if told is None or prior.log_focal_sigma > 0.1 or np.linalg.norm(off) <= BEYOND:
        return []
    away_mm = np.exp(_log_scale(adjusted, adjusted.values)) * prior.camera.focal_px
    return [Warn(
        "SCALES_DISAGREE",
        f"By the scale {', '.join(claims)} the camera would be {away_mm / 1000:.2f} m away, "
        f"but --distance says {told / 1000:.2f} m",
        "Check both numbers; is the diameter that of the body's widest part, and does the overlay follow it there?",
    )]  # fmt: skip


def _singles(adjusted: Adjusted) -> list[ScaleAlone]:
    told = adjusted.problem.told
    names = [n for n, said in (("tube", told.tube_mm), ("length", told.length_mm)) if said is not None]
    names += [reference.label for reference in adjusted.problem.references]
    if len(names) < 2:
        return []
    singles = []
    for name in names:
        problem = alone(adjusted.problem, name)
        solved = adjust(problem, adjusted.values_for(problem))
        singles.append(ScaleAlone(name, _log_scale(solved, solved.values), _log_scale_sigma(solved)))
    return singles


def _log_scale(adjusted: Adjusted, values: np.ndarray) -> float:
    pose = adjusted.pose(values)
    return float(np.log(pose.depth_mm / pose.camera.focal_px))


def _log_scale_sigma(adjusted: Adjusted) -> float:
    step = 1e-4
    at = adjusted.values
    steps = step * np.eye(len(at))
    row = np.array([_log_scale(adjusted, at + e) - _log_scale(adjusted, at - e) for e in steps]) / (2 * step)
    return float(np.sqrt(row @ adjusted.covariance @ row))


def _cause(one: str, other: str, adjusted: Adjusted) -> str:
    names = {one, other}
    if names <= {"tube", "length"}:
        return "Measure both again: the diameter at the widest part of the body, the length from nose tip to aft end"
    if names & {"tube", "length"}:
        seen = f"{adjusted.behind_mm()[0]:.0f} mm" if adjusted.problem.references else "some way"
        return (
            f"The likely cause is a reference that is not level with the axis (they would agree at {seen} behind it; "
            "give --behind), one of another size than said, or a slip in the caliper reading"
        )
    return (
        "The likely cause is one of them printed or sold at another size than said, or not in the same plane"
    )


def _check_believable(adjusted: Adjusted, claims: tuple[str, ...]) -> None:
    """Refuse a size or a distance that no hobby rocket before a hand-held camera has."""
    pose = adjusted.pose()
    caliber = 2 * float(adjusted.tube_radii_mm().max())
    said = ", ".join(claims)
    if not SMALLEST_CALIBER_MM <= caliber <= LARGEST_CALIBER_MM:
        raise ScaleRefusal(
            f"By the scale {said} the body would be {caliber:.3g} mm thick, which is not believable",
            "Check the number and its unit",
        )
    if not NEAREST_MM <= float(pose.depth_mm) <= FARTHEST_MM:
        raise ScaleRefusal(
            f"By the scale {said} the camera would be {float(pose.depth_mm) / 1000:.3g} m from the rocket, "
            "which is not believable",
            "Check the number and its unit",
        )
    told = adjusted.problem.told.distance_mm
    if (
        told is not None
        and abs(np.log(float(pose.depth_mm) / told)) > np.log(1.6)
        and adjusted.problem.prior.log_focal_sigma < 0.1
    ):
        raise ScaleRefusal(
            f"By the scale {said} the camera would be {float(pose.depth_mm) / 1000:.2f} m away, "
            f"but --distance says {told / 1000:.2f} m",
            "Check both numbers and their units",
        )
