"""The centre of pressure of many rockets at once. The single rocket is a batch of one."""

from collections.abc import Sequence

import numpy as np

from digitize.aero import body, fins, interference

FinArrays = tuple[int, np.ndarray | fins.Planform, np.ndarray, np.ndarray]


def fin_load(count: int, polygon, radius_mm, span_mm, reference_area_mm2):
    """Slope (per radian) of a fin group beside the body, and where it acts (mm from the nose tip).
    Broadcasts.

    polygon: (..., m, 2) closed, with the points along the body, or its planform if that is there already;
    radius_mm, span_mm, reference_area_mm2: (...).
    """
    plan = polygon if isinstance(polygon, fins.Planform) else fins.planform(polygon)
    one_fin = fins.fin_slope(plan.area_mm2, span_mm, plan.midchord_slope, reference_area_mm2)
    factor = interference.count_factor(count) * interference.body_factor(count, radius_mm, span_mm)
    return factor * one_fin, plan.quarter_chord_mm


def cp_batch(profile_x, profile_r, fin_groups: Sequence[FinArrays]):
    """Centre of pressure and slope of S rockets: (cp_x (S,) mm from the nose tip, cn_alpha (S,) per radian).

    profile_x: (n,) or (S, n); profile_r: (S, n), millimetres. fin_groups: (count, polygon (S, m, 2) closed
    with the points along the body or its planform, radius (S,), span (S,)) for each group. The reference area is that
    of each rocket's largest diameter. A rocket without a positive slope has no centre of pressure: its cp_x is NaN.
    """
    profile_r = np.asarray(profile_r, float)
    profile_x = np.broadcast_to(np.asarray(profile_x, float), profile_r.shape)
    area = body.reference_area(profile_r)
    slope, moment = body.body_load(profile_x, profile_r)
    for count, polygon, radius_mm, span_mm in fin_groups:
        fin_slope, x_mm = fin_load(count, polygon, radius_mm, span_mm, area)
        slope = slope + fin_slope
        moment = moment + fin_slope * x_mm
    valid = slope > 0
    return np.where(valid, moment / np.where(valid, slope, 1.0), np.nan), slope
