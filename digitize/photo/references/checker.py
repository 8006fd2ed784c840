"""A printed checkerboard: its inner corners."""

import cv2
import numpy as np

from digitize.errors import ScaleRefusal
from digitize.records import Photo, ReferencePoints

SEARCH_PX = 1600  # longer side of the reduced picture in which the board is looked for
PRINT_SIGMA = 0.001  # of a printed square's size: measured by the user over several, to about 0.1 mm in 100
FLATNESS = 0.04  # of a square: more scatter about a plane is no flat board
CORNER_FLOOR_PX = 0.05  # sharpening and unequal ink spread move a corner by about this much


def find_checker(photo: Photo, squares: tuple[int, int], square_mm: float) -> ReferencePoints:
    """Inner corners of a board of squares = (across, down), each square_mm wide.

    points_mm: the board's outer top-left corner is (0, 0). A half turn of the board can't be told and doesn't
    matter. Raises ScaleRefusal when no such board is seen whole.
    """
    across, down = squares
    grid = np.array([[i + 1, j + 1] for j in range(down - 1) for i in range(across - 1)], float) * square_mm
    corners, homography, sigma = _best_corners(photo.rgb, grid, (across - 1, down - 1))
    if corners is None:
        raise ScaleRefusal(
            f"No checkerboard of {across} x {down} squares was found in {photo.path.name}",
            "Show the whole board flat, with a white border, and count the squares, not the inner corners",
        )
    border = np.array([[-1, -1], [across + 1, -1], [across + 1, down + 1], [-1, down + 1]], float) * square_mm
    outline = cv2.perspectiveTransform(border[:, None], homography).reshape(-1, 2)
    return ReferencePoints(
        kind="checker",
        label=f"checkerboard, {square_mm:g} mm squares",
        points_px=corners,
        points_mm=grid,
        sigma_px=float(np.hypot(sigma, CORNER_FLOOR_PX)),
        size_sigma=PRINT_SIGMA,
        outline_px=outline,
    )


def _best_corners(rgb: np.ndarray, grid: np.ndarray, inner: tuple[int, int]):
    """Inner corners (n, 2) in pixels, row by row as the board has them, their homography and residual; or
    Nones.

    The search is repeated at other sizes: at one of them a pattern in the ground may be taken for the board,
    and then the corners don't lie on a plane.
    """
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    for longest in (SEARCH_PX, 2 * SEARCH_PX, SEARCH_PX // 2):
        reduce = max(1.0, max(grey.shape) / longest)
        small = cv2.resize(grey, None, fx=1 / reduce, fy=1 / reduce, interpolation=cv2.INTER_AREA)
        flags = cv2.CALIB_CB_ACCURACY | cv2.CALIB_CB_NORMALIZE_IMAGE
        found, corners = cv2.findChessboardCornersSB(small, inner, flags=flags)
        if not found:
            continue
        rough = corners.reshape(-1, 2).astype(float) * reduce + (reduce - 1) / 2
        corners = _refined(grey, rough, inner)
        homography, _ = cv2.findHomography(grid, corners)
        if homography is None:
            continue
        residual = cv2.perspectiveTransform(grid[:, None], homography).reshape(-1, 2) - corners
        sigma = float(np.sqrt((residual**2).sum() / max(2 * len(grid) - 8, 1)))
        square_px = np.hypot(*(corners[1] - corners[0]))
        if sigma < FLATNESS * square_px and square_px > 5:
            return corners, homography, sigma
    return None, None, np.inf


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
