"""Nose weight for a wanted margin, and the other remedy, larger fins.

A weight w at p takes a rocket of mass M balanced at x to x' = (M x + w p) / (M + w) (see balance.moved). The margin
(c - x') / d grows with w as long as the weight lies ahead of the balance point, and is never more than (c - p) / d,
so some margins no weight reaches. Its band is made anew for each w: the centre of pressure's and the diameter's share
stays, the balance point's shrinks by M / (M + w), the weight's own mass and place come in.

Larger fins: the aft group with its outline stretched, in span alone or as a whole, and the centre of pressure solved
again; what the fins then weigh more moves the balance point aft and is counted.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from digitize.aero.components import centre_of_pressure, exposed_planform, mean_root_radius
from digitize.aero.fins import planform
from digitize.errors import GeometryRefusal
from digitize.geometry.toml import check_geometry, overlapping
from digitize.margin.balance import PLACE_PM95_MM, mass_quantity, moved
from digitize.plans.nose_cavity import MM3_PER_CM3, Cavity, filling
from digitize.records import Geometry, Quantity

# g/cm3, typical, from memory: weigh your own
MATERIALS = {"clay": 1.8, "epoxy": 1.15, "steel-shot": 4.5, "lead-shot": 6.5}
MATERIAL_WORDS = {
    "clay": "modelling clay",
    "epoxy": "epoxy alone",
    "steel-shot": "steel shot set in epoxy",
    "lead-shot": "lead shot set in epoxy",
}
WALL_MM = 1.5
"""A hollow plastic nose's wall, from memory: measure yours."""
FIN_DENSITY_G_CM3 = 0.6  # light plywood, from memory; balsa is a quarter of it
MOST_TIMES = 3.0  # the rocket's own mass, and a fin's size: beyond it nobody would build it
_STEPS = 61  # the margin grows steadily with the weight, so the grid only has to find the crossing


@dataclass(frozen=True)
class State:
    """One state of flight before any weight. aero_pm95: what of the margin's band does not come from the balance
    point, in calibers; other: the same state by the other margin, where the lower of two decides."""

    words: str
    mass_g: Quantity
    balance_mm: Quantity
    margin_calibers: Quantity
    aero_pm95: float
    other: "State | None" = None

    @property
    def low_calibers(self) -> float:
        """The low end of the margin's band."""
        return self.margin_calibers.value - self.margin_calibers.pm95


@dataclass(frozen=True)
class Weight:
    """A weight in the nose. depth_mm: how deep the filling is from the inner tip, None for a weight at a place."""

    mass_g: float
    x_mm: float
    depth_mm: float | None = None


@dataclass(frozen=True)
class Outcome:
    """kind: 'none needed', 'needed', 'does not fit' (the nose is full before), 'never' (no weight gets there).

    weight: that reaches the margin, or the most that was looked at. states: with it in. curve: (n, 4) grams, the
    worst state's margin, the low end of its band, and x of the weight.
    """

    kind: str
    weight: Weight
    states: tuple[State, ...]
    curve: np.ndarray


@dataclass(frozen=True)
class LargerFins:
    """The aft fins made larger. times: the factor; None of either when even MOST_TIMES does not get there."""

    how: str
    times: float
    root_chord_mm: float
    span_mm: float
    area_mm2: float
    added_g: float
    margin_calibers: Quantity


def state_of(words: str, mass_g: Quantity, balance_mm: Quantity, margin: Quantity, diameter_mm: float) -> State:
    """A state as result.json has it; what its margin's band has beyond the balance point's is the aerodynamics'."""
    own = balance_mm.pm95 / diameter_mm
    return State(words, mass_g, balance_mm, margin, float(np.sqrt(max(margin.pm95**2 - own**2, 0.0))))


def lower(one: State, two: State) -> State:
    """One state by its two margins as the one whose low end is lower, the other kept: a weight may turn them round."""
    least, most = sorted((one, two), key=lambda state: state.low_calibers)
    return replace(least, other=replace(most, other=None))


def with_weight(state: State, weight: Weight, diameter_mm: float) -> State:
    """The state with the weight in, by whichever of its margins then is lower."""
    if state.other is not None:
        each = (with_weight(s, weight, diameter_mm) for s in (replace(state, other=None), state.other))
        return lower(*each)
    if weight.mass_g <= 0:
        return state
    own = weight_quantity(weight.mass_g)
    mass, place = moved(state.mass_g, state.balance_mm, [(own, Quantity(weight.x_mm, PLACE_PM95_MM))])
    margin = state.margin_calibers.value + (state.balance_mm.value - place.value) / diameter_mm
    pm95 = float(np.hypot(state.aero_pm95, place.pm95 / diameter_mm))
    return replace(state, mass_g=mass, balance_mm=place, margin_calibers=Quantity(float(margin), pm95))


