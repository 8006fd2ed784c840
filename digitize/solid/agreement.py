"""Whether the things the scale rests on agree with each other, and what is to blame when they do not.

Each claim is solved by itself, from its own start and not from the common solution: that one has already bent to the
strongest claim, however wrong, and from there a weaker one may never find its own place again. First of all the
distances that the claims give without any solving are compared: where they are many times apart, as by a wrong unit,
there is no common solution worth looking at.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from digitize.errors import ScaleRefusal
from digitize.records import Warn
from digitize.solid.adjust import SAME_PLANE_SIGMA_MM, Adjusted, Problem, adjust, alone
from digitize.solid.likely import unlikely
from digitize.solid.slips import Place, other_numbers, place_of
from digitize.solid.start import start_depths

BEYOND = 3.0
"""Standard deviations of their difference beyond which two scales disagree."""
BEYOND_GUESS = 2.0
"""The same where a set-back was not said: its prior stands for a stretch with two ends and not for a bell, and past
two of its standard deviations the reference would be nearer than the rocket or far behind what its fins reach."""
HOPELESS = 0.08
"""Relative difference beyond which no number is given at all."""
DECIDES = 0.1
"""Standard deviation of a scale's logarithm beyond which a claim alone decides nothing, so confirms nothing."""
LOOSE = 0.03
"""Where the closest two scales would hide a slip of this much, it is said: swapped digits are often no more."""
LEAST_FACTOR = 1e-3
"""Nearer to one, another scale moves nothing that any band would show."""
LOOSE_SCALES = "SCALES_LOOSE"
"""Code of the warning about it."""
ROUGHLY = 1.9
"""Factor between distances by two claims that nothing but a slip explains: a tail hidden by fins may be 1.7 times wider
than the body seen, a reference lies a tenth nearer or farther than the rocket. Radius for diameter is 2."""
NEAREST_MM, FARTHEST_MM = 120.0, 15000.0
SMALLEST_CALIBER_MM, LARGEST_CALIBER_MM = 4.0, 450.0


@dataclass(frozen=True)
class ScaleAlone:
    """The scale at the axis that one claim alone gives: logarithm of mm per pixel, and its standard deviation."""

    name: str
    log_scale: float
    sigma: float


def check_roughly(problem: Problem) -> None:
    """Raise ScaleRefusal where two claims are so far apart that no adjustment can mean anything."""
    for (one, one_mm), (other, other_mm) in combinations(start_depths(problem), 2):
        times = max(one_mm, other_mm) / min(one_mm, other_mm)
        if times > ROUGHLY:
            larger = one if one_mm > other_mm else other
            raise ScaleRefusal(
                f"The {one} and the {other} give scales {times:.3g} times apart; the {larger} makes the rocket larger",
                f"Check both numbers and their units{_slip(times)}",
            )


def _slip(times: float) -> str:
    """The slip that makes such a factor, in words."""
    likely = {2.0: "the radius for the diameter?", 10.0: "mm for cm?", 25.4: "mm for inches?", 2.54: "cm for inches?"}
    near = min(likely, key=lambda factor: abs(np.log(times / factor)))
    return f" ({likely[near]})" if abs(np.log(times / near)) < 0.12 else ""


@dataclass(frozen=True)
class Agreement:
    """warnings: about scales that differ; factors: how many times as large the rocket may be if one of the scales alone
    is right, where they agree so loosely that any of them may hide a slip, and only in that the reference would lie
    where nobody puts it; else none."""

    warnings: tuple[Warn, ...] = ()
    factors: tuple[float, ...] = ()


def check_agreement(adjusted: Adjusted, claims: tuple[str, ...], worse: int = -1) -> Agreement:
    """Do the scales agree? claims: every --scale as typed; worse: as in `slips.other_numbers`.
    Raises ScaleRefusal where the scale is not believable."""
    check_roughly(adjusted.problem)
    _check_believable(adjusted, claims)
    singles = _singles(adjusted)
    apart, loose, factors = _disagreements(adjusted, singles), [], []
    deciding = [single for single in singles if single.sigma <= DECIDES]
    hidden = 0.0 if apart else _hidden(adjusted, deciding)
    if hidden >= LOOSE:
        together = _log_scale(adjusted, adjusted.values)
        nowhere = place_of(adjusted) is Place.NOWHERE
        loose = [_loose_warning(hidden, deciding, together, adjusted.behind_mm()[0] if nowhere else None)]
        all_factors = [_if_alone(single, together) for single in deciding if nowhere]
        factors = [factor for factor in all_factors if abs(factor - 1) > LEAST_FACTOR]
    other = [] if apart else [number.warning for number in other_numbers(adjusted, claims, worse)]
    warnings = (*_undecided(singles), *apart, *other, *loose, *_distance_warning(adjusted, claims), *_nearer(adjusted))
    return Agreement(warnings, tuple(factors))


