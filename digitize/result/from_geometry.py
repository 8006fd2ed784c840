"""From a geometry to a Result, without a photo: the geometry is taken as exact."""

from dataclasses import replace

import numpy as np

from digitize.aero.angle_curve import angle_curve, loads_of
from digitize.aero.components import centre_of_pressure, exposed_planform, mean_root_radius, other_readings
from digitize.aero.fins import planform
from digitize.aero.interference import PUBLISHED_COUNTS
from digitize.aero.limits import outside_warnings
from digitize.aero.method_view import method_view, whole_band
from digitize.geometry import side_area
from digitize.geometry.describe import describe_profile
from digitize.geometry.toml import overlapping
from digitize.margin import balance, stability
from digitize.margin.balance import Loading
from digitize.option_records import Flight, Pose
from digitize.records import BalanceState, FinGroup, Geometry, Quantity, Warn
from digitize.result.conclusion import Sizes, concluded, margins_of
from digitize.result_records import FinResult, Result
from digitize.units.rounding import counted, exact

_RADIUS_MATTERS_CALIBERS = 0.02
_TIP_SHARE = 0.05


def solve(
    geometry: Geometry,
    *,
    balance_mm: float | None = None,
    mass_g: float | None = None,
    loading: Loading | None = None,
    pose: Pose | None = None,
    flight: Flight | None = None,
) -> Result:
    """Centre of pressure, cut-out, margin and verdict of a checked geometry.

    balance_mm: from the nose tip; mass_g: as it was balanced; or loading: both, with motors, in their place; what the
    geometry lists as masses is added. pose: how the fins stand in the cut-out; None: as the geometry says of each
    group, one in its plane where it does not. flight: what the angle of attack is worked out for. Bands are 0 except
    the balance point's and the method's own. Raises UsageRefusal for a balance point off the body, GeometryRefusal if
    there is no centre of pressure.
    """
    flight = flight or Flight()
    length_mm, base_mm = geometry.profile_mm[-1] * np.array([1, 2])
    diameter_mm = 2 * geometry.profile_mm[:, 1].max()
    if loading is None:
        found = None if balance_mm is None else stability.balance_quantity(balance_mm)
        loading = Loading(found, mass_g, end_said=True)
    cp = centre_of_pressure(geometry)
    view = method_view(geometry, 0.0, flight.mach)
    cp_x = whole_band(_exact(cp.x_mm), view)
    rolls_deg = tuple(_roll_deg(group, pose) for group in geometry.fins)
    area_mm2, centroid_mm, _ = side_area.cutout(geometry, rolls_deg)
    curve = angle_curve(loads_of(geometry, cp, area_mm2, centroid_mm), flight, None, diameter_mm)
    sizes = Sizes(_exact(length_mm), _exact(diameter_mm), cp_x, _exact(centroid_mm), view, curve)
    loading = balance.placed(loading, sizes.length_mm)
    states, loading_warnings = _states(geometry, loading, cp_x)
    margins = margins_of(sizes, loading, states, loading.mass_g)
    warnings = (*geometry_warnings(geometry), *view.warnings, *loading_warnings, *margins.warnings)
    return Result(
        name=geometry.name,
        length_mm=sizes.length_mm,
        max_diameter_mm=sizes.diameter_mm,
        base_diameter_mm=_exact(base_mm),
        fins=tuple(fin_result(geometry, group) for group in geometry.fins),
        cutout_area_mm2=_exact(area_mm2),
        cutout_centroid_mm=sizes.centroid_mm,
        cutout_rolls_deg=rolls_deg,
        cp_x_mm=cp_x,
        cn_alpha_per_rad=_exact(cp.cn_alpha_per_rad),
        parts=cp.parts,
        pieces=describe_profile(geometry.profile_mm),
        assumptions=(*_assumptions(geometry, rolls_deg, loading.balance), *balance.assumptions(states)),
        **concluded(margins, warnings, measured=False),
    )


def _roll_deg(group: FinGroup, pose: Pose | None) -> float:
    """How a group stands in the cut-out: as said now, else as the geometry has it, else with a fin in its plane."""
    if pose is None and group.roll_deg is not None:
        return group.roll_deg
    return (pose or Pose()).roll_deg(group.count)


def _states(geometry: Geometry, loading: Loading, cp_x: Quantity) -> tuple[tuple[BalanceState, ...], tuple[Warn, ...]]:
    """The states with their margins. The geometry's masses count once there is a balance point and a mass to move."""
    diameter = _exact(2 * geometry.profile_mm[:, 1].max())
    warnings: tuple[Warn, ...] = ()
    if geometry.masses and loading.balance is not None and loading.mass_g is not None:
        loading = replace(loading, added=(*geometry.masses, *loading.added))
    elif geometry.masses:
        warnings = (
            Warn(
                "MASSES_UNUSED",
                f"the geometry lists {counted(len(geometry.masses), 'mass', 'masses')}, of no use without a balance "
                "point and a mass",
                "give --balance and --mass, both as it was balanced, without them",
            ),
        )
    states = balance.states(
        loading,
        float(geometry.profile_mm[-1, 0]),
        lambda place, _: stability.margin_calibers(cp_x, place, diameter),
    )
    return states, warnings


