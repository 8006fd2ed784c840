"""Normal force and centre of pressure from 0 to 90 degrees: the component method at one end, the cut-out at the other.

Sources: H. J. Allen and E. W. Perkins, NACA TR 1048 (1951); L. H. Jorgensen, NASA TR R-474 (1977) (forms from memory):
a body's force is slender-body lift, sin 2a cos(a/2) / 2 of its slope, and the drag of its cross-flow, eta Cdn sin^2 a
of its side area. Cdn 1.2 for a circular cylinder below the critical Reynolds number (NACA TN 2960, in a restatement).

Fins: their slope times sin a cos a and the cross-flow on the area they show in the cut-out while the flow keeps to
them; that fades between STALL_DEG (a thin flat plate lets go at about 15 degrees; common practice, no source) into the
force of a stalled plate, which grows as sin a (S. F. Hoerner, Fluid-Dynamic Drag (1965), from memory). At 90 degrees
body and fins have one and the same pressure, so the force acts exactly at the centroid of the side view; at 0 it acts
at the component method's centre of pressure.
"""

from dataclasses import dataclass

import numpy as np

CYLINDER_DRAG = 1.2
"""Of a circular cylinder across the flow, on its side area, below the critical Reynolds number: NACA TN 2960, above."""
STALL_DEG = (15.0, 90.0)
"""Degrees: up to the first the flow keeps to a fin (common practice, no source), at the second none of it does."""
_SLENDERNESS, _ETA = (5.0, 10.0, 20.0), (0.624, 0.683, 0.753)
"""Share of that drag which a cylinder of finite length has, against its length in diameters: NASA TR R-474, above (from
memory)."""


@dataclass(frozen=True)
class Loads:
    """Small-angle loads and side areas: slopes per radian on reference_mm2, places in mm from the nose tip.

    body_slope, body_moment: of the body; fin_slope, fin_moment: of all fins; side_mm2, side_x_mm: area and centroid
    of the side view, fins and all; fin_side_mm2, fin_side_moment: area the fins alone add to it, and that area times
    its centroid's place; slenderness: length over largest diameter.
    """

    reference_mm2: float
    body_slope: float
    body_moment: float
    fin_slope: float
    fin_moment: float
    side_mm2: float
    side_x_mm: float
    fin_side_mm2: float
    fin_side_moment: float
    slenderness: float


def crossflow_share(slenderness):
    """eta: a finite cylinder's cross-flow drag over an endless one's. Broadcasts.

    Source: fit to a figure of L. H. Jorgensen, NASA TR R-474 (1977), +-0.02, in a restatement: 0.624, 0.683 and
    0.753 at length over diameter 5, 10 and 20; between in the logarithm, beyond carried on.

    >>> round(float(crossflow_share(10.0)), 3)
    0.683
    """
    at, known = np.log(np.asarray(slenderness, float)), np.log(_SLENDERNESS)
    inside = np.interp(at, known, _ETA)
    below = _ETA[0] + (at - known[0]) * (_ETA[1] - _ETA[0]) / (known[1] - known[0])
    above = _ETA[2] + (at - known[2]) * (_ETA[2] - _ETA[1]) / (known[2] - known[1])
    return np.clip(np.where(at < known[0], below, np.where(at > known[2], above, inside)), 0.4, 1.0)


def attached_share(alpha_rad):
    """How much of the fins' small-angle lift is left: 1 up to the first of STALL_DEG, 0 from the second on.

    >>> [round(float(attached_share(np.radians(a))), 3) for a in (0, 15, 52.5, 90)]
    [1.0, 1.0, 0.5, 0.0]
    """
    low, high = np.radians(STALL_DEG)
    share = np.clip((np.asarray(alpha_rad, float) - low) / (high - low), 0.0, 1.0)
    return np.cos(np.pi / 2 * share) ** 2 * (share < 1)


def normal_force(loads: Loads, alpha_rad):
    """(CN on the reference area, centre of pressure in mm from the nose tip) at angles 0 <= alpha <= pi / 2.

    At exactly 0 the centre of pressure is the limit.
    """
    alpha = np.asarray(alpha_rad, float)
    # everything over sin a, which all terms hold, so that 0 has its limit
    attached, sine = attached_share(alpha), np.sin(alpha)
    slender = np.cos(alpha) * np.cos(alpha / 2)
    lift = attached * np.cos(alpha)
    pressure = crossflow_share(loads.slenderness) * CYLINDER_DRAG / loads.reference_mm2
    on_body, on_fins = pressure * sine, pressure * (attached * sine + 1 - attached)
    body_mm2 = loads.side_mm2 - loads.fin_side_mm2
    body_moment = loads.side_mm2 * loads.side_x_mm - loads.fin_side_moment
    force = loads.body_slope * slender + loads.fin_slope * lift + on_body * body_mm2 + on_fins * loads.fin_side_mm2
    moment = (
        loads.body_moment * slender + loads.fin_moment * lift + on_body * body_moment + on_fins * loads.fin_side_moment
    )
    return force * sine, moment / force


def wind_angle_rad(wind_mps, speed_mps):
    """Angle of attack of a rocket leaving the rod at speed_mps through a crosswind: atan(wind / speed)."""
    return np.arctan2(wind_mps, speed_mps)
