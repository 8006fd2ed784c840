"""How well a carved fin's edges are known: by the outline's deviation, its two sides, and what stays unexplained."""

import numpy as np

from digitize.aero.components import exposed_planform
from digitize.geometry.polygons import polygon_area
from digitize.numeric.neighbours import Nearest
from digitize.records import Silhouette
from digitize.solid.planform import Carving
from digitize.solid.pose import Pose

COMMON_UNEXPLAINED = 0.02
"""Share of a fin's silhouette that even a good one leaves unexplained."""


def edge_sigma_px(pixels: np.ndarray, silhouette: Silhouette) -> float:
    """Root mean square of the outline's own deviation along the fin, each point at most 6 pixels."""
    nearest = Nearest(silhouette.outline_px).query(pixels)[1]
    return float(np.sqrt(np.mean(np.minimum(silhouette.sigma_px[nearest], 6.0) ** 2)))


def misfit_sigma_px(pixels, outline, job: Carving, sides, unexplained: float, pose: Pose) -> float:
    """Edge error along the fin, in pixels, that would make up for half the difference of its two sides and for what
    of the silhouette it leaves unexplained beyond a common share."""
    profile = job.profile_s_mm - [job.profile_s_mm[0, 0], 0.0]
    area = polygon_area(exposed_planform(profile, outline))
    apart = abs(sides[0] - sides[1]) / 2 if sides else 0.0
    doubt_mm2 = np.hypot(apart, max(unexplained - COMMON_UNEXPLAINED, 0.0) * area / 2)
    edge_mm = np.linalg.norm(np.diff(pixels, axis=0), axis=1).sum() * pose.depth_mm / pose.camera.focal_px
    return float(doubt_mm2 / edge_mm / (pose.depth_mm / pose.camera.focal_px))


def outward(pose: Pose, outline, angle_rad, offset_mm) -> np.ndarray:
    """(m, 2) unit vectors in the picture along which each point of a fin's outline (m, 2) (s, y) moves when the fin
    grows. angle_rad, offset_mm: (m,) as in FinTrace."""
    tangent = np.gradient(outline, axis=0)
    # leading edge first, tip up: left of the way is outside
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    grown, moved = outline + normal, np.zeros_like(outline)
    for angle, off in sorted(set(zip(angle_rad.tolist(), offset_mm.tolist(), strict=True))):
        k = (angle_rad == angle) & (offset_mm == off)
        moved[k] = pose.project_fin(grown[k], angle, off) - pose.project_fin(outline[k], angle, off)
    return moved / np.maximum(np.linalg.norm(moved, axis=1, keepdims=True), 1e-12)
