"""A rocket as the flat shapes it covers: each part projected exactly, in any projection.

`see` is a function from (..., 3) world points to (..., 2): a camera, a light that throws a shadow, or no
perspective at all. Shapes are shapely polygons in its coordinates, which must keep straight lines straight.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely

from .scene import DrawnFins, Pose, Rocket

See = Callable[[np.ndarray], np.ndarray]
RING_POINTS = 192  # with a circle's area, such a polygon is off by 7e-5 of the radius: a hundredth of a pixel
EDGE_LAYERS = 11  # of a rounded edge: flat by 1.2 % of half the thickness, well below a tenth of a pixel


@dataclass(frozen=True)
class Plate:
    """One fin. layers_mm: (k, n, 3) world, its outline at k heights from one face to the other.

    normal: (3,) out of the last one.
    """

    layers_mm: np.ndarray
    normal: np.ndarray

    @property
    def middle_layer_mm(self) -> np.ndarray:
        return self.layers_mm[len(self.layers_mm) // 2]

    @property
    def middle_mm(self) -> np.ndarray:
        return self.layers_mm.mean((0, 1))


def to_world(rocket: Rocket, pose: Pose, points_mm: np.ndarray) -> np.ndarray:
    """(..., 3) world of the rocket's own points: x from the nose tip, y and z along fins at 0 and 90."""
    nose = np.array(pose.middle_mm) - rocket.length_mm / 2 * pose.axes()[0]
    return nose + np.asarray(points_mm, float) @ np.array(pose.axes())


def rings(rocket: Rocket, pose: Pose, stations_mm: np.ndarray | None = None) -> np.ndarray:
    """(k, RING_POINTS, 3) world points of the body's circles, where its profile bends unless told."""
    if stations_mm is None:
        x, radius = shapely.get_coordinates(shapely.LineString(rocket.profile_mm).simplify(2e-3)).T
    else:
        x, radius = stations_mm, rocket.radius_mm(stations_mm)
    return _circles(rocket, pose, x, radius, np.zeros(2))


def _circles(rocket: Rocket, pose: Pose, x: np.ndarray, radius: np.ndarray, centre: np.ndarray) -> np.ndarray:
    part = 2 * np.pi / RING_POINTS
    angle = np.arange(RING_POINTS) * part
    radius = radius * np.sqrt(part / np.sin(part))  # the polygon then has the circle's area
    y = centre[0] + radius[:, None] * np.cos(angle)
    z = centre[1] + radius[:, None] * np.sin(angle)
    return to_world(rocket, pose, np.stack([np.broadcast_to(x[:, None], y.shape), y, z], -1))


def skin(circles_mm: np.ndarray, see: See, finest: float = 1e-3) -> shapely.Geometry:
    """What a stack of circles covers: the hulls of neighbours together, exact for cones and tubes.

    finest: points of a hull that stand out by less are left out, in the units of `see`.
    """
    seen = see(circles_mm)
    pairs = np.concatenate([seen[:-1], seen[1:]], 1)
    hulls = shapely.convex_hull(shapely.multipoints(pairs))
    return shapely.union_all(shapely.simplify(hulls, finest))


def body(rocket: Rocket, pose: Pose, see: See, finest: float = 1e-3) -> shapely.Geometry:
    return skin(rings(rocket, pose), see, finest)


def aft_disc(rocket: Rocket, pose: Pose, see: See) -> shapely.Geometry:
    return shapely.Polygon(see(rings(rocket, pose, rocket.profile_mm[-1:, 0])[0]))


def lug(rocket: Rocket, pose: Pose, see: See) -> shapely.Geometry:
    """The launch lug as a closed cylinder glued to the body, half a millimetre deep."""
    tube = rocket.lug
    x = np.array([tube.x0_mm, tube.x1_mm])
    angle = np.radians(tube.angle_deg)
    out = (rocket.radius_mm(x).max() + tube.radius_mm - 0.5) * np.array([np.cos(angle), np.sin(angle)])
    return skin(_circles(rocket, pose, x, np.full(2, tube.radius_mm), out), see)


def outward(pose: Pose, angle_deg: float) -> np.ndarray:
    """(3,) world unit vector along a fin at this angle."""
    _, upper, towards = pose.axes()
    return np.cos(np.radians(angle_deg)) * upper + np.sin(np.radians(angle_deg)) * towards


