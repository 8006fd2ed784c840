"""From a results folder and what was asked to the whole plan of nose weight, as ballast.json holds it."""

import math
from dataclasses import dataclass

from digitize.errors import GeometryRefusal, UsageRefusal
from digitize.margin import stability
from digitize.margin.balance import Loading, asked_again, mass_quantity, placed
from digitize.margin.balance import words as state_words
from digitize.margin.cautions import mass_caution
from digitize.margin.warning_codes import is_outside
from digitize.option_records import BalancePoint
from digitize.plans.nose_cavity import filling, nose_cavity
from digitize.plans.nose_weight import (
    FIN_DENSITY_G_CM3,
    MATERIAL_WORDS,
    MATERIALS,
    MOST_TIMES,
    WALL_MM,
    LargerFins,
    State,
    at_place,
    into_cavity,
    larger_fins,
    lower,
    needed,
    state_of,
    weight_band,
)
from digitize.records import BalanceState, Quantity
from digitize.request.balance_options import balance_of
from digitize.request.parsers import parse_balance
from digitize.result.from_json import MADE_BY, Saved
from digitize.units.quantities import GRAVITY_MPS2, density_g_cm3, length_mm, mass_g
from digitize.units.rounding import exact

THRUST_TO_WEIGHT = 5.0  # common practice, no source
MOST_DENSITY_G_CM3 = 23.0  # no metal is denser
MOST_CALIBERS = 20.0
"""Of a margin to want: more than ten times the usual is a slip. No source."""


@dataclass(frozen=True)
class BallastOptions:
    """What the command line says; None: not said. margin: calibers at the low end of the band."""

    margin: float = stability.WANTED_CALIBERS
    at_mm: float | None = None
    fill: str | None = None
    density_g_cm3: float | None = None
    wall_mm: float | None = None
    depth_mm: float | None = None
    mass_g: float | None = None
    balance: BalancePoint | None = None
    fin_density_g_cm3: float | None = None


def ballast_options(
    margin: float = stability.WANTED_CALIBERS,
    at: str | None = None,
    fill: str | None = None,
    density: str | None = None,
    wall: str | None = None,
    depth: str | None = None,
    mass: str | None = None,
    balance: str | None = None,
    fin_density: str | None = None,
) -> BallastOptions:
    """The options as typed, parsed. Raises UsageRefusal."""
    if not math.isfinite(margin) or not 0 <= margin <= MOST_CALIBERS:
        raise UsageRefusal(f"--margin: {margin:g} is no margin to want", "give calibers, 0 to 20, as 1.5")
    return BallastOptions(
        margin=margin,
        at_mm=None if at is None else length_mm(at, "--at"),
        fill=fill,
        density_g_cm3=None if density is None else density_g_cm3(density, "--density"),
        wall_mm=None if wall is None else length_mm(wall, "--wall"),
        depth_mm=None if depth is None else length_mm(depth, "--depth"),
        mass_g=None if mass is None else mass_g(mass, "--mass"),
        balance=None if balance is None else parse_balance(balance),
        fin_density_g_cm3=None if fin_density is None else density_g_cm3(fin_density, "--fin-density"),
    )


