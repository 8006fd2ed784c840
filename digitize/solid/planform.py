"""A fin's true outline from the silhouette, whatever angle the fins stand at.

All fins of a group are alike, and every point of every fin, on both faces, projects inside the silhouette. So
the planform is the largest set of points (x, y) of the fin's own plane for which all of them do: the silhouette is
carried back into the fin's plane once for each fin and face, and the results are intersected. Where any one fin is
the outermost thing at its edge, that edge is the planform's. A fin in the photo's plane is the simplest case of it.
Fins turned away from the picture show their thickness too, by an amount that depends on how their edges are
rounded; so where one fin lies flatter in the picture than others, the others only bound it loosely.
(The visual hull of A. Laurentini, IEEE PAMI 16 (1994) 150, from memory, in the plane of the fin.)
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely
from skimage.measure import find_contours

from digitize.photo.sampling import sampled
from digitize.solid.coverage import Coverage, coverage
from digitize.solid.pose import Pose

FLATTER_RAD = np.radians(15.0)
EDGE_ON_RAD = np.radians(70.0)
"""A fin seen this near to edge-on bounds nothing: a degree of roll moves it by more than its thickness."""
ROLL_DOUBT_RAD = 0.03
CORNER_RAD = np.radians(25.0)
"""A turn of the outline sharper than this is a corner, behind which another edge begins."""
LEDGE_RISE_PX, LEDGE_SLOPE = 8.0, 0.35
MOST_CARRIED = 4.5
"""A ledge stays within so many pixels of where it starts and rises from the body by no more than this slope; a strake
does so too, but is seen for a fifth at least of what it is carried on."""
LEAST_NOTCH = 0.01
ROOM_ROUND = 0.12
"""Share of a planform's size that is left round it where a finer or a second look at it goes."""
EDGE_ROUNDING = 0.4
"""Share of the half thickness by which an oblique fin's edge stands out in the picture: about 0.3 for round and 0.7
for square edges at 45 degrees (1 - cos and sin); in between, since nobody says which."""


@dataclass(frozen=True)
class Carving:
    """What is carved in, and how finely.

    profile_s_mm: (n, 2) body profile, place along the axis and radius; first_s_mm, last_s_mm, reach_mm: the box to
    look in; step_mm: grid; half_thickness_mm: of the fin; count, roll_rad: the fins' angles are
    roll + 2 pi k / count + turn_rad, the last each fin's own, (count,) or 0; absent: numbers of the fins
    that are not in the silhouette.
    """

    profile_s_mm: np.ndarray
    first_s_mm: float
    last_s_mm: float
    reach_mm: float
    step_mm: float
    half_thickness_mm: float
    count: int
    roll_rad: float
    turn_rad: np.ndarray | float = 0.0
    absent: tuple[int, ...] = ()

    def angles(self) -> np.ndarray:
        """Angles of the fins in the silhouette, rad."""
        angles = self.roll_rad + 2 * np.pi * np.arange(self.count) / self.count + self.turn_rad
        return np.delete(angles, self.absent) if self.absent else angles

    def radius_at(self, s_mm: np.ndarray) -> np.ndarray:
        """Body radius, 0 beyond its ends."""
        return np.interp(s_mm, self.profile_s_mm[:, 0], self.profile_s_mm[:, 1], left=0.0, right=0.0)


@dataclass(frozen=True)
class Planform:
    """outline_mm: (m, 2) (s, y), root leading edge round to root trailing edge; the first and last points lie on the
    body. angle_rad, offset_mm: (m,) the fin, and the plane's offset from its middle, whose edge in the picture gave
    each point. hidden_lead_mm, hidden_trail_mm: length of edge carried on down to the root, unseen.
    """

    outline_mm: np.ndarray
    angle_rad: np.ndarray
    offset_mm: np.ndarray
    hidden_lead_mm: float
    hidden_trail_mm: float