def blame_scales(adjusted: Adjusted) -> None:
    """Raise ScaleRefusal where scales at odds explain that what was seen fits no rocket: they bend the pose."""
    for warn in _disagreements(adjusted, _singles(adjusted)):
        raise ScaleRefusal(warn.text, warn.remedy)


def _undecided(singles: list[ScaleAlone]) -> list[Warn]:
    return [
        Warn(
            "SCALE_UNDECIDED",
            f"The {single.name} by itself fixes the scale to no better than {200 * single.sigma:.0f} %, so it "
            "confirms nothing",
            "Say how far the reference lies behind the rocket (--behind), or give another --scale",
        )
        for single in singles
        if single.sigma > DECIDES
    ]


def _disagreements(adjusted: Adjusted, singles: list[ScaleAlone]) -> list[Warn]:
    warnings = []
    in_plane = {single.name: single for single in _side_by_side(adjusted)}
    for one, other in combinations(singles, 2):
        if one.name in in_plane and other.name in in_plane:
            one, other = in_plane[one.name], in_plane[other.name]
        apart = one.log_scale - other.log_scale
        if abs(apart) <= _beyond(adjusted, one, other) * float(np.hypot(one.sigma, other.sigma)):
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
    return warnings


def _hidden(adjusted: Adjusted, singles: list[ScaleAlone]) -> float:
    """How large a slip the two scales that agree most closely would still hide, as a share; 0 with fewer than two."""
    pairs = combinations(singles, 2)
    hides = (_beyond(adjusted, one, other) * float(np.hypot(one.sigma, other.sigma)) for one, other in pairs)
    return min(hides, default=0.0)


def _if_alone(single: ScaleAlone, together: float) -> float:
    """How many times as large the rocket may be if this scale alone is right. Then the truth lies about it, give or
    take its own deviation; but where it is not farther from the common one than that, nothing speaks of a slip."""
    apart = single.log_scale - together
    return float(np.exp(apart + np.sign(apart) * min(abs(apart), single.sigma)))


def _loose_warning(hidden: float, singles: list[ScaleAlone], together: float, nowhere_mm: float | None) -> Warn:
    """Words where scales agree, but only since a set-back that was not said makes room for a slip. nowhere_mm: the
    set-back at which they do, where nobody puts a reference."""
    farthest = max(singles, key=lambda single: abs(single.log_scale - together))
    percent = 100 * np.expm1(farthest.log_scale - together)
    size = f"{abs(percent):.1f} % {'larger' if percent > 0 else 'smaller'}"
    text = f"The scales agree, but would hide a slip of up to {100 * hidden:.0f} %"
    if nowhere_mm is not None:
        side = "behind" if nowhere_mm > 0 else "nearer to the camera than"
        text = (
            f"The scales agree only if the reference lies {abs(nowhere_mm):.0f} mm {side} the rocket's axis, neither "
            f"level with it nor on what the rocket lies on; by the {farthest.name} alone all lengths are {size}, and "
            "the bands reach past that"
        )
    return Warn(
        LOOSE_SCALES, text, "Read the numbers once more; --behind, or --scale length= beside the caliper, would show it"
    )


def _beyond(adjusted: Adjusted, one: ScaleAlone, other: ScaleAlone) -> float:
    """Standard deviations allowed: fewer where one rests on a guessed set-back and the other on the rocket itself."""
    on_rocket = {one.name, other.name} & {"tube", "length"}
    guessed = adjusted.problem.given.behind_mm is None and len(on_rocket) == 1
    return BEYOND_GUESS if guessed else BEYOND


