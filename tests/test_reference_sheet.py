"""The printed scale sheet: the PDF's own numbers, and the sheet in a photograph drawn from those numbers."""

import re

import cv2
import numpy as np
import pytest
from reference_scenes import camera, flat_print, lying, photo

from digitize.errors import ScaleRefusal
from digitize.photo.references.sheet_finder import find_sheets
from digitize.photo.references.sheet_layout import layout, marker_cells
from digitize.printed.scale_sheet import write_sheet

PAPER_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A
TEXEL_MM = 0.25


def rectangles_mm(path):
    """Every filled rectangle of each page, as x, y (from the page's top-left), width, height in mm."""
    data = path.read_bytes()
    box = [float(v) for v in re.search(rb"/MediaBox \[([^]]+)\]", data).group(1).split()]
    pages = []
    for stream in re.findall(rb"stream\n(.*?)\nendstream", data, re.S):
        numbers = [[float(v) for v in line.split()[:4]] for line in stream.split(b"\n") if line.endswith(b" re")]
        x, y, width, height = np.array(numbers).T * 25.4 / 72  # a PDF point is 1/72 inch, ISO 32000
        pages.append(np.column_stack([x, box[3] * 25.4 / 72 - y - height, width, height]))
    return pages, (box[2] * 25.4 / 72, box[3] * 25.4 / 72)


def page_picture(rectangles, size_mm):
    """(h, w) linear grey of a printed page."""
    page = np.full((round(size_mm[1] / TEXEL_MM), round(size_mm[0] / TEXEL_MM)), 0.85, np.float32)
    for x, y, width, height in rectangles / TEXEL_MM:
        page[round(y) : round(y + height), round(x) : round(x + width)] = 0.03
    return page


@pytest.fixture(scope="module")
def sheets(tmp_path_factory):
    path = tmp_path_factory.mktemp("sheets") / "sheet.pdf"
    write_sheet(path, "a4", 2)
    return rectangles_mm(path)


@pytest.mark.parametrize("paper", PAPER_MM)
def test_pdf_is_true_to_size(tmp_path, paper):
    path = tmp_path / "sheet.pdf"
    write_sheet(path, paper)
    (page,), size_mm = rectangles_mm(path)
    np.testing.assert_allclose(size_mm, PAPER_MM[paper], atol=0.001)
    bars = page[np.isclose(page[:, 2:], 100.0, atol=0.001).any(axis=1)]
    assert len(bars) == 2  # across and down
    markers = page[page[:, 0:4].max(axis=1) > 0][: -len(bars)]
    assert markers[:, :2].min() > 6.0  # within what every printer can print, memory
    plan = layout(paper, 1)
    for corners in plan.corners_mm.values():
        (left, top), (right, bottom) = corners[0], corners[2]
        inside = (page[:, 0] > left - 0.01) & (page[:, 0] < right) & (page[:, 1] > top - 0.01) & (page[:, 1] < bottom)
        own = page[inside]
        assert own[:, 0].min() == pytest.approx(left, abs=0.01)
        assert (own[:, 0] + own[:, 2]).max() == pytest.approx(right, abs=0.01)
        assert (own[:, 1] + own[:, 3]).max() == pytest.approx(bottom, abs=0.01)


def test_pdf_structure_is_sound(tmp_path):
    path = tmp_path / "sheet.pdf"
    write_sheet(path, "letter", 4)
    data = path.read_bytes()
    start = int(re.search(rb"startxref\n(\d+)", data).group(1))
    assert data[start : start + 4] == b"xref"
    offsets = [int(v) for v in re.findall(rb"(\d{10}) 00000 n", data)]
    for index, offset in enumerate(offsets, 1):
        assert data[offset:].startswith(b"%d 0 obj" % index)
    assert data.count(b"/Type /Page ") == 4


@pytest.mark.parametrize("choice", [("a5", 1), ("a4", 0), ("a4", 5)])
def test_no_such_sheet(tmp_path, choice):
    with pytest.raises(ValueError, match="scale sheet"):
        write_sheet(tmp_path / "sheet.pdf", *choice)


def test_one_sheet_in_a_photograph(sheets):
    pages, size_mm = sheets
    plane = lying((-120, -130, 0), 8.0, (10, -12))
    view = camera(900.0, (2, 1, 3), k1=-0.01)
    points = find_sheets(photo(flat_print(view, (page_picture(pages[0], size_mm), TEXEL_MM, plane))), 100.0)
    assert len(points) == 1
    truth = view.project(plane.world(points[0].points_mm))
    errors = np.hypot(*(points[0].points_px - truth).T)
    assert len(errors) == 32
    assert 1e-3 < np.sqrt((errors**2).mean()) < 0.25
    page = np.array([[0, 0], [size_mm[0], 0], size_mm, [0, size_mm[1]]])
    assert np.hypot(*(points[0].outline_px - view.project(plane.world(page))).T).max() < 2.0
    assert points[0].warnings == ()


def test_readable_at_two_metres():
    """A phone's main camera: 12 megapixels, 26 mm equivalent; only the part of the frame with the sheet is
    drawn.
    """
    px_per_mm = 26 / 43.267 * np.hypot(4032, 3024) / 2000
    plan = layout("a4", 3)
    page = np.full((1188, 840), 0.85, np.float32)
    for marker, corners in plan.corners_mm.items():
        x, y = (corners[0] / TEXEL_MM).round().astype(int)
        cells = np.kron(marker_cells(marker), np.ones((17, 17)))  # 34 mm in eight cells of 17 texels
        page[y : y + 136, x : x + 136] = np.where(cells, 0.03, 0.85)
    size = round(210 * px_per_mm), round(297 * px_per_mm)
    light = cv2.GaussianBlur(cv2.resize(page, size, interpolation=cv2.INTER_AREA), (0, 0), 1.0)
    rgb = np.repeat((255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)[..., None], 3, axis=2)
    (points,) = find_sheets(photo(rgb))
    assert points.label == "scale sheet 3"
    assert len(points.points_px) == 32
    assert [warning.code for warning in points.warnings] == ["SHEET_UNCHECKED"]


def test_two_sheets_are_told_apart_and_the_bar_scales_both(sheets):
    pages, size_mm = sheets
    planes = lying((-230, -140, 0), 3.0), lying((20, -150, 0), -4.0)
    prints = [(page_picture(page, size_mm), TEXEL_MM, plane) for page, plane in zip(pages, planes, strict=True)]
    view = camera(900.0)
    found = find_sheets(photo(flat_print(view, *prints)), 99.2)
    assert [points.label for points in found] == ["scale sheet 1", "scale sheet 2"]
    for points, plane in zip(found, planes, strict=True):
        truth = view.project(plane.world(points.points_mm / 0.992))
        assert np.hypot(*(points.points_px - truth).T).max() < 0.6


def test_foreign_markers_are_not_a_sheet():
    """A board of another dictionary, and markers of ours in other places."""
    other = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    ours = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for dictionary in (other, ours):
        rgb = np.full((500, 900, 3), 220, np.uint8)
        for k in range(8):
            x, y = 40 + 210 * (k % 4), 60 + 220 * (k // 4)
            rgb[y : y + 120, x : x + 120] = cv2.aruco.generateImageMarker(dictionary, k, 120)[..., None]
        with pytest.raises(ScaleRefusal, match="sheet"):
            find_sheets(photo(rgb))


def test_impossible_bar_is_refused():
    with pytest.raises(ScaleRefusal, match="bar"):
        find_sheets(photo(np.zeros((200, 300, 3), np.uint8)), 9.92)