@dataclass(frozen=True)
class Scenery:
    """What fins are carved against: the silhouette, the same grown by what is loosely known of turned fins, and the
    body's own silhouette grown by two pixels: nearer to it, the silhouette's edge is the body's and not the fin's."""

    cover: Coverage
    loose: Coverage
    body: Coverage


def scenery(outline_px: np.ndarray, pose: Pose, job: Carving) -> Scenery:
    """The scenery of a fin group, as far as its fins can reach in the picture; it does not depend on the roll or on the
    grid. outline_px: (n, 2) the silhouette's border."""
    px_mm = pose.depth_mm / pose.camera.focal_px
    doubt_mm = job.half_thickness_mm + ROLL_DOUBT_RAD * job.reach_mm
    s, across = (job.first_s_mm, job.last_s_mm), (-job.reach_mm, job.reach_mm)
    box = pose.project(np.array([[[at, up, toward] for at in s] for up in across for toward in across]).reshape(-1, 3))
    low, high = np.maximum(box.min(0), outline_px.min(0)), np.minimum(box.max(0), outline_px.max(0))
    cover = coverage(outline_px, low, np.maximum(high, low))
    loose = Coverage(_spread(cover.alpha, float(doubt_mm / px_mm) + 1.0), cover.corner_px)
    return Scenery(cover, loose, body_cover(pose, job, cover, 2.0))


