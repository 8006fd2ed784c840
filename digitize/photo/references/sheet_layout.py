"""What stands where on the printed scale sheet.

Frame: millimetres from the paper's top-left corner, x right, y down.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from digitize.sizes import PAPERS_MM

SHEETS = 4  # numbers 1 to 4 can lie in one picture
MARKERS = 8  # on one sheet: four corners, four middles of edges
MARKER_MM = 34.0
MARGIN_MM = 12.0  # printers leave 3 to 6 mm; the rest is the markers' quiet zone
BAR_MM = 100.0
"""Length of the bars to check the print by: what any ruler has."""
DICTIONARY = cv2.aruco.DICT_APRILTAG_36h11
"""Any two of its markers differ in at least 11 of 36 bits, so a pattern in the background is not taken for
one; eight cells across 34 mm are five pixels each for a phone's main camera (12 megapixels, 26 mm equivalent)
at 2.4 m.
"""


@dataclass(frozen=True)
class SheetLayout:
    """One sheet. corners_mm: {marker id: (4, 2)} clockwise from the marker's own top-left."""

    paper: str
    number: int
    size_mm: tuple[float, float]
    corners_mm: dict[int, np.ndarray]


def layout(paper: str, number: int) -> SheetLayout:
    """The sheet of this number, 1 to SHEETS, on 'a4' or 'letter'."""
    width, height = PAPERS_MM[paper]
    left, right = MARGIN_MM, width - MARGIN_MM - MARKER_MM
    top, bottom = MARGIN_MM, height - MARGIN_MM - MARKER_MM
    middle_x, middle_y = (width - MARKER_MM) / 2, (height - MARKER_MM) / 2
    places = [
        (left, top),
        (middle_x, top),
        (right, top),
        (left, middle_y),
        (right, middle_y),
        (left, bottom),
        (middle_x, bottom),
        (right, bottom),
    ]
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * MARKER_MM
    first = (list(PAPERS_MM).index(paper) * SHEETS + number - 1) * MARKERS
    return SheetLayout(paper, number, (width, height), {first + k: square + place for k, place in enumerate(places)})


def sheet_dictionary() -> cv2.aruco.Dictionary:
    """Only the markers that are on sheets: fewer to compare every dark square of the picture with."""
    whole = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    used = len(PAPERS_MM) * SHEETS * MARKERS
    return cv2.aruco.Dictionary(whole.bytesList[:used], whole.markerSize, whole.maxCorrectionBits)


def marker_cells(marker_id: int) -> np.ndarray:
    """(8, 8) bool, True where black, the black border included."""
    dictionary = sheet_dictionary()
    cells = dictionary.markerSize + 2
    return cv2.aruco.generateImageMarker(dictionary, marker_id, cells) < 128
