"""A pinhole camera with one radial term, and flat things seen through it."""

from dataclasses import dataclass

import cv2
import numpy as np

DIAGONAL_35MM = 43.267  # of the 24 x 36 mm frame the 35 mm-equivalent focal length refers to


@dataclass(frozen=True)
class Camera:
    """size_px: (width, height). centre_mm: of projection, world. turn_rad: rotation vector, world to camera.

    k1: x_distorted = x (1 + k1 r^2), r in units of the focal length (Brown-Conrady). The principal point is
    the picture's centre.
    """

    size_px: tuple[int, int]
    focal_px: float
    centre_mm: tuple[float, float, float]
    turn_rad: tuple[float, float, float] = (0.0, 0.0, 0.0)
    k1: float = 0.0

    @staticmethod
    def focal_px_of(f35_mm: float, size_px: tuple[int, int]) -> float:
        """Focal length in pixels of a 35 mm-equivalent one, by the picture's diagonal."""
        return f35_mm / DIAGONAL_35MM * float(np.hypot(*size_px))

    @property
    def principal_px(self) -> np.ndarray:
        return (np.array(self.size_px) - 1) / 2

    @property
    def rotation(self) -> np.ndarray:
        """(3, 3) world to camera."""
        return cv2.Rodrigues(np.array(self.turn_rad, float))[0]

    def to_camera(self, points_mm: np.ndarray) -> np.ndarray:
        """(..., 3) world points in the camera's frame: x right, y down, z forward."""
        return (np.asarray(points_mm, float) - self.centre_mm) @ self.rotation.T

    def ideal(self, points_mm: np.ndarray) -> np.ndarray:
        """(..., 2) what a lens without distortion shows, in units of the focal length.

        Straight lines are straight here, so outlines are put together in these coordinates and bent last.
        """
        seen = self.to_camera(points_mm)
        return seen[..., :2] / seen[..., 2:]

    def bend(self, ideal: np.ndarray) -> np.ndarray:
        """(..., 2) pixels of ideal coordinates: distortion, then focal length and principal point."""
        radius2 = (ideal**2).sum(-1, keepdims=True)
        return ideal * (1 + self.k1 * radius2) * self.focal_px + self.principal_px

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """(..., 2) pixels of world points."""
        return self.bend(self.ideal(points_mm))

    def unbend(self, points_px: np.ndarray) -> np.ndarray:
        """(..., 2) ideal coordinates of pixels; the inverse of `bend` by Newton's method on the radius."""
        bent = (points_px - self.principal_px) / self.focal_px
        target = np.sqrt((bent**2).sum(-1, keepdims=True))
        radius = target.copy()
        for _ in range(6):
            radius -= (radius * (1 + self.k1 * radius**2) - target) / (1 + 3 * self.k1 * radius**2)
        return bent / (1 + self.k1 * radius**2)

    def ideal_grid(self, box: tuple[int, int, int, int], finer: int = 1) -> tuple[np.ndarray, np.ndarray]:
        """Ideal x and y, each (height, width) float32, of a box's pixel centres: left, top, right, bottom.

        finer: samples per pixel and direction. Exact on a grid of every 8th sample and interpolated between:
        the error is below a thousandth of a pixel, as distortion bends slowly.
        """
        left, top, right, bottom = box
        width, height = (right - left) * finer, (bottom - top) * finer
        columns, rows = -(-width // 8) + 3, -(-height // 8) + 3
        # Coarse cell c, enlarged eight times, has its centre at sample 8 c + 3.5; the first cell is a margin.
        x = left + ((np.arange(columns) - 1) * 8 + 4) / finer - 0.5
        y = top + ((np.arange(rows) - 1) * 8 + 4) / finer - 0.5
        coarse = self.unbend(np.stack(np.meshgrid(x, y), -1))
        fine = cv2.resize(coarse, (columns * 8, rows * 8), interpolation=cv2.INTER_LINEAR).astype(np.float32)
        fine = fine[8 : 8 + height, 8 : 8 + width]
        return fine[..., 0], fine[..., 1]


@dataclass(frozen=True)
class Plane:
    """A plane with its own x and y. origin_mm, x_axis, y_axis: (3,) world; the axes have its scale."""

    origin_mm: np.ndarray
    x_axis: np.ndarray
    y_axis: np.ndarray

    def world(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 3) world points of (n, 2) points in the plane."""
        points_mm = np.asarray(points_mm, float)
        return self.origin_mm + points_mm[:, :1] * self.x_axis + points_mm[:, 1:] * self.y_axis

    def seen_through(self, camera: Camera, ideal_x: np.ndarray, ideal_y: np.ndarray) -> list[np.ndarray]:
        """The plane's x and y, float32, where the rays of these ideal coordinates meet it."""
        towards = np.column_stack([self.x_axis, self.y_axis, self.origin_mm - np.array(camera.centre_mm)])
        back = np.linalg.inv(camera.rotation @ towards).astype(np.float32)
        x, y, scale = (row[0] * ideal_x + row[1] * ideal_y + row[2] for row in back)
        return [x / scale, y / scale]
