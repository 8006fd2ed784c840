"""The same rocket by other methods, and how far the method itself may be off.

The component method stays the headline. Beside it stand: its fins replaced by the vortex lattice (aero/lattice.py),
with and without what the fins make the body carry; several groups of fins in one another's wakes (aero/wake.py); its
own fins with the slender-body factors of aero/interference.py; and, where the body narrows ahead of the centre of
pressure, itself without that part, as if the flow had let go there. Their differences, and the scatter of published fin
slopes, are the method's own band.
"""

from dataclasses import dataclass

import numpy as np

from digitize.aero import batch, body, interference, lattice, wake
from digitize.aero.components import (
    centre_of_pressure,
    exposed_planform,
    mean_root_radius,
    other_readings,
    part_spans,
)
from digitize.records import FinGroup, Geometry, MethodReading

CLASSIC = "part by part: nose, body, fins (the number above)"
LATTICE = "fins cut into small panels (vortex lattice)"
CARRIED = "the same, with the lift on the body beside them"
SLENDER = "for slender bodies, with the lift on the body"
LET_GO = "part by part, the air coming loose where the body narrows"
BEHIND_LOST = "part by part, without the fins behind others"
IN_WAKES = {name: f"small panels, fin groups in one another's wakes, {name}" for name in (wake.IN_LINE, wake.STAGGERED)}
SLOPE_SCATTER = 0.10
"""95 % scatter of a fin's slope between accepted formulas: two in use differ by 11 % on the fin of T. Prestero, M.S.
thesis, MIT/WHOI (2001), table 2.2 (3.12 there, 2.787 by the other)."""

AFT_WEIGHT = 0.5
"""Share of a difference aft that counts: a centre of pressure farther aft errs to the safe side. Our own choice, no
source."""
ATTACHED_DEG = 3.5
"""A body that narrows by less than this, seen from its axis, keeps the flow: a diffuser's seven degrees from wall to
wall (common practice, from memory). Above it nothing is known here."""


@dataclass(frozen=True)
class MethodBand:
    """pm95_mm: half the 95 % band the method itself brings to the centre of pressure; largest_mm: the
    weighted largest difference between methods in it; scatter_mm: what the scatter of published fin slopes is worth;
    radius_mm: what the choice of body radius at fins on a narrowing tail is worth."""

    pm95_mm: float
    largest_mm: float
    scatter_mm: float
    radius_mm: float


@dataclass(frozen=True)
class _Fins:
    """One group by one method: slope per radian and place on the fins, and what the body carries of it."""

    slope: float
    x_mm: float
    body_slope: float = 0.0
    body_x_mm: float = 0.0


def readings(geometry: Geometry, mach: float = 0.0) -> tuple[MethodReading, ...]:
    """The centre of pressure by each method, the component method first; fins only if there are any, and the lattice
    only where one can be laid.

    mach: of the free stream, at most lattice.MOST_MACH; the body's slender-body slope does not change with it.
    """
    profile_x, profile_r = geometry.profile_mm.T
    slope, moment = body.body_load(profile_x, profile_r)
    classic = [_classic(geometry, group, mach) for group in geometry.fins]
    found = [_reading(CLASSIC, slope, moment, classic, False)]
    lost_slope, lost_moment = narrowing_load(geometry)
    if lost_slope:
        found.append(_reading(LET_GO, slope - lost_slope, moment - lost_moment, classic, False))
    if geometry.fins:
        slender = [_slender(geometry, group, alone) for group, alone in zip(geometry.fins, classic, strict=True)]
        try:
            by_lattice = [_lattice(geometry, group, mach) for group in geometry.fins]
            found += [
                _reading(LATTICE, slope, moment, by_lattice, False),
                _reading(CARRIED, slope, moment, by_lattice, True),
            ]
            if len(geometry.fins) > 1:
                found += [
                    _reading(IN_WAKES[name], slope, moment, coupled, False)
                    for name, coupled in _in_wakes(geometry, by_lattice, mach).items()
                ]
        except lattice.LatticeError:
            if len(geometry.fins) > 1:  # what wakes take is not known then: at most everything
                found.append(_reading(BEHIND_LOST, slope, moment, classic[:1], False))
        found.append(_reading(SLENDER, slope, moment, slender, True))
    return tuple(reading for reading in found if reading.cn_alpha_per_rad > 0)


