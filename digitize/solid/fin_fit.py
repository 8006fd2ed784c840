"""One planform for all fins of a group, fitted to the edges of every fin that is seen.

The visual hull (solid.planform) is the start: it takes from all fins whatever one of them lacks in the silhouette. Real
fins are cut by hand, glued a few degrees off, and outlines err. So the planform's corners, the roll, and a turn of
each fin of its own are the unknowns of a least-squares fit. Points of the silhouette's outline are held against the
nearest outer edge of the model and the model's outer edges against the outline (iterated closest points, point to line:
Y. Chen and G. Medioni, Image Vision Comput. 10 (1992) 145; from memory), with a loss that is bounded (S. Geman and
D. McClure, 1987; from memory), so that a bit missing or too much on one fin counts no more than a few standard
deviations and does not bend the others.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely

from digitize.aero.components import exposed_planform
from digitize.geometry.polygons import polygon_area, signed_area
from digitize.numeric.neighbours import Nearest
from digitize.records import Silhouette
from digitize.solid.planform import EDGE_ON_RAD, EDGE_ROUNDING, Carving, Planform, Scenery, closed_to_root, drawn_planes
from digitize.solid.pose import Pose

EDGE_MODES = 5
"""Independent stretches of one fin's edge: what errs on an edge errs together over a fifth of it."""
UNLIKE = 0.015
"""Fins of one group, cut by hand, differ by about 2 % of their size: each from their mean by this share."""
GLUED_RAD = np.radians(2.0)
"""How exactly a fin is glued at its angle (a builder's care; common practice, no source)."""
WITHIN_PX = 0.5
BOUND = 4.0
"""Standard deviations beyond which a point counts no more."""
TAIL = 2.0
"""For comparing fits a point's cost grows on beyond so many, slowly: a fin that is not there costs more than a bite."""
STEPS = 8
MOST_POINTS = 240
ROUNDING_DOUBT = 0.5 * EDGE_MODES**0.5
"""Doubt about how far an oblique fin's edge stands out, as a share of its half thickness: at 60 degrees round edges do
by 0.50, square ones by 0.87 (1 - cos and sin), 0.3 is taken (EDGE_ROUNDING); all of an edge's stretches err alike."""


@dataclass(frozen=True)
class EdgePoints:
    """The outline as fins are fitted to it. every, tree: all its points (n, 2); points: (k, 2) those clear of the body
    in the group's stretch, spacing_px apart; every_sigma_px, sigma_px: their standard deviations."""

    every: np.ndarray
    every_sigma_px: np.ndarray
    tree: Nearest
    points: np.ndarray
    sigma_px: np.ndarray
    spacing_px: float


@dataclass(frozen=True)
class Fitted:
    """planform: with the roots carried on; roll_rad; turn_rad: (count,) each fin's own departure from its place;
    roll_sigma_rad; cost: in squared standard deviations; fin_costs: (count,) of it by fin; unexplained: area by
    which the model's and the seen silhouette differ, over the fins' silhouette; absent: numbers of the fins that
    the silhouette lacks."""

    planform: Planform
    roll_rad: float
    turn_rad: np.ndarray
    roll_sigma_rad: float
    cost: float
    fin_costs: np.ndarray
    unexplained: float = 0.0
    side_areas_mm2: tuple[float, float] | None = None
    absent: tuple[int, ...] = ()

    def angles(self) -> np.ndarray:
        """(count,) each fin's angle, rad."""
        count = len(self.turn_rad)
        return self.roll_rad + 2 * np.pi * np.arange(count) / count + self.turn_rad


def edge_points_of(silhouette: Silhouette, scene: Scenery, pose: Pose, job: Carving) -> EdgePoints:
    """The silhouette's outline as the fins of a group have to explain it."""
    spacing = 1.0
    every, sigma = _resampled(silhouette, spacing)
    s = pose.limb(every)[0]
    mine = (s > job.first_s_mm) & (s < job.last_s_mm) & (scene.body.at(every) < 0.5)
    spacing_px = spacing * max(mine.sum() / MOST_POINTS, 1.0)
    pick = np.flatnonzero(mine)
    pick = pick[np.linspace(0, len(pick) - 1, min(len(pick), MOST_POINTS)).astype(int)] if len(pick) else pick
    return EdgePoints(every, sigma, Nearest(every), every[pick], sigma[pick], spacing_px)


