"""A camera's focal length and radial term from photos of a checkerboard, and the small file that keeps them.

The board's corners are fitted by OpenCV's calibration (Z. Zhang, A flexible new technique for camera
calibration, IEEE Trans. PAMI 22 (2000) 1330; from memory) with what photo.camera knows: one focal length, the
principal point at the picture's centre, one radial term. Frame: pictures with the longer side across,
pixels of the full-size photo.
"""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import get_type_hints

import cv2
import numpy as np

from digitize.errors import Refusal, ScaleRefusal, UnreadableRefusal, UsageRefusal
from digitize.files import parse_toml, read_toml, replace_own_file
from digitize.photo.camera import FILM_DIAGONAL_MM, UNKNOWN_FOCAL35_MM, Camera, CameraPrior, camera_prior
from digitize.photo.read import read_photo
from digitize.photo.references.checker import find_checker
from digitize.records import Photo

FEWEST_PHOTOS = 5
"""Fewer leave the jackknife too little to tell the focal length's error by. By eye, no source."""
LARGEST_RMS = 4e-4
"""Of the picture's diagonal (2 pixels at 12 megapixels); corners that miss by more are no flat board."""
LARGEST_FOCAL_SIGMA = 0.02
"""Beyond this a calibration says hardly more than the EXIF tag does."""
FOCUS_SIGMA = 0.004
"""Relative. A lens racks out to focus nearer: by 1/f = 1/u + 1/v, 6 mm at 0.5 m and 2 m differ by 0.9 %."""
SPREAD_SAFETY = 1.5
"""The spread of the fits without one photo each comes from few photos and is itself unsure."""
CENTRED_SHIFT = 1e-3
"""Least doubt of the radial term, as relative shift of the picture's corner: higher terms are left out."""
SAME_ASPECT = 0.01
"""Relative difference of two pictures' aspects on one sensor: rounding to whole blocks stays below it. No source."""
OTHER_LENS = 0.12
"""Relative difference of EXIF and calibration beyond which the photo was taken with another lens or zoom."""
_KIND = "camera calibration"
_HEAD = """\
# The camera's lens as found from photos of a checkerboard, for: digitize measure PHOTO --camera THIS_FILE
# Good for photos of this camera at the same zoom and crop, in any size. Lengths in pixels.
"""


@dataclass(frozen=True)
class CameraFile:
    """focal_px and k1 as photo.camera.Camera has them; width_px is the longer side; focal_sigma is relative,
    k1_sigma absolute; photos: how many were used; rms_px: what the board's corners miss the fit by."""

    focal_px: float
    k1: float
    width_px: int
    height_px: int
    focal_sigma: float
    k1_sigma: float
    photos: int
    rms_px: float


@dataclass(frozen=True)
class _Fit:
    focal_px: float
    k1: float
    rms_px: float


def calibrate(
    paths: Sequence[Path], squares: tuple[int, int], square_mm: float, progress: Callable[[str], None]
) -> CameraFile:
    """The camera that took these photos of one board of squares (across, down), each square_mm wide.

    Raises ScaleRefusal if fewer than FEWEST_PHOTOS show it or they fix no focal length, UsageRefusal if the
    photos are of different sizes. A photo that can't be used is named to `progress` and left out.
    """
    grids, corners = [], []
    size: tuple[int, int] | None = None
    for path in paths:
        progress(f"reading {Path(path).name}")
        try:
            photo = read_photo(Path(path))
            board = find_checker(photo, squares, square_mm)
        except Refusal as refusal:
            progress(f"left out: {refusal.line()}")
            continue
        seen, its_size = _lying(photo, board.points_px)
        if size is not None and its_size != size:
            raise UsageRefusal(
                f"{path} is {its_size[0]} x {its_size[1]} pixels, those before it {size[0]} x {size[1]}",
                "give photos of one camera, all of the same size",
            )
        size = its_size
        grids.append(np.column_stack([board.points_mm, np.zeros(len(seen))]).astype(np.float32))
        corners.append(seen.astype(np.float32))
    if size is None or len(corners) < FEWEST_PHOTOS:
        raise ScaleRefusal(
            f"The checkerboard was found in {len(corners)} of {len(paths)} photos; it takes {FEWEST_PHOTOS}",
            "Take eight or more, the whole board in each, slanted another way each time, all over the frame",
        )
    return _calibrated(grids, corners, size)


