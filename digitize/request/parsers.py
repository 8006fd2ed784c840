"""Every option's text, read and written: one function a way, light enough for the command line's help.

A reader takes the text as typed and the option's name, and raises UsageRefusal naming the option and the valid form. A
writer gives a text that is read back as the same.
"""

import re
from collections.abc import Sequence

from digitize.errors import UsageRefusal
from digitize.option_records import (
    ENDS,
    FEWEST_FINS,
    FROM_NOSE,
    FROM_TAIL,
    MOST_FINS,
    BalancePoint,
    Mass,
    Motor,
    Pose,
    ScaleOption,
)
from digitize.sizes import PAPERS_MM
from digitize.units.quantities import length_mm, mass_g, refuse_torn
from digitize.units.shown_units import UNITS

SIZED_SCALES = ("tube", "length", "ruler")  # KIND=LENGTH
BARE_SCALES = ("card", "a4", "letter", "sheet")  # KIND alone
SCALE_KINDS = (*SIZED_SCALES, *BARE_SCALES, "checker", "points")
PAPERS = tuple(PAPERS_MM)
POSES = ("in-plane", "diagonal", "resting")
NOSE_DIRECTIONS = ("left", "right", "up", "down")
HAND_NAMES = ("length", "tube", "nose", "root", "tip", "span", "cutout-balance")
_MOST_GROUPS = 6
MOST_SHOWN_MACH = 0.7
"""Above it the rule for fins alone points the wrong way: J. C. Ferris, NASA TN D-4013 (1967), figures 7(b), 7(c), has a
sounding rocket's centre of pressure 0.3 to 0.6 calibers farther forward at Mach 0.8 than at 0.6."""
FEWEST_SQUARES = 4
"""Across and down: the board is known by its inner corners, and the search for them takes 3 x 3 at least."""
MOTOR_FORM = "NAME,LOADED,EMPTY,LENGTH[,OVERHANG]"
MOTOR_EXAMPLE = "large,24g,12g,70mm,5mm"
ADD_FORM = "NAME,MASS,PLACE"
ADD_EXAMPLE = "parachute,12g,180mm"
NO_MOTOR = "none"


def parse_scale(text: str, option: str = "--scale") -> ScaleOption:
    """'tube=41.6mm', 'card', 'checker=7x5x15mm', 'points=X1,Y1,X2,Y2,300mm' and so on."""
    kind, equals, value = (part.strip() for part in text.partition("="))
    kind = kind.lower()
    if kind not in SCALE_KINDS:
        raise UsageRefusal(f"{option}: {kind or text!r} is not a kind of scale", f"use one of {', '.join(SCALE_KINDS)}")
    if kind in BARE_SCALES:
        if equals:
            raise UsageRefusal(f"{option} {kind} takes no size, but {value!r} was given", f"write {option} {kind}")
        return ScaleOption(kind, text=text)
    if not value:
        example = {"checker": "7x5x15mm", "points": "120,80,1820,95,300mm"}.get(kind, "300mm")
        raise UsageRefusal(f"{option} {kind} needs its size", f"write {option} {kind}={example}")
    if kind == "checker":
        return _parse_checker(value, text)
    if kind == "points":
        return _parse_points(value, text)
    return ScaleOption(kind, length_mm(value, f"{option} {kind}"), text=text)


def _parse_checker(value: str, text: str) -> ScaleOption:
    match = re.fullmatch(r"(\d{1,3})\s*[x×]\s*(\d{1,3})\s*[x×]\s*(.+)", value, re.IGNORECASE)
    if match is None:
        raise UsageRefusal(
            f"--scale checker: {value!r} is not squares across x down x size",
            "write --scale checker=7x5x15mm",
        )
    across, down = int(match[1]), int(match[2])
    if min(across, down) < FEWEST_SQUARES:
        raise UsageRefusal(
            f"--scale checker: {across}x{down} squares are too few",
            f"use a board of {FEWEST_SQUARES} x {FEWEST_SQUARES} squares or more",
        )
    return ScaleOption("checker", length_mm(match[3], "--scale checker"), squares=(across, down), text=text)


def _parse_points(value: str, text: str) -> ScaleOption:
    parts = [part.strip() for part in value.split(",")]
    try:
        x1, y1, x2, y2 = (float(part) for part in parts[:4])
    except ValueError:
        parts = []
    if len(parts) != 5:
        raise UsageRefusal(
            f"--scale points: {value!r} is not two pixels and their distance",
            "write --scale points=X1,Y1,X2,Y2,300mm in pixels of the upright photo, decimals with a point",
        )
    if not all(abs(number) < 1e6 for number in (x1, y1, x2, y2)):
        raise UsageRefusal(f"--scale points: {value!r} holds a number that is no pixel", "give pixels of the photo")
    if max(abs(x1 - x2), abs(y1 - y2)) < 1:
        raise UsageRefusal("--scale points: the two points are the same", "give two points far apart")
    return ScaleOption("points", length_mm(parts[4], "--scale points"), points_px=(x1, y1, x2, y2), text=text)


