"""What follows from the measured numbers, for a photo, several photos or a geometry alike: the margins of every state
of flight, which of them decides, and the verdict.

Numbers first (`margins_of`), for as often as a point is dragged; then the words about them (`concluded`).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from digitize.aero.angle_curve import in_calibers
from digitize.aero.method_view import compared
from digitize.margin import balance, stability
from digitize.margin.balance import Loading
from digitize.margin.warning_codes import doubt_of, is_outside
from digitize.records import BalanceState, Quantity, Warn
from digitize.result_records import AngleCurve, MethodView

LevelOf = Callable[[Quantity, Quantity, bool | None], str]
"""The verdict's level by these two margins, and whether the shape is outside the method (None: as it is)."""


@dataclass(frozen=True)
class Sizes:
    """The numbers that a margin stands on. x_mm: centre of pressure, the method's band in it; centroid_mm: of the
    cut-out; view: the methods beside each other; curve: against the angle of attack, if it was worked out."""

    length_mm: Quantity
    diameter_mm: Quantity
    x_mm: Quantity
    centroid_mm: Quantity
    view: MethodView
    curve: AngleCurve | None


@dataclass(frozen=True)
class Margins:
    """The margins in numbers; None where there is no balance point. states: of flight; worst: the one that decides,
    by its margin and cutout_margin; mass_g: at lift-off; warnings, question: about the balance point."""

    sizes: Sizes
    loading: Loading
    states: tuple[BalanceState, ...]
    worst: BalanceState | None
    margin: Quantity | None
    cutout_margin: Quantity | None
    mass_g: float | None
    curve: AngleCurve | None
    warnings: tuple[Warn, ...] = ()
    question: str | None = None

    @property
    def balance_mm(self) -> Quantity | None:
        """Of the state that decides."""
        return None if self.worst is None else self.worst.balance_mm

    def unmeasurable_calibers(self) -> float | None:
        """What of the margin's band stays however well the rocket is measured: the method's and the balance point's."""
        if self.balance_mm is None:
            return None
        by_hand = min(self.balance_mm.pm95, stability.BALANCE_PM95_MM)
        return float(np.hypot(self.sizes.view.method_pm95_mm, by_hand) / self.sizes.diameter_mm.value)


def margins_of(sizes: Sizes, loading: Loading, states: tuple[BalanceState, ...], given_mass_g: float | None) -> Margins:
    """The margins of a rocket in these states. loading: its balance point placed; given_mass_g: as said, for where no
    state has a mass."""
    warnings, question = balance.asked_again(loading, states, sizes.length_mm.value, sizes.diameter_mm.value)
    worst = balance.worst(states)
    place, aside = None, None
    if worst is not None:
        place = worst.balance_mm.value
        aside = stability.margin_calibers(sizes.centroid_mm, worst.balance_mm, sizes.diameter_mm)
    return Margins(
        sizes=sizes,
        loading=loading,
        states=states,
        worst=worst,
        margin=None if worst is None else worst.margin_calibers,
        cutout_margin=aside,
        mass_g=balance.lift_off_mass_g(states, given_mass_g),
        curve=None if sizes.curve is None else in_calibers(sizes.curve, place, sizes.diameter_mm.value),
        warnings=warnings,
        question=question,
    )


def concluded(
    margins: Margins,
    warnings: tuple[Warn, ...],
    *,
    measured: bool = True,
    doubt: str | None = None,
    doubted: Callable[[LevelOf], str | None] | None = None,
) -> dict[str, Any]:
    """The fields of Result that say what follows, verdict first, by their names.

    warnings: all of them. measured: whether measuring more closely could narrow the band; not so for an exact geometry.
    doubt: why nothing can be relied on, in place of the first grave warning's words; doubted: asked where nothing grave
    is known, for a doubt that depends on the level by other margins.
    """
    outside = is_outside(warnings)
    floor = margins.unmeasurable_calibers() if measured else None if margins.margin is None else margins.margin.pm95

    def judged(
        margin: Quantity | None, aside: Quantity | None, out: bool | None, doubt: str | None = None
    ) -> stability.Verdict:
        return stability.verdict(
            margin, aside, mass_g=margins.mass_g, doubt=doubt, outside=outside if out is None else out,
            curve=margins.curve, floor_pm95=floor, question=margins.question,
        )  # fmt: skip

    doubt = doubt or doubt_of(warnings)
    if doubt is None and doubted is not None and margins.worst is not None:
        doubt = doubted(lambda margin, aside, out: judged(margin, aside, out).level)
    verdict = balance.with_states(judged(margins.margin, margins.cutout_margin, None, doubt), margins.states)
    return {
        "verdict_level": verdict.level,
        "verdict_text": verdict.text,
        "verdict_headline": verdict.headline,
        "deciding": stability.deciding(margins.margin, margins.cutout_margin, outside),
        "balance_mm": margins.balance_mm,
        "margin_calibers": margins.margin,
        "cutout_margin_calibers": margins.cutout_margin,
        "warnings": warnings,
        "methods": compared(margins.sizes.view, margins.sizes.diameter_mm.value),
        "angle": margins.curve,
        "mass_g": margins.mass_g,
        "as_balanced_mm": margins.loading.balance,
        "balance_states": margins.states,
    }
