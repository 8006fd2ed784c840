"""The printed scale sheet in the photo, one or more of them, by its markers."""

import cv2
import numpy as np

from digitize.errors import ScaleRefusal
from digitize.photo.references.edge_lines import fit_side, meet
from digitize.photo.references.sheet_layout import BAR_MM, PAPERS_MM, SHEETS, SheetLayout, layout, sheet_dictionary
from digitize.records import Photo, ReferencePoints, Warn

FEWEST_MARKERS = 2
"""One alone fixes the plane so poorly that it is not believed; two are eight corners. By eye, no source."""
CORNER_FLOOR_PX = 0.08  # ink spread and sharpening move a corner by about this much
UNCHECKED_SIGMA = 0.003  # a printer asked for 100 % keeps it to about half a per cent (95 %)
CHECKED_SIGMA = 0.001  # the bar read by a ruler to 0.2 mm (95 %)


def find_sheets(photo: Photo, bar_mm: float | None = None) -> list[ReferencePoints]:
    """Every scale sheet seen, one record each. bar_mm: what the sheet's 100 mm bar measures, if the user
    checked it.

    Raises ScaleRefusal when none is seen, when a sheet's markers don't lie as printed, or when bar_mm can't
    be.
    """
    if bar_mm is not None and not 0.9 < bar_mm / BAR_MM < 1.1:
        raise ScaleRefusal(
            f"The sheet's {BAR_MM:g} mm bar can't measure {bar_mm:g} mm",
            "Measure the bar between its outer ends, or print the sheet again at 100 %",
        )
    markers = _markers(photo.rgb)
    sheets = []
    for paper in PAPERS_MM:
        for number in range(1, SHEETS + 1):
            plan = layout(paper, number)
            seen = [marker for marker in plan.corners_mm if marker in markers]
            if len(seen) >= FEWEST_MARKERS:
                sheets.append(_as_points(photo, plan, markers, seen, bar_mm))
    if not sheets:
        raise ScaleRefusal(
            f"No printed scale sheet was found in {photo.path.name}: {len(markers)} of its markers seen",
            "Show at least two of the sheet's markers whole and sharp, or print one with: digitize sheet",
        )
    return sheets


def _markers(rgb: np.ndarray) -> dict[int, np.ndarray]:
    """{id: (4, 2) corners in pixels}.

    A marker seen twice is left out: it can't be said which is the sheet's.
    """
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = 0.02  # of the picture's longer side: a marker at 2 m has 0.05 of a phone's
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax = 5, 21
    settings.adaptiveThreshWinSizeStep = 16
    detector = cv2.aruco.ArucoDetector(sheet_dictionary(), settings)
    corners, ids, _ = detector.detectMarkers(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    found: dict[int, np.ndarray] = {}
    twice: set[int] = set()
    for quad, marker in zip(corners, [] if ids is None else map(int, ids.ravel()), strict=True):
        if marker in found:
            twice.add(marker)
        found[marker] = _sharpened(rgb, quad.reshape(4, 2).astype(float))
    return {marker: quad for marker, quad in found.items() if marker not in twice}


def _sharpened(rgb: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """Corners where the marker's straight sides, continued, meet.

    OpenCV's own refinement looks at the corner itself, which blur rounds: at a blur of 0.8 pixels it lands
    half a pixel inside. It also works in gamma-coded grey.
    """
    sides = [fit_side(rgb, corners[i], corners[(i + 1) % 4], half_px=2.5, trim=0.1) for i in range(4)]
    better = np.array([meet(sides[i - 1], sides[i]) for i in range(4)])
    moved = np.hypot(*(better - corners).T)
    return better if np.isfinite(better).all() and moved.max() < 4 else corners


def _as_points(photo: Photo, plan: SheetLayout, markers, seen, bar_mm: float | None) -> ReferencePoints:
    points_px = np.vstack([markers[marker] for marker in seen])
    points_mm = np.vstack([plan.corners_mm[marker] for marker in seen])
    homography, _ = cv2.findHomography(points_mm, points_px)
    residual = _through(homography, points_mm) - points_px
    sigma = float(np.sqrt((residual**2).sum() / (2 * len(points_px) - 8)))
    side_px = np.hypot(*(points_px[1] - points_px[0]))
    if sigma > 0.03 * side_px + 0.3:
        raise ScaleRefusal(
            f"Scale sheet {plan.number} is not flat, or not as it was printed: its markers miss a plane by"
            f" {sigma:.1f} pixels",
            "Lay the sheet flat on something stiff and photograph again",
        )
    width, height = plan.size_mm
    outline = _through(homography, np.array([[0, 0], [width, 0], [width, height], [0, height]], float))
    return ReferencePoints(
        kind="sheet",
        label=f"scale sheet {plan.number}",
        points_px=points_px,
        points_mm=points_mm * (1.0 if bar_mm is None else bar_mm / BAR_MM),
        sigma_px=float(np.hypot(sigma, CORNER_FLOOR_PX)),
        size_sigma=UNCHECKED_SIGMA if bar_mm is None else CHECKED_SIGMA,
        outline_px=outline,
        warnings=() if bar_mm is not None else (_unchecked(),),
    )


def _unchecked() -> Warn:
    return Warn(
        "SHEET_UNCHECKED",
        "Whether the printer kept the scale sheet's size was not said",
        f"Measure the sheet's {BAR_MM:g} mm bar with a ruler and add --sheet-bar LENGTH",
    )


def _through(homography: np.ndarray, points: np.ndarray) -> np.ndarray:
    return cv2.perspectiveTransform(np.asarray(points, float)[:, None], homography).reshape(-1, 2)
