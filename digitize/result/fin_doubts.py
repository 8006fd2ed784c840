"""Words about how the fins stand: another pose or number than said, several that fit as well, sides that differ."""

from collections.abc import Sequence

import numpy as np

from digitize.aero.components import centre_of_pressure
from digitize.records import Warn
from digitize.request.options import MeasureOptions
from digitize.solid.measure import FinTrace, Solid
from digitize.solid.numbers import Rival
from digitize.units.rounding import counted

MATTERS_CALIBERS = 0.1
"""Another way for the fins to stand is named if it moves the centre of pressure by more."""
OTHER_NUMBER = "FINS_OTHER_NUMBER"
"""Code of the warning that another number of fins than the one said fits clearly better."""
ASKEW_DEG = 4.0
"""Twice what a carefully glued fin stands off."""
OTHER_POSE_DEG = 15.0
"""Farther than this from what was said the fins stand otherwise, not less exactly: half the gap between the poses of
three fins."""


def roll_warning(solid: Solid, trace, k: int, options: MeasureOptions) -> list[Warn]:
    """The roll seen from both sides against what the user said, where the picture settles it."""
    if not trace.given.roll_rad:
        return []
    count = trace.given.count
    seen = np.degrees(trace.roll_rad - solid.adjusted.pose().roll_offset_rad())
    apart = min(
        abs((seen - np.degrees(given) + 180 / count) % (360 / count) - 180 / count) for given in trace.given.roll_rad
    )
    if apart < max(5.0, 3 * np.degrees(trace.roll_sigma_rad)):
        return []
    return [
        Warn(
            "ROLL_DIFFERS" if apart < OTHER_POSE_DEG else "POSE_UNSURE",
            f"Fin group {k} stands {counted(apart, 'degree')} from where --pose {options.pose.kind} puts it, by the "
            "picture",
            "Check --pose, or give the angle of fin 1 from the photo's plane, for example --pose 30deg",
        )
    ]


def pose_warning(solid: Solid, caliber: float) -> list[Warn]:
    """Other ways for the fins to stand that the picture fits about as well, where they move the centre of pressure."""
    here = centre_of_pressure(solid.geometry).x_mm
    apart = {words: abs(centre_of_pressure(other).x_mm - here) / caliber for words, other in solid.others}
    apart = {words: calibers for words, calibers in apart.items() if calibers > MATTERS_CALIBERS}
    if not apart:
        return []
    trace = solid.fins[-1]
    seen = np.degrees(trace.roll_rad - solid.adjusted.pose().roll_offset_rad()) % (360 / trace.given.count)
    return [Warn(
        "POSE_UNSURE",
        f"The picture fits fin 1 at {seen:.0f} degrees from the photo's plane and at {' or '.join(apart)} about as "
        f"well; that moves the centre of pressure by up to {max(apart.values()):.1f} calibers",
        "Say how the fins stand, for example --pose in-plane, diagonal or 30deg, or photograph it with one fin flat in "
        "the picture",
    )]  # fmt: skip


def number_warning(solid: Solid, rivals: Sequence[Rival], caliber: float) -> list[Warn]:
    """Another number of fins that explains the picture clearly better, where it moves the centre of pressure."""
    here, warnings = centre_of_pressure(solid.geometry).x_mm, []
    for rival in rivals:
        apart = (centre_of_pressure(rival.geometry).x_mm - here) / caliber
        if abs(apart) < MATTERS_CALIBERS:
            continue
        given = solid.fins[rival.group].given.count
        group = f" in group {rival.group + 1}" if len(solid.fins) > 1 else ""
        warnings.append(Warn(
            OTHER_NUMBER,
            f"{rival.count} fins{group} fit the picture clearly better than the {given} that were said, and the centre "
            f"of pressure would then lie {abs(apart):.1f} calibers farther {'aft' if apart > 0 else 'forward'}",
            "Count the fins once more, all round the rocket, and give --fins; if it was right, photograph it again "
            "with one fin flat in the picture",
        ))  # fmt: skip
    return warnings


def turn_warning(trace: FinTrace, k: int) -> list[Warn]:
    """A fin that stands clearly off its place among the others."""
    turn_deg = np.degrees(np.atleast_1d(trace.turn_rad))
    fin = int(np.argmax(np.abs(turn_deg)))
    if abs(turn_deg[fin]) < ASKEW_DEG:
        return []
    return [Warn(
        "FIN_ASKEW",
        f"Fin {fin + 1} of group {k} stands {counted(abs(turn_deg[fin]), 'degree')} off its place, by the picture",
        "Look at the rocket from behind: is a fin glued askew, bent, or in shadow in the picture?",
    )]  # fmt: skip


def side_warning(trace: FinTrace, k: int) -> list[Warn]:
    """The fins on either side that differ in area."""
    if trace.side_areas_mm2 is None:
        return []
    upper, lower = trace.side_areas_mm2
    if abs(upper - lower) <= 0.05 * (upper + lower) / 2:
        return []
    return [Warn(
        "FIN_SIDES_DIFFER",
        f"The two fins of group {k} that lie flat differ: {upper:.0f} mm² on the upper side, "
        f"{lower:.0f} mm² on the lower",
        "Look at the picture (overlay.png): is one fin bent, broken, in shadow, or not in the photo's plane?",
    )]  # fmt: skip
