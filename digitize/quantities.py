"""Numbers with units, as people write them. A bare number is refused: its unit would be a guess."""

import math
import re

from digitize.errors import UsageRefusal

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
GRAMS_PER_UNIT = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
MPS_PER_UNIT = {"m/s": 1.0, "km/h": 1 / 3.6, "ft/s": 0.3048, "mph": 0.44704, "kn": 1852 / 3600}
G_CM3_PER_UNIT = {"g/cm3": 1.0, "kg/m3": 0.001, "oz/in3": 28.349523125 / 2.54**3}
LARGEST = 1e6  # a kilometre, a tonne
_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)\s*([a-z/]*3?)\s*", re.IGNORECASE)


def length_mm(text: str, option: str, *, signed: bool = False) -> float:
    """'41.6mm', '1.8 m', '2in' as millimetres. signed: zero and negative lengths are meant too.

    Raises UsageRefusal naming the option, with the units listed.

    >>> length_mm("1.8 m", "--distance")
    1800.0
    """
    return _parse(text, option, MM_PER_UNIT, "length", "41.6mm", signed)


def mass_g(text: str, option: str) -> float:
    """'180g', '0.4 lb' as grams. Raises UsageRefusal as `length_mm` does."""
    return _parse(text, option, GRAMS_PER_UNIT, "mass", "180g", False)


def density_g_cm3(text: str, option: str) -> float:
    """'1.8g/cm3', '600 kg/m3' as grams a cubic centimetre. Raises UsageRefusal as `length_mm` does.

    >>> density_g_cm3("600 kg/m3", "--density")
    0.6
    """
    return _parse(text, option, G_CM3_PER_UNIT, "density", "1.8g/cm3", False)


def speed_mps(text: str, option: str) -> float:
    """'15m/s', '30 mph', '8kn' as metres a second. Raises UsageRefusal as `length_mm` does.

    >>> round(speed_mps("36 km/h", "--rod-speed"), 9)
    10.0
    """
    return _parse(text, option, MPS_PER_UNIT, "speed", "15m/s", False)


def _parse(text: str, option: str, units: dict, kind: str, example: str, signed: bool) -> float:
    names = ", ".join(units)
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise UsageRefusal(
            f"{option}: {text!r} is not a {kind}", f"write a number and its unit ({names}), as {example}"
        )
    number, unit = match.groups()
    if unit == "":
        raise UsageRefusal(f"{option}: {text!r} has no unit", f"add one of {names}, as {example}")
    if unit.lower() not in units:
        raise UsageRefusal(f"{option}: the unit of {text!r} is not known", f"use one of {names}")
    value = float(number) * units[unit.lower()]
    if not math.isfinite(value) or abs(value) > LARGEST:
        raise UsageRefusal(f"{option}: {text!r} is not a believable {kind}", "check the number and its unit")
    if value <= 0 and not signed:
        raise UsageRefusal(f"{option}: {text!r} is not above zero", f"give the {kind} as a positive number")
    return value
