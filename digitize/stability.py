"""Static margin in calibers, and the verdict in plain words.

A caliber is the largest body diameter; the margin is how far the centre of pressure lies aft of the balance
point. At least one caliber is wanted and one to two are usual (common practice); far above that a rocket
turns into the wind. The verdict looks at the lower end of the 95 % band, never at the middle alone.
"""

from dataclasses import dataclass

import numpy as np

from digitize.cautions import mass_caution
from digitize.records import AngleCurve, Quantity

WANTED_CALIBERS = 1.0
USUAL_CALIBERS = 2.0
OVERSTABLE_CALIBERS = 2.5
HOPELESS_CALIBERS = (
    0.5  # under this, nothing in the method's own accuracy leaves room to call it nearly enough
)
BALANCE_PM95_MM = 2.0  # a rocket balanced on an edge by hand

LEVELS = ("fly", "marginal", "do not fly", "look again")


@dataclass(frozen=True)
class Verdict:
    """level: one of LEVELS; text: one or a few plain sentences."""

    level: str
    text: str


def balance_quantity(balance_mm: float) -> Quantity:
    """The balance point as said by hand, with its band."""
    return Quantity(balance_mm, BALANCE_PM95_MM)


def margin_calibers(x_mm: Quantity, balance_mm: Quantity, diameter_mm: Quantity) -> Quantity:
    """(x - balance) / diameter, x of the centre of pressure or of the cut-out; bands as independent."""
    margin = (x_mm.value - balance_mm.value) / diameter_mm.value
    pm95 = np.hypot(np.hypot(x_mm.pm95, balance_mm.pm95), margin * diameter_mm.pm95) / diameter_mm.value
    return Quantity(float(margin), float(pm95))


def verdict(
    margin: Quantity | None,
    cutout_margin: Quantity | None = None,
    *,
    mass_g: float | None = None,
    doubt: str | None = None,
    outside: bool = False,
    curve: AngleCurve | None = None,
) -> Verdict:
    """The level and its reason.

    margin: by the centre of pressure, None if the balance point was not given; cutout_margin: by the
    cut-out's centroid, the cautious bound. doubt: why the outline or the geometry can't be relied on, if it
    can't; whatever the margin, the level is then no better than 'look again'. outside: the shape lies outside the
    component method, so the cut-out's margin decides. curve: at the crosswind's angle the margin must at least not be
    negative, or 'fly' becomes 'marginal'.
    """
    if margin is None:
        level, reason = (
            "look again",
            (
                "No balance point was given, so there is no margin and no verdict. "
                "Balance the rocket ready to fly, heaviest motor in, and give --balance."
            ),
        )
    else:
        headline = cutout_margin if outside and cutout_margin is not None else margin
        level, reason = _by_margin(headline)
        if headline is cutout_margin:
            reason = f"This shape lies outside the component method, so the cut-out decides. {reason}"
        if level == "fly" and _upset(curve):
            level = "marginal"
        if doubt and level != "do not fly":
            level = "look again"
    sentences = [reason]
    if doubt:
        sentences.append(f"The outline or the geometry is doubtful: {doubt.rstrip('.')}.")
    if cutout_margin is not None:
        cautious = margin is None or cutout_margin.value <= margin.value
        sentences.append(_cutout_sentence(cutout_margin, cautious))
    if margin is not None and _upset(curve):
        sentences.append(
            f"A crosswind of {curve.wind_mps:g} m/s off the rod at {curve.rod_speed_mps:g} m/s meets it at "
            f"{curve.wind_deg:.0f} degrees, where the centre of pressure is ahead of the balance point: "
            "fly only in calm air, off a longer rod, or with more margin."
        )
    heavy = mass_caution(mass_g)
    if heavy:
        sentences.append(heavy)
    return Verdict(level, " ".join(sentences))


def _upset(curve: AngleCurve | None) -> bool:
    return curve is not None and curve.wind_margin_calibers is not None and curve.wind_margin_calibers < 0


def _by_margin(margin: Quantity) -> tuple[str, str]:
    lower, upper = margin.value - margin.pm95, margin.value + margin.pm95
    said = f"The margin is {_calibers(margin)}"
    if lower >= WANTED_CALIBERS:
        return "fly", f"{said}; at least {WANTED_CALIBERS:g} is wanted. {_how_much(margin.value)}"
    if lower < HOPELESS_CALIBERS and upper > WANTED_CALIBERS:
        return "look again", (
            f"{said}, from {lower:.2f} to {upper:.2f}: too wide a band to tell enough from too little. "
            "Narrow it with a caliper measurement or a better photo."
        )
    if lower >= HOPELESS_CALIBERS:
        return "marginal", (
            f"{said}, and may be as low as {lower:.2f}; at least {WANTED_CALIBERS:g} is wanted. "
            "Add nose weight or larger fins, or measure more closely."
        )
    if upper <= 0:
        return "do not fly", (
            f"{said}: the centre of pressure is ahead of the balance point and the rocket will tumble. "
            "Add nose weight or larger fins."
        )
    return "do not fly", (
        f"{said}, and may be as low as {lower:.2f}; at least {WANTED_CALIBERS:g} is wanted. "
        "Add nose weight or larger fins."
    )


def _how_much(calibers: float) -> str:
    if calibers <= USUAL_CALIBERS:
        return f"{WANTED_CALIBERS:g} to {USUAL_CALIBERS:g} is usual."
    if calibers <= OVERSTABLE_CALIBERS:
        return f"{WANTED_CALIBERS:g} to {USUAL_CALIBERS:g} is usual; this is a little more."
    return (
        f"{WANTED_CALIBERS:g} to {USUAL_CALIBERS:g} is usual: above about {OVERSTABLE_CALIBERS:g} "
        "a rocket turns into the wind, so fly it in calm air."
    )


def _cutout_sentence(margin: Quantity, cautious: bool) -> str:
    where = "aft of" if margin.value >= 0 else "ahead of"
    size = Quantity(abs(margin.value), margin.pm95)
    said = (
        f"By the cut-out{', the cautious bound,' if cautious else ''} it would be {_calibers(size)} {where}"
    )
    if cautious:
        return f"{said} the balance point."
    return f"{said} the balance point, less cautious than the components, which is unusual: check the fins."


def _calibers(margin: Quantity) -> str:
    # rounded up, as everywhere a band is shown
    band = f" \u00b1 {np.ceil(margin.pm95 * 100 - 1e-6) / 100:.2f}" if margin.pm95 > 0 else ""
    return f"{margin.value:.2f}{band} calibers"