def weight_quantity(grams: float) -> Quantity:
    """A nose weight with its band: as any mass, but a light one is weighed finer, to a tenth of itself."""
    return replace(mass_quantity(grams), pm95=min(mass_quantity(grams).pm95, 0.1 * grams))


def low_end(states: tuple[State, ...]) -> float:
    """The least low end of the states' margins."""
    return min(s.low_calibers for s in states)


def at_place(x_mm: float) -> Callable[[float], Weight]:
    """The weight of so many grams at one place."""
    return lambda grams: Weight(grams, x_mm)


def into_cavity(cavity: Cavity, density_g_cm3: float) -> Callable[[float], Weight]:
    """The filling of so many grams, as deep as it must be; no more than the cavity holds."""
    full, _ = filling(cavity, cavity.depth_mm, density_g_cm3)

    def weight(grams: float) -> Weight:
        if grams >= full:
            return Weight(full, filling(cavity, cavity.depth_mm, density_g_cm3)[1], cavity.depth_mm)
        if grams <= 0:
            return Weight(0.0, float(cavity.x_mm[0]), 0.0)
        depth = brentq(lambda h: filling(cavity, h, density_g_cm3)[0] - grams, 0.0, cavity.depth_mm, xtol=1e-9)
        return Weight(grams, filling(cavity, depth, density_g_cm3)[1], float(depth))

    return weight


def needed(
    states: tuple[State, ...],
    weight_of: Callable[[float], Weight],
    wanted_calibers: float,
    diameter_mm: float,
    holds_g: float | None = None,
) -> Outcome:
    """The least weight with which every state's whole band lies at or above the wanted margin.

    weight_of: the weight of so many grams; holds_g: the most that goes in, None without limit.
    """

    def over(grams: float) -> float:
        return low_end(tuple(with_weight(s, weight_of(grams), diameter_mm) for s in states)) - wanted_calibers

    heaviest = max(state.mass_g.value for state in states)
    most = MOST_TIMES * heaviest if holds_g is None else min(holds_g, MOST_TIMES * heaviest)
    grid = np.linspace(0.0, most, _STEPS)
    reached = np.array([over(grams) for grams in grid]) >= 0
    if reached[0]:
        kind, grams = "none needed", 0.0
    elif reached.any():
        first = int(np.argmax(reached))
        kind, grams = "needed", rounded_up(brentq(over, grid[first - 1], grid[first], xtol=1e-6), most, over)
    else:
        kind, grams = ("never" if holds_g is None else "does not fit"), most
    weight = weight_of(grams)
    upto = min(most, max(2.5 * grams, 0.25 * heaviest)) if kind != "never" else most
    loaded = tuple(with_weight(s, weight, diameter_mm) for s in states)
    return Outcome(kind, weight, loaded, curve(states, weight_of, upto, diameter_mm))


def rounded_up(grams: float, most: float, over: Callable[[float], float]) -> float:
    """To the next half gram, as nobody weighs finer, if that still fits and holds."""
    up = np.ceil(grams * 2 - 1e-6) / 2
    return float(up) if up <= most and over(up) >= 0 else grams


def curve(states, weight_of: Callable[[float], Weight], most_g: float, diameter_mm: float) -> np.ndarray:
    """(n, 4): grams, the worst state's margin, the low end of its band, the weight's place."""
    rows = []
    for grams in np.linspace(0.0, most_g, 61):
        weight = weight_of(float(grams))
        loaded = [with_weight(s, weight, diameter_mm) for s in states]
        worst = min(loaded, key=lambda s: s.low_calibers)
        rows.append((grams, worst.margin_calibers.value, worst.low_calibers, weight.x_mm))
    return np.array(rows)


def weight_band(curve: np.ndarray, wanted_calibers: float) -> dict[str, float | None]:
    """Grams with which the high end of the margin's band, the margin itself, and the low end first reach what is
    wanted: the 95 % band of the weight that is needed. curve: as `curve` gives it; None: not within it."""
    grams, margin, low, _ = curve.T
    ends = {"least_g": 2 * margin - low, "middle_g": margin, "most_g": low}
    return {key: _first(grams, values - wanted_calibers) for key, values in ends.items()}


def _first(grams: np.ndarray, over: np.ndarray) -> float | None:
    """Where `over` first is 0 or more, between the grams linearly."""
    reached = np.flatnonzero(over >= 0)
    if not len(reached):
        return None
    k = int(reached[0])
    if k == 0:
        return float(grams[0])
    return float(grams[k - 1] - over[k - 1] * (grams[k] - grams[k - 1]) / (over[k] - over[k - 1]))


# --- larger fins ------------------------------------------------------------------------------------------


