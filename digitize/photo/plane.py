"""The plane of a flat reference: its homography, its local scale, and its pose before a camera of known focal
length.

Frames: the plane's own millimetres (x right, y down as printed), pixels (x right, y down), camera (x right, y
down, z forward). Source of the decomposition: R. Hartley, A. Zisserman, Multiple View Geometry, 2nd ed. 2004,
section 8.1 and example 8.18 (a plane's homography is K [r1 r2 t]).
"""

from dataclasses import dataclass

import cv2
import numpy as np

from digitize.records import ReferencePoints

FLAT_RATIO = 1e-4  # of the two spreads of points: below it they are on one line


@dataclass(frozen=True)
class NotFound:
    """A falsy result: why something could not be worked out."""

    reason: str

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True)
class PlanePose:
    """Plane to camera: X_camera = rotation (3, 3) @ (x, y, 0) + shift_mm (3,). tilt_deg: of its normal to the
    z axis.
    """

    rotation: np.ndarray
    shift_mm: np.ndarray

    @property
    def tilt_deg(self) -> float:
        return float(np.degrees(np.arccos(min(1.0, abs(self.rotation[2, 2])))))


def on_one_line(points: np.ndarray) -> bool:
    """Whether points (n, 2) lie on one line: cv2.findHomography then gives a rank-1 matrix and calls all
    inliers.
    """
    if len(points) < 3:
        return True
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(spread[1] < FLAT_RATIO * max(spread[0], 1e-12))


def homography(points: ReferencePoints) -> np.ndarray | NotFound:
    """(3, 3), millimetres of the plane to pixels, last entry 1."""
    if len(points.points_px) < 4 or on_one_line(points.points_mm) or on_one_line(points.points_px):
        return NotFound("its points lie on one line, which fixes the scale along it but not the plane's tilt")
    matrix, _ = cv2.findHomography(points.points_mm, points.points_px)
    if matrix is None or not np.isfinite(matrix).all():
        return NotFound("its points don't fix a plane")
    values = np.linalg.svd(matrix / np.linalg.norm(matrix), compute_uv=False)
    return matrix if values[1] > 1e-9 else NotFound("its points don't fix a plane")


def mm_per_px(matrix: np.ndarray, at_px: np.ndarray) -> float:
    """Local scale of the plane seen at a pixel (2,): root of the ratio of areas."""
    inverse = np.linalg.inv(matrix)
    w = inverse[2] @ [*at_px, 1.0]
    # |d(mm)/d(px)| of a projective map is det / w^3.
    return float(np.sqrt(abs(np.linalg.det(inverse) / w**3)))


def pose(matrix: np.ndarray, focal_px: float, centre_px: np.ndarray) -> PlanePose:
    """Pose of the plane whose homography this is, before a pinhole camera; the nearest rotation to the
    columns found.
    """
    camera = np.array([[focal_px, 0, centre_px[0]], [0, focal_px, centre_px[1]], [0, 0, 1]])
    columns = np.linalg.solve(camera, matrix)
    scale = np.sqrt(np.linalg.norm(columns[:, 0]) * np.linalg.norm(columns[:, 1])) * np.sign(columns[2, 2])
    columns = columns / scale
    raw = np.column_stack([columns[:, 0], columns[:, 1], np.cross(columns[:, 0], columns[:, 1])])
    left, _, right = np.linalg.svd(raw)
    rotation = left @ np.diag([1, 1, np.sign(np.linalg.det(left @ right))]) @ right
    return PlanePose(rotation, columns[:, 2])
