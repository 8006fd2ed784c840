"""The cut-out: area and centroid of the rocket's side view, the old cardboard cross-check.

Source: NASA Glenn Research Center, Beginner's Guide, Rocket Center of Pressure: the centroid is the sum of
area times distance over the whole projected area. It lies forward of the centre of pressure at small angles,
so a margin measured from it is the cautious one.
"""

from collections.abc import Sequence

import numpy as np
import shapely

from digitize.records import Geometry


def cutout(geometry: Geometry, roll_deg: float | Sequence[float] = 0.0) -> tuple[float, float, float]:
    """Area (mm^2) and centroid (x from the nose tip, y from the axis, mm) of the side view without
    perspective.

    roll_deg: the angle of fin 1 from the picture's plane, one for all groups or one for each. Fin k of N
    stands at roll + 360 k / N, and shows its outline with the height times the cosine. Fins are taken as
    thin.
    """
    shape = silhouette(geometry, roll_deg)
    centroid = shape.centroid
    return float(shape.area), float(centroid.x), float(centroid.y)


def silhouette(geometry: Geometry, roll_deg: float | Sequence[float] = 0.0):
    """The side view as a shapely geometry: the union of the body and its fins, each as it shows."""
    rolls = np.broadcast_to(np.asarray(roll_deg, float), len(geometry.fins))
    x, r = geometry.profile_mm.T
    outlines = [np.concatenate([geometry.profile_mm, np.stack([x, -r], -1)[::-1]])]
    for group, roll in zip(geometry.fins, rolls, strict=True):
        # Taken down to the axis: the body covers the part inside it, and closes the fin along its real
        # surface.
        outline = group.outline_mm
        foot = np.array([[outline[-1, 0], 0.0], [outline[0, 0], 0.0]])
        fin = np.concatenate([outline, foot])
        for angle_deg in roll + 360 / group.count * np.arange(group.count):
            outlines.append(fin * [1.0, np.cos(np.radians(angle_deg))])
    return shapely.union_all(shapely.make_valid([shapely.Polygon(outline) for outline in outlines]))