def parse_fins(text: str, option: str = "--fins") -> tuple[int, ...]:
    """'4' or '3,4': fins in each group, nose to tail."""
    parts = [part.strip() for part in text.split(",")]
    if not all(re.fullmatch(r"\d{1,4}", part) for part in parts) or len(parts) > _MOST_GROUPS:
        raise UsageRefusal(
            f"{option}: {text!r} is not a number of fins for each group",
            f"write {option} 4, or {option} 3,4 nose to tail",
        )
    counts = tuple(int(part) for part in parts)
    for count in counts:
        if not FEWEST_FINS <= count <= MOST_FINS:
            raise UsageRefusal(
                f"{option}: {count} fins can't be measured", f"give {FEWEST_FINS} to {MOST_FINS} a group"
            )
    return counts


def parse_pose(text: str, option: str = "--pose") -> Pose:
    """'in-plane', 'diagonal', 'resting', or an angle such as '30deg'."""
    kind = text.strip().lower()
    if kind in POSES:
        return Pose(kind)
    match = re.fullmatch(r"([+-]?(?:\d+\.?\d*|\.\d+))\s*deg", kind)
    if match is None:
        raise UsageRefusal(
            f"{option}: {text!r} is not a pose", f"use {', '.join(POSES)}, or an angle with its unit, as 30deg"
        )
    angle_deg = float(match[1])
    if abs(angle_deg) > 360:
        raise UsageRefusal(f"{option}: {text!r} is more than a turn", "give the angle of fin 1 from the photo's plane")
    return Pose("angle", angle_deg)


def parse_choice(text: str, option: str, choices: Sequence[str]) -> str:
    """One of the choices, in any case."""
    if text.strip().lower() not in choices:
        raise UsageRefusal(f"{option}: {text!r} is not one of them", f"use {', '.join(choices)}")
    return text.strip().lower()


def parse_hand(text: str, option: str = "--hand") -> tuple[str, float]:
    """'span=52mm' as its name and millimetres."""
    name, equals, value = (part.strip() for part in text.partition("="))
    if not equals:
        raise UsageRefusal(f"{option}: {text!r} has no value", f"write NAME=VALUE, as {option} span=52mm")
    return parse_choice(name, option, HAND_NAMES), length_mm(value, f"{option} {name}")


def parse_thickness(text: str, option: str = "--thickness") -> tuple[float, ...]:
    """'2.4mm' or '2.4mm,1.6mm': fin thickness of all groups, or of each."""
    parts = text.split(",")
    refuse_torn(parts, option, "2.4mm, or 2.4mm,1.6mm for two groups")
    return tuple(length_mm(part, option) for part in parts)


def parse_balance(text: str, option: str = "--balance") -> BalancePoint:
    """'250mm', or with the end it was measured from: '250mm,from-nose', '163mm,from-tail'."""
    length, comma, end = (part.strip() for part in text.rpartition(","))
    if not comma or end[:1].isdigit():  # no end was said; a comma is then a decimal one, as in 262,5mm
        length, comma, end = text.strip(), "", ""
    distance_mm = length_mm(length, option)
    end = "-".join(end.lower().split())
    if comma and end not in ENDS:
        raise UsageRefusal(
            f"{option}: {text!r} does not say from which end",
            f"write {length},{FROM_NOSE} (the nose tip) or {length},{FROM_TAIL} (the body's aft end)",
        )
    return BalancePoint(distance_mm, end or None)


def parse_motor(text: str, option: str = "--motor") -> Motor:
    """'large,24g,12g,70mm' or 'large,24g,12g,70mm,5mm': name, loaded, empty, length, how far it sticks out."""
    name, *sizes = (part.strip() for part in text.split(","))
    refuse_torn((name, *sizes), option, MOTOR_EXAMPLE)
    if len(sizes) not in (3, 4) or not _is_name(name) or name.lower() == NO_MOTOR:
        raise UsageRefusal(f"{option}: {text!r} is not {MOTOR_FORM}", f"write {option} {MOTOR_EXAMPLE}")
    where = f"{option} {name}"
    motor = Motor(
        name,
        mass_g(sizes[0], f"{where}, loaded"),
        mass_g(sizes[1], f"{where}, empty"),
        length_mm(sizes[2], f"{where}, length"),
        length_mm(sizes[3], f"{where}, overhang", signed=True) if len(sizes) > 3 else 0.0,
    )
    if motor.empty_g > motor.loaded_g:
        raise UsageRefusal(
            f"{where}: it weighs {motor.empty_g:g} g burnt out, more than {motor.loaded_g:g} g loaded",
            f"give the loaded mass first: {MOTOR_FORM}",
        )
    if motor.overhang_mm >= motor.length_mm:
        raise UsageRefusal(
            f"{where}: it is {motor.length_mm:g} mm long and sticks out {motor.overhang_mm:g} mm",
            "give how far it sticks out of the body's aft end",
        )
    return motor


