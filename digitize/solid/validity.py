"""Is what was found a rocket seen from the side? Refusals of what no such solid can be."""

import numpy as np

from digitize.errors import OutlineRefusal
from digitize.records import Warn
from digitize.solid.adjust import Adjusted
from digitize.solid.stations import Stations

FLAT_FACE = 0.4
"""How far behind the tip the body's front part has nine tenths of its radius, as a share of it: a hemisphere after
0.56."""
FRONT_PART = 0.3
MOST_TILT_RAD = np.radians(25.0)
NOSE_PART = 0.03, 0.25
NOSE_OFF_AXIS = 0.02
"""The nose lies on the axis to this share of the body's width and the outline's own error. Of 80 drawn outlines one was
refused as it is (95 of 100 have 0.004 or less), the same one bent and bitten (0.016): a long lug had turned its axis.
Of those with a strip of 12 % of its width added along 70 % of one side 88 of 100 are refused, along a quarter 45;
cut off there 76 and 41; with one of 6 % 58 and 45, 16 and 25. Twice the limit lets half of the refused ones pass."""
OVER_CALIPER = 0.03
"""A decal, tape or the outline's own error may stand out by so much."""
WIDEST_OVER_CALIPER = 1.2
"""A body seen wider than this times the tube under the caliper is not one; nearer than that a flare may be."""


def check_straight(stations: Stations) -> None:
    """Refuse a nose beside the body's axis: something along one side of the body, a shadow or what fills the gap
    behind a lug, was taken for body, and its width with it. Raises OutlineRefusal."""
    n = len(stations.p)
    nose = np.arange(n)
    nose = nose[(nose >= NOSE_PART[0] * n) & (nose < NOSE_PART[1] * n)]
    for first, last in stations.fin_runs:
        nose = nose[(nose < first) | (nose > last)]
    if len(nose) < 0.05 * n:
        return
    off = abs(float(np.median(stations.upper[nose] - stations.lower[nose]))) / 2
    if off > NOSE_OFF_AXIS * stations.caliber + stations.noise:
        raise OutlineRefusal(
            f"The nose in the outline lies {off / stations.caliber:.0%} of the body's width beside the body's axis, so "
            "something along one side was taken for body",
            "Look along both sides of the body in the picture for a shadow, a lug or a line of the ground; photograph "
            "the rocket on a plain ground in soft light, the lug turned towards the camera",
        )


def check_valid(adjusted: Adjusted, profile: np.ndarray) -> None:
    """Refuse a solution that no rocket seen from the side can have. profile: (n, 2) x from the nose tip and radius, mm.
    Raises OutlineRefusal."""
    tilt, radius = float(adjusted.pose().tilt_rad), float(adjusted.tube_radii_mm().max())
    numbers = np.array([tilt, radius, profile[-1, 0], profile[:, 1].max()])
    if np.isfinite(numbers).all() and abs(tilt) < MOST_TILT_RAD and profile[:, 1].max() < 3 * radius:
        check_nose(profile)
        check_caliper(adjusted, float(profile[:, 1].max()), radius)
        return
    raise OutlineRefusal(
        "The outline does not fit a rocket seen from the side",
        "Take the photo square from the side, on a plain ground, the camera level with the middle of the rocket",
    )


def check_caliper(adjusted: Adjusted, widest_mm: float, tube_mm: float) -> None:
    """Refuse a body that bulges out beyond the tube that a caliper was said to be on: fins taken for body.
    Both are radii. Raises OutlineRefusal."""
    if adjusted.problem.given.tube_mm is not None and widest_mm > WIDEST_OVER_CALIPER * tube_mm:
        raise OutlineRefusal(
            f"The body in the outline is {2 * widest_mm:.0f} mm thick at its widest, but the caliper was on "
            f"{2 * tube_mm:.1f} mm",
            "Give the largest diameter; if it is, fins were taken for body: photograph it on a ground that the fins "
            "stand out from in colour",
        )


def within_caliper(adjusted: Adjusted, profile: np.ndarray, stations: Stations) -> tuple[np.ndarray, tuple[Warn, ...]]:
    """(the profile no wider than the tube that the caliper was on, words where the outline has it clearly wider): the
    largest diameter was said, so what stands out beyond it is not body."""
    largest = float(adjusted.tube_radii_mm().max())
    widest = float(profile[:, 1].max())
    if adjusted.problem.given.tube_mm is None or widest <= largest:
        return profile, ()
    profile = np.column_stack([profile[:, 0], np.minimum(profile[:, 1], largest)])
    if widest < (1 + OVER_CALIPER + 2 * stations.noise / stations.caliber) * largest:
        return profile, ()
    return profile, (Warn(
        "CALIPER_DIFFERS",
        f"In the outline the body is up to {2 * widest:.1f} mm wide, the caliper found {2 * largest:.1f} mm at most",
        "Put the caliper on the body's widest part, rings and couplers too; look there in the picture (overlay.png)",
    ),)  # fmt: skip


def check_nose(profile: np.ndarray) -> None:
    """Refuse a front end far blunter than any nose: a tube whose nose the outline has lost. profile: as for
    `check_valid`. Raises OutlineRefusal."""
    behind = FRONT_PART * profile[-1, 0]
    full = max(profile[profile[:, 0] <= behind, 1].max(), np.interp(behind, *profile.T))
    if profile[profile[:, 1] >= 0.9 * full][0, 0] < FLAT_FACE * full:
        raise OutlineRefusal(
            "The front end of the rocket in the outline is flat, as if the nose were missing",
            "Photograph the whole rocket on a ground that the nose stands out from in colour",
        )
