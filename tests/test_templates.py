"""Templates read back from their files: areas, places and the check bar, true to a tenth of a millimetre.

True size: ISO 32000 says 72 points an inch; SVG 1.1 units with a viewBox in millimetres. Area and centroid of what is
read back are compared with closed forms (a trapezoid, and rocket A's cut-out worked by hand).
"""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pypdfium2
import pytest
import shapely
from pypdfium2 import raw

from digitize import cli
from digitize.geometry.toml import to_toml
from digitize.printed.pattern_files import is_template, piece_svg, templates_pdf
from digitize.printed.patterns import EDGE_MM, OVERLAP_MM, pieces, sheets
from digitize.records import FinGroup, Geometry

MM = 25.4 / 72
BODY = np.array([[0, 0], [60, 12], [300, 12]], float)
FIN = np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float)
ROCKET_A = Geometry("bracken", BODY, (FinGroup(4, FIN, 2.0),))
# By hand: body 60 x 24 / 2 + 240 x 24 = 6480 at (720 x 40 + 5760 x 180) / 6480; two fins of (50 + 30) / 2 x 40 = 1600
# each, centroid of the trapezoid 250 + (sweep 30: (30 x (50 + 2 x 30) + (50^2 + 50 x 30 + 30^2)) / (3 x 80))
FIN_AREA = 1600.0
FIN_X = 250 + (30 * (50 + 60) + 2500 + 1500 + 900) / 240
AREA = 6480 + 2 * FIN_AREA
CENTROID = (720 * 40 + 5760 * 180 + 2 * FIN_AREA * FIN_X) / AREA
LONG = replace(ROCKET_A, profile_mm=BODY * [3, 3], fins=(FinGroup(4, FIN * 3, 2.0),))


def paths_on(page):
    """Every path of a PDF page: a list of (n, 2) points in millimetres from the lower left, as PDFium reads it."""
    found = []
    for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]):
        points, matrix = [], item.get_matrix()
        for k in range(raw.FPDFPath_CountSegments(item.raw)):
            segment = raw.FPDFPath_GetPathSegment(item.raw, k)
            x, y = raw.c_float(), raw.c_float()
            raw.FPDFPathSegment_GetPoint(segment, x, y)
            points.append(matrix.on_point(x.value, y.value))
        found.append(np.array(points) * MM)
    return found


def read_back(pdf: bytes):
    """(size of each page in mm, its paths)."""
    document = pypdfium2.PdfDocument(pdf)
    return [(np.array(page.get_size()) * MM, paths_on(page)) for page in document]


def largest(paths):
    polygons = [shapely.Polygon(path) for path in paths if len(path) > 4 and np.ptp(path, axis=0).min() > 5]
    polygons = [polygon for polygon in polygons if len(polygon.exterior.coords) not in (5,) or not _is_box(polygon)]
    return max(polygons, key=lambda polygon: polygon.area)


def _is_box(polygon):
    return abs(polygon.area - polygon.envelope.area) < 1e-6 * polygon.area


def test_the_pieces_of_rocket_a_by_hand():
    cutout, fin = pieces(ROCKET_A, [0.0], 200.0)
    assert cutout.area_mm2 == pytest.approx(AREA, abs=1e-6)
    assert cutout.centroid[0] == pytest.approx(CENTROID, abs=1e-6)
    assert cutout.centroid[1] == pytest.approx(52.0, abs=1e-9)  # on the axis, 52 above the lower fin tip
    assert fin.area_mm2 == pytest.approx(FIN_AREA)
    assert fin.centroid[0] == pytest.approx(FIN_X - 250)
    assert cutout.marks[1].place == pytest.approx((200.0, 52.0))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_pdf_is_true_to_size(paper):
    """Each page's outline, read by PDFium, has the area and centroid worked by hand, and the bar its 100 mm."""
    cutout, fin = pieces(ROCKET_A, [0.0], 200.0)
    plan = [*sheets(cutout, paper), *sheets(fin, paper)]
    pages = read_back(templates_pdf(tuple(plan)))
    assert len(pages) == len(plan)
    for sheet, (size, paths) in zip(plan, pages, strict=True):
        assert size == pytest.approx(sheet.size_mm, abs=0.05)
        shape = largest(paths)
        expected, x = (AREA, CENTROID) if sheet.piece is cutout else (FIN_AREA, FIN_X - 250)
        assert shape.area == pytest.approx(expected, rel=2e-4)
        assert shape.centroid.x - shape.bounds[0] == pytest.approx(x, abs=0.02)
        bars = [path for path in paths if len(path) == 2 and np.ptp(path[:, 1]) < 0.01 and np.ptp(path[:, 0]) > 99]
        assert any(np.ptp(bar[:, 0]) == pytest.approx(100.0, abs=0.01) for bar in bars)


