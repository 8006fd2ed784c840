"""A place marked in the photo, as a strip of tape or the string the rocket was balanced on, brought to the axis.

The mark is on the body's skin, not on its axis: seen aslant, skin toward the camera shows nearer to the picture's
edge than the axis under it, by the offset from the middle times radius over distance (2.7 mm for 20 mm, 200 mm
off the middle, at 1.5 m). In the notation of solid.pose the pixel's ray passes the axis at s0 at the distance q and
climbs with slope tan_phi; it meets a skin of radius r on the camera's side at s0 - sqrt(r^2 - q^2) tan_phi.
"""

import numpy as np

from digitize.bands.resampling import Samples, band
from digitize.errors import UsageRefusal
from digitize.margin.stability import BALANCE_PM95_MM
from digitize.records import Quantity
from digitize.solid.measure import Solid

CLICK_PM95_PX = 2.0  # a pixel read off a screen by hand
_TURNS = 6  # the radius changes little along the body, so each turn gains some digits


def mark_x_mm(pose, tip_s_mm, profile_mm, point_px) -> tuple[np.ndarray, np.ndarray]:
    """(x from the nose tip, the ray's distance from the axis), mm, each (S,) or a scalar.

    pose: of the camera, with or without samples; tip_s_mm: the nose tip's place; profile_mm: (n, 2); point_px: (2,) of
    the working picture. A mark beside the body, as a string above it, counts where its ray is nearest to the axis.
    """
    s_mm, side_mm, slope = (a[..., 0] for a in pose.limb(np.asarray(point_px, float).reshape(1, 2)))
    x_mm = s_mm - tip_s_mm
    for _ in range(_TURNS):
        radius = np.interp(x_mm, *profile_mm.T)
        x_mm = s_mm - tip_s_mm - slope * np.sqrt(np.maximum(radius**2 - side_mm**2, 0.0))
    return x_mm, np.abs(side_mm)


def marked_balance(solid: Solid, samples: Samples, point_px, said: str) -> tuple[Quantity, np.ndarray]:
    """(the balance point, (S,) its error by the photo alone): scale and pose err with the centre of pressure's.

    point_px: (2,) of the working picture; said: as the user gave it. Raises UsageRefusal if it is not on the rocket.
    """
    profile, adjusted = solid.geometry.profile_mm, solid.adjusted
    pose = adjusted.pose()
    x, aside = (float(a) for a in mark_x_mm(pose, adjusted.problem.ends.tip_s_mm(pose), profile, point_px))
    length, radius = float(profile[-1, 0]), float(profile[:, 1].max())
    if not 0 < x < length or aside > 2 * radius:
        raise UsageRefusal(
            f"--balance-at: the pixel {said} is not on the rocket's body",
            "read it off the upright photo, x to the right and y down, where the string or the tape is",
        )
    sampled, _ = mark_x_mm(adjusted.pose(samples.values), samples.tip_s_mm, profile, point_px)
    error = sampled - np.median(sampled)
    by_photo = band(error, 0.0).pm95
    click = CLICK_PM95_PX * float(np.median(samples.mm_per_px))
    return Quantity(x, float(np.hypot(np.hypot(by_photo, click), BALANCE_PM95_MM))), error
