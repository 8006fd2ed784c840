"""The plane of a flat reference: its homography, its local scale, and its pose before a camera of known focal
length.

Frames: the plane's own millimetres (x right, y down as printed), pixels (x right, y down), camera (x right, y
down, z forward). Source of the decomposition: R. Hartley, A. Zisserman, Multiple View Geometry, 2nd ed. 2004,
section 8.1 and example 8.18 (a plane's homography is K [r1 r2 t]); the focal length from one plane by the
orthogonality of r1, r2.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from digitize.records import ReferencePoints

FLAT_RATIO = 1e-4  # of the two spreads of points: below it they are on one line
FOCAL_SIGMA = 0.25  # a focal length known worse than this (relative) is not worth having


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


@dataclass(frozen=True)
class FocalLength:
    """From one tilted plane; sigma_px by carrying the points' own sigma through."""

    focal_px: float
    sigma_px: float


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


def _focal_squared(matrix: np.ndarray, centre_px: np.ndarray) -> tuple[float, float]:
    """Focal length squared by least squares over the two conditions on r1, r2, and how much of it they fix
    (0: none).
    """
    shifted = np.array([[1, 0, -centre_px[0]], [0, 1, -centre_px[1]], [0, 0, 1]]) @ matrix
    first, second = shifted[:, 0], shifted[:, 1]
    size = np.sqrt(np.linalg.norm(first[:2]) * np.linalg.norm(second[:2]))
    # r1.r2 = 0 and |r1| = |r2|, with u = 1 / f^2:  a u + b = 0.
    a = np.array([first[:2] @ second[:2], first[:2] @ first[:2] - second[:2] @ second[:2]]) / size**2
    b = np.array([first[2] * second[2], first[2] ** 2 - second[2] ** 2]) / size**2
    # Solved for f^2 from a + b f^2 = 0: b vanishes for a plane seen square on, and then nothing is known.
    return float(-(a @ b) / max(b @ b, 1e-30)), float(np.linalg.norm(b))


def focal_from_plane(points: ReferencePoints, centre_px: np.ndarray) -> FocalLength | NotFound:
    """Focal length in pixels from one tilted plane (square pixels, known principal point), or why not."""
    matrix = homography(points)
    if isinstance(matrix, NotFound):
        return matrix
    squared, _ = _focal_squared(matrix, centre_px)
    samples = []
    rng = np.random.default_rng(0)
    for _ in range(60):
        noisy = points.points_px + rng.normal(0, points.sigma_px, points.points_px.shape)
        other, _ = cv2.findHomography(points.points_mm, noisy)
        samples.append(_focal_squared(other, centre_px)[0])
    samples = np.array(samples)
    good = samples > 0
    if squared <= 0 or good.mean() < 0.9:
        return NotFound("the plane is seen too nearly square on for its perspective to show the focal length")
    focal = float(np.sqrt(squared))
    sigma = float(np.std(np.sqrt(samples[good])))
    if sigma > FOCAL_SIGMA * focal:
        return NotFound(f"the plane's tilt fixes the focal length only to {100 * sigma / focal:.0f} %")
    return FocalLength(focal, sigma)