def _lying(photo: Photo, points_px: np.ndarray) -> tuple[np.ndarray, tuple[int, int]]:
    """(points, size) of the full-size photo, turned to have its longer side across."""
    height, width = np.array(photo.rgb.shape[:2]) * photo.shrink
    points = photo.to_full_px(points_px)
    if width >= height:
        return points, (int(width), int(height))
    return np.column_stack([points[:, 1], width - 1 - points[:, 0]]), (int(height), int(width))


def _calibrated(grids: list, corners: list, size: tuple[int, int]) -> CameraFile:
    fit = _fit(grids, corners, size)
    diagonal = float(np.hypot(*size))
    if not (fit.rms_px <= LARGEST_RMS * diagonal and 0.3 < fit.focal_px / diagonal < 6):
        raise ScaleRefusal(
            f"No lens explains the checkerboards: their corners miss the best one by {fit.rms_px:.1f} pixels",
            "Check the count of squares, that the board is flat, and that all photos are at one zoom",
        )
    n = len(grids)
    without = [_fit(grids[:k] + grids[k + 1 :], corners[:k] + corners[k + 1 :], size) for k in range(n)]
    focal_sigma = _jackknife(np.log([f.focal_px for f in without]))
    if not focal_sigma <= LARGEST_FOCAL_SIGMA:
        raise ScaleRefusal(
            f"The photos fix the focal length to {100 * focal_sigma:.0f} % only",
            "Take more, with the board slanted by 20 to 45 degrees, another way each time",
        )
    corner_r2 = (diagonal / 2 / fit.focal_px) ** 2
    k1_sigma = _jackknife(np.array([f.k1 for f in without]))
    return CameraFile(
        focal_px=fit.focal_px,
        k1=fit.k1,
        width_px=size[0],
        height_px=size[1],
        focal_sigma=float(np.hypot(focal_sigma, FOCUS_SIGMA)),
        k1_sigma=float(np.hypot(k1_sigma, CENTRED_SHIFT / corner_r2)),
        photos=n,
        rms_px=fit.rms_px,
    )


def _jackknife(values: np.ndarray) -> float:
    """Standard deviation of a fit from the fits without one photo each, with the safety factor.

    Unlike the formal one it sees what the model leaves out. Source: B. Efron, R. J. Tibshirani, An
    Introduction to the Bootstrap, 1993, equation 11.5 (from memory).
    """
    n = len(values)
    return SPREAD_SAFETY * float(np.sqrt((n - 1) / n * ((values - values.mean()) ** 2).sum()))


def _fit(grids: list, corners: list, size: tuple[int, int]) -> _Fit:
    width, height = size
    focal = UNKNOWN_FOCAL35_MM / FILM_DIAGONAL_MM * float(np.hypot(width, height))
    matrix = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_PRINCIPAL_POINT
        | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3
    )  # fmt: skip
    try:
        rms, matrix, distortion, _, _ = cv2.calibrateCamera(grids, corners, size, matrix, np.zeros(5), flags=flags)
    except cv2.error:
        return _Fit(float("nan"), float("nan"), float("inf"))
    return _Fit(float(matrix[0, 0]), float(distortion.ravel()[0]), float(rms))


