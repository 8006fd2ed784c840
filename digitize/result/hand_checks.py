"""Hand measurements beside the photo's: which agree, what slip would explain one that does not, and does it matter."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from digitize.aero.components import centre_of_pressure
from digitize.aero.limits import outside_warnings
from digitize.errors import GeometryRefusal
from digitize.margin import stability
from digitize.margin.warning_codes import is_outside
from digitize.records import Geometry, Quantity, Warn
from digitize.result_records import FinResult, HandCheck
from digitize.units.rounding import exact, with_band

TOLERANCE_MM = {"cutout-balance": 3.0}
OTHER_TOLERANCE_MM = 0.7
"""What a careful hand measurement with tape or ruler may be off, besides the photo's own band; a piece of cardboard
balances on an edge to about 3 mm (common practice, no source)."""
UNITS = (
    (10.0, "centimetres read as millimetres"),
    (0.1, "millimetres read as centimetres"),
    (25.4, "inches read as millimetres"),
    (1 / 25.4, "millimetres read as inches"),
    (2.54, "inches read as centimetres"),
    (1 / 2.54, "centimetres read as inches"),
)
TAPE_MARKS_MM = (10.0, 100.0)


@dataclass(frozen=True)
class HandFacts:
    """What the photo says of everything that may be measured by hand. fins: nose to tail; hand measurements of fins are
    about the last group."""

    length_mm: Quantity
    diameter_mm: Quantity
    nose_mm: Quantity | None
    fins: tuple[FinResult, ...]
    centroid_mm: Quantity
    geometry: Geometry


def hand_facts(length, diameter, pieces, fins, centroid, geometry: Geometry) -> HandFacts:
    """The facts of one result; the nose ends where its first piece does."""
    nose = Quantity(pieces[0].to_mm, max(0.02 * length.value, length.pm95)) if pieces else None
    return HandFacts(length, diameter, nose, tuple(fins), centroid, geometry)


def hand_checks(hand: Sequence[tuple[str, float]], facts: HandFacts) -> tuple[HandCheck, ...]:
    """Each measurement beside the photo's; those the photo says nothing of are left out."""
    by_photo = {
        "length": facts.length_mm,
        "tube": facts.diameter_mm,
        "nose": facts.nose_mm,
        "cutout-balance": facts.centroid_mm,
    }
    if facts.fins:
        fin = facts.fins[-1]
        by_photo |= {"root": fin.root_chord_mm, "tip": fin.tip_chord_mm, "span": fin.span_mm}
    return tuple(
        _check(name, by_hand, photo, facts) for name, by_hand in hand if (photo := by_photo.get(name)) is not None
    )


def _check(name: str, by_hand: float, photo: Quantity, facts: HandFacts) -> HandCheck:
    agrees = abs(by_hand - photo.value) <= photo.pm95 + _tolerance(name)
    return HandCheck(name, by_hand, photo, agrees, None if agrees else likely_slip(name, by_hand, photo, facts))


def likely_slip(name: str, by_hand: float, photo: Quantity, facts: HandFacts) -> str | None:
    """The usual slip that would have made this number of what the photo shows, if one does; the nearest of several."""
    near = []
    for expected, words in (*_slips(name, facts), *_unit_slips(photo.value), *_tape_slips(photo.value)):
        allowed = (photo.pm95 / max(photo.value, 1e-9)) * expected + _tolerance(name) * max(expected / photo.value, 0.1)
        if abs(by_hand - expected) <= allowed:
            near.append((abs(by_hand - expected) / allowed, words))
    return min(near)[1] if near else None


def _tolerance(name: str) -> float:
    return TOLERANCE_MM.get(name, OTHER_TOLERANCE_MM)


def _unit_slips(value: float):
    return [(value / factor, words) for factor, words in UNITS]


def _tape_slips(value: float):
    """A tape begun at one of its marks instead of at its end."""
    marks = [mark for mark in TAPE_MARKS_MM if value > mark]
    return [(value + mark, f"read with the tape's {mark:g} mm mark at the end") for mark in marks]


def _slips(name: str, facts: HandFacts):
    """(what would have been read, the slip) of the slips proper to one measurement."""
    length, diameter = facts.length_mm.value, facts.diameter_mm.value
    if name == "tube":
        return [(diameter / 2, "the radius for the diameter"), (np.pi * diameter, "the distance round the tube")]
    if name == "cutout-balance":
        return [(length - facts.centroid_mm.value, "measured from the tail instead of from the nose tip")]
    if name == "length":
        found = [(length - facts.nose_mm.value, "measured without the nose")] if facts.nose_mm else []
        ends = [float(fin.outline_mm[:, 0].max()) for fin in facts.fins]
        return [*found, *((end, "measured to the fin tips, not to the body's end") for end in ends if end > length)]
    if name == "nose":
        return [(length - facts.nose_mm.value, "the rest of the body instead of the nose")] if facts.nose_mm else []
    fin = facts.fins[-1]
    if name == "root":
        return [(fin.tip_chord_mm.value, "the tip for the root")]
    if name == "tip":
        return [(fin.root_chord_mm.value, "the root for the tip")]
    return _span_slips(fin)


