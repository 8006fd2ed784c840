"""The options of balance, motors and masses, held against each other before any work."""

from collections.abc import Sequence

from digitize.errors import UsageRefusal
from digitize.margin.balance import Loading, heaviest
from digitize.margin.stability import balance_quantity
from digitize.option_records import FROM_TAIL, BalancePoint, Motor
from digitize.request.parsers import NO_MOTOR

_MOST = 20


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


def balance_of(point: BalancePoint | None) -> dict:
    """The fields of a Loading that a balance point as typed makes."""
    if point is None:
        return {}
    quantity = balance_quantity(point.distance_mm)
    if point.end == FROM_TAIL:
        return {"from_tail": quantity, "end_said": True}
    return {"balance": quantity, "end_said": point.end is not None}


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


def _check_names(motors: Sequence[Motor]) -> None:
    names = [motor.name.lower() for motor in motors]
    for motor in motors:
        if names.count(motor.name.lower()) > 1:
            raise UsageRefusal(f"--motor {motor.name} was given twice", "give each motor its own name")
    if len(motors) > _MOST:
        raise UsageRefusal(f"--motor: {len(motors)} motors were given", f"give {_MOST} at most")
