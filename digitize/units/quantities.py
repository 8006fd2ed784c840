"""Numbers with units, as people write them: 41.6mm, 41,6mm, 1 5/8in. A bare number is refused, its unit would be a
guess; so is one that can be read two ways.

The units are exact by definition: the international yard and pound of 1959 (inch 25.4 mm, avoirdupois pound
0.45359237 kg, ounce a sixteenth of it), as in NIST Special Publication 811, appendix B.8 (from memory).
"""

import math
import re
import unicodedata
from collections.abc import Sequence
from itertools import pairwise

from digitize.errors import UsageRefusal

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
GRAMS_PER_UNIT = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
MPS_PER_UNIT = {"m/s": 1.0, "km/h": 1 / 3.6, "ft/s": 0.3048, "mph": 0.44704, "kn": 1852 / 3600}
G_CM3_PER_UNIT = {"g/cm3": 1.0, "kg/m3": 0.001, "oz/in3": 28.349523125 / 2.54**3}
GRAVITY_MPS2 = 9.80665
"""Standard gravity, by which grams weigh newtons: exact by definition (3rd CGPM, 1901; from memory)."""
LARGEST = 1e6  # a kilometre, a tonne
_UNIT = re.compile(r"(.*?)\s*([a-z][a-z/]*3?)?", re.IGNORECASE | re.DOTALL)
_DECIMAL = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:e[+-]?\d+)?", re.IGNORECASE)
_FRACTION = re.compile(r"([+-]?)(?:(\d{1,4})(?:\s+|-))?(\d{1,3})\s*/\s*(\d{1,3})")
"""5/8, 1 5/8 and 1-5/8, which is how rulers in inches are read aloud."""
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
"""41,625 is forty-one and a bit to one reader and forty-one thousand to another."""
_INCH_MARKS = re.compile(r"(?:[\"\u2033\u201d]|'')$")
_COMMA_TORN = re.compile(r"[+-]?\d+")
_BEGINS_AS_REST = re.compile(r"\d+\s*[a-z\"\u2033\u201d]", re.IGNORECASE)


def length_mm(text: str, option: str, *, signed: bool = False) -> float:
    """'41.6mm', '41,6mm', '1.8 m', '1 5/8in', '5/8"' as millimetres. signed: zero and negative lengths are meant too.

    Raises UsageRefusal naming the option, with the units listed; also for what can be read two ways: '1,625mm'.

    >>> length_mm("1.8 m", "--distance")
    1800.0
    >>> length_mm("1 5/8in", "--scale tube")
    41.275
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


def refuse_torn(parts: Sequence[str], option: str, example: str) -> None:
    """Refuse values between commas where one may be a number that a decimal comma has torn: '24,5g' is 24.5 g to who
    wrote it, and two values here. example: the value as it should be written. Raises UsageRefusal."""
    for one, other in pairwise(part.strip() for part in parts):
        if _COMMA_TORN.fullmatch(one) and _BEGINS_AS_REST.match(other):
            raise UsageRefusal(
                f"{option}: {one + ',' + other!r} can be one number or two, as commas stand between the values here",
                f"write decimals with a point and each value with its unit, as {example}",
            )


def _parse(text: str, option: str, units: dict, kind: str, example: str, signed: bool) -> float:
    names = ", ".join(units)
    typed = text.strip()
    if "in" in units:
        typed = _INCH_MARKS.sub("in", typed)
    match = _UNIT.fullmatch(_spelled_out(typed))
    assert match is not None  # its first group takes anything, its second may be absent
    number, unit = match.groups()
    value = _number(number.strip(), f"{option}: {text!r}", unit or "")
    if value is None:
        raise UsageRefusal(
            f"{option}: {text!r} is not a {kind}", f"write a number and its unit ({names}), as {example}"
        )
    if not unit:
        raise UsageRefusal(f"{option}: {text!r} has no unit", f"add one of {names}, as {example}")
    if unit.lower() not in units:
        raise UsageRefusal(f"{option}: the unit of {text!r} is not known", f"use one of {names}")
    value *= units[unit.lower()]
    if not math.isfinite(value) or abs(value) > LARGEST:
        raise UsageRefusal(f"{option}: {text!r} is not a believable {kind}", "check the number and its unit")
    if value <= 0 and not signed:
        raise UsageRefusal(f"{option}: {text!r} is not above zero", f"give the {kind} as a positive number")
    return value


def _spelled_out(text: str) -> str:
    """The one-letter fractions of a keyboard as figures: 1\u00bd becomes 1 1/2."""
    return "".join(
        f" {unicodedata.normalize('NFKC', c).replace(chr(0x2044), '/')}"
        if unicodedata.decomposition(c).startswith("<fraction>")
        else c
        for c in text
    ).strip()


def _number(text: str, where: str, unit: str) -> float | None:
    """A decimal or a fraction as typed, None for anything else. Raises UsageRefusal where it can be read two ways."""
    fraction = _FRACTION.fullmatch(text)
    if fraction is not None:
        sign, whole, top, bottom = fraction.groups()
        if int(top) >= int(bottom):
            raise UsageRefusal(
                f"{where}: {top}/{bottom} is not less than one, so a space may be missing in it",
                f"write it as 1 5/8{unit} or as 1.625{unit}",
            )
        return (-1 if sign == "-" else 1) * (int(whole or 0) + int(top) / int(bottom))
    if _MAYBE_THOUSANDS.fullmatch(text):
        raise UsageRefusal(
            f"{where} can be {text.replace(',', '.')} or {text.replace(',', '')}",
            "write decimals with a point, and no mark between thousands",
        )
    return float(text.replace(",", ".")) if _DECIMAL.fullmatch(text) else None
