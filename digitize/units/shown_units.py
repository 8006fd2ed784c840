"""The units numbers are shown in. All is computed and kept in metric units; only what a person reads is converted.

Which units those are is said once, at the door of a summary, page or card (`shown_in`), and holds for all that is
written inside, as a decimal context does: `units/rounding.py` asks here, so that no table, label or sentence can be
forgotten on the way down.

Exact by definition: the inch is 25.4 mm and the avoirdupois pound 0.45359237 kg, its ounce a sixteenth of it
(international yard and pound agreement, 1959); the pound-force is that pound at standard gravity of 9.80665 m/s²
(3rd General Conference on Weights and Measures, 1901), 4.4482216152605 N.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

MM_PER_INCH = 25.4
GRAMS_PER_OUNCE = 28.349523125
KG_PER_POUND = 0.45359237
NEWTONS_PER_POUND_FORCE = 4.4482216152605
MM, IN = UNITS = ("mm", "in")


@dataclass(frozen=True)
class Unit:
    """What a metric unit is shown in: its name, and how many of it one metric unit is."""

    name: str
    per_metric: float


_IMPERIAL = {
    "mm": Unit("in", 1 / MM_PER_INCH),
    "mm²": Unit("in²", 1 / MM_PER_INCH**2),
    "mm per pixel": Unit("in per pixel", 1 / MM_PER_INCH),
    "m": Unit("ft", 1000 / MM_PER_INCH / 12),
    "m/s": Unit("ft/s", 1000 / MM_PER_INCH / 12),
    "km/h": Unit("mph", 1e6 / MM_PER_INCH / 12 / 5280),
    "g": Unit("oz", 1 / GRAMS_PER_OUNCE),
    "kg": Unit("lb", 1 / KG_PER_POUND),
    "N": Unit("lbf", 1 / NEWTONS_PER_POUND_FORCE),
}
_shown: ContextVar[str] = ContextVar("units numbers are shown in", default=MM)


@contextmanager
def shown_in(units: str | None) -> Iterator[None]:
    """Inside, numbers are written in these units, "mm" or "in"; None, or anything else: metric."""
    token = _shown.set(IN if units == IN else MM)
    try:
        yield
    finally:
        _shown.reset(token)


def now() -> str:
    """Whether numbers are written in "mm" or "in" here."""
    return _shown.get()


def unit_of(metric: str) -> Unit:
    """What numbers in this metric unit are shown in here; others, as calibers and degrees, as they are."""
    return _IMPERIAL[metric] if now() == IN and metric in _IMPERIAL else Unit(metric, 1.0)


def shown_number(value, metric: str):
    """The number, or array, in the unit it is shown in here, for axes and sliders; `units/rounding.py` writes it."""
    return value * unit_of(metric).per_metric