def _resampled(silhouette: Silhouette, spacing: float) -> tuple[np.ndarray, np.ndarray]:
    """The outline at equal spacing, and its standard deviations, each at most 6 pixels."""
    points = np.vstack([silhouette.outline_px, silhouette.outline_px[:1]])
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    at = np.arange(0.0, along[-1], spacing)
    sigma = np.minimum(np.append(silhouette.sigma_px, silhouette.sigma_px[0]), 6.0)
    return np.column_stack([np.interp(at, along, column) for column in points.T]), np.interp(at, along, sigma)


@dataclass(frozen=True)
class _Planes:
    """The planes (k,) that bound the fins in the picture: the fin, its angle, the plane's offset from its middle."""

    fin: np.ndarray
    angle: np.ndarray
    offset_mm: np.ndarray


@dataclass(frozen=True)
class _Edges:
    """Samples (n,) on the model's outer edges: points, normal outward (n, 2), the plane, its fin, the segment's first
    corner, and how far along it they lie."""

    points: np.ndarray
    normal: np.ndarray
    plane: np.ndarray
    fin: np.ndarray
    corner: np.ndarray
    share: np.ndarray


def fit(
    seen: EdgePoints,
    scene: Scenery,
    pose: Pose,
    job: Carving,
    start_mm: np.ndarray,
    roll_prior: tuple[float, float] | None,
) -> Fitted:
    """The planform that explains the edges best. start_mm: (m, 2) its open edge, (s, y), to begin
    with; roll_prior: (roll, its standard deviation) as said, rad, or None."""
    px_mm = float(pose.depth_mm / pose.camera.focal_px)
    inner = _corners(start_mm, px_mm * max(0.6, float(np.median(seen.every_sigma_px))))
    roll, turn = job.roll_rad, np.zeros(job.count)
    model = _Model(seen, scene, pose, job, px_mm)
    bound = 5 * BOUND
    for _ in range(STEPS):
        bound = max(bound / 1.6, BOUND)
        normal, gradient, _ = model.equations(inner, roll, turn, bound)
        _add_priors(normal, gradient, len(inner), roll, turn, roll_prior)
        damped = normal.copy()
        k = np.arange(2 * len(inner))
        damped[k, k] += (2 / _elbow_room(inner)) ** 2
        move = np.linalg.solve(damped + 1e-9 * np.eye(len(normal)), -gradient)
        limit = 0.3 * _elbow_room(inner)
        inner = inner + np.clip(move[: 2 * len(inner)], -limit, limit).reshape(-1, 2)
        roll += float(np.clip(move[2 * len(inner)], -0.05, 0.05))
        turn = turn + np.clip(move[2 * len(inner) + 1 :], -0.05, 0.05)
    normal, gradient, cost = model.equations(inner, roll, turn, BOUND)
    _add_priors(normal, gradient, len(inner), roll, turn, roll_prior)
    k = np.arange(2 * len(inner))
    normal[k, k] += 1e-3 * (1 / _elbow_room(inner)) ** 2
    normal[2 * len(inner), 2 * len(inner)] += 12 * (job.count / (2 * np.pi)) ** 2  # no edge seen: any roll, evenly
    sigma = float(np.sqrt(np.linalg.inv(normal)[2 * len(inner), 2 * len(inner)]))
    planform = closed_to_root(inner, scene, pose, replace(job, roll_rad=roll), turn)
    cost = cost + (turn / GLUED_RAD) ** 2
    unexplained = model.unexplained(planform.outline_mm, roll, turn)
    return Fitted(planform, roll, turn, sigma, float(cost.sum()), cost, unexplained, absent=job.absent)


def with_side_areas(fitted: Fitted, seen: EdgePoints, scene: Scenery, pose: Pose, job: Carving) -> Fitted:
    """The fit with the area of one fin by either side alone, where both show a fin lying flat."""
    model = _Model(seen, scene, pose, job, float(pose.depth_mm / pose.camera.focal_px))
    inner = fitted.planform.outline_mm[1:-1]
    areas = model.side_areas(inner, fitted.planform, fitted.roll_rad, fitted.turn_rad)
    return replace(fitted, side_areas_mm2=areas)


