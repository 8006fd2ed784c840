"""How a measured number is written: its digits follow its 95 % band.

The band is written with two significant digits and the value to the same place, as JCGM 100:2008 (the "GUM"),
7.2.6, has it (from memory): two digits are enough for an uncertainty, and it is rounded up rather than to the
nearest unless the digit dropped is negligible (10.47 becomes 11, 28.05 becomes 28).
"""

import math

_BAND_DIGITS = 2
_NEGLIGIBLE = 0.1  # of the last digit kept: less than this above it is dropped, more is rounded up
_MOST_DECIMALS = 3
_EXACT_DECIMALS = 2  # for a number that came without a band, such as a length typed in by the user


def band_decimals(pm95: float) -> int:
    """Decimal places that keep two significant digits of a band; negative for tens and hundreds."""
    if not math.isfinite(pm95) or pm95 <= 0:
        return _EXACT_DECIMALS
    return _BAND_DIGITS - 1 - math.floor(math.log10(pm95))


def round_band(pm95: float) -> tuple[float, int]:
    """The band rounded up to two digits, and the decimal places it then has."""
    if not math.isfinite(pm95) or pm95 <= 0:
        return 0.0, _EXACT_DECIMALS
    decimals = band_decimals(pm95)
    rounded = math.ceil(pm95 * 10.0**decimals - _NEGLIGIBLE) / 10.0**decimals
    return rounded, band_decimals(rounded)


def fixed(value: float, decimals: int) -> str:
    """A number with that many decimal places (negative: rounded to tens, hundreds), never "-0"."""
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text


def exact(value: float) -> str:
    """A number that has no band: at most two decimal places, without trailing zeros."""
    if not math.isfinite(value):
        return "unknown"
    text = fixed(value, _EXACT_DECIMALS)
    return text.rstrip("0").rstrip(".") if "." in text else text


def with_band(quantity: dict | None, unit: str = "", most_decimals: int = _MOST_DECIMALS) -> str:
    """Words like "248.5 ± 1.9 mm" for {"value": 248.5, "pm95": 1.9}; "unknown" for None, NaN or infinity.

    most_decimals: a finer band is written with this many places, rounded up, so that it never reads as 0.
    """
    if quantity is None or not math.isfinite(quantity["value"]):
        return "unknown"
    value, pm95 = quantity["value"], quantity["pm95"]
    suffix = f" {unit}" if unit else ""
    if not math.isfinite(pm95):
        return f"{exact(value)} (band unknown){suffix}"
    if pm95 <= 0:
        return exact(value) + suffix
    band, decimals = round_band(pm95)
    if decimals > most_decimals:
        decimals = most_decimals
        band = math.ceil(pm95 * 10.0**decimals - _NEGLIGIBLE) / 10.0**decimals
    return f"{fixed(value, decimals)} ± {fixed(band, decimals)}{suffix}"


def scale_with_band(quantity: dict | None) -> str:
    """Millimetres per pixel: finer than other numbers, so up to five decimal places."""
    return with_band(quantity, "mm per pixel", most_decimals=5)