def calibrated_prior(calibration: CameraFile, photo: Photo, name: str) -> CameraPrior:
    """What the calibration says of the camera behind this photo; name: of the file, for people.

    Raises UsageRefusal if the photo has another shape, or by its EXIF was taken with another lens or zoom.
    """
    height, width = photo.rgb.shape[:2]
    longer, shorter = max(width, height), min(width, height)
    if abs(longer / shorter * calibration.height_px / calibration.width_px - 1) > SAME_ASPECT:
        raise UsageRefusal(
            f"--camera {name}: it is for pictures of {calibration.width_px} x {calibration.height_px}, "
            f"but the photo, {width * photo.shrink} x {height * photo.shrink} pixels, has another shape",
            "Use the uncropped photo, or calibrate with photos of this shape",
        )
    focal_px = calibration.focal_px * longer / calibration.width_px
    expected = camera_prior(width, height, photo.focal35_mm)
    if photo.focal35_mm is not None and abs(np.log(focal_px / expected.camera.focal_px)) > OTHER_LENS:
        found = photo.focal35_mm * focal_px / expected.camera.focal_px
        raise UsageRefusal(
            f"--camera {name}: it is for a lens of about {found:.0f} mm equivalent, "
            f"but the photo was taken at {photo.focal35_mm:g} mm",
            "Calibrate with photos of the same lens and zoom, or leave --camera out",
        )
    return CameraPrior(
        camera=Camera(focal_px, expected.camera.centre_px, calibration.k1),
        log_focal_sigma=calibration.focal_sigma,
        k1_sigma=calibration.k1_sigma,
        source=f"and lens distortion from {name} ({calibration.photos} photos of a checkerboard), "
        "which is the only correction of the lens made",
    )


def write_camera(path: Path, calibration: CameraFile) -> None:
    """Write the file, whole or not at all, over an earlier one but nothing else. Raises UsageRefusal."""
    lines = [f"{key} = {value!r}" for key, value in asdict(calibration).items()]
    text = _HEAD + "\n".join(lines) + "\n"
    replace_own_file(Path(path), text.encode(), is_camera)


def is_camera(content: bytes) -> bool:
    """Whether a file's content is a calibration of this tool."""
    return b"focal_px = " in content


def read_camera(path: Path) -> CameraFile:
    """Read and check the file. Raises UnreadableRefusal."""
    return _camera_of(read_toml(path, _KIND), path)


def parse_camera(content: bytes, name: str) -> CameraFile:
    """The same from the file's content; name: how the message calls it. Raises UnreadableRefusal."""
    return _camera_of(parse_toml(content, name, _KIND), name)


def _camera_of(data: dict, path: str | Path) -> CameraFile:
    remedy = "Make it anew with digitize camera"
    kinds = get_type_hints(CameraFile)
    if data.keys() != kinds.keys():
        odd = sorted(data.keys() ^ kinds.keys())
        raise UnreadableRefusal(f"{path} is no camera calibration: {odd[0]} is missing or not known", remedy)
    for name, value in data.items():
        whole = kinds[name] is int
        if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
            raise UnreadableRefusal(f"{path}: {name} is not a {'whole ' if whole else ''}number", remedy)
        if not (np.isfinite(value) and (name == "k1" or value > 0)):
            raise UnreadableRefusal(f"{path}: {name} = {value} can't be", remedy)
    found = CameraFile(**{name: kinds[name](value) for name, value in data.items()})
    _check(path, found, remedy)
    return found


def _check(path: str | Path, found: CameraFile, remedy: str) -> None:
    diagonal = float(np.hypot(found.width_px, found.height_px))
    if found.width_px < found.height_px or not 0.3 < found.focal_px / diagonal < 6:
        raise UnreadableRefusal(f"{path}: the focal length does not go with the picture's size", remedy)
    # beyond this the lens would fold the picture's corner back inward
    if abs(found.k1) * (diagonal / 2 / found.focal_px) ** 2 > 0.3 or found.focal_sigma > 0.2:
        raise UnreadableRefusal(f"{path}: its lens is not a believable one", remedy)


def summary(calibration: CameraFile, path: Path) -> str:
    """What was found, for the command line."""
    diagonal = float(np.hypot(calibration.width_px, calibration.height_px))
    corner = calibration.k1 * (diagonal / 2 / calibration.focal_px) ** 2
    pm95 = 196 * calibration.focal_sigma
    return (
        f"focal length        {calibration.focal_px:.1f} pixels, ± {pm95:.1f} % (95 %)\n"
        f"lens distortion     the corner is shifted by {100 * corner:+.2f} %\n"
        f"photos used         {calibration.photos}, corners within {calibration.rms_px:.2f} pixels\n"
        f"written             {path}\n"
    )