def _nearer(adjusted: Adjusted) -> list[Warn]:
    """A set-back that puts the only reference before the whole body: most likely its sign is wrong. A second scale
    that agrees confirms it, one that does not shows it."""
    given = adjusted.problem.given
    radius = float(adjusted.tube_radii_mm().max())
    if given.behind_mm is None or len(start_depths(adjusted.problem)) > 1 or not adjusted.problem.references:
        return []
    if given.behind_mm > -radius - 2 * given.behind_sigma_mm:
        return []
    return [Warn(
        "SET_BACK_NEARER",
        f"--behind says that the reference is {-given.behind_mm:.0f} mm nearer to the camera than the rocket's axis, "
        "in front of the whole body; nothing else confirms it",
        "Behind the axis, seen from the camera, is positive. If it is in front, give a second --scale, such as tube=",
    )]  # fmt: skip


def _distance_warning(adjusted: Adjusted, claims: tuple[str, ...]) -> list[Warn]:
    """A distance the user said, and the focal length, against what the scale makes of them."""
    given, prior = adjusted.problem.given.distance_mm, adjusted.problem.prior
    names = np.array(adjusted.names)
    off = adjusted.residuals[(names == "camera distance") | (names == "focal length")]
    if given is None or prior.log_focal_sigma > 0.1 or np.linalg.norm(off) <= BEYOND:
        return []
    away_mm = np.exp(_log_scale(adjusted, adjusted.values)) * prior.camera.focal_px
    return [Warn(
        "SCALES_DISAGREE",
        f"By the scale {', '.join(claims)} the camera would be {away_mm / 1000:.2f} m away, "
        f"but --distance says {given / 1000:.2f} m",
        "Check both numbers; is the diameter that of the body's widest part, and does the outline follow it there?",
    )]  # fmt: skip


def size_warning(
    adjusted: Adjusted, profile_mm: np.ndarray, mass_g: float | None, warnings: tuple[Warn, ...]
) -> list[Warn]:
    """A size or distance that asks for the numbers to be read again. warnings: of `check_agreement`.

    A distance that was said counts as a scale where the focal length is known: it was held against the others.
    """
    given, focal_known = adjusted.problem.given, adjusted.problem.prior.log_focal_sigma < 0.1
    claims = len(start_depths(adjusted.problem)) + (given.distance_mm is not None and focal_known)
    at_odds = {"SCALES_DISAGREE", "SCALE_UNDECIDED"} & {warning.code for warning in warnings}
    confirmed = claims > 1 and not at_odds
    odd = unlikely(profile_mm, float(adjusted.pose().depth_mm) if focal_known else None, mass_g, confirmed)
    if odd is None:
        return []
    more = "" if confirmed else ", and give a second --scale: what two of them agree on is taken"
    text = f"By the scale the rocket would {odd}, which is not likely"
    return [Warn("SIZE_UNLIKELY", text, f"Check the numbers and their units{more}")]


def _singles(adjusted: Adjusted) -> list[ScaleAlone]:
    """Every claim by itself; none where there is but one."""
    starts = start_depths(adjusted.problem)
    return [_single(adjusted.problem, k, start) for k, start in enumerate(starts if len(starts) > 1 else ())]


def _side_by_side(adjusted: Adjusted) -> list[ScaleAlone]:
    """Every reference by itself where there are several: they lie in one plane, so what is not known of its set-back is
    the same for all of them and excuses no difference between them."""
    problem = adjusted.problem
    if len(problem.references) < 2:
        return []
    given = replace(problem.given, behind_mm=adjusted.behind_mm()[0], behind_sigma_mm=SAME_PLANE_SIGMA_MM)
    problem, first = replace(problem, given=given), int(given.tube_mm is not None)
    starts = start_depths(problem)
    return [_single(problem, k, starts[k]) for k in range(first, first + len(problem.references))]


def _single(problem: Problem, k: int, start: tuple[str, float]) -> ScaleAlone:
    name, depth_mm = start
    solved = adjust(replace(alone(problem, k), start_depth_mm=depth_mm))
    return ScaleAlone(name, _log_scale(solved, solved.values), _log_scale_sigma(solved))


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
    return "The likely cause is one of them printed or sold at another size than said, or not in the same plane"


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
    given = adjusted.problem.given.distance_mm
    if (
        given is not None
        and abs(np.log(float(pose.depth_mm) / given)) > np.log(1.6)
        and adjusted.problem.prior.log_focal_sigma < 0.1
    ):
        raise ScaleRefusal(
            f"By the scale {said} the camera would be {float(pose.depth_mm) / 1000:.2f} m away, "
            f"but --distance says {given / 1000:.2f} m",
            "Check both numbers and their units",
        )
