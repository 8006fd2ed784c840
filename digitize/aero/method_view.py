"""Other methods beside the headline, and the method's own share of the centre of pressure's band."""

from dataclasses import replace

import numpy as np

from digitize.aero.methods import (
    ATTACHED_DEG,
    CARRIED,
    IN_WAKES,
    LATTICE,
    SLOPE_SCATTER,
    MethodBand,
    let_go_shift_mm,
    method_band,
    readings,
    wake_shift_mm,
)
from digitize.records import Geometry, MethodReading, Quantity, Warn
from digitize.result_records import BandShare, MethodView, NextMeasurement

METHOD = "method"
NAMED_FROM_CALIBERS = 0.05
"""A difference between methods below this is in the band but needs no warning of its own: half a tenth, as shown."""
MANY_FINS = 5
"""From so many in one group on, fins stand in one another's flow, which the component method leaves out. No source."""
TUNNEL = (
    "This way of working it out is held against one real rocket. In a wind tunnel at Mach 0.6 (J. C. Ferris, NASA TN "
    "D-4013, 1967; read off its curves to \u00b1 0.2 calibers) its centre of pressure lay 0.3 to 0.6 calibers ahead of "
    "where this puts it, which is the unsafe side; the band for the method was \u00b1 0.52."
)
MACH_WORDS = (
    "At speed the numbers stand on a rule for thin fins alone, which moves the centre of pressure aft. In the wind "
    "tunnel (NASA TN D-4013, 1967) it moved forward by 0.3 to 0.6 calibers from Mach 0.6 to 0.8. Don't count on a "
    "margin that only speed gives."
)


def method_view(geometry: Geometry, measured_pm95_mm: float, mach: float | None = None) -> MethodView:
    """The other methods' readings and the two parts of the band. measured_pm95_mm: of the measurement alone; mach:
    also give them at this Mach number, 0 to 0.9. Raises ValueError beyond.
    """
    found = readings(geometry)
    band = method_band(geometry, found)
    caliber = float(2 * geometry.profile_mm[:, 1].max())
    words = (*_words(geometry, found, band, caliber), *(() if mach is None else (MACH_WORDS,)))
    view = MethodView(
        readings=found,
        measured_pm95_mm=measured_pm95_mm,
        method_pm95_mm=band.pm95_mm,
        words=words if geometry.fins else (),
        mach=mach,
        at_mach=() if mach is None else readings(geometry, mach),
        warnings=tuple(_warnings(geometry, found, caliber)),
    )
    return compared(view, caliber)


def compared(view: MethodView, caliber_mm: float) -> MethodView:
    """The view with each reading's difference to the headline, in calibers of this diameter too."""
    headline_mm = view.readings[0].cp_x_mm

    def beside(reading: MethodReading) -> MethodReading:
        apart = reading.cp_x_mm - headline_mm
        return replace(reading, difference_mm=float(apart), difference_calibers=float(apart / caliber_mm))

    return replace(view, readings=tuple(map(beside, view.readings)), at_mach=tuple(map(beside, view.at_mach)))


def _words(geometry: Geometry, found: tuple[MethodReading, ...], band: MethodBand, caliber: float):
    """What the readings and the band mean, a sentence or two each."""
    yield (
        f"The way of working it out may itself be off by {band.pm95_mm:.1f} mm ({band.pm95_mm / caliber:.2f} "
        f"calibers), and the band holds that. It is made of the largest difference to another way, "
        f"{band.largest_mm:.1f} mm, where differences aft count half; of the {100 * SLOPE_SCATTER:.0f} % by which "
        f"published formulas for a fin's force differ, {band.scatter_mm:.1f} mm; and of which body radius counts at "
        f"the fins, {band.radius_mm:.1f} mm."
    )
    yield TUNNEL
    places = {reading.name: reading.cp_x_mm for reading in found}
    if CARRIED in places:
        moved = places[CARRIED] - places[LATTICE]
        where = (
            f"{moved:.1f} mm aft, so leaving it out is the cautious side"
            if moved >= 0
            else f"{-moved:.1f} mm forward, so leaving it out is not the cautious side: the band holds it in full"
        )
        yield (
            "The lift that fins make the body beside them carry is left out of the number above, as is usual. "
            f"With it the centre of pressure of this rocket moves {where}. Behind the body's end nothing is carried."
        )
    if any(group.count >= MANY_FINS for group in geometry.fins):
        yield (
            "The number above counts N fins as N / 2 single ones, as published. From five on they shade one another: "
            "without a body six carry 16 % less than that and eight 29 % less, by two other ways of working it out. "
            "Those know this, and the band reaches as far forward as they do."
        )
    if len(geometry.fins) > 1:
        yield (
            "Fins behind fins fly in the wakes of those ahead. Here the wakes stay flat, the worst case; real "
            "ones roll up and take less: on two-stage models in a wind tunnel about 30 % of the fins' force at most "
            "(National Aerospace Laboratory of Japan, TR-814, 1984). The band holds both ways of standing: a side view "
            "tells too little of how the groups stand to each other."
        )


def _warnings(geometry: Geometry, found: tuple[MethodReading, ...], caliber: float):
    let_go = let_go_shift_mm(found) / caliber
    if let_go > NAMED_FROM_CALIBERS:
        yield Warn(
            "NARROWS_AHEAD",
            "the body narrows ahead of the centre of pressure; if the air comes loose from it there, which nobody can "
            f"tell from the shape, it lies {let_go:.2f} calibers farther forward; the band holds both",
            f"keep the low end of the margin above one caliber, or let it narrow by less than {ATTACHED_DEG:g} degrees",
        )
    wakes = wake_shift_mm(found) / caliber
    if wakes > NAMED_FROM_CALIBERS:
        known = any(reading.name in IN_WAKES.values() for reading in found)
        ways = [f"{wake_shift_mm(found, name) / caliber:.2f} calibers {name}" for name in IN_WAKES]
        far = f"{', '.join(ways)}, while their wakes stay flat" if known else f"up to {wakes:.2f} calibers"
        yield Warn(
            "FINS_IN_WAKE",
            "fins stand in the wake of fins ahead of them and lose force; the centre of pressure may lie farther "
            f"forward by {far}; the band holds it",
            "keep the low end of the margin above one caliber, and don't stand fins in line behind others",
        )


def whole_band(cp_x_mm: Quantity, view: MethodView) -> Quantity:
    """The measured centre of pressure with the method's own band added, as independent."""
    return replace(cp_x_mm, pm95=float(np.hypot(cp_x_mm.pm95, view.method_pm95_mm)))


def with_method(shares: tuple[BandShare, ...], view: MethodView) -> tuple[BandShare, ...]:
    """The sources' shares of the whole variance, the method's among them, largest first."""
    every = [*shares, BandShare(METHOD, 0.0, view.method_pm95_mm)]
    total = sum(share.cp_pm95_mm**2 for share in every) or 1.0
    found = [replace(share, share=share.cp_pm95_mm**2 / total) for share in every]
    return tuple(sorted(found, key=lambda share: -share.share))


def next_with_method(step: NextMeasurement | None, view: MethodView, caliber_mm: float) -> NextMeasurement | None:
    """The bands before and after one more measurement with the method's own in both."""
    if step is None:
        return None
    own = view.method_pm95_mm / caliber_mm
    return replace(
        step,
        cp_pm95_calibers_now=float(np.hypot(step.cp_pm95_calibers_now, own)),
        cp_pm95_calibers_then=float(np.hypot(step.cp_pm95_calibers_then, own)),
    )
