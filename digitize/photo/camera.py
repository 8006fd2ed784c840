"""The camera as a pinhole with one radial term, and what is known of it before looking at the picture.

Model (the one OpenCV documents as Brown-Conrady, first term only): a point (X, Y, Z) in the camera frame has
x_u = X / Z, y_u = Y / Z, r2 = x_u^2 + y_u^2, and is seen at centre_px + focal_px * (x_u, y_u) * (1 + k1 * r2).
"""

from dataclasses import dataclass

import numpy as np

FILM_DIAGONAL_MM = 43.267
"""Diagonal of the 36 x 24 mm frame: the convention of the EXIF 35 mm-equivalent (CIPA DCG-001)."""

EXIF_FOCAL_SIGMA = 0.025
"""Relative. The tag is a whole number of millimetres and phones crop for stabilisation."""

UNKNOWN_FOCAL35_MM = 32.0
"""Millimetres equivalent; the middle, in the logarithm and toward the main lens, of the range below. No source."""
UNKNOWN_FOCAL_SIGMA = 0.45
"""Phones' main and portrait lenses run from about 24 to 77 mm equivalent: twice this sigma, in the logarithm."""

LENS_CORNER_SIGMA = 0.007
"""Relative shift of the picture's corner by lens distortion that is left after a phone's own correction."""


@dataclass(frozen=True)
class Camera:
    """focal_px and k1 may carry a leading sample axis (S,), then every result has it too.

    centre_px: (2,) principal point, pixels.
    """

    focal_px: np.ndarray | float
    centre_px: np.ndarray
    k1: np.ndarray | float = 0.0

    def rays(self, points_px: np.ndarray) -> np.ndarray:
        """Unit directions (..., n, 3) in the camera frame of pixels (n, 2) or (S, n, 2)."""
        focal = np.asarray(self.focal_px, float)[..., None, None]
        k1 = np.asarray(self.k1, float)[..., None]
        distorted = (np.asarray(points_px, float) - self.centre_px) / focal
        undistorted = distorted
        for _ in range(6):  # fixed point; contracts since |k1| r2 stays far below 1
            r2 = (undistorted**2).sum(-1)
            undistorted = distorted / (1 + k1 * r2)[..., None]
        direction = np.concatenate([undistorted, np.ones_like(undistorted[..., :1])], axis=-1)
        return direction / np.linalg.norm(direction, axis=-1, keepdims=True)

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """Pixels (..., n, 2) of points (..., n, 3) in the camera frame, millimetres."""
        points_mm = np.asarray(points_mm, float)
        focal, k1 = (np.asarray(v, float)[..., None] for v in (self.focal_px, self.k1))
        # one coordinate at a time: numpy is slow along an axis of two, and every point of every fin comes through here
        return np.stack(self._seen(points_mm[..., 0], points_mm[..., 1], points_mm[..., 2], focal, k1), axis=-1)

    def project_grid(
        self, corner_mm: np.ndarray, along_mm: np.ndarray, down_mm: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Pixels x and y, each (m, n) float32, of the points corner (3,) + along (n, 3) + down (m, 3); one camera only.
        Single precision is good to a thousandth of a pixel."""
        x, y, z = (
            (corner_mm[k] + along_mm[:, k]).astype(np.float32) + down_mm[:, k, None].astype(np.float32)
            for k in range(3)
        )
        return self._seen(x, y, z, np.float32(self.focal_px), np.float32(self.k1))

    def _seen(self, x, y, z, focal, k1):
        x, y = x / z, y / z
        stretched = focal * (1 + k1 * (x * x + y * y))
        centre = self.centre_px.astype(x.dtype)
        return centre[0] + stretched * x, centre[1] + stretched * y


@dataclass(frozen=True)
class CameraPrior:
    """What is believed of the camera beforehand. log_focal_sigma: of ln(focal_px). source: in words."""

    camera: Camera
    log_focal_sigma: float
    k1_sigma: float
    source: str


def camera_prior(width_px: int, height_px: int, focal35_mm: float | None) -> CameraPrior:
    """The camera to expect of a picture of this size, from its EXIF focal length when it has one."""
    diagonal_px = float(np.hypot(width_px, height_px))
    known = focal35_mm is not None
    focal_px = (UNKNOWN_FOCAL35_MM if focal35_mm is None else focal35_mm) / FILM_DIAGONAL_MM * diagonal_px
    centre_px = np.array([(width_px - 1) / 2, (height_px - 1) / 2])
    corner_r2 = (diagonal_px / 2 / focal_px) ** 2
    return CameraPrior(
        camera=Camera(focal_px, centre_px, 0.0),
        log_focal_sigma=EXIF_FOCAL_SIGMA if known else UNKNOWN_FOCAL_SIGMA,
        k1_sigma=LENS_CORNER_SIGMA / corner_r2,
        source=f"EXIF, {focal35_mm:g} mm equivalent" if known else "not in the file: a phone's usual range",
    )