def test_a_large_cut_out_is_tiled_and_the_crosses_lie_on_each_other():
    cutout, _ = pieces(LONG, [0.0], 600.0)
    plan = sheets(cutout, "a4")
    assert len(plan) >= 6
    seen, shared = {}, 0
    for sheet in plan:
        for cross in np.round(sheet.crosses_mm - sheet.origin_mm, 6):
            shared += tuple(cross) in seen
            seen[tuple(cross)] = sheet
    assert shared >= 3 * (len(plan) - 1)
    # together the sheets show all of it, and neighbours the same strip twice
    windows = [shapely.box(*(sheet.window_mm - sheet.origin_mm).ravel()) for sheet in plan]
    assert shapely.Polygon(cutout.outlines[0]).difference(shapely.union_all(windows)).area < 1e-6
    strip = windows[0].intersection(windows[1])
    assert min(strip.bounds[2] - strip.bounds[0], strip.bounds[3] - strip.bounds[1]) == pytest.approx(OVERLAP_MM)


def test_no_empty_sheets_and_names_that_fit():
    """Wide fins far aft on a thin body: only the tail is on every row, and what is left out shows nothing."""
    fin = np.array([[800, 20], [840, 190], [910, 190], [900, 20]], float)
    wide = Geometry("\u96fb " + "long " * 40, BODY * [3, 1.5], (FinGroup(4, fin, 2.0),))
    cutout, _ = pieces(wide, [0.0], 600.0)
    plan = sheets(cutout, "a4")
    shape = shapely.Polygon(cutout.outlines[0])
    windows = [shapely.box(*(sheet.window_mm - sheet.origin_mm).ravel()) for sheet in plan]
    assert len(plan) < plan[0].rows * plan[0].columns
    assert all(shape.intersects(window) for window in windows)
    assert shape.difference(shapely.union_all(windows)).area < 1e-6
    assert f"sheet {len(plan)} of {len(plan)}: row {plan[-1].row + 1}" in plan[-1].words
    page = pypdfium2.PdfDocument(templates_pdf(plan))[0]
    texts = [item.get_bounds() for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT])]
    assert max(right for _, _, right, _ in texts) < page.get_size()[0]
    assert "? long" in page.get_textpage().get_text_range()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_what_fits_one_sheet_takes_one_and_stays_off_the_edge(paper):
    _, fin = pieces(ROCKET_A, [0.0], 200.0)
    (sheet,) = sheets(fin, paper)
    drawn = fin.outlines[0] + sheet.origin_mm
    assert (drawn > EDGE_MM).all() and (drawn < np.array(sheet.size_mm) - EDGE_MM).all()


def test_the_svg_is_true_to_size():
    cutout, _ = pieces(ROCKET_A, [0.0], 200.0)
    root = ElementTree.fromstring(piece_svg(cutout))
    box = [float(value) for value in root.get("viewBox").split()]
    assert float(root.get("width").removesuffix("mm")) == pytest.approx(box[2])
    assert float(root.get("height").removesuffix("mm")) == pytest.approx(box[3])
    (cut,) = (item for item in root.iter() if item.get("id") == "cut")
    points = np.array([[float(v) for v in pair.split(",")] for pair in cut.get("points").split()])
    shape = shapely.Polygon(points)
    assert shape.area == pytest.approx(AREA, rel=1e-5)
    assert shape.centroid.x == pytest.approx(CENTROID, abs=0.01)
    (mark,) = (item for item in root.iter() if item.get("id") == "mark-0")
    assert float(mark.get("cx")) == pytest.approx(CENTROID, abs=0.01)
    (bar,) = (item for item in root.iter() if item.get("id") == "bar")
    assert re.search(r"h100 ", bar.get("d"))


def test_the_whole_command(capsys, tmp_path):
    (tmp_path / "a.toml").write_text(to_toml(ROCKET_A))
    folder = tmp_path / "r"
    assert cli.main(["solve", str(tmp_path / "a.toml"), "--pose", "diagonal", "--out", str(folder)]) == 0
    assert cli.main(["templates", str(folder), "--paper", "letter"]) == 0
    said = capsys.readouterr().out
    assert "US Letter" in said and "cutout-balance" in said
    assert {"templates.pdf", "template-cutout.svg", "template-fin-1.svg"} <= {p.name for p in folder.iterdir()}
    # the cut-out is that of the pose: four fins at 45 degrees show cos 45 of their height, two above each other
    root = ElementTree.fromstring((folder / "template-cutout.svg").read_text("utf-8"))
    (cut,) = (item for item in root.iter() if item.get("id") == "cut")
    y = [float(pair.split(",")[1]) for pair in cut.get("points").split()]
    assert max(y) - min(y) == pytest.approx(2 * 52 * np.cos(np.pi / 4), abs=0.01)
    assert cli.main(["templates", str(folder), "--out", str(tmp_path / "other")]) == 0  # ours may be replaced
    assert is_template((tmp_path / "other" / "templates.pdf").read_bytes())


def test_others_files_are_left_alone(capsys, tmp_path):
    (tmp_path / "a.toml").write_text(to_toml(ROCKET_A))
    assert cli.main(["solve", str(tmp_path / "a.toml"), "--out", str(tmp_path / "r")]) == 0
    (tmp_path / "r" / "templates.pdf").write_bytes(b"%PDF- somebody's")
    assert cli.main(["templates", str(tmp_path / "r")]) == 2
    assert "not written by this tool" in capsys.readouterr().err
    assert (tmp_path / "r" / "templates.pdf").read_bytes() == b"%PDF- somebody's"
    assert cli.main(["templates", str(tmp_path / "none")]) == 2
    assert cli.main(["templates", str(tmp_path / "r"), "--paper", "a3"]) == 2