def narrowing_load(geometry: Geometry) -> tuple[float, float]:
    """Slope per radian and moment (mm per radian) of the parts that narrow ahead of the centre of pressure by more than
    ATTACHED_DEG; (0, 0) if there are none. The slope is negative: without it the centre of pressure lies farther
    forward. Where flow lets go there, a narrowing has little of the force that slender-body theory gives it.
    """
    profile_x, profile_r = geometry.profile_mm.T
    slopes, moments = body.segment_loads(profile_x, profile_r)
    cp_x_mm = centre_of_pressure(geometry).x_mm
    slope = moment = 0.0
    for start, stop, name in part_spans(geometry):
        fall = -np.diff(profile_r[max(start - 1, 0) : stop]).clip(max=0)
        run = np.diff(profile_x[max(start - 1, 0) : stop])[fall > 0].sum()
        steep = fall.sum() > np.tan(np.radians(ATTACHED_DEG)) * run
        own_slope, own_moment = slopes[start:stop].sum(), moments[start:stop].sum()
        if name.startswith("boat-tail") and steep and own_moment / own_slope < cp_x_mm:
            slope, moment = slope + float(own_slope), moment + float(own_moment)
    return slope, moment


def method_band(geometry: Geometry, found: tuple[MethodReading, ...]) -> MethodBand:
    """How far the component method's centre of pressure may be off by the method alone, 95 %.

    The largest difference to another method, the effect of SLOPE_SCATTER on the fins' slope, and the choice of body
    radius (a quarter of the readings' spread as its standard deviation), as independent. A
    method that puts it farther aft counts half: the headline is then the cautious one of the two. One that puts it
    farther forward counts in full, whatever it leaves in or out. Fins in wakes and flow that lets go are apart from the
    fins' own methods and can come together, so the forward differences of the three kinds add up. found: from
    `readings` at Mach 0.
    """
    largest = _largest(found)
    cp = centre_of_pressure(geometry)
    moved = [part.cn_alpha_per_rad * (part.x_mm - cp.x_mm) for part in cp.parts if part.fin_group is not None]
    scatter = SLOPE_SCATTER * abs(sum(moved)) / cp.cn_alpha_per_rad
    radius = 1.96 / 4 * float(np.ptp(list(other_readings(geometry).values()))) if geometry.fins else 0.0
    return MethodBand(float(np.sqrt(largest**2 + scatter**2 + radius**2)), largest, scatter, radius)


def _largest(found: tuple[MethodReading, ...]) -> float:
    """The weighted largest difference to the headline: see `method_band`."""
    others = [reading.cp_x_mm for reading in found if reading.name not in (LET_GO, BEHIND_LOST, *IN_WAKES.values())]
    headline = found[0].cp_x_mm
    forward = headline - min(others) + max(0.0, wake_shift_mm(found)) + max(0.0, let_go_shift_mm(found))
    return float(max(forward, AFT_WEIGHT * (max(others) - headline)))


def wake_shift_mm(found: tuple[MethodReading, ...], name: str | None = None) -> float:
    """How far forward the wakes of fins ahead move the centre of pressure, as the groups stand when it is the most, or
    in one of wake.arrangements; 0 for a single group."""
    by_name = {reading.name: reading.cp_x_mm for reading in found}
    wanted = IN_WAKES.values() if name is None else (IN_WAKES[name],)
    shifts = [by_name[LATTICE] - by_name[each] for each in wanted if each in by_name]
    if name is None and BEHIND_LOST in by_name:
        shifts.append(found[0].cp_x_mm - by_name[BEHIND_LOST])
    return float(max(shifts, default=0.0))