def plan_ballast(saved: Saved, options: BallastOptions, with_fins: bool = True) -> dict:
    """The plan as plain dictionaries, lists, strings and numbers. with_fins: work out larger fins too, which takes most
    of the time. Raises UsageRefusal, GeometryRefusal."""
    material, density = _material(options)
    if not saved.geometry.fins:
        raise GeometryRefusal(
            f"{saved.result.name} has no fins, and no weight in the nose makes up for that",
            "Add fins, and solve or measure again",
        )
    diameter = saved.result.max_diameter_mm.value
    before, holds = states_of(saved, options), None
    if options.at_mm is not None:
        length = float(saved.geometry.profile_mm[-1, 0])
        if options.at_mm >= length:
            raise UsageRefusal(
                f"--at: {options.at_mm:g} mm is beyond the body's end at {length:.0f} mm", "give a place in it"
            )
        weight_of = at_place(options.at_mm)
    else:
        cavity = _cavity(saved, options)
        weight_of, holds = into_cavity(cavity, density), filling(cavity, cavity.depth_mm, density)[0]
    found = needed(before, weight_of, options.margin, diameter, holds)
    outside = _is_outside(saved)
    fins = None
    if with_fins and found.kind != "none needed" and not outside:
        fin_density = options.fin_density_g_cm3 or FIN_DENSITY_G_CM3
        fins = larger_fins(saved.geometry, before, options.margin, diameter, fin_density)
    lift_off = max(state.mass_g.value for state in found.states)
    return {
        "made_by": MADE_BY,
        "name": saved.result.name,
        "units": saved.result.units,
        "wanted_calibers": options.margin,
        "outcome": found.kind,
        "weight": {"mass_g": found.weight.mass_g, "x_mm": found.weight.x_mm, "depth_mm": found.weight.depth_mm},
        "fill": None if material is None or holds is None else _fill(material, density, options, holds),
        "need": weight_band(found.curve, options.margin),
        "before": [_state(state) for state in before],
        "after": [_state(state) for state in found.states],
        "before_mass_g": round(max(state.mass_g.value for state in before), 2),
        "lift_off_mass_g": round(lift_off, 2),
        "thrust_n": THRUST_TO_WEIGHT * GRAVITY_MPS2 * lift_off / 1000,
        "mass_caution": mass_caution(round(lift_off, 1)),
        "reference_words": _reference_words(outside),
        "doubt": _doubt(saved),
        "question": end_question(saved, options, before),
        "fins": None
        if fins is None
        else {"most_times": MOST_TIMES, **{k: _fins(f) for k, f in zip(("span", "whole"), fins, strict=True)}},
        "fins_words": _fins_words(saved, options, outside),
        "curve": {
            "grams": found.curve[:, 0].round(3).tolist(),
            "margin_calibers": found.curve[:, 1].round(4).tolist(),
            "low_calibers": found.curve[:, 2].round(4).tolist(),
            "x_mm": found.curve[:, 3].round(3).tolist(),
        },
    }


def states_of(saved: Saved, options: BallastOptions) -> tuple[State, ...]:
    """The states of flight, from the result or as said now. Raises UsageRefusal where mass or balance is missing."""
    kept = saved.result.balance_states
    if options.balance is None and not kept:
        raise UsageRefusal(f"{saved.folder} holds no balance point", "give --balance, or measure again with --balance")
    said = options.mass_g is not None or options.balance is not None
    if said and len(kept) > 1:
        raise UsageRefusal(
            "--mass or --balance was given, but the result holds several motors' states",
            "leave them out, or measure or solve again with other ones",
        )
    if not said:
        if any(state.mass_g is None for state in kept):
            raise UsageRefusal(f"{saved.folder} holds no mass", "give --mass, or measure again with --mass")
        return tuple(
            _as_state(saved, state_words(state), state.mass_g, state.balance_mm, state.margin_calibers)
            for state in kept
            if state.mass_g is not None
        )
    if options.mass_g is not None:
        mass = mass_quantity(options.mass_g)
    elif kept and kept[0].mass_g is not None:
        mass = kept[0].mass_g
    else:
        raise UsageRefusal(f"{saved.folder} holds no mass", "give --mass too")
    balance, margin = given_loading(saved, options).balance, None
    if balance is None:
        balance, margin = kept[0].balance_mm, kept[0].margin_calibers
    if balance.value >= saved.result.length_mm.value:
        raise UsageRefusal(
            f"--balance: {exact(balance.value)} mm is beyond the body's end", "measure it from the nose tip"
        )
    return (_as_state(saved, "as said", mass, balance, margin),)


def given_loading(saved: Saved, options: BallastOptions) -> Loading:
    """The balance point as said now, from the nose tip. Raises UsageRefusal if it is off the body."""
    return placed(Loading(**balance_of(options.balance)), saved.result.length_mm)


def end_question(saved: Saved, options: BallastOptions, states: tuple[State, ...]) -> str:
    """What to ask about a balance point said now, as the verdict would; empty if nothing.

    Raises UsageRefusal where the verdict would be 'look again' until the end is said.
    """
    if options.balance is None:
        return ""
    state = states[0]
    found = (BalanceState("as said", None, state.mass_g, state.balance_mm, state.margin_calibers),)
    result = saved.result
    warnings, question = asked_again(
        given_loading(saved, options), found, result.length_mm.value, result.max_diameter_mm.value
    )
    for warning in warnings:
        raise UsageRefusal(f"--balance: {warning.text.rstrip('.')}", warning.remedy)
    return question or ""


