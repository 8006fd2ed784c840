"""Other methods beside the headline, and the method's own share of the centre of pressure's band."""

from dataclasses import replace

import numpy as np

from digitize.aero.methods import SLOPE_SCATTER, method_band, readings
from digitize.records import BandShare, Geometry, MethodView, NextMeasurement, Quantity

METHOD = "method"


def method_view(geometry: Geometry, measured_pm95_mm: float, mach: float | None = None) -> MethodView:
    """The other methods' readings and the two parts of the band. measured_pm95_mm: of the measurement alone; mach:
    also give them at this Mach number, 0 to 0.9. Raises ValueError beyond.
    """
    found = readings(geometry)
    band = method_band(geometry, found)
    caliber = 2 * geometry.profile_mm[:, 1].max()
    words = (
        f"The method itself brings \u00b1 {band.pm95_mm:.1f} mm (\u00b1 {band.pm95_mm / caliber:.2f} calibers) to the "
        f"band: the largest difference to another method, {band.largest_mm:.1f} mm with differences aft counted half, "
        f"{100 * SLOPE_SCATTER:.0f} % for the scatter of published fin slopes, {band.scatter_mm:.1f} mm, and the "
        f"choice of body radius at the fins, {band.radius_mm:.1f} mm.",
        "The lift that fins carry over to the body beside them is left out of the headline on purpose, as in the "
        "classic method; with it the centre of pressure lies farther aft, so leaving it out is the cautious side.",
    )
    return MethodView(
        readings=found,
        measured_pm95_mm=measured_pm95_mm,
        method_pm95_mm=band.pm95_mm,
        words=words if geometry.fins else (),
        mach=mach,
        at_mach=() if mach is None else readings(geometry, mach),
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
