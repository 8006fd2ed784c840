"""Where the rocket balances in each state it flies in, from where it was balanced and what has changed since.

Plain statics: the balance point of a whole is the mean of its parts' places weighted by their masses, so with
M0 at x0 as balanced, and masses m_i at x_i put in (m_i > 0) or taken out (m_i < 0),

    M = M0 + sum m_i,    x = (M0 x0 + sum m_i x_i) / M,

and with independent errors the variance of x is the sum of those of

    x0: M0 / M,    M0: (x0 - x) / M,    x_i: m_i / M,    m_i: (x_i - x) / M    times each one's own.

A motor's case ends `overhang_mm` aft of the body; its own balance point is taken at the middle of its case. Places
are taken as independent of each other even where one motor is taken out and its burnt-out case put in, which can
only widen the band.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from digitize.errors import UsageRefusal
from digitize.margin.stability import OVERSTABLE_CALIBERS, WANTED_CALIBERS, Verdict
from digitize.option_records import FROM_NOSE, FROM_TAIL, Mass, Motor
from digitize.records import BalanceState, Quantity, Warn
from digitize.units.rounding import exact, fixed, with_band

# How well builders weigh and measure, as 95 % bands: common practice, no source.
MASS_PM95_G = 1.0  # a kitchen scale
MASS_PM95_SHARE = 0.02
"""Of the mass, where that is more."""
PLACE_PM95_MM = 2.0
"""Of a place measured along the body with a ruler."""
CASE_PM95_SHARE = 0.1  # of a motor's length: its own balance point against the middle of its case

FAR_CALIBERS = 4.0
"""A margin beyond it is far more than rockets are built with, twice the usual (common practice, no source): likelier is
a balance point measured from the tail, so it is asked for again before it is believed."""
FORWARD_SHARE = 0.25
"""Of the body's length: with motor and fins behind, a rocket does not balance so near to its nose."""


@dataclass(frozen=True)
class Loading:
    """How the rocket was balanced and what it flies with.

    balance: the balance point as found, from the nose tip, None if it was not; from_tail: as found from the body's aft
    end, in its place until the length is known; end_said: the end was said, or seen in the photo. mass_g: the rocket's
    as it was balanced; motors: those it may fly with; balanced_with: the name of the one that was in, None for none;
    added: what moved since.
    """

    balance: Quantity | None = None
    mass_g: float | None = None
    motors: tuple[Motor, ...] = ()
    balanced_with: str | None = None
    added: tuple[Mass, ...] = ()
    from_tail: Quantity | None = None
    end_said: bool = False

    def known(self) -> bool:
        """Whether there is a balance point."""
        return self.balance is not None or self.from_tail is not None


@dataclass(frozen=True)
class _Item:
    """Mass put in (positive) or taken out, g, and its place, mm."""

    mass: Quantity
    place: Quantity


def mass_quantity(mass_g: float) -> Quantity:
    """A weighed mass with its band: 1 g or 2 %, whichever is more. The sign is kept."""
    return Quantity(mass_g, max(MASS_PM95_G, MASS_PM95_SHARE * abs(mass_g)))


def heaviest(motors: tuple[Motor, ...]) -> str | None:
    """The name of the heaviest motor when loaded, None if there is none."""
    return max(motors, key=lambda motor: motor.loaded_g).name if motors else None


def placed(loading: Loading, length_mm: Quantity) -> Loading:
    """With the balance point from the nose tip; one from the tail has the length's band in it, as independent.

    Raises UsageRefusal if it is off the body.
    """
    if loading.from_tail is None:
        return loading
    said = loading.from_tail
    if said.value >= length_mm.value:
        raise UsageRefusal(
            f"--balance: {exact(said.value)} mm from the tail is beyond the nose tip, which is "
            f"{fixed(length_mm.value, 0)} mm away",
            "measure from the body's aft end, motor and fin tips not counted",
        )
    pm95 = float(np.hypot(said.pm95, length_mm.pm95))
    return replace(loading, balance=Quantity(length_mm.value - said.value, pm95), from_tail=None)


