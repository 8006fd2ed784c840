"""The same rocket by other methods, and how far the method itself may be off.

The component method stays the headline. Beside it stand: its fins replaced by the vortex lattice (aero/lattice.py),
with and without what the fins make the body carry; and its own fins with the slender-body factors of
aero/interference.py. Their differences, and the scatter of published fin slopes, are the method's own band.
"""

from dataclasses import dataclass

import numpy as np

from digitize.aero import batch, body, interference, lattice
from digitize.aero.components import centre_of_pressure, exposed_planform, mean_root_radius, other_readings
from digitize.records import FinGroup, Geometry, MethodReading

CLASSIC = "component method"
SLOPE_SCATTER = 0.10
"""95 % scatter of a fin's slope between accepted formulas: two in use differ by 11 % on the fin of T. Prestero, M.S.
thesis, MIT/WHOI (2001), table 2.2 (3.12 there, 2.787 by the other)."""

AFT_WEIGHT = 0.5


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
    if geometry.fins:
        slender = [_slender(geometry, group, alone) for group, alone in zip(geometry.fins, classic, strict=True)]
        try:
            by_lattice = [_lattice(geometry, group, mach) for group in geometry.fins]
            found += [
                _reading("vortex lattice for the fins", slope, moment, by_lattice, False),
                _reading("vortex lattice, with the lift on the body beside the fins", slope, moment, by_lattice, True),
            ]
        except lattice.LatticeError:
            pass
        found.append(_reading("slender-body factors, with the lift on the body", slope, moment, slender, True))
    return tuple(reading for reading in found if reading.cn_alpha_per_rad > 0)


def method_band(geometry: Geometry, found: tuple[MethodReading, ...]) -> MethodBand:
    """How far the component method's centre of pressure may be off by the method alone, 95 %.

    The largest difference to another method, the effect of SLOPE_SCATTER on the fins' slope, and the choice of body
    radius (a quarter of the readings' spread as its standard deviation), as independent. A
    method that puts it farther aft counts half: the lift on the body beside the fins is left out on purpose, and
    that is the cautious side. found: from `readings` at Mach 0.
    """
    apart = np.array([other.cp_x_mm - found[0].cp_x_mm for other in found[1:]])
    largest = float(np.where(apart > 0, AFT_WEIGHT * apart, -apart).max(initial=0.0))
    cp = centre_of_pressure(geometry)
    moved = [
        part.cn_alpha_per_rad * (part.x_mm - cp.x_mm) for part in cp.parts if part.part.startswith("fins")
    ]
    scatter = SLOPE_SCATTER * abs(sum(moved)) / cp.cn_alpha_per_rad
    radius = 1.96 / 4 * float(np.ptp(list(other_readings(geometry).values()))) if geometry.fins else 0.0
    return MethodBand(float(np.sqrt(largest**2 + scatter**2 + radius**2)), largest, scatter, radius)


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
    return _Fins(
        float(bare * interference.slender_fin_factor(radius, span)),
        alone.x_mm,
        float(bare * interference.slender_body_factor(radius, span)),
        alone.x_mm,
    )


def _lattice(geometry: Geometry, group: FinGroup, mach: float) -> _Fins:
    polygon, radius, _, area = _measures(geometry, group)
    force = lattice.group_force(
        lattice.straightened(polygon, geometry.profile_mm, radius), group.count, radius, mach
    )
    return _Fins(force.area / area, force.x, force.body_area / area, force.body_x)