def _corners(points: np.ndarray, tolerance_mm: float) -> np.ndarray:
    """The open edge (m, 2) with the corners it needs, none closer to another than twice the tolerance."""
    out = shapely.get_coordinates(shapely.LineString(points).simplify(tolerance_mm, preserve_topology=False))
    far = np.r_[True, np.linalg.norm(np.diff(out, axis=0), axis=1) > 2 * tolerance_mm]
    far[-1] = True
    return out[far] if far.sum() >= 3 else points[np.linspace(0, len(points) - 1, min(4, len(points))).astype(int)]


def _elbow_room(inner: np.ndarray) -> np.ndarray:
    """(2 m,) length of the shorter edge at each corner, for both its coordinates."""
    edge = np.linalg.norm(np.diff(inner, axis=0), axis=1)
    return np.repeat(np.minimum(np.r_[edge, edge[-1]], np.r_[edge[0], edge]), 2)


def _add_priors(normal, gradient, corners: int, roll: float, turn: np.ndarray, roll_prior) -> None:
    at = 2 * corners
    k = at + 1 + np.arange(len(turn))
    normal[k, k] += 1 / GLUED_RAD**2
    gradient[k] += turn / GLUED_RAD**2
    if roll_prior is not None:
        normal[at, at] += 1 / roll_prior[1] ** 2
        gradient[at] += (roll - roll_prior[0]) / roll_prior[1] ** 2


