"""A rectangle of known size lying flat in the picture: found, told from look-alikes, its corners to a
fraction of a pixel.

A candidate is judged by what the object is known to be: four straight steps in colour, which end where they
meet, whose shape is that of the known rectangle seen from some pose, with the corners it has (a bank card's
are round).
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from digitize.errors import ScaleRefusal
from digitize.photo.references.edge_lines import Side, fit_side, meet
from digitize.photo.sampling import linear_light_at
from digitize.records import Photo, ReferencePoints, Warn

from ..camera import FILM_DIAGONAL_MM
from .quads import MAX_TILT_DEG, find_quads

SEARCH_PX = 1200  # longer side of the reduced picture

UNKNOWN_FOCAL_DIAGONALS = (0.55, 0.7, 0.9, 1.2, 1.8, 2.6)  # phones' wide to tele, tried when EXIF is silent
REFINED = 12  # candidates looked at in full resolution
SAME_PLACE = 4  # of them may overlap: a card and its shadow, a card and what is printed on it
BELIEVED = 0.2  # least score taken for the object
RIVAL = 0.6  # a second place with this share of the best score makes the choice a guess
GOING_ON = {0: 1.0, 1: 1.0, 2: 0.6, 3: 0.35}  # weight by how many side ends run on; chance meets a few
EDGE_FLOOR_PX = 0.15  # a thin shadow or a sharpened edge moves all of a side together by about this much


@dataclass(frozen=True)
class RectangleKind:
    """What is known of the object. corner_radius_mm: 0 for square corners; white: blank paper."""

    kind: str
    label: str
    size_mm: tuple[float, float]
    corner_radius_mm: float
    size_sigma: float
    white: bool

    @property
    def corners_mm(self) -> np.ndarray:
        width, height = self.size_mm
        return np.array([[0, 0], [width, 0], [width, height], [0, height]], float)


@dataclass(frozen=True)
class PoseFit:
    """How a known rectangle fits four corners: rms residual in pixels, tilt of its plane.

    first: which corner of the clockwise quad is the rectangle's own top-left.
    """

    rms_px: float
    tilt_deg: float
    first: int


@dataclass(frozen=True)
class Quad:
    """A refined candidate.

    corners_px: (4, 2), clockwise in the picture, starting at the rectangle's own top-left.
    """

    corners_px: np.ndarray
    sides: tuple[Side, ...]
    pose: PoseFit
    size_px: float
    score: float = 0.0
    corner_cut_mm: float | None = None


def find_rectangle(photo: Photo, what: RectangleKind) -> ReferencePoints:
    """The one rectangle of this kind in the photo.

    Raises ScaleRefusal when none is believable, or when two places are equally good.
    """
    quads = _judged(photo, what)
    if not quads or quads[0].score < BELIEVED:
        raise ScaleRefusal(
            f"No {what.label} ({what.size_mm[0]:g} x {what.size_mm[1]:g} mm) was found in {photo.path.name}",
            "Lay it flat, wholly in the frame, on a ground it stands out from, or give another --scale",
        )
    best = quads[0]
    rivals = [q for q in quads[1:] if q.score > RIVAL * best.score and not _overlap(q.corners_px, best.corners_px)]
    if rivals:
        places = " and ".join(
            f"({x:.0f}, {y:.0f})" for x, y in (photo.to_full_px(q.corners_px.mean(axis=0)) for q in (best, rivals[0]))
        )
        raise ScaleRefusal(
            f"Two objects look equally like the {what.label}, at pixels {places}",
            "Leave only one such object in the picture, or give --scale points=X1,Y1,X2,Y2,LENGTH",
        )
    sigma = float(np.hypot(EDGE_FLOOR_PX, np.sqrt(np.mean([side.sigma_px**2 for side in best.sides]))))
    return ReferencePoints(
        kind=what.kind,
        label=what.label,
        points_px=best.corners_px,
        points_mm=what.corners_mm,
        sigma_px=sigma,
        size_sigma=what.size_sigma,
        outline_px=best.corners_px,
        warnings=_warnings(best, what),
    )


def _warnings(quad: Quad, what: RectangleKind) -> tuple[Warn, ...]:
    if quad.pose.tilt_deg > 25:
        return (
            Warn(
                "REFERENCE_TILTED",
                f"The {what.label} is seen tilted by {quad.pose.tilt_deg:.0f} degrees",
                "Hold the camera square to the plane of the rocket and the reference",
            ),
        )
    return ()


# --- fit to a known rectangle -----------------------------------------------------------------------------


def focal_candidates(shape, focal35_mm: float | None) -> list[float]:
    """Focal lengths to try, in pixels, for a picture of this shape."""
    diagonal = float(np.hypot(*shape[:2]))
    if focal35_mm:
        return [focal35_mm / FILM_DIAGONAL_MM * diagonal]
    return [share * diagonal for share in UNKNOWN_FOCAL_DIAGONALS]


def fit_pose(corners, size_mm, shape, focals, polish: bool = True) -> PoseFit | None:
    """Best pose of a size_mm = (width, height) rectangle on four clockwise corners (4, 2) pixels; None when
    none.
    """
    model = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) * [size_mm[0] / 2, size_mm[1] / 2, 0]
    centre = (np.array([shape[1], shape[0]]) - 1) / 2
    best = None
    for focal in focals:
        camera = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1]])
        for first in (0, 1):
            image = np.roll(corners, -first, axis=0).astype(float)
            ok, turns, shifts, _ = cv2.solvePnPGeneric(model, image, camera, None, flags=cv2.SOLVEPNP_IPPE)
            if not ok:
                continue
            turn, shift = turns[0], shifts[0]
            if polish:
                turn, shift = cv2.solvePnPRefineLM(model, image, camera, None, turn, shift)
            seen = cv2.projectPoints(model, turn, shift, camera, None)[0][:, 0]
            rms = float(np.sqrt(((seen - image) ** 2).sum(axis=1).mean()))
            cosine = abs(cv2.Rodrigues(turn)[0][2, 2])
            fit = PoseFit(rms, float(np.degrees(np.arccos(min(1.0, cosine)))), first)
            if best is None or fit.rms_px < best.rms_px:
                best = fit
    return best


def _shape_score(pose: PoseFit, size_px: float, tolerance: float) -> float:
    """How well four corners are this rectangle; references are laid facing the camera, so tilt costs."""
    misfit = max(0.0, pose.rms_px - 0.3) / (tolerance * size_px)
    return float(np.exp(-(misfit**2) - (pose.tilt_deg / 30) ** 2))


# --- judging ----------------------------------------------------------------------------------------------


def _candidates(photo: Photo, what: RectangleKind) -> list[np.ndarray]:
    """Quadrilaterals in pixels of photo.rgb, the most promising first."""
    rgb = photo.rgb
    reduce = max(1.0, max(rgb.shape[:2]) / SEARCH_PX)
    small = cv2.resize(rgb, None, fx=1 / reduce, fy=1 / reduce, interpolation=cv2.INTER_AREA) if reduce > 1 else rgb
    focals = focal_candidates(small.shape, photo.focal35_mm)
    ranked = []
    for corners in find_quads(small, what.size_mm[0] / what.size_mm[1]):
        size = _size(corners)
        steps = step_shares(small, corners, 2.0, 4.0)
        if steps.min() <= 0:
            continue
        pose = fit_pose(corners, what.size_mm, small.shape, focals, polish=False)
        if pose is None or pose.rms_px > 0.025 * size + 1.0 or pose.tilt_deg > MAX_TILT_DEG:
            continue
        score = _shape_score(pose, size, 0.02) * size**0.5 * steps.min()
        ranked.append((score, corners * reduce + (reduce - 1) / 2))
    chosen: list[np.ndarray] = []
    ranked.sort(key=lambda item: -item[0])
    for score, corners in ranked:
        if score < 0.03 * ranked[0][0]:
            break
        if sum(_overlap(corners, other) for other in chosen) < SAME_PLACE and len(chosen) < REFINED:
            chosen.append(corners)
    return chosen


def _size(corners: np.ndarray) -> float:
    return float(np.sqrt(cv2.contourArea(corners.astype(np.float32))))


def _judged(photo: Photo, what: RectangleKind) -> list[Quad]:
    """Refined candidates, best first."""
    reach = 3.0 * max(1.0, max(photo.rgb.shape[:2]) / SEARCH_PX)
    quads = []
    for corners in _candidates(photo, what):
        quad = _refine(photo, corners, what, reach)
        if quad is not None:
            quads.append(_scored(photo.rgb, quad, what))
    return sorted(quads, key=lambda quad: -quad.score)


def _refine(photo: Photo, corners: np.ndarray, what: RectangleKind, reach_px: float) -> Quad | None:
    """Sub-pixel sides and corners of a candidate, and its pose; None when it runs out of the picture."""
    rgb = photo.rgb
    trim = 0.06 + 1.3 * what.corner_radius_mm / min(what.size_mm)
    for reach in (reach_px, 3.0):
        sides = [fit_side(rgb, corners[i], corners[(i + 1) % 4], reach, trim) for i in range(4)]
        corners = np.array([meet(sides[i - 1], sides[i]) for i in range(4)])
        if not np.isfinite(corners).all() or corners.min() < 0 or (corners > np.array(rgb.shape[1::-1]) - 1).any():
            return None
    if cv2.contourArea(corners.astype(np.float32), oriented=True) < 100:
        return None
    pose = fit_pose(corners, what.size_mm, rgb.shape, focal_candidates(rgb.shape, photo.focal35_mm))
    if pose is None:
        return None
    turned = tuple(sides[(i + pose.first) % 4] for i in range(4))
    return Quad(np.roll(corners, -pose.first, axis=0), turned, pose, _size(corners))


def _scored(rgb: np.ndarray, quad: Quad, what: RectangleKind) -> Quad:
    steps = step_shares(rgb, quad.corners_px, 2.5, 4.0)
    support = min(side.support for side in quad.sides)
    sharp = np.exp(-((max(side.rms_px for side in quad.sides) / 0.8) ** 2))
    going_on = continued_sides(rgb, quad.corners_px)
    cut = corner_cut_mm(rgb, quad.corners_px, what)
    share_of_picture = quad.size_px / max(rgb.shape[:2])
    score = (
        _shape_score(quad.pose, quad.size_px, 0.004)
        * steps.min()
        * np.clip((support - 0.4) / 0.4, 0, 1)
        * sharp
        * GOING_ON.get(going_on, 0.1)
        * _corner_score(cut, what)
        * (whiteness(rgb, quad.corners_px) if what.white else 1.0)
        * np.clip(share_of_picture / 0.08, 0.3, 1.0)
    )
    return replace(quad, score=float(score), corner_cut_mm=cut)


def _corner_score(cut_mm: float | None, what: RectangleKind) -> float:
    """By where a corner of radius r begins on its diagonal, (1 - 1/sqrt 2) r: 0.93 mm (card) or 0."""
    if cut_mm is None:
        return 0.6
    wanted = what.corner_radius_mm * (1 - np.sqrt(0.5))
    tolerance = 0.35 * wanted if wanted else 0.01 * min(what.size_mm)
    return float(max(0.1, np.exp(-(((cut_mm - wanted) / tolerance) ** 2) / 2)))


def _rings(corners: np.ndarray, gap: float, depth: float, n: int = 24):
    """Points just inside and just outside each side: two arrays (4, n, 3, 2), at three depths."""
    share = np.linspace(0.14, 0.86, n)[:, None]
    rings = []
    for sign in (1, -1):
        side_points = []
        for i in range(4):
            a, b = corners[i], corners[(i + 1) % 4]
            side_points.append(_beside(a + share * (b - a), b - a, sign, gap, depth))
        rings.append(np.array(side_points))
    return rings


def _beside(points: np.ndarray, along: np.ndarray, sign: int, gap: float, depth: float) -> np.ndarray:
    across = sign * np.array([-along[1], along[0]]) / np.hypot(*along)
    depths = gap + depth * np.array([0, 0.5, 1.0])
    return points[:, None, :] + depths[None, :, None] * across


def _steps(rgb: np.ndarray, inside: np.ndarray, outside: np.ndarray):
    """Per row of points: share of stations stepping the row's own way, and the step's height (root of linear
    light).
    """
    lit, beyond = (np.sqrt(np.clip(linear_light_at(rgb, places), 0, 1)) for places in (inside, outside))
    difference = lit - beyond
    difference = np.median(difference, axis=2)
    typical = np.median(difference, axis=1)
    height = np.linalg.norm(typical, axis=1)
    own = np.einsum("snc,sc->sn", difference, typical / np.maximum(height, 1e-6)[:, None])
    return (own > 0.35 * height[:, None]).mean(axis=1), height


def step_shares(rgb: np.ndarray, corners: np.ndarray, gap: float, depth: float) -> np.ndarray:
    """For each side (4,): share of its length where inside and outside differ the side's own way, times the
    strength.

    A line drawn on the ground has the same colour on both sides, so it scores nothing.
    """
    share, height = _steps(rgb, *_rings(corners, gap, depth))
    return share * np.clip((height - 0.01) / 0.06, 0, 1)


def continued_sides(rgb: np.ndarray, corners: np.ndarray) -> int:
    """How many of the eight side ends run straight on as an edge beyond the corner: a card's sides end there.

    An edge counts only when it stands out from lines beside it: wood has its grain everywhere.
    """
    ins, outs = [], []
    offsets = np.array([0, -22, -15, -9, 9, 15, 22])
    for i in range(4):
        for a, b in ((corners[i], corners[(i + 1) % 4]), (corners[(i + 1) % 4], corners[i])):
            along = b - a
            across = np.array([-along[1], along[0]]) / np.hypot(*along)
            beyond = b + np.linspace(0.05, 0.2, 16)[:, None] * along
            for offset in offsets:
                ins.append(_beside(beyond + offset * across, along, 1, 1.5, 3.0))
                outs.append(_beside(beyond + offset * across, along, -1, 1.5, 3.0))
    share, height = (v.reshape(8, len(offsets)) for v in _steps(rgb, np.array(ins), np.array(outs)))
    strength = height * (share > 0.85)
    return int((strength[:, 0] > np.maximum(0.05, 2 * np.percentile(strength[:, 1:], 75, axis=1))).sum())


def corner_cut_mm(rgb: np.ndarray, corners: np.ndarray, what: RectangleKind) -> float | None:
    """Where the object begins on the diagonal from each corner, as mm along both sides, median of four.

    None when too small in the picture to be told.
    """
    span = max(2.2 * what.corner_radius_mm, 0.04 * min(what.size_mm))
    scale_px = _size(corners) / np.sqrt(what.size_mm[0] * what.size_mm[1])
    if span * scale_px < 4:
        return None
    to_px = cv2.getPerspectiveTransform(what.corners_mm.astype(np.float32), corners.astype(np.float32))
    k = np.linspace(-0.5 * span, span, 46)
    inward = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    lines_mm = what.corners_mm[:, None] + k[None, :, None] * inward[:, None]
    colours = linear_light_at(rgb, cv2.perspectiveTransform(lines_mm.reshape(-1, 1, 2), to_px).reshape(4, -1, 2))
    cuts = []
    for line in colours:
        # Just inside the corner, where even a printed frame has not begun.
        outside = np.median(line[k < -0.15 * span], axis=0)
        inside = np.median(line[(k > 0.18 * span) & (k < 0.32 * span)], axis=0)
        step = inside - outside
        if np.linalg.norm(step) < 0.02:
            if np.linalg.norm(line[-8:].mean(axis=0) - outside) > 0.05:
                cuts.append(span)  # still the ground here, and the object deeper in
            continue
        level = (line - outside) @ step / (step @ step)
        cuts.append(k[int((level > 0.5).argmax())])
    return float(np.median(cuts)) if len(cuts) >= 2 else None


def whiteness(rgb: np.ndarray, corners: np.ndarray) -> float:
    """0..1: blank and colourless all over, and lighter than what lies round it."""
    _, outside = _rings(corners, 4.0, 20.0)
    u, v = (grid.ravel()[:, None] for grid in np.meshgrid(*[np.linspace(0.06, 0.94, 20)] * 2))
    top, bottom = corners[0] + u * (corners[1] - corners[0]), corners[3] + u * (corners[2] - corners[3])
    inside = linear_light_at(rgb, (top + v * (bottom - top))[None])[0]
    middle = np.median(inside, axis=0)
    colour = (middle.max() - middle.min()) / max(middle.max(), 1e-3)
    lighter = middle.mean() / max(np.median(linear_light_at(rgb, outside).reshape(-1, 3), axis=0).mean(), 1e-3)
    marked = (np.abs(inside.mean(axis=1) / max(middle.mean(), 1e-3) - 1) > 0.4).mean()
    return float(
        np.clip((0.6 - colour) / 0.3, 0.05, 1)
        * np.clip((lighter - 0.9) / 0.2, 0.05, 1)
        * np.clip((0.2 - marked) / 0.1, 0.05, 1)
    )


def _overlap(a: np.ndarray, b: np.ndarray) -> bool:
    """Whether the middle of one lies within the other: the same object, or something printed on it."""
    return any(
        cv2.pointPolygonTest(p.astype(np.float32), tuple(map(float, q.mean(axis=0))), False) >= 0
        for p, q in ((a, b), (b, a))
    )