def _spread(alpha: np.ndarray, margin_px: float) -> np.ndarray:
    """(h, w) 0..1 like alpha, its border margin_px farther out: by distances, which cost the same for any margin."""
    outside = cv2.distanceTransform((alpha < 0.5).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.clip(margin_px + 1.0 - outside, 0.0, 1.0)


def on_grid(job: Carving, most_steps: int, times: float = 1.0) -> Carving:
    """The job on a grid `times` coarser, and no finer than most_steps along its longest side: what a search or a fit
    begins with need not be finer the more pixels a camera has, as the fit, not the grid, gives the edges."""
    longest = max(job.last_s_mm - job.first_s_mm, job.reach_mm)
    return replace(job, step_mm=max(times * job.step_mm, longest / most_steps))


def carve(scene: Scenery, pose: Pose, job: Carving, like: Planform | None = None) -> Planform | None:
    """The planform, or None where nothing of a fin stands clear of the body. like: what a coarser grid gave, to look
    only where that lies."""
    planform = _carve_once(scene, pose, job, like)
    if planform is None or not any(loose for _, _, loose in _views(job)):
        return planform
    # the turned fins may stand out beside the flat one; what they cover of its edge is not its edge
    hidden = np.maximum(scene.body.alpha, _grown(_turned_fins(planform, pose, job, scene.cover), 1.5))
    beside = replace(scene, body=Coverage(hidden, scene.body.corner_px))
    return _carve_once(beside, pose, job, like or planform) or planform


def _carve_once(scene: Scenery, pose: Pose, job: Carving, like: Planform | None) -> Planform | None:
    s, y = _grid(job, like)
    inside, clear = _inside_and_clear(scene, pose, job, s, y)
    field = np.where(clear, inside, 0.0)
    kept = _largest(field > 0.5)
    if kept is None:
        return None
    path = open_path(np.where(kept, field, np.minimum(field, 0.49)), clear)
    if path is None:
        return None
    points = np.column_stack([np.interp(path[:, 1], np.arange(len(s)), s), np.interp(path[:, 0], np.arange(len(y)), y)])
    points = _without_ledge(_simplified(points, 0.4 * job.step_mm), job)
    points = _without_ledge(points[::-1], job)[::-1]
    return closed_to_root(points, scene, pose, job)


def _grid(job: Carving, like: Planform | None) -> tuple[np.ndarray, np.ndarray]:
    """Places along the axis (n,) and from it (m,): of the whole box, or only round a planform that is nearly known."""
    s = np.arange(job.first_s_mm, job.last_s_mm, job.step_mm)
    y = np.arange(0.0, job.reach_mm + 3 * job.step_mm, job.step_mm)
    if like is None:
        return s, y
    low, high = like.outline_mm.min(0), like.outline_mm.max(0)
    room = ROOM_ROUND * (high - low)
    near = (s > low[0] - room[0]) & (s < high[0] + room[0])
    return (s[near], y[y < high[1] + room[1]]) if near.sum() > 2 else (s, y)


def closed_to_root(
    points: np.ndarray, scene: Scenery, pose: Pose, job: Carving, turn_rad: np.ndarray | float = 0.0
) -> Planform:
    """The planform of an open edge (m, 2), carried on to the body at both ends. turn_rad: (count,) each fin's own
    departure from its place."""
    points = _from_the_body(_from_the_body(points, job)[::-1], job)[::-1]
    lead, hidden_lead = to_root(points, job)
    trail, hidden_trail = to_root(points[::-1], job)
    outline = np.vstack([lead, points, trail])
    angle, offset = _deciding(scene.cover, pose, replace(job, turn_rad=turn_rad), outline)
    return Planform(outline, angle, offset, hidden_lead, hidden_trail)


def _from_the_body(points: np.ndarray, job: Carving) -> np.ndarray:
    """The open edge (m, 2) from where it leaves the body: a fit may have moved its first corners inside."""
    out = points[:, 1] > job.radius_at(points[:, 0])
    k = int(np.argmax(out))
    if k == 0 or len(points) - k < 2:
        return points
    way = points[k - 1] + np.linspace(0, 1, 600)[:, None] * (points[k] - points[k - 1])
    return np.vstack([way[np.argmax(way[:, 1] > job.radius_at(way[:, 0]))], points[k:]])


def without_notches(planform: Planform) -> Planform | None:
    """The planform with what is cut into its convex hull filled in, None where that is little: a fin's bit that the
    outline lacks is cut out of the visual hull, whichever fin lacked it."""
    outline = planform.outline_mm
    hull = cv2.convexHull(outline.astype(np.float32), returnPoints=False)[:, 0]
    kept = np.unique(np.r_[hull, 0, 1, len(outline) - 2, len(outline) - 1])
    area, filled = (cv2.contourArea(points.astype(np.float32)) for points in (outline, outline[kept]))
    if filled < (1 + LEAST_NOTCH) * area or len(kept) < 5:
        return None
    rest = {"angle_rad": planform.angle_rad[kept], "offset_mm": planform.offset_mm[kept]}
    return replace(planform, outline_mm=outline[kept], **rest)


def _turned_fins(planform: Planform, pose: Pose, job: Carving, like: Coverage) -> np.ndarray:
    """(h, w) 0..1 where the fins that only bound loosely would be seen."""
    turned = np.array([angle for angle, _, loose in _views(job) if loose])
    offset = np.repeat([-job.half_thickness_mm, job.half_thickness_mm], len(turned))
    return drawn_planes(planform.outline_mm, pose, np.tile(turned, 2), offset, like).astype(np.float32)


def _views(job: Carving):
    """(angle, offset of the plane from the fin's middle, whether it only bounds loosely) of each fin and face."""
    angles = job.angles()
    turned = np.abs(np.arccos(np.clip(np.abs(np.cos(angles)), 0, 1)))
    for angle, turn in zip(angles, turned, strict=True):
        if turn > EDGE_ON_RAD and turn > turned.min() + FLATTER_RAD:
            continue
        loose = turn > turned.min() + FLATTER_RAD
        thick = job.half_thickness_mm * EDGE_ROUNDING * np.sin(turn)
        for face in (-1.0, 1.0) if thick > 0 and not loose else (0.0,):
            yield angle, face * thick, loose


def body_cover(pose: Pose, job: Carving, like: Coverage, margin_px: float) -> Coverage:
    """The body's own silhouette, aft rim included, grown by margin_px all round."""
    s = np.linspace(job.profile_s_mm[0, 0], job.profile_s_mm[-1, 0], 200)
    radius = np.interp(s, *job.profile_s_mm.T)
    limbs = np.vstack([pose.limb_px(s, radius), pose.limb_px(s, -radius)[::-1]])
    turn = np.linspace(0, 2 * np.pi, 60)
    rim = pose.project(np.stack([np.full(60, s[-1]), radius[-1] * np.cos(turn), radius[-1] * np.sin(turn)], -1))
    mask = np.zeros(like.alpha.shape, np.uint8)
    for shape in (limbs, rim):
        cv2.fillPoly(mask, [np.round((shape - like.corner_px) * 16).astype(np.int32)], 255, shift=4)
    return Coverage(_grown(mask, margin_px).astype(np.float32) / 255, like.corner_px)


def _grown(mask, margin_px):
    size = 2 * int(np.ceil(margin_px)) + 1
    return cv2.dilate(mask, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))