def _as_state(saved: Saved, words: str, mass: Quantity, balance: Quantity, margin: Quantity | None) -> State:
    """With the margin by the centre of pressure, or for a shape outside the method by whichever may be lower."""
    result = saved.result
    diameter = result.max_diameter_mm
    if margin is None:
        margin = stability.margin_calibers(result.cp_x_mm, balance, diameter)
    by_parts = state_of(words, mass, balance, margin, diameter.value)
    if not _is_outside(saved):
        return by_parts
    by_cutout = stability.margin_calibers(result.cutout_centroid_mm, balance, diameter)
    return lower(by_parts, state_of(words, mass, balance, by_cutout, diameter.value))


def _material(options: BallastOptions) -> tuple[str | None, float]:
    if options.at_mm is not None:
        extra = [
            n
            for n, v in (
                ("--fill", options.fill),
                ("--density", options.density_g_cm3),
                ("--wall", options.wall_mm),
                ("--depth", options.depth_mm),
            )
            if v is not None
        ]
        if extra:
            raise UsageRefusal(
                f"--at and {extra[0]} were both given", "say where a weight goes, or what the nose is filled with"
            )
        return None, 0.0
    name = (options.fill or "clay").strip().lower()
    if name not in MATERIALS:
        raise UsageRefusal(
            f"--fill: {options.fill!r} is not one of them", f"use {', '.join(MATERIALS)}, and --density for another"
        )
    density = options.density_g_cm3 or MATERIALS[name]
    if density > MOST_DENSITY_G_CM3:
        raise UsageRefusal(f"--density: {density:g} g/cm3 is denser than any metal", "check the number and its unit")
    return name, density


def _cavity(saved: Saved, options: BallastOptions):
    length = float(saved.geometry.profile_mm[-1, 0])
    if options.depth_mm is not None and options.depth_mm > length:
        raise UsageRefusal(
            f"--depth: {options.depth_mm:g} mm is beyond the body's end at {length:.0f} mm",
            "give how far the filling may reach",
        )
    return nose_cavity(saved.geometry.profile_mm, options.wall_mm or WALL_MM, options.depth_mm)


def _fill(material: str, density: float, options: BallastOptions, holds_g: float) -> dict:
    wall = options.wall_mm or WALL_MM
    known = "as you gave it" if options.density_g_cm3 else "typical, from memory: weigh some of yours"
    words = MATERIAL_WORDS[material]
    return {
        "words": words,
        "density_g_cm3": density,
        "wall_mm": wall,
        "holds_g": holds_g,
        "source": f"The density of {words} is taken as {density:g} g/cm3 ({known}), the nose's wall as {wall:g} mm all "
        f"over; full, the nose would hold {holds_g:.0f} g. What counts in the end is the scale, not the depth.",
    }


def _is_outside(saved: Saved) -> bool:
    return is_outside(saved.result.warnings)


def _reference_words(outside: bool) -> str:
    if outside:
        return "By the lower of two margins, by parts and by cut-out, as the usual method does not hold for this shape."
    return "By the centre of pressure."


def _doubt(saved: Saved) -> str:
    if saved.result.verdict_level != "look again" or saved.result.margin_calibers is None:
        return ""
    return "The result says look again: clear that up before you trust a weight worked out from it."


def _fins_words(saved: Saved, options: BallastOptions, outside: bool) -> str:
    if not saved.geometry.fins:
        return ""
    if outside:
        return "Larger fins are not worked out: the usual method does not hold for this shape."
    density = options.fin_density_g_cm3 or FIN_DENSITY_G_CM3
    thickness = saved.geometry.fins[-1].thickness_mm
    return (
        f"The aft fins' added mass is counted, at {thickness:g} mm and {density:g} g/cm3"
        + ("" if options.fin_density_g_cm3 else " (light plywood, from memory)")
        + ". Wider fins must be stiffer too, or they flutter."
    )


def _state(state: State) -> dict:
    return {
        "state": state.words,
        "mass_g": _plain(state.mass_g),
        "balance_mm": _plain(state.balance_mm),
        "margin_calibers": _plain(state.margin_calibers),
    }


def _fins(fins: LargerFins | None) -> dict | None:
    if fins is None:
        return None
    return {
        "times": fins.times,
        "root_chord_mm": fins.root_chord_mm,
        "span_mm": fins.span_mm,
        "area_mm2": fins.area_mm2,
        "added_g": fins.added_g,
        "margin_calibers": _plain(fins.margin_calibers),
    }


def _plain(quantity: Quantity) -> dict:
    return {"value": float(quantity.value), "pm95": float(quantity.pm95)}