def _span_slips(fin: FinResult):
    span, outline = fin.span_mm.value, fin.outline_mm
    radius = float(outline[:, 1].max()) - span
    leading = float(np.hypot(span, fin.sweep_mm.value))
    trailing = float(np.hypot(span, fin.sweep_mm.value + fin.tip_chord_mm.value - fin.root_chord_mm.value))
    return [
        (leading, "measured along the leading edge instead of square to the body"),
        (trailing, "measured along the trailing edge instead of square to the body"),
        (span + radius, "measured from the axis instead of from the body"),
        (2 * (span + radius), "measured from tip to tip across the body"),
        (span + 2 * radius, "measured over the body, with its diameter"),
    ]


def hand_warnings(
    checks: Sequence[HandCheck], facts: HandFacts, cp_x_mm: Quantity, balance_mm: Quantity | None
) -> list[Warn]:
    """A warning for each measurement that disagrees. Where the verdict would be another if the hand were right, its
    code is HAND_MATTERS, which makes the verdict 'look again', else HAND_DISAGREES. A likely slip is named but excuses
    nothing: that the number fits one is no proof that it was made."""
    return [_warning(check, facts, cp_x_mm, balance_mm) for check in checks if not check.agrees]


def _warning(check: HandCheck, facts: HandFacts, cp_x_mm: Quantity, balance_mm: Quantity | None) -> Warn:
    photo = check.by_photo_mm
    text = f"The {check.name} by hand, {exact(check.by_hand_mm)} mm, differs from the photo's {with_band(photo, 'mm')}"
    remedy = "Measure it again by hand, then look at the picture (overlay.png): is the outline on the edge there?"
    if check.likely_slip:
        text = f"{text}; a likely slip: {check.likely_slip}"
    other = level_if_right(check, facts, cp_x_mm, balance_mm)
    if other is None:
        return Warn("HAND_DISAGREES", text, remedy)
    return Warn("HAND_MATTERS", f"{text}; if the hand is right the verdict would be '{other}'", remedy)


def level_if_right(check: HandCheck, facts: HandFacts, cp_x_mm: Quantity, balance_mm: Quantity | None) -> str | None:
    """The verdict's level if the hand measurement were right, None if it stays the same or there is none.

    tube, length: everything else in the photo scales with them; root, tip, span: the last fin group has that size;
    cutout-balance: the centre of pressure is taken to be off by as much as the cut-out. Whichever margin decides for
    the shape is followed, the cut-out's with the fins as they are in the photo. The nose's length alone moves
    little and is not followed.
    """
    if balance_mm is None:
        return None
    diameter, ratio = facts.diameter_mm, check.by_hand_mm / check.by_photo_mm.value
    middle = facts.centroid_mm
    moved: float | None
    now = _level(facts, cp_x_mm, middle, balance_mm, diameter)
    if check.name in ("tube", "length"):
        moved, diameter = cp_x_mm.value * ratio, replace(diameter, value=diameter.value * ratio)
        middle = replace(middle, value=middle.value * ratio)
    elif check.name == "cutout-balance":
        off = check.by_hand_mm - check.by_photo_mm.value
        moved, middle = cp_x_mm.value + off, replace(middle, value=middle.value + off)
    elif check.name in ("root", "tip", "span"):
        moved = _with_fin(facts.geometry, check.name, ratio)
    else:
        return None
    if moved is None:
        return "look again"
    then = _level(facts, replace(cp_x_mm, value=moved), middle, balance_mm, diameter)
    return then if then != now else None


def _level(facts: HandFacts, cp_x_mm, centroid_mm, balance_mm, diameter_mm: Quantity) -> str:
    """The verdict's level by whichever margin decides for this shape."""
    margins = (stability.margin_calibers(x, balance_mm, diameter_mm) for x in (cp_x_mm, centroid_mm))
    return stability.verdict(*margins, outside=is_outside(outside_warnings(facts.geometry))).level


def _with_fin(geometry: Geometry, name: str, ratio: float) -> float | None:
    """The centre of pressure with the last fin group's root, tip or span that many times as large."""
    group = geometry.fins[-1]
    x, y = group.outline_mm.T.copy()
    root_y = np.interp(x, x[[0, -1]], y[[0, -1]])
    height = np.clip((y - root_y) / max(float((y - root_y).max()), 1e-9), 0.0, 1.0)
    if name == "span":
        y = root_y + (y - root_y) * ratio
    else:  # the chord at the root or the tip grows about its middle, and what lies between by its height
        share = 1 - height if name == "root" else height
        middle = (x.min() + x.max()) / 2
        x = middle + (x - middle) * (1 + (ratio - 1) * share)
    other = replace(group, outline_mm=np.column_stack([x, y]))
    try:
        return centre_of_pressure(replace(geometry, fins=(*geometry.fins[:-1], other))).x_mm
    except GeometryRefusal:
        return None