def _inside_and_clear(scene, pose, job, s, y):
    """For each grid point: the least coverage any fin's copy of it meets, and whether any copy is clear of the body."""
    inside, clear = np.ones((len(y), len(s)), np.float32), np.zeros((len(y), len(s)), bool)
    for angle, offset, loose in _views(job):
        places = pose.project_grid(s, y, angle, offset)
        inside = np.minimum(inside, (scene.loose if loose else scene.cover).at_places(*places))
        if not loose:
            clear |= scene.body.at_places(*places) < 0.5
    return inside, clear & (y[:, None] > np.interp(s, *job.profile_s_mm.T))


def _largest(flags):
    count, labels, stats, _ = cv2.connectedComponentsWithStats(flags.astype(np.uint8), connectivity=4)
    if count < 2:
        return None
    biggest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    return labels == biggest if stats[biggest, cv2.CC_STAT_AREA] >= 30 else None


def open_path(field, clear):
    """(m, 2) row, column along the field's 0.5 level, leading side first, without the cut along the body."""
    padded = np.pad(field, 1)
    curves = find_contours(padded, 0.5)
    if not curves:
        return None
    curve = max(curves, key=len)[:-1] - 1
    soft = cv2.blur(clear.astype(np.float32), (3, 3))
    near = sampled(soft, curve[:, 1], curve[:, 0])
    cut = near < 0.95
    if cut.all():
        return None
    if cut.any():
        curve, cut = np.roll(curve, -_longest_end(cut), axis=0), np.roll(cut, -_longest_end(cut))
        curve = curve[np.flatnonzero(~cut)[0] : np.flatnonzero(~cut)[-1] + 1]
    return curve if curve[0, 1] < curve[-1, 1] else curve[::-1]


def _longest_end(flags):
    """Index just behind the longest cyclic run of True."""
    n = len(flags)
    best, run, end = 0, 0, 0
    for k in range(2 * n):
        run = run + 1 if flags[k % n] else 0
        if run > best:
            best, end = run, k + 1
    return end % n


def _simplified(points, tolerance):
    """Douglas-Peucker, leaving 5 to about 60 points."""
    while True:
        out = shapely.get_coordinates(shapely.LineString(points).simplify(tolerance, preserve_topology=False))
        if len(out) <= 60:
            return out
        tolerance *= 1.3


def _without_ledge(points, job):
    """The edge without a start that runs along the body, just where the body stops hiding the fins, if so little of it
    is seen that the root would rest on the unseen rest of it: the true edge begins behind it."""
    height = points[:, 1] - np.interp(points[:, 0], *job.profile_s_mm.T)
    run, rise = np.abs(np.diff(points[:, 0])), np.diff(height)
    low = np.minimum.accumulate(height[1:] < height[0] + LEDGE_RISE_PX * job.step_mm)
    along = np.flatnonzero(low & (rise < LEDGE_SLOPE * run))
    if not len(along) or height[0] <= 0 or len(points) - along[-1] < 5:
        return points
    k = int(along[-1]) + 1
    seen = abs(points[k, 0] - points[0, 0])
    slope = max((height[k] - height[0]) / max(seen, 1e-9), 0.05)
    return points[k:] if height[0] / slope > MOST_CARRIED * seen else points