def asked_again(
    loading: Loading, found: tuple[BalanceState, ...], length_mm: float, diameter_mm: float
) -> tuple[tuple[Warn, ...], str | None]:
    """(a warning, or none, that makes the verdict 'look again'; a question to ask in it): was it from the nose tip?

    loading: placed. Nothing is asked where the end was said. A margin above OVERSTABLE_CALIBERS is asked about; one
    above FAR_CALIBERS, or a balance point in the nose's quarter, is not believed until the end is said; nor is one
    above OVERSTABLE_CALIBERS that would be too little if it was measured from the tail.
    """
    state = worst(found)
    if state is None or loading.balance is None or loading.end_said:
        return (), None
    at, margin = loading.balance.value, state.margin_calibers
    # what the other end would move in this state: only the share of the whole that was balanced
    from_tail = margin.value - state.share * (length_mm - 2 * at) / diameter_mm
    other = f" From the tail the margin would be {fixed(from_tail, 2)}." if from_tail < margin.value else ""
    forward, far = at < FORWARD_SHARE * length_mm, margin.value > FAR_CALIBERS
    hangs = margin.value > OVERSTABLE_CALIBERS and from_tail - margin.pm95 < WANTED_CALIBERS
    if not (forward or far or hangs):
        asked = f"Was the balance point measured from the nose tip?{other}"
        return (), asked if margin.value > OVERSTABLE_CALIBERS else None
    why = "lies in the front quarter of the rocket"
    if far or hangs:
        why = f"makes a margin of {with_band(margin, 'calibers')}, {'far ' if far else ''}more than usual"
    typed = f"--balance {exact(at)}mm"
    remedy = f"Balance it once more, then say the end too: {typed},{FROM_NOSE} or {typed},{FROM_TAIL}"
    text = f"The balance point, {exact(at)} mm, {why}; was it measured from the nose tip?{other}"
    return (Warn("BALANCE_END", text, remedy),), None


def states(
    loading: Loading, length_mm: float, margin_of: Callable[[Quantity, float], Quantity]
) -> tuple[BalanceState, ...]:
    """Every state of flight with its balance point and margin; none if the balance point is not known.

    length_mm: the body's; margin_of: a state's margin from its balance point and its share (see BalanceState). Raises
    UsageRefusal where the masses and places can't be those of one rocket.
    """
    loading = placed(loading, Quantity(length_mm, 0.0))
    if loading.balance is None:
        return ()
    if loading.balance.value >= length_mm:
        raise UsageRefusal(
            f"--balance: {loading.balance.value:g} mm is beyond the body's end at {length_mm:.0f} mm",
            "measure the balance point from the nose tip",
        )
    added = [_added(mass, length_mm) for mass in loading.added]
    before = next((m for m in loading.motors if m.name == loading.balanced_with), None)
    out = [] if before is None else [_motor_item(before, -before.loaded_g, length_mm)]
    if out:
        _loaded("without the motor", loading.balance, loading.mass_g, out, length_mm)  # must be a rocket too
    changes: list[tuple[str, str | None, list[_Item]]] = []
    for motor in loading.motors:
        same = motor is before
        loaded = [] if same else [*out, _motor_item(motor, motor.loaded_g, length_mm)]
        empty = [*out, _motor_item(motor, motor.empty_g, length_mm)]
        changes.append(("lift-off", motor.name, [*added, *loaded]))
        changes.append(("burn-out", motor.name, [*added, *empty]))
    if not changes:
        changes.append(("ready to fly", None, added))
    found = []
    for state, name, items in changes:
        where = state if name is None else f"{state} with {name}"
        mass, place, share = _loaded(where, loading.balance, loading.mass_g, items, length_mm)
        found.append(BalanceState(state, name, mass, place, margin_of(place, share), share))
    return tuple(found)


def worst(found: tuple[BalanceState, ...]) -> BalanceState | None:
    """The state whose margin's low end is least; None if there is none."""
    return min(found, key=lambda state: state.margin_calibers.low) if found else None


def lift_off_mass_g(found: tuple[BalanceState, ...], said_g: float | None) -> float | None:
    """The heaviest state's mass, or the mass as said where no balance point was."""
    masses = [state.mass_g.value for state in found if state.mass_g is not None]
    return max(masses) if masses else said_g


