"""The centre of pressure against the angle of attack, and at the angle a crosswind makes off the launch rod."""

from dataclasses import replace

import numpy as np

from digitize.aero import body
from digitize.aero.crossflow import Loads, normal_force, wind_angle_rad
from digitize.geometry import side_area
from digitize.option_records import Flight
from digitize.records import CentreOfPressure, Geometry
from digitize.result_records import AngleCurve


def loads_of(geometry: Geometry, cp: CentreOfPressure, side_mm2: float, side_x_mm: float) -> Loads:
    """What the curve stands on: the component method's parts, and the cut-out's area and centroid."""
    profile_x, profile_r = geometry.profile_mm.T
    body_mm2, body_x_mm, _ = side_area.cutout(replace(geometry, fins=()))
    slope, moment = body.body_load(profile_x, profile_r)
    return Loads(
        reference_mm2=float(body.reference_area(profile_r)),
        body_slope=float(slope),
        body_moment=float(moment),
        fin_slope=cp.cn_alpha_per_rad - float(slope),
        fin_moment=cp.cn_alpha_per_rad * cp.x_mm - float(moment),
        side_mm2=side_mm2,
        side_x_mm=side_x_mm,
        fin_side_mm2=side_mm2 - body_mm2,
        fin_side_moment=side_mm2 * side_x_mm - body_mm2 * body_x_mm,
        slenderness=float(profile_x[-1] / (2 * profile_r.max())),
    )


def angle_curve(loads: Loads, flight: Flight, balance_mm: float | None, caliber_mm: float) -> AngleCurve:
    """The curve in steps of a degree, from the component method's place at 0 to the cut-out's centroid at 90."""
    alpha_deg = np.arange(0.0, 90.5, 1.0)
    force, x = normal_force(loads, np.radians(alpha_deg))
    wind = float(wind_angle_rad(flight.wind_mps, flight.rod_speed_mps))
    there = float(normal_force(loads, wind)[1])
    curve = AngleCurve(
        alpha_deg=alpha_deg,
        cp_x_mm=x,
        normal_force=force,
        wind_mps=flight.wind_mps,
        rod_speed_mps=flight.rod_speed_mps,
        wind_deg=float(np.degrees(wind)),
        wind_cp_x_mm=there,
        wind_forward_calibers=0.0,
    )
    return in_calibers(curve, balance_mm, caliber_mm)


def in_calibers(curve: AngleCurve, balance_mm: float | None, caliber_mm: float) -> AngleCurve:
    """The curve with what the crosswind does in calibers of this rocket, balanced there (None: not known)."""
    there = curve.wind_cp_x_mm
    return replace(
        curve,
        wind_forward_calibers=float((curve.cp_x_mm[0] - there) / caliber_mm),
        wind_margin_calibers=None if balance_mm is None else float((there - balance_mm) / caliber_mm),
    )