def to_root(points, job):
    """((2,) where the edge that starts the points meets the body, how far that is carried on)."""
    start = points[0]
    gap = max(start[1] - float(job.radius_at(start[:1])[0]), job.step_mm)
    direction = start - points[_straight_to(points, max(1.2 * gap, 8 * job.step_mm), 5 * job.step_mm)]
    if direction[1] > -0.05 * abs(direction[0]):  # an edge running along the body tells nothing of the root
        direction = np.array([0.0, -1.0])
    direction = direction / -direction[1]
    point = start + direction * _until_body(start, direction, job)
    on_body = float(np.clip(point[0], job.profile_s_mm[0, 0], job.profile_s_mm[-1, 0]))
    if on_body != point[0]:  # an unseen edge carried on past the body's end: a root is glued to the body
        point = np.array([on_body, float(job.radius_at(np.array([on_body]))[0])])
    return point, float(np.linalg.norm(point - start))


def _until_body(start, direction, job):
    """How far (mm) from start along direction, which falls by one a step, the body is first met; beyond its ends,
    what it is there. Where start lies below that already: back out to it."""
    fall = np.linspace(0.0, max(start[1] - job.profile_s_mm[:, 1].min(), job.step_mm), 600)
    if float(np.interp(start[0], *job.profile_s_mm.T)) > start[1]:
        fall = -np.linspace(0.0, job.profile_s_mm[:, 1].max() - start[1] + job.step_mm, 600)
    line = start + fall[:, None] * direction
    height = line[:, 1] - np.interp(line[:, 0], *job.profile_s_mm.T)
    passed = np.flatnonzero(np.signbit(height) != np.signbit(height[0]))
    if not len(passed):
        return float(fall[-1])
    k = int(passed[0])
    return float(fall[k - 1] + (fall[k] - fall[k - 1]) * height[k - 1] / (height[k - 1] - height[k]))


def _straight_to(points, wanted_mm, least_mm):
    """Number of the point up to which the edge is followed for its direction: `wanted_mm` on, but not round a corner
    once `least_mm` of it is behind."""
    steps = np.diff(points, axis=0)
    heading = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    reach = np.cumsum(np.linalg.norm(steps, axis=1))
    last = min(int(np.searchsorted(reach, wanted_mm)), len(steps) - 1)
    for k in range(1, last + 1):
        if reach[k - 1] >= least_mm and abs(heading[k] - heading[k - 1]) > CORNER_RAD:
            return k
    return last + 1


def _deciding(cover, pose, job, outline):
    """Angle and offset of the fin whose copy of each point lies least inside the silhouette."""
    views = [(angle, offset) for angle, offset, loose in _views(job) if not loose]
    values = cover.at(pose.project_fins(outline, *np.array(views).T))
    best = np.argmin(values, axis=0)
    return np.array([views[k][0] for k in best]), np.array([views[k][1] for k in best])


def drawn_fins(planform: Planform, pose: Pose, job: Carving, like: Coverage) -> np.ndarray:
    """Bool (h, w): where the fins of this planform would be seen."""
    faces = job.half_thickness_mm * np.array([-1.0, 0.0, 1.0])
    return drawn_planes(planform.outline_mm, pose, np.repeat(job.angles(), 3), np.tile(faces, len(job.angles())), like)


def drawn_planes(
    outline_mm: np.ndarray, pose: Pose, angle_rad: np.ndarray, offset_mm: np.ndarray, like: Coverage
) -> np.ndarray:
    """Bool (h, w): where planforms (m, 2) at the angles (k,), offset_mm (k,) from the fin's middle, would be seen."""
    mask = np.zeros(like.alpha.shape, np.uint8)
    for seen in pose.project_fins(outline_mm, angle_rad, offset_mm) - like.corner_px:
        cv2.fillPoly(mask, [np.round(seen * 16).astype(np.int32)], 1, shift=4)
    return mask > 0