def let_go_shift_mm(found: tuple[MethodReading, ...]) -> float:
    """How far forward the centre of pressure lies if the flow lets go where the body narrows ahead of it."""
    return float(sum(found[0].cp_x_mm - reading.cp_x_mm for reading in found if reading.name == LET_GO))


def _reading(name: str, body_slope, body_moment, groups: list[_Fins], carried: bool) -> MethodReading:
    slope, moment = float(body_slope), float(body_moment)
    for group in groups:
        slope += group.slope + carried * group.body_slope
        moment += group.slope * group.x_mm + carried * group.body_slope * group.body_x_mm
    return MethodReading(name, moment / slope, slope)


def _measures(geometry: Geometry, group: FinGroup):
    """(closed polygon, radius, span, reference area) as the component method takes them."""
    outline = group.outline_mm
    radius = mean_root_radius(geometry.profile_mm, outline[0, 0], outline[-1, 0])
    polygon = exposed_planform(geometry.profile_mm, outline)
    return polygon, radius, outline[:, 1].max() - radius, float(body.reference_area(geometry.profile_mm[:, 1]))


def _classic(geometry: Geometry, group: FinGroup, mach: float) -> _Fins:
    """The component method's group; with a Mach number, its outline stretched by the Prandtl-Glauert rule."""
    polygon, radius, span, area = _measures(geometry, group)
    beta = np.sqrt(1 - mach**2)
    slope, x = batch.fin_load(group.count, polygon / [beta, 1.0], radius, span, area)
    # the slope on the stretched outline's own area, and that area, change by beta and 1 / beta
    return _Fins(float(slope), float(x) * beta)


def _slender(geometry: Geometry, group: FinGroup, alone: _Fins) -> _Fins:
    """The component method's fins with K of slender-body theory in place of its own, the body's share at the fins."""
    _, radius, span, _ = _measures(geometry, group)
    bare = alone.slope / interference.body_factor(group.count, radius, span)
    bare *= interference.slender_number_factor(group.count, radius, span)
    # of one horseshoe at the fins' place, a third of the span out: within some 0.05 of the lattice's share
    share, moment = lattice.along(alone.x_mm, radius + span / 3, geometry.profile_mm[-1, 0])
    return _Fins(
        float(bare * interference.slender_fin_factor(radius, span)),
        alone.x_mm,
        float(bare * interference.slender_body_factor(radius, span) * share),
        float(moment / share),
    )


def _in_wakes(geometry: Geometry, alone: list[_Fins], mach: float) -> dict[str, list[_Fins]]:
    """The groups as each way of standing round the body changes them; none where the lattice can't tell."""
    sizes = [_measures(geometry, group) for group in geometry.fins]
    groups = [
        (lattice.straightened(polygon, geometry.profile_mm, radius), group.count, radius)
        for group, (polygon, radius, _, _) in zip(geometry.fins, sizes, strict=True)
    ]
    found: dict[str, list[_Fins]] = {}
    for name, angles in wake.arrangements([group.count for group in geometry.fins]).items():
        changes = wake.coupled_groups(groups, angles, mach)
        found[name] = []
        for fins, change, (_, _, _, area) in zip(alone, changes, sizes, strict=True):
            slope = fins.slope + change.area / area
            found[name].append(_Fins(slope, (fins.slope * fins.x_mm + change.moment / area) / slope))
    return found


def _lattice(geometry: Geometry, group: FinGroup, mach: float) -> _Fins:
    polygon, radius, _, area = _measures(geometry, group)
    force = lattice.group_force(
        lattice.straightened(polygon, geometry.profile_mm, radius),
        group.count,
        radius,
        mach,
        float(geometry.profile_mm[-1, 0]),
    )
    return _Fins(force.area / area, force.x, force.body_area / area, force.body_x)
