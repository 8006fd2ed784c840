"""How a measured number is written: its digits follow its 95 % band.

The band is written with two significant digits and the value to the same place, as JCGM 100:2008 (the "GUM"),
7.2.6, has it (from memory): two digits are enough for an uncertainty, and it is rounded up rather than to the
nearest unless the digit dropped is negligible (10.47 becomes 11, 28.05 becomes 28).
"""

import math

from digitize.units.shown_units import IN, MM, now, shown_in, unit_of

_BAND_DIGITS = 2
"""Significant digits of a band, JCGM 100:2008 as above."""
_NEGLIGIBLE = 0.1  # of the last digit kept: less than this above it is dropped, more is rounded up
MOST_DECIMALS = {
    "mm": 1, "mm²": 0, "g": 1, "calibers": 2, "per radian": 2, "mm per pixel": 5,
    "in": 3, "in²": 3, "oz": 2, "lb": 2, "lbf": 2, "ft": 1, "ft/s": 0, "mph": 0, "in per pixel": 6,
}  # fmt: skip
"""By unit, however narrow the band: finer than a tired builder's ruler, caliper or scale says nothing to anybody. The
same number then reads the same in the verdict, the tables and on the pages."""
_MOST_DECIMALS = 3
"""Of a unit that is not listed."""
_FINEST = 15  # places a number can have at all
_EXACT_DECIMALS = 2  # for a number that came without a band, such as a length typed in by the user


def band_decimals(pm95: float) -> int:
    """Decimal places that keep two significant digits of a band; negative for tens and hundreds."""
    if not math.isfinite(pm95) or pm95 <= 0:
        return _EXACT_DECIMALS
    return min(_BAND_DIGITS - 1 - math.floor(math.log10(pm95)), _FINEST)


def round_band(pm95: float) -> tuple[float, int]:
    """The band rounded up to two digits, and the decimal places it then has."""
    if not math.isfinite(pm95) or pm95 <= 0:
        return 0.0, _EXACT_DECIMALS
    decimals = band_decimals(pm95)
    rounded = math.ceil(pm95 * 10.0**decimals - _NEGLIGIBLE) / 10.0**decimals
    return rounded, band_decimals(rounded)


def fixed(value: float, decimals: int) -> str:
    """A number with that many decimal places (negative: rounded to tens, hundreds), never "-0", never "1e+03"."""
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text


def signed(value: float, decimals: int) -> str:
    """A difference with its sign; what rounds to nothing has none: "+1.3", "-0.2", "0.0"."""
    text = fixed(value, decimals)
    return text if text.startswith("-") or float(text) == 0 else f"+{text}"


def band_alone(pm95: float, unit: str) -> str:
    """Half a band by itself, rounded up as beside its value: "± 9.8 mm"."""
    return f"± {with_band({'value': 0.0, 'pm95': pm95}, unit).partition(' ± ')[2] or f'0 {unit_of(unit).name}'}"


def exact(value: float) -> str:
    """A number that has no band: at most two decimal places, without trailing zeros."""
    if not math.isfinite(value):
        return "unknown"
    text = fixed(value, _EXACT_DECIMALS)
    return text.rstrip("0").rstrip(".") if "." in text else text


def sized(value: float, unit: str, decimals: int | None = None, *, sign: bool = False, bare: bool = False) -> str:
    """A metric number that has no band, with the unit it is shown in: "300 mm", "11.811 in".

    decimals: of the metric number, in other units as many as say no less, up to MOST_DECIMALS; None: as `exact` writes
    it. sign: of a difference, as `signed`. bare: without the unit.
    """
    to = unit_of(unit)
    suffix = "" if bare else f" {to.name}"
    if not math.isfinite(value):
        return "unknown"
    if to.name == unit:
        write = signed if sign else fixed
        return (exact(value) if decimals is None else write(value, decimals)) + suffix
    places = _places(unit, decimals)
    text = (signed if sign else fixed)(value * to.per_metric, places)
    if decimals is None and "." in text:
        text = text.rstrip("0").rstrip(".")
    return text + suffix


def both(value: float, unit: str, decimals: int | None = None) -> str:
    """For what is cut or printed by people with either ruler: "100 mm (3.937 in)", the units shown here first."""
    texts = []
    for units in (MM, IN) if now() == MM else (IN, MM):
        with shown_in(units):
            texts.append(sized(value, unit, decimals))
    return f"{texts[0]} ({texts[1]})"


def at_least(value: float, unit: str, decimals: int) -> str:
    """A number that must not be rounded down, such as a weight that is needed; as `sized` where it is metric already,
    whose last digit whoever worked it out has chosen."""
    to = unit_of(unit)
    if to.name == unit:
        return sized(value, unit, decimals)
    places = _places(unit, decimals)
    up = math.ceil(value * to.per_metric * 10**places - 1e-6) / 10**places
    return f"{fixed(up, places)} {to.name}"


def weight_needed(grams: float) -> str:
    """A weight that is needed, never rounded to less; to a tenth of a gram, or as fine in ounces."""
    return sized(math.ceil(grams * 10 - 1e-6) / 10, "g") if now() == MM else at_least(grams, "g", 1)


def _places(unit: str, decimals: int | None) -> int:
    """Decimal places in the unit shown of a number that has so many in the metric one, to say no less."""
    to = unit_of(unit)
    most = MOST_DECIMALS[to.name]
    return most if decimals is None else min(most, decimals + max(math.ceil(-math.log10(to.per_metric)), 0))


def with_band(quantity, unit: str = "", *, bare: bool = False) -> str:
    """Words like "248.5 ± 1.9 mm" for {"value": 248.5, "pm95": 1.9} or a Quantity; "unknown" for None, NaN or infinity.

    unit: metric, of the quantity; it is written in the units numbers are shown in here (`units.shown_in`).
    A band finer than MOST_DECIMALS of the unit is written with those places, rounded up, so that it never reads as 0.
    bare: without the unit, for a column that has it in its head.
    """
    if quantity is not None and not isinstance(quantity, dict):
        quantity = {"value": quantity.value, "pm95": quantity.pm95}
    if quantity is None or not math.isfinite(quantity["value"]):
        return "unknown"
    to = unit_of(unit)
    value, pm95, metric, unit = quantity["value"] * to.per_metric, quantity["pm95"] * to.per_metric, unit, to.name
    suffix = f" {unit}" if unit and not bare else ""
    if not math.isfinite(pm95):
        return f"{sized(quantity['value'], metric, bare=True)} (band unknown){suffix}"
    if pm95 <= 0:
        return sized(quantity["value"], metric, bare=True) + suffix
    band, decimals = round_band(pm95)
    most = MOST_DECIMALS.get(unit, _MOST_DECIMALS)
    if decimals > most:
        decimals = most
        band = max(math.ceil(pm95 * 10.0**decimals - _NEGLIGIBLE), 1) / 10.0**decimals
    return f"{fixed(value, decimals)} ± {fixed(band, decimals)}{suffix}"


def scale_with_band(quantity) -> str:
    """Millimetres per pixel: finer than other numbers."""
    return with_band(quantity, "mm per pixel")


def counted(number: float, one: str, many: str | None = None) -> str:
    """A whole number and what it counts, in the singular where it reads as 1: "1 degree", "2 degrees".

    many: the plural, where it is not the singular with an s.
    """
    text = fixed(number, 0)
    return f"{text} {one if text in ('1', '-1') else many or one + 's'}"
