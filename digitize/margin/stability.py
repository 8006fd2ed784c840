"""Static margin in calibers, and the verdict in plain words.

A caliber is the largest body diameter; the margin is how far the centre of pressure lies aft of the balance
point. At least one caliber is wanted and one to two are usual (common practice); far above that a rocket
turns into the wind. The verdict looks at the lower end of the 95 % band, never at the middle alone.

There are two margins: by the parts' centre of pressure, which holds for air nearly from ahead, and by the cut-out's
balance point, which is where air straight from the side acts. The first decides, as most good rockets fail the second;
for a shape outside the method of parts, whichever has the lower low end.
"""

from dataclasses import dataclass
from typing import TypeGuard

import numpy as np

from digitize.margin.cautions import mass_caution
from digitize.records import BY_CUTOUT, BY_PARTS, Deciding, Quantity
from digitize.result_records import AngleCurve
from digitize.units.rounding import counted, exact, fixed, with_band

WANTED_CALIBERS = 1.0
"""The least static margin at the low end of the band: common practice, no source."""
USUAL_CALIBERS = 2.0
"""The margin that rockets usually have at most: common practice, no source."""
OVERSTABLE_CALIBERS = 2.5
"""Above it a rocket turns into the wind, so it is for calm air only: common practice, no source."""
HOPELESS_CALIBERS = 0.5  # under this, nothing in the method's own accuracy leaves room to call it nearly enough
BALANCE_PM95_MM = 2.0  # a rocket balanced on an edge by hand

LEVELS = ("fly", "marginal", "do not fly", "look again")


@dataclass(frozen=True)
class Verdict:
    """level: one of LEVELS; text: one or a few plain sentences; headline: the level with what must not be missed."""

    level: str
    text: str
    headline: str = ""


def balance_quantity(balance_mm: float) -> Quantity:
    """The balance point as said by hand, with its band."""
    return Quantity(balance_mm, BALANCE_PM95_MM)


def margin_calibers(x_mm: Quantity, balance_mm: Quantity, diameter_mm: Quantity) -> Quantity:
    """(x - balance) / diameter, x of the centre of pressure or of the cut-out; bands as independent."""
    margin = (x_mm.value - balance_mm.value) / diameter_mm.value
    pm95 = np.hypot(np.hypot(x_mm.pm95, balance_mm.pm95), margin * diameter_mm.pm95) / diameter_mm.value
    return Quantity(float(margin), float(pm95))


def deciding(margin: Quantity | None, cutout_margin: Quantity | None, outside: bool) -> Deciding | None:
    """Which of the two margins decides: by the parts, or for a shape outside their method the one that may be less.

    >>> deciding(Quantity(-0.23, 0.79), Quantity(1.26, 0.08), outside=True).by
    'centre of pressure'
    >>> deciding(Quantity(1.6, 0.15), Quantity(-0.66, 0.08), outside=False).margin.value
    1.6
    """
    if margin is None:
        return None
    if outside and cutout_margin is not None and cutout_margin.low < margin.low:
        return Deciding(cutout_margin, BY_CUTOUT)
    return Deciding(margin, BY_PARTS)


def verdict(
    margin: Quantity | None,
    cutout_margin: Quantity | None = None,
    *,
    mass_g: float | None = None,
    doubt: str | None = None,
    outside: bool = False,
    curve: AngleCurve | None = None,
    floor_pm95: float | None = None,
    question: str | None = None,
) -> Verdict:
    """The level and its reason.

    margin: by the centre of pressure, None if the balance point was not given; cutout_margin: by the
    cut-out's centroid. doubt: why the outline or the geometry can't be relied on, if it can't; whatever the margin,
    the level is then no better than 'look again'. outside: the shape lies outside the component method, so the lower
    of both margins decides. curve: at the crosswind's angle the margin must at least not be negative, or 'fly' becomes
    'marginal'. floor_pm95: of the margin's band, in calibers, what no measuring of the rocket takes away; None: not
    known. question: what to ask about the balance point.
    """
    decides = deciding(margin, cutout_margin, outside)
    if decides is None:
        level, sentences = "look again", [
            "No balance point was given, so there is no margin and no verdict. "
            "Balance the rocket ready to fly, heaviest motor in, and give --balance."
        ]  # fmt: skip
    else:
        level, reason = _by_margin(decides, floor_pm95 if decides.by == BY_PARTS else None)
        sentences = [reason]
        if outside:
            by = "by the cut-out, where air straight from the side acts" if decides.by == BY_CUTOUT else "by its parts"
            sentences.insert(
                0,
                f"Working it out part by part does not hold for this shape, so the lower margin decides, the one {by}.",
            )
    if level == "fly" and _upset(curve):
        level = "marginal"
    if doubt and level != "do not fly":
        level = "look again"
        if decides is not None:
            said = with_band(decides.margin, "calibers")
            sentences = [] if said in doubt else [f"The margin would be {said}, but it can't be relied on yet."]
    if doubt:
        sentences.insert(0 if level == "look again" else len(sentences), f"First clear this up: {doubt.rstrip('.')}.")
    if question:
        sentences.append(question)
    if level == "marginal" and _upset(curve):  # a rocket that must not fly gets no advice on the wind to fly it in
        sentences.append(
            f"A crosswind of {exact(curve.wind_mps)} m/s off the rod at {exact(curve.rod_speed_mps)} m/s meets it at "
            f"{counted(curve.wind_deg, 'degree')}, where the centre of pressure is ahead of the balance point: "
            "fly only in calm air, off a longer rod, or with more margin."
        )
    heavy = mass_caution(mass_g)
    if heavy:
        sentences.append(heavy)
    return Verdict(level, " ".join(sentences), _headline(level, decides))