def stretched(geometry: Geometry, times_x: float, times_y: float) -> Geometry:
    """The aft fins made times_y as wide and times_x as long, the root's trailing edge kept where it is.

    The ends of the root are put back on the body's surface. Raises GeometryRefusal if they leave it.
    """
    *others, group = geometry.fins
    outline = group.outline_mm
    aft = outline[-1, 0]
    radius = mean_root_radius(geometry.profile_mm, outline[0, 0], aft)
    x = aft + times_x * (outline[:, 0] - aft)
    if x[0] < 0:
        raise GeometryRefusal("the root would begin ahead of the nose", "make the fins less large")
    surface = np.interp(x, *geometry.profile_mm.T)
    y = np.maximum(radius + times_y * (outline[:, 1] - radius), np.where(x <= geometry.profile_mm[-1, 0], surface, 0))
    y[[0, -1]] = surface[[0, -1]]
    larger = replace(geometry, fins=(*others, replace(group, outline_mm=np.stack([x, y], -1))))
    check_geometry(larger)
    if len(overlapping(larger)) > len(overlapping(geometry)):
        raise GeometryRefusal("the fins would reach over the group ahead of them", "make them less large")
    return larger


def larger_fins(
    geometry: Geometry, states: tuple[State, ...], wanted_calibers: float, diameter_mm: float, density_g_cm3: float
) -> tuple[LargerFins | None, LargerFins | None]:
    """The aft fins with more span, and larger as a whole, that give the wanted margin; None where none does."""
    return (
        _larger(geometry, states, wanted_calibers, diameter_mm, density_g_cm3, "span"),
        _larger(geometry, states, wanted_calibers, diameter_mm, density_g_cm3, "whole"),
    )


def _larger(geometry, states, wanted_calibers, diameter_mm, density_g_cm3, how) -> LargerFins | None:
    now_mm = centre_of_pressure(geometry).x_mm

    def made(times: float) -> Geometry:
        return stretched(geometry, 1.0 if how == "span" else times, times)

    def over(times: float) -> float:
        try:
            found = with_fins(geometry, now_mm, made(times), states, diameter_mm, density_g_cm3)
        except GeometryRefusal:
            return -np.inf
        return low_end(found) - wanted_calibers

    grid = np.linspace(1.0, MOST_TIMES, 17)
    reached = np.array([over(times) for times in grid]) >= 0
    if not reached.any() or reached[0]:
        return None
    first = int(np.argmax(reached))
    times = brentq(over, grid[first - 1], grid[first], xtol=1e-6) if np.isfinite(over(grid[first - 1])) else grid[first]
    times = float(np.ceil(times * 100 - 1e-6) / 100)
    larger = made(times)
    found = with_fins(geometry, now_mm, larger, states, diameter_mm, density_g_cm3)
    worst = min(found, key=lambda s: s.low_calibers)
    outline = larger.fins[-1].outline_mm
    radius = mean_root_radius(larger.profile_mm, outline[0, 0], outline[-1, 0])
    return LargerFins(
        how=how,
        times=times,
        root_chord_mm=float(outline[-1, 0] - outline[0, 0]),
        span_mm=float(outline[:, 1].max() - radius),
        area_mm2=float(_plan(larger).area_mm2),
        added_g=added_fins(geometry, larger, density_g_cm3)[0],
        margin_calibers=worst.margin_calibers,
    )


def with_fins(
    before: Geometry, before_x_mm: float, after: Geometry, states, diameter_mm: float, density_g_cm3: float
) -> tuple[State, ...]:
    """The states with the other fins on: the centre of pressure moved, the balance point by what they weigh more.

    before_x_mm: the centre of pressure with the fins as they are.
    """
    moved_mm = centre_of_pressure(after).x_mm - before_x_mm
    grams, x_mm = added_fins(before, after, density_g_cm3)
    loaded = [with_weight(state, Weight(grams, x_mm), diameter_mm) for state in states]
    return tuple(
        replace(s, margin_calibers=replace(s.margin_calibers, value=s.margin_calibers.value + moved_mm / diameter_mm))
        for s in loaded
    )


def added_fins(before: Geometry, after: Geometry, density_g_cm3: float) -> tuple[float, float]:
    """(grams, mm from the nose tip) of what the aft fins weigh more: plates of one thickness."""
    old, new, group = _plan(before), _plan(after), after.fins[-1]
    area = float(new.area_mm2 - old.area_mm2)
    if area <= 0 or group.thickness_mm <= 0:
        return 0.0, float(new.x_centroid_mm)
    moment = float(new.area_mm2 * new.x_centroid_mm - old.area_mm2 * old.x_centroid_mm)
    return group.count * area * group.thickness_mm / MM3_PER_CM3 * density_g_cm3, moment / area


def _plan(geometry: Geometry):
    return planform(exposed_planform(geometry.profile_mm, geometry.fins[-1].outline_mm))
