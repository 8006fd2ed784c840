"""What the user says of balance, motors and masses, parsed and checked together before any work.

Every parser takes the text as typed and raises UsageRefusal naming the option and the valid form.
"""

import re
from collections.abc import Sequence

from digitize.errors import UsageRefusal
from digitize.margin.balance import ENDS, FROM_NOSE, FROM_TAIL, Loading, heaviest
from digitize.margin.stability import balance_quantity
from digitize.records import BalancePoint, Mass, Motor
from digitize.units.quantities import length_mm, mass_g, refuse_torn

MOTOR_FORM = "NAME,LOADED,EMPTY,LENGTH[,OVERHANG]"
MOTOR_EXAMPLE = "large,24g,12g,70mm,5mm"
ADD_FORM = "NAME,MASS,PLACE"
ADD_EXAMPLE = "parachute,12g,180mm"
NO_MOTOR = "none"
_MOST = 20


def loading(
    balance: str | None = None,
    mass: str | None = None,
    motor: Sequence[str] = (),
    balanced_with: str | None = None,
    add: Sequence[str] = (),
) -> Loading:
    """The options as typed, checked against each other. Raises UsageRefusal."""
    motors = tuple(parse_motor(text) for text in motor)
    parsed = Loading(
        **balance_of(None if balance is None else parse_balance(balance)),
        mass_g=None if mass is None else mass_g(mass, "--mass"),
        motors=motors,
        balanced_with=parse_balanced_with(balanced_with, motors),
        added=tuple(parse_added(text) for text in add),
    )
    check_loading(parsed, balanced_with is not None)
    if not parsed.known():
        check_balance_known(parsed)
    return parsed


def check_loading(said: Loading, with_said: bool = False) -> None:
    """Refuse what can't be worked out, or can't be of one rocket. with_said: --balanced-with was given."""
    _check_names(said.motors)
    if with_said and not said.motors:
        raise UsageRefusal("--balanced-with was given without motors", "describe each with --motor")
    if (said.motors or said.added) and said.mass_g is None:
        raise UsageRefusal(
            f"{_option(said)} moves the balance point by its share of the mass, but no mass was given",
            "weigh the rocket as it was balanced and give --mass",
        )
    before = next((motor for motor in said.motors if motor.name == said.balanced_with), None)
    if before is not None and said.mass_g is not None and before.loaded_g >= said.mass_g:
        raise UsageRefusal(
            f"--mass: {said.mass_g:g} g with the motor {before.name} in, which alone is {before.loaded_g:g} g",
            "give the mass of the rocket as it was balanced, motor and all",
        )


def check_balance_known(said: Loading) -> None:
    """Refuse motors or masses where no balance point was given that they could move."""
    if said.motors or said.added:
        raise UsageRefusal(f"{_option(said)} moves the balance point, but none was given", "give --balance too")


def _option(said: Loading) -> str:
    return "--motor" if said.motors else "--add"


def parse_balance(text: str) -> BalancePoint:
    """'250mm', or with the end it was measured from: '250mm,from-nose', '163mm,from-tail'."""
    length, comma, end = (part.strip() for part in text.rpartition(","))
    if not comma or end[:1].isdigit():  # no end was said; a comma is then a decimal one, as in 262,5mm
        length, comma, end = text.strip(), "", ""
    distance_mm = length_mm(length, "--balance")
    end = "-".join(end.lower().split())
    if comma and end not in ENDS:
        raise UsageRefusal(
            f"--balance: {text!r} does not say from which end",
            f"write {length},{FROM_NOSE} (the nose tip) or {length},{FROM_TAIL} (the body's aft end)",
        )
    return BalancePoint(distance_mm, end or None)


def balance_of(point: BalancePoint | None) -> dict:
    """The fields of a Loading that a balance point as typed makes."""
    if point is None:
        return {}
    quantity = balance_quantity(point.distance_mm)
    if point.end == FROM_TAIL:
        return {"from_tail": quantity, "end_said": True}
    return {"balance": quantity, "end_said": point.end is not None}


def parse_motor(text: str) -> Motor:
    """'large,24g,12g,70mm' or 'large,24g,12g,70mm,5mm': name, loaded, empty, length, how far it sticks out."""
    name, *sizes = (part.strip() for part in text.split(","))
    refuse_torn((name, *sizes), "--motor", MOTOR_EXAMPLE)
    if len(sizes) not in (3, 4) or not _is_name(name) or name.lower() == NO_MOTOR:
        raise UsageRefusal(f"--motor: {text!r} is not {MOTOR_FORM}", f"write --motor {MOTOR_EXAMPLE}")
    where = f"--motor {name}"
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


def parse_added(text: str) -> Mass:
    """'parachute,12g,180mm': something put in since; '-12g' for something taken out."""
    parts = [part.strip() for part in text.split(",")]
    refuse_torn(parts, "--add", ADD_EXAMPLE)
    if len(parts) != 3 or not _is_name(parts[0]):
        raise UsageRefusal(f"--add: {text!r} is not {ADD_FORM}", f"write --add {ADD_EXAMPLE}")
    name, mass, place = parts
    sign = -1.0 if mass.startswith("-") else 1.0
    return Mass(name, sign * mass_g(mass.removeprefix("-"), f"--add {name}"), length_mm(place, f"--add {name}"))


def parse_balanced_with(text: str | None, motors: Sequence[Motor]) -> str | None:
    """The motor that was in when the rocket was balanced: the heaviest if nothing is said, None for 'none'."""
    if text is None:
        return heaviest(tuple(motors))
    wanted = text.strip().lower()
    if wanted == NO_MOTOR:
        return None
    for motor in motors:
        if motor.name.lower() == wanted:
            return motor.name
    raise UsageRefusal(
        f"--balanced-with: no --motor is called {text!r}",
        f"use {', '.join([NO_MOTOR, *(motor.name for motor in motors)])}",
    )


def parse_balance_at(text: str) -> tuple[float, float]:
    """'1520,830': a pixel of the upright photo."""
    match = re.fullmatch(r"\s*(\d{1,6}(?:\.\d+)?)\s*,\s*(\d{1,6}(?:\.\d+)?)\s*", text)
    if match is None:
        raise UsageRefusal(
            f"--balance-at: {text!r} is not a pixel", "write X,Y of the upright photo, as --balance-at 1520,830"
        )
    return float(match[1]), float(match[2])


def _is_name(text: str) -> bool:
    return 0 < len(text) <= 40 and text.isprintable()


def _check_names(motors: Sequence[Motor]) -> None:
    names = [motor.name.lower() for motor in motors]
    for motor in motors:
        if names.count(motor.name.lower()) > 1:
            raise UsageRefusal(f"--motor {motor.name} was given twice", "give each motor its own name")
    if len(motors) > _MOST:
        raise UsageRefusal(f"--motor: {len(motors)} motors were given", f"give {_MOST} at most")