def _headline(level: str, decides: Deciding | None) -> str:
    if level == "fly" and decides is not None and decides.margin.value > OVERSTABLE_CALIBERS:
        return "fly, in calm air only: over-stable"
    return level


def _upset(curve: AngleCurve | None) -> TypeGuard[AngleCurve]:
    return curve is not None and curve.wind_margin_calibers is not None and curve.wind_margin_calibers < 0


def _by_margin(decides: Deciding, floor_pm95: float | None) -> tuple[str, str]:
    margin = decides.margin
    lower, upper = margin.low, margin.high
    said = f"The margin is {with_band(margin, 'calibers')}"
    wanted = f"at least {exact(WANTED_CALIBERS)} is wanted"
    if lower >= WANTED_CALIBERS:
        return "fly", f"{said}; {wanted}. {_how_much(margin.value)}"
    if lower < HOPELESS_CALIBERS and upper > WANTED_CALIBERS:
        return "look again", (
            f"{said}, from {_down(lower)} to {fixed(upper, 2)}: too wide a band to tell enough from too little. "
            f"{_what_settles(margin, floor_pm95)}"
        )
    low = f"{said}, and may be as low as {_down(lower)}; {wanted}."
    if lower >= HOPELESS_CALIBERS:
        floor, moves = _measurable(margin, floor_pm95)
        closer = margin.value + moves - floor >= WANTED_CALIBERS
        return "marginal", f"{low} Add nose weight or larger fins{', or measure more closely' if closer else ''}."
    if upper <= 0:
        where = "centre of pressure" if decides.by == BY_PARTS else "middle of the cut-out"
        return "do not fly", (
            f"{said}: the {where} is ahead of the balance "
            "point and the rocket will tumble. "
            "Add nose weight or larger fins."
        )
    return "do not fly", f"{low} Add nose weight or larger fins."


def _what_settles(margin: Quantity, floor_pm95: float | None) -> str:
    """What to do about a band too wide: measuring, unless what no measuring takes away is too wide by itself."""
    floor, moves = _measurable(margin, floor_pm95)
    if margin.value + moves - floor >= HOPELESS_CALIBERS or margin.value - moves + floor <= WANTED_CALIBERS:
        return "Narrow it with a caliper measurement or a better photo."
    return "Nobody can work out this shape any closer, and no measuring helps: add nose weight or larger fins."


def _measurable(margin: Quantity, floor_pm95: float | None) -> tuple[float, float]:
    """(what of the band would stay, how far the middle may yet move) if the rocket were measured without error."""
    floor = 0.0 if floor_pm95 is None else min(floor_pm95, margin.pm95)
    return floor, float(np.sqrt(margin.pm95**2 - floor**2))


def _down(calibers: float) -> str:
    """Rounded down, so that what falls short of a limit never reads as the limit itself."""
    return fixed(np.floor(calibers * 100 + 1e-6) / 100, 2)


def _how_much(calibers: float) -> str:
    if calibers <= USUAL_CALIBERS:
        return f"{exact(WANTED_CALIBERS)} to {exact(USUAL_CALIBERS)} is usual."
    if calibers <= OVERSTABLE_CALIBERS:
        return f"{exact(WANTED_CALIBERS)} to {exact(USUAL_CALIBERS)} is usual; this is a little more."
    return (
        f"{exact(WANTED_CALIBERS)} to {exact(USUAL_CALIBERS)} is usual: above about {exact(OVERSTABLE_CALIBERS)} "
        "a rocket turns into the wind, so fly it in calm air only."
    )
