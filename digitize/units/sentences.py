"""Sentences that name lengths, masses and forces, in the units they are shown in.

What a run says of itself (warnings, assumptions, what to do) is kept in the result in metric units, as its numbers are;
here it is converted as it is shown. So a folder measured in inches can be shown in millimetres, and the other way.
"""

import functools
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from types import MappingProxyType

from digitize.units.rounding import band_alone, sized, with_band
from digitize.units.shown_units import MM, now, shown_in

_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_SIZE = re.compile(
    rf"(?<![\w.])(?P<first>(?:{_NUMBER}(?: to | and | x ))?)"
    rf"(?P<band>± )?(?P<value>{_NUMBER})(?: ± (?P<pm95>{_NUMBER}))?"
    r"(?P<gap> ?)(?P<unit>mm²|mm per pixel|mm|m/s|km/h|m|kg|g|N)(?![\w²/-]| equivalent| \([\d.]+ (?:in|oz|ft|lb)| s\b)"
)
"""Not: the millimetres of a lens (35 mm equivalent), grams per cubic centimetre, newton seconds, and what has the other
unit behind it already."""
_CHECKER = re.compile(r"(?<=\dx)(\d+(?:\.\d+)?)mm\b")
_PRINTED = re.compile(r" (?:bar|mark)\b")
"""What is printed on an object in millimetres is called what it is called there, and what that is in inches."""
_ENDINGS = (("_mm", "mm"), ("_mm2", "mm²"), ("_g", "g"))
"""Of the keys that hold numbers: the units these are in."""
_TEXTS = frozenset(
    (
        "text", "headline", "remedy", "kind", "likely_slip", "words", "assumptions", "label", "changed_by_hand",
        "action", "doubt", "question", "mass_caution", "fins_words", "source", "reference_words", "what",
        "verdict_text", "verdict_headline", "scale_kind",
    )
)  # fmt: skip
"""Keys and fields of results, plans and pages that hold a sentence of ours, or a list of them. Names and notes are the
user's."""


def in_words(text: str, known: Mapping[str, str] = MappingProxyType({})) -> str:
    """The sentence with each metric size in the units shown here; unchanged where those are metric.

    known: sizes as they stand in the text, "38.1 ± 1.0 mm", and how they are shown here, worked out from their full
    digits; others are converted from the digits that stand there.

    >>> with shown_in("in"):
    ...     in_words("root 50 mm, 24.0 ± 0.3 mm thick")
    'root 1.97 in, 0.945 ± 0.012 in thick'
    """
    if now() == MM:
        return text
    return _SIZE.sub(lambda m: _converted(m, known), _CHECKER.sub(lambda m: _one(m[1], "mm", ""), text))


def in_shown_units(data):
    """The same for every sentence in a Result, or in what result.json, ballast.json or swing.json holds; a number that
    stands there too reads in its sentence as it does in the tables."""
    return data if now() == MM else _told(data, dict(_known(data)))


def _told(data, known: Mapping[str, str], key: str = ""):
    if isinstance(data, dict):
        return {name: _told(value, known, name) for name, value in data.items()}
    if is_dataclass(data) and not isinstance(data, type):
        names = [field.name for field in fields(data)]
        return replace(data, **{name: _told(getattr(data, name), known, name) for name in names})
    if isinstance(data, list | tuple):
        return type(data)(_told(value, known, key) for value in data)
    return in_words(data, known) if key in _TEXTS and isinstance(data, str) else data


def _known(data, key: str = "") -> Iterator[tuple[str, str]]:
    """(as it is written in metric units, as it is shown here) of every number of the record."""
    from digitize.records import Quantity  # not before: records load numpy, and --help has no use for it

    unit = next((unit for end, unit in _ENDINGS if key.endswith(end)), None)
    if isinstance(data, dict) and unit and data.keys() == {"value", "pm95"}:
        with shown_in(MM):
            metric = with_band(data, unit)
        yield metric, with_band(data, unit)
    elif isinstance(data, dict):
        for name, value in data.items():
            yield from _known(value, name)
    elif isinstance(data, Quantity) and unit:
        yield from _known({"value": data.value, "pm95": data.pm95}, key)
    elif is_dataclass(data):
        for field in fields(data):
            yield from _known(getattr(data, field.name), field.name)
    elif isinstance(data, list | tuple) and not key.endswith("_mm"):  # lists of numbers are outlines and curves
        for value in data:
            yield from _known(value, key)
    elif unit and isinstance(data, int | float) and not isinstance(data, bool):
        with shown_in(MM):
            metric = sized(data, unit)
        yield metric, sized(data, unit)


def in_its_units(show: Callable) -> Callable:
    """A function that shows a result or a plan (its first argument that is a record or a dictionary), made to show it
    in that one's own units (its field or key "units")."""

    @functools.wraps(show)
    def shown(*args, **kwargs):
        at = next(k for k, argument in enumerate(args) if isinstance(argument, dict) or is_dataclass(argument))
        units = args[at].get("units") if isinstance(args[at], dict) else args[at].units
        with shown_in(units):
            return show(*args[:at], in_shown_units(args[at]), *args[at + 1 :], **kwargs)

    return shown


def _converted(match: re.Match, known: Mapping[str, str]) -> str:
    if match[0] in known:
        return known[match[0]]
    unit, gap = match["unit"], match["gap"]
    if gap and _PRINTED.match(match.string, match.end()):
        return f"{match[0]} ({sized(float(match['value']), unit)})"
    first = re.fullmatch(rf"({_NUMBER})?( to | and | x )?(.*)", match["first"])
    assert first is not None  # a sentence is one line, and each part may be absent
    number, between, _ = first.groups()
    before = _one(number, unit, None) + between if number else ""
    if match["pm95"]:
        quantity = {"value": float(match["value"]), "pm95": float(match["pm95"])}
        return before + with_band(quantity, unit)
    if match["band"]:
        return before + band_alone(float(match["value"]), unit)
    return before + _one(match["value"], unit, gap)


def _one(number: str, unit: str, gap: str | None) -> str:
    """gap: between number and unit; None: the number alone."""
    decimals = None if gap == "" else len(number.partition(".")[2])  # as an option is typed: in full
    text = sized(float(number), unit, decimals, sign=number.startswith("+"))
    value, _, name = text.partition(" ")
    if "." in value:
        value = value.rstrip("0").rstrip(".")
    return value if gap is None else value + gap + name
