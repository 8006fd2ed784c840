"""The inside of a hollow nose, and what a filling from its tip backward weighs and where it balances.

The inside is the traced profile moved inward by the wall, square to the skin. Between two points it is a cone's
frustum: pi r^2 is a parabola in x and x r^2 a cubic, for which Simpson's rule is exact, so volume and moment have no
error but rounding. For a cone filled to the depth h from its inner tip the centre lies at 3/4 h and the volume is
pi h^3 tan^2(half angle) / 3.
"""

from dataclasses import dataclass

import numpy as np
import shapely

from digitize.errors import GeometryRefusal
from digitize.geometry.describe import describe_profile
from digitize.geometry.nose_shapes import NOSE_SHAPES
from digitize.geometry.polygons import signed_area

MM3_PER_CM3 = 1000.0


@dataclass(frozen=True)
class Cavity:
    """x_mm, r_mm: (n,) the inside from its tip to the nose's base, x from the nose tip; straight between points."""

    x_mm: np.ndarray
    r_mm: np.ndarray

    @property
    def depth_mm(self) -> float:
        """From the inner tip to the nose's base."""
        return float(self.x_mm[-1] - self.x_mm[0])


def nose_length_mm(profile_mm) -> float:
    """Where the nose ends: its piece if the profile starts with a nose shape, else where it first is at its widest."""
    pieces = describe_profile(profile_mm)
    if pieces and pieces[0].kind in NOSE_SHAPES:
        return pieces[0].to_mm
    x, r = profile_mm.T
    return float(x[np.argmax(r >= 0.99 * r.max())])


def nose_cavity(profile_mm, wall_mm: float, end_mm: float | None = None) -> Cavity:
    """The inside of the nose with a wall of that thickness, down to end_mm (the nose's length if None).

    profile_mm: (n, 2) x from the nose tip, radius. Raises GeometryRefusal if the wall leaves nothing hollow.
    """
    end = nose_length_mm(profile_mm) if end_mm is None else end_mm
    x, r = np.asarray(profile_mm, float).T
    beyond = x[-1] + 10 * wall_mm + 1.0  # the base is open: no wall is taken off there
    upper = np.stack([np.append(x, beyond), np.append(r, r[-1])], -1)
    outer = shapely.make_valid(shapely.Polygon(np.concatenate([upper, upper[::-1] * [1, -1]])))
    inner = outer.buffer(-wall_mm, join_style="mitre", mitre_limit=50.0)
    parts = [part for part in shapely.get_parts(inner) if part.area > 0]
    hollow = max(parts, key=lambda part: part.area, default=None)
    if hollow is None or hollow.bounds[0] >= end:
        raise GeometryRefusal(
            f"a wall of {wall_mm:g} mm leaves nothing hollow in a nose {end:.0f} mm long",
            "check --wall, or give the weight's place with --at",
        )
    points = _upper_chain(np.array(hollow.exterior.coords)[:-1])
    inside = points[(points[:, 0] < end) & (points[:, 0] < x[-1])]
    last = [end, np.interp(end, *points.T)]
    return Cavity(*np.concatenate([inside, [last]]).T)


def _upper_chain(ring) -> np.ndarray:
    """(n, 2) the ring's points from its foremost to its aftmost with y >= 0, x not decreasing."""
    ring = ring if signed_area(ring) < 0 else ring[::-1]  # clockwise with y up: the upper side runs aft
    start = np.lexsort((np.abs(ring[:, 1]), ring[:, 0]))[0]
    ring = np.roll(ring, -start, axis=0)
    upper = ring[: int(np.argmax(ring[:, 0])) + 1]
    upper = upper[upper[:, 1] >= -1e-9] * [1, 1]
    front = [[upper[0, 0], 0.0]] if upper[0, 1] > 0 else []
    upper = np.concatenate([np.array(front).reshape(-1, 2), upper])
    return np.stack([np.maximum.accumulate(upper[:, 0]), np.maximum(upper[:, 1], 0.0)], -1)


def filling(cavity: Cavity, depth_mm: float, density_g_cm3: float) -> tuple[float, float]:
    """(mass in g, its centre from the nose tip in mm) when filled to the depth from the inner tip.

    A cone of 30 mm and 10 mm base radius, full: pi 100 30 / 3 = 3141.6 mm^3, centre at 3/4:

    >>> mass, x = filling(Cavity(np.array([0.0, 30.0]), np.array([0.0, 10.0])), 30.0, 2.0)
    >>> round(mass, 4), round(x, 9)
    (6.2832, 22.5)
    """
    level = cavity.x_mm[0] + min(max(depth_mm, 0.0), cavity.depth_mm)
    inside = cavity.x_mm < level
    x = np.append(cavity.x_mm[inside], level)
    r = np.append(cavity.r_mm[inside], np.interp(level, cavity.x_mm, cavity.r_mm))
    step, middle_x, middle_r = np.diff(x), (x[1:] + x[:-1]) / 2, (r[1:] + r[:-1]) / 2
    volume = np.pi / 6 * (step * (r[:-1] ** 2 + 4 * middle_r**2 + r[1:] ** 2)).sum()
    ends = x[:-1] * r[:-1] ** 2 + 4 * middle_x * middle_r**2 + x[1:] * r[1:] ** 2
    moment = np.pi / 6 * (step * ends).sum()
    if volume <= 0:
        return 0.0, float(cavity.x_mm[0])
    return float(volume / MM3_PER_CM3 * density_g_cm3), float(moment / volume)