def with_states(verdict: Verdict, found: tuple[BalanceState, ...]) -> Verdict:
    """The verdict, which is the worst state's, with that said."""
    decides = worst(found)
    if decides is None or len(found) < 2:
        return verdict
    return replace(verdict, text=f"The worst of {len(found)} states decides: {words(decides)}. {verdict.text}")


def words(state: BalanceState) -> str:
    """'lift-off with large', or 'ready to fly'."""
    return state.state if state.motor is None else f"{state.state} with {state.motor}"


def assumptions(found: tuple[BalanceState, ...]) -> tuple[str, ...]:
    """What was taken for granted to get from the state as balanced to the others."""
    if not any(state.share != 1 or state.motor for state in found):
        return ()
    return (
        f"Masses are taken as good to {MASS_PM95_G:g} g or {100 * MASS_PM95_SHARE:g} %, places to {PLACE_PM95_MM:g} mm "
        "(common practice); a motor's own balance point is taken at the middle of its case, to a tenth of its length.",
    )


def moved(mass: Quantity, place: Quantity, items: list[tuple[Quantity, Quantity]]) -> tuple[Quantity, Quantity]:
    """(mass, balance point) after (mass, place) pairs are put in; bands as in the module's text.

    Two 100 g masses at 0 and 30 mm balance half way:

    >>> moved(Quantity(100.0, 0.0), Quantity(0.0, 0.0), [(Quantity(100.0, 0.0), Quantity(30.0, 0.0))])[1]
    Quantity(value=15.0, pm95=0.0)
    """
    parts = [(mass, place), *items]
    total = sum(m.value for m, _ in parts)
    x = sum(m.value * p.value for m, p in parts) / total
    spread = [(m.value * p.pm95, (p.value - x) * m.pm95) for m, p in parts]
    return (
        Quantity(float(total), float(np.linalg.norm([m.pm95 for m, _ in parts]))),
        Quantity(float(x), float(np.linalg.norm(spread) / total)),
    )


def _loaded(
    where: str, balance: Quantity, mass_g: float | None, items: list[_Item], length_mm: float
) -> tuple[Quantity | None, Quantity, float]:
    """(mass, None if none was said; balance point; share as in BalanceState) with the items in. where: in words."""
    if mass_g is None and items:
        raise UsageRefusal(f"--mass: {where} the balance point can't be told without one", "Weigh the rocket")
    if mass_g is None or not items:
        return None if mass_g is None else mass_quantity(mass_g), balance, 1.0
    left = mass_g + sum(item.mass.value for item in items)
    if left <= 0:
        raise UsageRefusal(
            f"--mass: {where} nothing is left of {mass_g:g} g",
            "Give the mass as it was balanced, and check the motors' masses",
        )
    mass, place = moved(mass_quantity(mass_g), balance, [(item.mass, item.place) for item in items])
    if not 0 < place.value < length_mm:
        raise UsageRefusal(
            f"--balance: {where} the rocket would balance at {place.value:.0f} mm, off a body of {length_mm:.0f} mm",
            "Check the balance point, the mass, and which motor was in (--balanced-with)",
        )
    return mass, place, mass_g / left


def _added(mass: Mass, length_mm: float) -> _Item:
    if mass.x_mm > length_mm:
        raise UsageRefusal(
            f"--add: {mass.name} lies at {mass.x_mm:g} mm, beyond the body's end at {length_mm:.0f} mm",
            "Give its place from the nose tip",
        )
    return _Item(mass_quantity(mass.mass_g), Quantity(mass.x_mm, PLACE_PM95_MM))


def _motor_item(motor: Motor, mass_g: float, length_mm: float) -> _Item:
    middle = length_mm + motor.overhang_mm - motor.length_mm / 2
    if middle - motor.length_mm / 2 < 0:
        raise UsageRefusal(
            f"--motor: {motor.name} is {motor.length_mm:g} mm long, more than the body of {length_mm:.0f} mm",
            "Check its length and unit",
        )
    pm95 = float(np.hypot(PLACE_PM95_MM, CASE_PM95_SHARE * motor.length_mm))
    return _Item(mass_quantity(mass_g), Quantity(middle, pm95))