class _Model:
    """The group's fins in the picture: their outer edges, and the normal equations of what they leave."""

    def __init__(self, seen: EdgePoints, scene: Scenery, pose: Pose, job: Carving, px_mm: float):
        self.seen, self.scene, self.pose, self.job, self.px_mm = seen, scene, pose, job, px_mm
        self.body = scene.body.alpha >= 0.5

    def angles(self, roll: float, turn: np.ndarray) -> np.ndarray:
        return roll + 2 * np.pi * np.arange(self.job.count) / self.job.count + turn

    def planes(self, roll: float, turn: np.ndarray) -> _Planes:
        """The planes that bound the fins in the picture."""
        angles = self.angles(roll, turn)
        faces = [() if k in self.job.absent else _faces(self.job, angle) for k, angle in enumerate(angles)]
        fin = np.repeat(np.arange(len(angles)), [len(offsets) for offsets in faces])
        return _Planes(fin, angles[fin], np.concatenate([np.array(offsets) for offsets in faces]))

    def edges(self, inner: np.ndarray, planes: _Planes) -> _Edges:
        """Samples of the edges that bound what is seen, hidden neither by the body nor by another fin."""
        fins = self.pose.project_fins(_closed(inner, self.job), planes.angle, planes.offset_mm)
        edges = _sampled(fins[:, 1:-1], planes.fin, max(self.seen.spacing_px, 2.0))
        outside = edges.points + 1.5 * edges.normal
        outer = ~_looked_up(self.body, edges.points - self.scene.cover.corner_px)
        outer &= ~_looked_up(self.body, outside - self.scene.cover.corner_px)
        outer[outer] = ~_inside_any(outside[outer], fins)
        return _Edges(*(getattr(edges, name)[outer] for name in edges.__dataclass_fields__))

    def equations(self, inner: np.ndarray, roll: float, turn: np.ndarray, bound: float):
        """(normal matrix, gradient, (count,) cost by fin) at these values; unknown are corners, roll and turns."""
        size = 2 * len(inner) + 1 + self.job.count
        planes = self.planes(roll, turn)
        edges = self.edges(inner, planes)
        if not len(edges.points) or not len(self.seen.points):
            return np.zeros((size, size)), np.zeros(size), np.full(self.job.count, 1e9)
        near, to_model = Nearest(edges.points).query(self.seen.points)
        back, to_seen = self.seen.tree.query(edges.points)
        index = np.r_[to_model, np.arange(len(edges.points))]
        target = np.vstack([self.seen.points, self.seen.every[to_seen]])
        away = np.r_[near, back]
        spacing = max(self.seen.spacing_px, 2.0)
        away = np.where(away < 1.5 * spacing, 0.0, away)
        off = ((target - edges.points[index]) * edges.normal[index]).sum(1)
        own = self._own_sigma(edges, planes.angle[edges.plane])
        sigma = np.hypot(np.r_[self.seen.sigma_px, self.seen.every_sigma_px[to_seen]], own[index])
        r = np.where(np.abs(off) > away, np.abs(off), away) / sigma
        # one fin's edge is EDGE_MODES independent stretches; both directions tell the same
        length = np.r_[np.full(len(near), self.seen.spacing_px), np.full(len(back), spacing)]
        weight = 0.5 * length / self._stretch(edges)
        cost = np.bincount(edges.fin[index], weight * TAIL**2 * np.log1p((r / TAIL) ** 2), self.job.count)
        robust = weight / sigma**2 / (1 + (r / bound) ** 2) ** 2
        slopes = self._slopes(inner, planes, edges)
        worth, pull = (np.bincount(index, each, len(edges.points)) for each in (robust, robust * -off))
        return slopes.T @ (worth[:, None] * slopes), slopes.T @ pull, cost

    def _stretch(self, edges: _Edges) -> float:
        """Length in pixels over which an edge errs alike: a fifth of a whole fin's edge in the picture."""
        spacing = max(self.seen.spacing_px, 2.0)
        return max(spacing * np.bincount(edges.fin).max() / EDGE_MODES, 2 * spacing)

    def _own_sigma(self, edges: _Edges, angle: np.ndarray) -> np.ndarray:
        """(n,) standard deviation of the model's edges by themselves, pixels. angle: (n,) of each one's plane."""
        place, side, _ = self.pose.limb(edges.points)
        height = np.abs(side) - np.interp(place, *self.job.profile_s_mm.T)
        thick = ROUNDING_DOUBT * self.job.half_thickness_mm * np.abs(np.sin(angle))
        own = np.hypot(UNLIKE * np.maximum(height, 0), thick) / self.px_mm
        flat = np.abs(np.cos(angle)) > np.cos(EDGE_ON_RAD)
        own = np.where(flat, own, own + self.job.half_thickness_mm / self.px_mm)
        return np.hypot(WITHIN_PX, own)

    def _slopes(self, inner: np.ndarray, planes: _Planes, edges: _Edges) -> np.ndarray:
        """(n, unknowns): how far each edge's sample moves outward with each unknown."""
        step, turn_step = self.px_mm, 1e-3

        def moved(corners, angle, by):
            return (self.pose.project_fins(corners, angle, planes.offset_mm) - here) / by

        here = self.pose.project_fins(inner, planes.angle, planes.offset_mm)
        by_s, by_y = (moved(inner + step * axis, planes.angle, step) for axis in np.eye(2))
        by_turn = moved(inner, planes.angle + turn_step, turn_step)
        m, rows = len(inner), np.arange(len(edges.points))
        slopes = np.zeros((len(rows), 2 * m + 1 + self.job.count))
        for corner, part in ((edges.corner, 1 - edges.share), (edges.corner + 1, edges.share)):
            s, y, turn = (part * (by[edges.plane, corner] * edges.normal).sum(1) for by in (by_s, by_y, by_turn))
            slopes[rows, 2 * corner], slopes[rows, 2 * corner + 1] = s, y
            slopes[rows, 2 * m] += turn
            slopes[rows, 2 * m + 1 + edges.fin] += turn
        return slopes

    def side_areas(self, inner, planform: Planform, roll: float, turn: np.ndarray) -> tuple[float, float] | None:
        """(upper, lower) area of one fin by its own edge, where both sides show a fin lying flat."""
        angles = self.angles(roll, turn)
        upper, lower = np.argmax(np.cos(angles)), np.argmin(np.cos(angles))
        if np.cos(angles[upper]) < 0.95 or np.cos(angles[lower]) > -0.95:
            return None
        profile = self.job.profile_s_mm
        area = polygon_area(exposed_planform(profile - [profile[0, 0], 0], planform.outline_mm - [profile[0, 0], 0]))
        edges = self.edges(inner, self.planes(roll, turn))
        away, nearest = self.seen.tree.query(edges.points)
        off = ((self.seen.every[nearest] - edges.points) * edges.normal).sum(1)
        found = []
        for fin in (upper, lower):
            mine = (edges.fin == fin) & (away < 0.1 * np.sqrt(area) / self.px_mm)
            grown = off[mine].sum() * max(self.seen.spacing_px, 2.0) * self.px_mm**2 / abs(np.cos(angles[fin]))
            found.append(float(area + grown))
        return found[0], found[1]

    def unexplained(self, outline: np.ndarray, roll: float, turn: np.ndarray) -> float:
        """Area by which the two silhouettes differ clear of the body, over the seen one's, in the group's stretch."""
        planes = self.planes(roll, turn)
        drawn = drawn_planes(outline, self.pose, planes.angle, planes.offset_mm, self.scene.cover) & ~self.body
        target = fin_region(self.scene, self.pose, self.job)
        stretch = drawn & ~(self.scene.cover.alpha > 0.5)
        return float(((target & ~drawn).sum() + stretch.sum()) / max(int(target.sum()), 1))