def fin_measures(outline_mm, radius_mm: float) -> dict[str, float]:
    """root_chord_mm, tip_chord_mm, span_mm and sweep_mm of an outline (m, 2), root leading edge first.

    The tip chord is that of `tip_points`. sweep_mm: from the root's leading edge aft to the tip's. radius_mm:
    the body's at the root, as in the centre of pressure.
    """
    x, y = outline_mm.T
    tip = x[tip_points(outline_mm, radius_mm)]
    return {
        "root_chord_mm": x[-1] - x[0],
        "tip_chord_mm": np.ptp(tip),
        "span_mm": y.max() - radius_mm,
        "sweep_mm": tip.min() - x[0],
    }


def tip_points(outline_mm, radius_mm: float) -> np.ndarray:
    """(k,) indices of the outline's points (m, 2) that make the tip: those in the outer 5 % of the span.

    So a slightly raked tip counts, and a pointed one is a single point. radius_mm: the body's at the root.
    """
    y = outline_mm[:, 1]
    return np.flatnonzero(y >= y.max() - _TIP_SHARE * (y.max() - radius_mm))


def geometry_warnings(geometry: Geometry) -> tuple[Warn, ...]:
    """What the user should know about a geometry before trusting its centre of pressure."""
    warnings = []
    counts = [group.count for group in geometry.fins]
    if 2 in counts:
        warnings.append(
            Warn(
                "TWO_FINS",
                "two fins do nothing in their own plane; the number given is the mean over the roll",
                "use three fins or more",
            )
        )
    unpublished = sorted({n for n in counts if n > 2 and n not in PUBLISHED_COUNTS})
    if unpublished:
        warnings.append(
            Warn(
                "FIN_COUNT",
                f"the method is published for 3, 4 and 6 fins, not for {unpublished[0]}",
                "keep a larger margin than usual",
            )
        )
    if not counts:
        warnings.append(
            Warn(
                "NO_FINS",
                "there are no fins, and what has none is never told to fly here",
                "add the fins, in the photo's outline or as [[fins]] in the geometry",
            )
        )
    return (*warnings, *_overlap_warnings(geometry), *outside_warnings(geometry))


def _overlap_warnings(geometry: Geometry) -> list[Warn]:
    """Each group is worked out as if the other weren't there, which counts the same air twice."""
    return [
        Warn(
            "FINS_OVERLAP",
            f"fin groups {found.groups[0] + 1} and {found.groups[1] + 1} stand in one place"
            + (f", their roots on the same {found.root_mm:.0f} mm of the body" if found.root_mm > 0 else "")
            + ", and both are counted in full: the margin looks larger than it is",
            "if it is one group twice, take one of them out; for small fins that do stand between large ones go by a "
            "cardboard cut-out",
        )
        for found in overlapping(geometry)
    ]


def radius_choice(geometry: Geometry) -> str | None:
    """How much the choice of body radius at the fins matters, in words; None if the body is straight."""
    if not geometry.fins:
        return None
    readings = other_readings(geometry).values()
    low, high = min(readings), max(readings)
    if high - low < _RADIUS_MATTERS_CALIBERS * 2 * geometry.profile_mm[:, 1].max():
        return None
    return (
        "Fins on a narrowing tail: the body radius for their span and the fin-body factor is the mean along "
        "the root; with the radius at the root's ends the centre of pressure would lie between "
        f"{low:.1f} and {high:.1f} mm."
    )


def fin_result(geometry: Geometry, group: FinGroup) -> FinResult:
    """One group's sizes, exact."""
    outline = group.outline_mm
    radius_mm = mean_root_radius(geometry.profile_mm, outline[0, 0], outline[-1, 0])
    plan = planform(exposed_planform(geometry.profile_mm, outline))
    sizes = {name: _exact(value) for name, value in fin_measures(outline, radius_mm).items()}
    return FinResult(count=group.count, outline_mm=outline, area_mm2=_exact(plan.area_mm2), **sizes)


def _assumptions(geometry: Geometry, rolls_deg: tuple[float, ...], balance: Quantity | None) -> tuple[str, ...]:
    lines = [
        "The geometry is taken as exact: its own errors are in no band; the method's are.",
        "Centre of pressure in straight flight at low speed, worked out part by part: nose, body, fins.",
        "Fins are flat, straight and alike in a group: a side view can't show canted, tube or ring fins.",
    ]
    if geometry.fins:
        lines.append(f"The cut-out is the side view without perspective, {_stand_words(rolls_deg)}.")
    if balance is not None:
        lines.append(f"The balance point, found by hand, is taken as good to {exact(balance.pm95)} mm.")
    choice = radius_choice(geometry)
    return (*lines, choice) if choice else tuple(lines)


def _stand_words(rolls_deg: tuple[float, ...]) -> str:
    if not any(rolls_deg):
        return "with fin 1 in its plane"
    return f"with fin 1 at {' and '.join(f'{roll:.1f}' for roll in rolls_deg)} degrees from its plane"


def _exact(value) -> Quantity:
    return Quantity(float(value), 0.0)
