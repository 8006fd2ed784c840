"""Where a rocket may as well be another one: what a hand has set lies off the photo's own edge, or the scales agree
only loosely. The bands reach to the other one, and a verdict that would be another with it is no verdict."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from digitize.aero.components import centre_of_pressure
from digitize.aero.limits import outside_warnings
from digitize.geometry import side_area
from digitize.records import Geometry, Quantity
from digitize.result.from_geometry import fin_result
from digitize.result_records import FinResult
from digitize.solid.measure import Solid


def reaching(quantity: Quantity, value: float) -> Quantity:
    """The band widened by as much as this value is apart, as one more error of its own."""
    return replace(quantity, pm95=float(np.hypot(quantity.pm95, value - quantity.value)))


@dataclass(frozen=True)
class Shown:
    """The numbers of the rocket as the photo shows it, exact; outside: its shape lies outside the component method."""

    geometry: Geometry
    cp_x_mm: float
    diameter_mm: float
    cutout: tuple[float, float]
    outside: bool

    def sizes(self, length: Quantity, diameter: Quantity, base: Quantity) -> tuple[Quantity, Quantity, Quantity]:
        """Length, largest and base diameter, reaching to those of this one."""
        length_mm, base_r_mm = self.geometry.profile_mm[-1]
        return reaching(length, length_mm), reaching(diameter, self.diameter_mm), reaching(base, 2 * base_r_mm)

    def fins(self, found: Sequence[FinResult]) -> tuple[FinResult, ...]:
        """Each group's sizes, reaching to those of this one's; as they are where the groups are others."""
        if len(found) != len(self.geometry.fins):
            return tuple(found)
        return tuple(
            _wider(fin, fin_result(self.geometry, group)) for fin, group in zip(found, self.geometry.fins, strict=True)
        )


def _wider(fin: FinResult, other: FinResult) -> FinResult:
    return replace(
        fin,
        root_chord_mm=reaching(fin.root_chord_mm, other.root_chord_mm.value),
        tip_chord_mm=reaching(fin.tip_chord_mm, other.tip_chord_mm.value),
        span_mm=reaching(fin.span_mm, other.span_mm.value),
        sweep_mm=reaching(fin.sweep_mm, other.sweep_mm.value),
        area_mm2=reaching(fin.area_mm2, other.area_mm2.value),
    )


def times_as_large(solid: Solid, factor: float) -> Solid:
    """The same rocket at another scale. What else of the solid tells of its size stays as it was."""
    geometry = solid.geometry
    fins = tuple(
        replace(group, outline_mm=factor * group.outline_mm, thickness_mm=factor * group.thickness_mm)
        for group in geometry.fins
    )
    return replace(solid, geometry=replace(geometry, profile_mm=factor * geometry.profile_mm, fins=fins))


def shown_of(solid: Solid) -> Shown:
    """Raises GeometryRefusal if it has no centre of pressure."""
    geometry, offset = solid.geometry, solid.adjusted.pose().roll_offset_rad()
    area, centroid, _ = side_area.cutout(geometry, [float(np.degrees(t.roll_rad - offset)) for t in solid.fins])
    return Shown(
        geometry,
        centre_of_pressure(geometry).x_mm,
        float(2 * geometry.profile_mm[:, 1].max()),
        (area, centroid),
        bool(outside_warnings(geometry)),
    )


def hangs_on_it(
    shown: Shown,
    cp_x_mm: float,
    diameter_mm: float,
    balance_mm: float,
    margins: tuple[Quantity, Quantity],
    level_of: Callable[[Quantity, Quantity, bool | None], str],
) -> bool:
    """Whether the photo's edge in place of the hand's gives another level.

    margins: by the centre of pressure and by the cut-out, their bands reaching to the photo's; level_of: the level of
    two margins, and whether the shape is outside the method (None: as it is set).
    """
    apart = abs(shown.cp_x_mm - cp_x_mm) / diameter_mm
    by_photo = [(x_mm - balance_mm) / shown.diameter_mm for x_mm in (shown.cp_x_mm, shown.cutout[1])]
    alone = [
        replace(margin, pm95=float(np.sqrt(max(margin.pm95**2 - off**2, 0.0))))
        for margin, off in zip(margins, (apart, abs(by_photo[1] - margins[1].value)), strict=True)
    ]
    other = [replace(margin, value=value) for margin, value in zip(alone, by_photo, strict=True)]
    return level_of(alone[0], alone[1], None) != level_of(other[0], other[1], shown.outside)