def faces_eye(rocket: Rocket, pose: Pose, x_mm: float, angle_deg: float, eye_mm: np.ndarray) -> bool:
    """Whether the body's surface at this place is turned toward the eye."""
    out = outward(pose, angle_deg)
    surface = to_world(rocket, pose, np.array([x_mm, 0, 0])) + rocket.radius_mm(x_mm) * out
    return float(out @ (np.asarray(eye_mm) - surface)) > 0


def plates(rocket: Rocket, pose: Pose, eye_mm: np.ndarray) -> tuple[list[Plate], list[Plate]]:
    """Fins behind the body and fins before it as seen from the eye, each farthest first."""
    behind, before = [], []
    for fins in rocket.fins:
        root_mm = float(fins.outline_mm[[0, -1], 0].mean())
        for angle in fins.roll_deg + np.arange(fins.count) * 360 / fins.count:
            front = faces_eye(rocket, pose, root_mm, angle, eye_mm)
            (before if front else behind).append(_plate(rocket, pose, fins, angle, front))

    def nearness(plate: Plate) -> float:
        return -float(np.linalg.norm(plate.middle_mm - eye_mm))

    return sorted(behind, key=nearness), sorted(before, key=nearness)


def _plate(rocket: Rocket, pose: Pose, fins: DrawnFins, angle_deg: float, front: bool) -> Plate:
    """One fin, closed along the body's surface; a fin behind the body reaches a little into it."""
    half = fins.thickness_mm / 2
    around = np.linspace(-np.pi / 2, np.pi / 2, EDGE_LAYERS if fins.round_edges else 2)
    upper, towards = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    layers = []
    for height, inset in zip(half * np.sin(around), half * (1 - np.cos(around)), strict=True):
        edge = _moved_inward(np.asarray(fins.outline_mm, float), inset if fins.round_edges else 0.0)
        root_x = np.linspace(edge[-1, 0], edge[0, 0], 24)
        surface = np.sqrt(np.maximum(rocket.radius_mm(root_x) ** 2 - height**2, 0))
        root = np.column_stack([root_x, surface if front else 0.7 * surface])
        x, y = np.concatenate([edge, root]).T
        layers.append(np.column_stack([x, y * upper - height * towards, y * towards + height * upper]))
    return Plate(to_world(rocket, pose, np.array(layers)), outward(pose, angle_deg + 90))


def _moved_inward(outline_mm: np.ndarray, inset_mm: float) -> np.ndarray:
    """An open outline (from root leading to root trailing edge) with every edge moved inward in parallel."""
    step = np.diff(outline_mm, axis=0)
    step = step / np.linalg.norm(step, axis=1, keepdims=True)
    normal = np.column_stack([-step[:, 1], step[:, 0]])
    normal *= np.sign(shapely.LinearRing(outline_mm).is_ccw - 0.5)
    before, after = normal[np.r_[0, : len(normal)]], normal[np.r_[: len(normal), -1]]
    mitre = (before + after) / (1 + (before * after).sum(1, keepdims=True))
    return outline_mm + inset_mm * mitre


def plate_shapes(plate: Plate, see: See, eye_mm: np.ndarray) -> tuple[shapely.Geometry, shapely.Geometry]:
    """The whole plate, and its face turned toward the eye."""
    seen = see(plate.layers_mm)
    faces = shapely.make_valid(shapely.polygons(seen[[0, -1]]))
    corners = np.stack([seen[:-1], seen[1:], np.roll(seen[:-1], -1, axis=1), np.roll(seen[1:], -1, axis=1)], 2)
    edges = shapely.convex_hull(shapely.multipoints(corners.reshape(-1, 4, 2)))
    shows = float(plate.normal @ (np.asarray(eye_mm) - plate.middle_mm)) > 0
    return shapely.union_all([*faces, *edges]), faces[1 if shows else 0]


def silhouette(rocket: Rocket, pose: Pose, see: See, eye_mm: np.ndarray, finest: float = 1e-3) -> shapely.Geometry:
    """Everything the rocket covers, with its fins and lug."""
    fins = [plate_shapes(p, see, eye_mm)[0] for side in plates(rocket, pose, eye_mm) for p in side]
    tube = [lug(rocket, pose, see)] if rocket.lug else []
    return shapely.union_all([body(rocket, pose, see, finest), *fins, *tube])
