"""A printed checkerboard: its inner corners."""

import cv2
import numpy as np

from digitize.errors import ScaleRefusal
from digitize.records import Photo, ReferencePoints

SEARCH_PX = 1600  # longer side of the reduced picture in which the board is looked for
CORNER_FLOOR_PX = (
    0.05  # pixel noise apart, sharpening and unequal ink spread move a corner by about this much
)


def find_checker(photo: Photo, squares: tuple[int, int], square_mm: float) -> ReferencePoints:
    """Inner corners of a board of squares = (across, down), each square_mm wide.

    points_mm: the board's outer top-left corner is (0, 0). A half turn of the board can't be told and doesn't matter.
    Raises ScaleRefusal when no such board is seen whole.
    """
    across, down = squares
    inner = (across - 1, down - 1)
    corners = _corners(photo.rgb, inner)
    if corners is None:
        raise ScaleRefusal(
            f"No checkerboard of {across} x {down} squares was found in {photo.path.name}",
            "Show the whole board with a white border round it, and count the squares, not the inner corners",
        )
    grid = np.array([[i + 1, j + 1] for j in range(inner[1]) for i in range(inner[0])], float) * square_mm
    homography, _ = cv2.findHomography(grid, corners)
    residual = cv2.perspectiveTransform(grid[:, None], homography).reshape(-1, 2) - corners
    sigma = float(np.sqrt((residual**2).sum() / max(2 * len(grid) - 8, 1)))
    scale_px = np.sqrt(abs(np.linalg.det(homography[:2, :2]))) * square_mm
    if sigma > 0.05 * scale_px:
        raise ScaleRefusal(
            f"The checkerboard in {photo.path.name} is not flat: its corners miss a plane by {sigma:.1f} pixels",
            "Glue the board to something flat, or take another reference",
        )
    border = np.array([[-1, -1], [across + 1, -1], [across + 1, down + 1], [-1, down + 1]], float) * square_mm
    outline = cv2.perspectiveTransform(border[:, None], homography).reshape(-1, 2)
    return ReferencePoints(
        kind="checker",
        label=f"checkerboard, {square_mm:g} mm squares",
        points_px=corners,
        points_mm=grid,
        sigma_px=float(np.hypot(sigma, CORNER_FLOOR_PX)),
        size_sigma=0.001,  # a printer's size, measured by the user over several squares to about 0.1 mm in 100
        outline_px=outline,
    )


def _corners(rgb: np.ndarray, inner: tuple[int, int]) -> np.ndarray | None:
    """(n, 2) pixels of the inner corners, row by row as the board has them."""
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    for longest in (SEARCH_PX, 2 * SEARCH_PX, SEARCH_PX // 2):
        reduce = max(1.0, max(grey.shape) / longest)
        small = cv2.resize(grey, None, fx=1 / reduce, fy=1 / reduce, interpolation=cv2.INTER_AREA)
        found, corners = cv2.findChessboardCornersSB(
            small, inner, flags=cv2.CALIB_CB_ACCURACY | cv2.CALIB_CB_NORMALIZE_IMAGE
        )
        if found:
            return _refined(grey, corners.reshape(-1, 2).astype(float) * reduce + (reduce - 1) / 2, inner)
        if reduce == 1.0:
            break
    return None


def _refined(grey: np.ndarray, corners: np.ndarray, inner: tuple[int, int]) -> np.ndarray:
    """Saddle points in the full picture, in a window well inside the neighbouring squares."""
    rows = corners.reshape(inner[1], inner[0], 2)
    gaps = [np.hypot(*np.diff(rows, axis=k).reshape(-1, 2).T).min() for k in (0, 1) if rows.shape[k] > 1]
    half = int(np.clip(0.3 * min(gaps), 2, 15))
    start = corners.astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.001)
    refined = cv2.cornerSubPix(grey, start.copy(), (half, half), (-1, -1), stop).reshape(-1, 2).astype(float)
    strayed = np.hypot(*(refined - corners).T) > half
    return np.where(strayed[:, None], corners, refined)