def _faces(job: Carving, angle: float) -> tuple[float, ...]:
    turn = abs(np.sin(angle))
    thick = job.half_thickness_mm * EDGE_ROUNDING * turn
    if abs(np.cos(angle)) < np.cos(EDGE_ON_RAD):
        thick = job.half_thickness_mm
    return (-thick, 0.0, thick) if thick > 0 else (0.0,)


def _closed(inner: np.ndarray, job: Carving) -> np.ndarray:
    """The open edge with its ends brought down to the body."""
    ends = inner[[0, -1]].copy()
    ends[:, 1] = job.radius_at(ends[:, 0])
    return np.vstack([ends[:1], inner, ends[1:]])


def _sampled(corners: np.ndarray, fin: np.ndarray, spacing: float) -> _Edges:
    """Samples along the open chains of corners (k, m, 2) in the picture, each in the middle of its share of a segment.
    fin: (k,)."""
    edge = np.diff(corners, axis=1)
    length = np.linalg.norm(edge, axis=2)
    # outward of the closed fin, whichever way round it is seen
    way = np.array([1.0 if signed_area(chain) > 0 else -1.0 for chain in corners])
    normal = np.stack([edge[..., 1], -edge[..., 0]], -1) * (way[:, None] / np.maximum(length, 1e-9))[..., None]
    number = np.maximum(np.round(length / spacing).astype(int), 1).ravel()
    plane, corner = (np.repeat(index.ravel(), number) for index in np.indices(length.shape))
    place = np.arange(number.sum()) - np.repeat(np.cumsum(number) - number, number)
    share = (place + 0.5) / np.repeat(number, number)
    points = corners[plane, corner] + share[:, None] * edge[plane, corner]
    return _Edges(points, normal[plane, corner], plane, fin[plane], corner, share)


def _inside_any(points: np.ndarray, polygons: np.ndarray) -> np.ndarray:
    """(n,) bool: points (n, 2) inside any of the closed polygons (k, m, 2), by the sides crossed going right."""
    (ax, ay), (bx, by) = (np.moveaxis(ends, -1, 0) for ends in (polygons, np.roll(polygons, -1, axis=1)))
    slope = (bx - ax) / np.where(by == ay, 1.0, by - ay)
    x, y = points[:, 0, None, None], points[:, 1, None, None]
    crossed = ((ay > y) != (by > y)) & (x < ax + (y - ay) * slope)
    return np.logical_xor.reduce(crossed, axis=2).any(axis=1)


def _looked_up(mask: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(n,) bool of the mask at points (n, 2), False outside."""
    x, y = np.round(points).astype(int).T
    inside = (x >= 0) & (y >= 0) & (x < mask.shape[1]) & (y < mask.shape[0])
    out = np.zeros(len(points), bool)
    out[inside] = mask[y[inside], x[inside]]
    return out


def fin_region(scene: Scenery, pose: Pose, job: Carving) -> np.ndarray:
    """Bool (h, w): silhouette that is not body, within the group's stretch of the axis."""
    cover = scene.cover
    stretch = pose.project(
        np.array([[s, y, 0.0] for s, y in [
            (job.first_s_mm, -2 * job.reach_mm), (job.last_s_mm, -2 * job.reach_mm),
            (job.last_s_mm, 2 * job.reach_mm), (job.first_s_mm, 2 * job.reach_mm),
        ]])
    )  # fmt: skip
    band = np.zeros(cover.alpha.shape, np.uint8)
    cv2.fillPoly(band, [np.round(stretch - cover.corner_px).astype(np.int32)], 1)
    return (cover.alpha > 0.5) & (scene.body.alpha < 0.5) & (band > 0)