def parse_added(text: str, option: str = "--add") -> Mass:
    """'parachute,12g,180mm': something put in since; '-12g' for something taken out."""
    parts = [part.strip() for part in text.split(",")]
    refuse_torn(parts, option, ADD_EXAMPLE)
    if len(parts) != 3 or not _is_name(parts[0]):
        raise UsageRefusal(f"{option}: {text!r} is not {ADD_FORM}", f"write {option} {ADD_EXAMPLE}")
    name, mass, place = parts
    sign = -1.0 if mass.startswith("-") else 1.0
    return Mass(name, sign * mass_g(mass.removeprefix("-"), f"{option} {name}"), length_mm(place, f"{option} {name}"))


def parse_balance_at(text: str, option: str = "--balance-at") -> tuple[float, float]:
    """'1520,830': a pixel of the upright photo."""
    match = re.fullmatch(r"\s*(\d{1,6}(?:\.\d+)?)\s*,\s*(\d{1,6}(?:\.\d+)?)\s*", text)
    if match is None:
        raise UsageRefusal(
            f"{option}: {text!r} is not a pixel", f"write X,Y of the upright photo, as {option} 1520,830"
        )
    return float(match[1]), float(match[2])


def _is_name(text: str) -> bool:
    return 0 < len(text) <= 40 and text.isprintable()


def parse_mach(text: str, option: str = "--mach") -> float:
    """'0.6', a Mach number that the methods hold for."""
    try:
        mach = float(text)
    except ValueError:
        raise UsageRefusal(f"{option}: {text!r} is not a number", "write it as 0.6") from None
    if not 0 <= mach <= MOST_SHOWN_MACH:
        raise UsageRefusal(
            f"{option}: {text} is outside what the methods hold for, 0 to {MOST_SHOWN_MACH:g}",
            "above that the centre of pressure moved forward in a wind tunnel where the methods move it aft: leave "
            "the answer to wind tunnels",
        )
    return mach


def parse_signed_length(text: str, option: str) -> float:
    """'45mm', '-2cm' or '0mm', in millimetres."""
    return length_mm(text, option, signed=True)


def parse_units(units: str | None) -> str | None:
    """The units to show lengths, masses, areas and forces in; None if nothing was said. Raises UsageRefusal."""
    return None if units is None else parse_choice(units, "--units", UNITS)


def parse_pdf(pdf: bool, paper: str | None) -> str | None:
    """The paper of the report as PDF, None if it was not asked for. Raises UsageRefusal."""
    if paper is None:
        return PAPERS[0] if pdf else None
    if not pdf:
        raise UsageRefusal("--paper was given without --pdf", "add --pdf, or leave --paper out")
    return parse_choice(paper, "--paper", PAPERS)


# --- written so that they are read back the same ------------------------------------------------------------


def mm_text(value: float) -> str:
    return f"{value!r}mm"


def g_text(value: float) -> str:
    return f"{value!r}g"


def mps_text(value: float) -> str:
    return f"{value!r}m/s"


def fins_text(counts: Sequence[int]) -> str:
    return ",".join(map(str, counts))


def pose_text(pose: Pose) -> str | None:
    if pose.kind == "unsaid":
        return None
    return f"{pose.angle_deg!r}deg" if pose.kind == "angle" else pose.kind


def balance_text(point: BalancePoint) -> str:
    return ",".join([mm_text(point.distance_mm), *([point.end] if point.end else [])])


def balance_at_text(place_px: Sequence[float]) -> str:
    return ",".join(f"{value:g}" for value in place_px)


def motor_text(motor: Motor) -> str:
    masses, sizes = (motor.loaded_g, motor.empty_g), (motor.length_mm, motor.overhang_mm)
    return ",".join([motor.name, *map(g_text, masses), *map(mm_text, sizes)])


def added_text(mass: Mass) -> str:
    return f"{mass.name},{g_text(mass.mass_g)},{mm_text(mass.x_mm)}"


def hand_text(measurement: tuple[str, float]) -> str:
    return f"{measurement[0]}={mm_text(measurement[1])}"


def thickness_text(sizes_mm: Sequence[float]) -> str:
    return ",".join(map(mm_text, sizes_mm))
