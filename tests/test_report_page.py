"""The page, the drawing in millimetres and the summary: well formed, self-contained, true to result.json."""

import base64
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pytest
from report_sample import FIN_MM, PROFILE_MM, sample_result
from shapely.geometry import Polygon

from digitize.report.page import report_html
from digitize.report.svg import outline_svg
from digitize.report.text import summary_text

NASTY = """<script>alert('1')</script>&"é.jpg"""
VOID = {"meta", "img", "br", "hr", "link", "input"}
SVG = "{http://www.w3.org/2000/svg}"


class Page(HTMLParser):
    """Checks nesting while reading, and keeps tags, attributes and words."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.tags, self.words = [], [], []
        self.feed(text)
        self.close()
        assert not self.open, f"never closed: {self.open}"

    def handle_starttag(self, tag, attrs):
        assert len(attrs) == len(dict(attrs)), f"attribute given twice on {tag}"
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-1:]}"
        self.open.pop()

    def handle_data(self, data):
        if not {"style"} & set(self.open):
            self.words.append(data.strip())

    def text(self):
        return re.sub(r"\s+", " ", " ".join(self.words))

    def named(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]


def _page(png=b"\x89PNG picture", photo_name="campion.jpg", cautions=("A photo hides a warp.",), **changes):
    result = sample_result(**changes)
    return report_html(result, png, photo_name, outline_svg(result, PROFILE_MM), cautions)


def test_page_is_well_formed_and_fetches_nothing():
    text = _page()
    page = Page(text)
    assert text.startswith("<!DOCTYPE html>")
    assert page.named("html")[0]["lang"] == "en"
    names = {tag for tag, _ in page.tags}
    assert {"main", "h1", "h2", "table", "caption", "figure", "figcaption", "img", "svg"} <= names
    assert not names & {"script", "link", "iframe", "object", "a"}
    for tag, attrs in page.tags:
        for key in ("src", "href", "srcset", "xlink:href", "action"):
            assert attrs.get(key, "data:").startswith("data:"), (tag, attrs)
        assert not any(key.startswith("on") for key in attrs)
    assert "url(" not in text and "@import" not in text
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))


def test_headings_go_in_order_and_tables_have_heads():
    page = Page(_page())
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1 and set(levels[1:]) == {2, 3}
    assert all(later - level <= 1 for level, later in pairwise(levels))
    assert len(page.named("thead")) == len(page.named("table")) == len(page.named("tbody"))
    assert all(attrs.get("scope") in ("row", "col") for attrs in page.named("th"))


def test_the_picture_is_inside_with_words_for_those_who_cannot_see_it():
    png = bytes(range(256)) * 5
    image = Page(_page(png)).named("img")[0]
    assert base64.b64decode(image["src"].removeprefix("data:image/png;base64,")) == png
    assert "centre of pressure 248.5 ± 1.9 mm from the nose tip" in image["alt"]


def test_the_page_says_what_it_must():
    words = Page(_page()).text()
    for said in (
        "The range safety officer decides.",
        "248.5 ± 1.9 mm",  # CP
        "10.35 calibers",  # 248.5 / 24
        "1.69 ± 0.09 calibers",
        "-0.13 ± 0.06 calibers for air from the side; most good rockets fail it",
        "The ruler may lie behind the axis. Give --behind.",
        "disagrees",
        "measure the tube with a caliper",
        "One fin stands in the plane of the photo.",
        "A photo hides a warp.",
        "nose 2.00 40.0 mm",
        "cone 0.0 mm 60.0 mm 0 to 24 mm 0.0 mm",
        "tube 60.0 mm 300.0 mm 24 mm 0.0 mm",
        "Read the warning below.",
        "0.44444 ± 0.00089 mm per pixel",
    ):
        assert said in words, said
    assert words.index("Fly") < words.index("Three checks") < words.index("Cautions") < words.index("Numbers")


def test_user_text_is_escaped_everywhere():
    text = _page(photo_name=NASTY, name=NASTY, verdict_level=NASTY, scale_kind=NASTY)
    page = Page(text)
    assert "script" not in {tag for tag, _ in page.tags}
    assert "<script" not in text.lower()
    assert page.text().count("<script>alert('1')</script>&\"é.jpg") >= 4


def test_without_photo_balance_or_fins():
    bare = {
        "drawing": None,
        "balance_mm": None,
        "margin_calibers": None,
        "cutout_margin_calibers": None,
        "scale_kind": None,
        "mm_per_px_at_axis": None,
        "fins": (),
        "warnings": (),
        "hand_checks": (),
        "shares": (),
        "next_measurement": None,
        "pieces": (),
    }
    page = Page(_page(png=None, photo_name="campion.toml", **bare))
    assert not page.named("img") and page.named("svg")
    words = page.text()
    assert "from the geometry file campion.toml" in words
    assert "unknown" not in words and "None" not in words and "Warnings" not in words
    summary = summary_text(sample_result(**bare))
    assert "unknown" not in summary and "margin" not in summary and "scale" not in summary


# --- outline.svg


def _polygons(path):
    """The closed polygons of a path's d, each (n, 2)."""
    found = []
    for part in path.get("d").split("Z"):
        pairs = re.findall(r"(-?[\d.]+),(-?[\d.]+)", part)
        if pairs:
            found.append(np.array(pairs, float))
    return found


def test_svg_is_true_size():
    """Widths in mm equal the viewBox, so that one unit is one millimetre; areas against plain geometry."""
    root = ET.fromstring(outline_svg(sample_result(), PROFILE_MM))
    box = [float(v) for v in root.get("viewBox").split()]
    assert root.get("width") == f"{box[2]:.3f}mm" and root.get("height") == f"{box[3]:.3f}mm"
    paths = {p.get("id"): _polygons(p) for p in root.iter(f"{SVG}path") if p.get("id")}
    (body,) = paths["body"]
    assert Polygon(body).area == pytest.approx(2 * (60 * 12 / 2 + 240 * 12), abs=0.01)  # cone and tube
    upper, lower = paths["fins-1"]
    assert Polygon(upper).area == pytest.approx((50 + 30) / 2 * 40, abs=0.01)  # trapezoid
    assert np.allclose(np.sort(upper, axis=0), np.sort(FIN_MM, axis=0), atol=1e-3)
    assert np.allclose(lower, upper * [1, -1])
    everything = np.vstack([body, upper, lower])
    assert (everything >= box[:2]).all() and (everything <= np.array(box[:2]) + box[2:]).all()


@pytest.mark.parametrize(("key", "x_mm"), [("cp", 248.5), ("balance", 208.0), ("cutout", 205.0)])
def test_svg_marks_touch_the_axis_at_their_number(key, x_mm):
    root = ET.fromstring(outline_svg(sample_result(), PROFILE_MM))
    group = next(g for g in root.iter(f"{SVG}g") if g.get("id") == key)
    line = group.find(f"{SVG}line")
    assert float(line.get("x1")) == float(line.get("x2")) == x_mm and float(line.get("y1")) == 0
    assert group.find(f"{SVG}path").get("d").startswith(f"M{x_mm:.3f} 0 ")
    assert f"{x_mm:.1f} ±" in group.find(f"{SVG}text").text


def test_svg_escapes_the_name():
    root = ET.fromstring(outline_svg(sample_result(name=NASTY), PROFILE_MM))
    assert root.find(f"{SVG}title").text.startswith(NASTY)


# --- summary


def test_summary_is_short_aligned_and_80_wide():
    text = summary_text(sample_result(), "out/report.html")
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0] == "campion: FLY (it is stable enough, by these numbers)"
    assert "centre of pressure  248.5 ± 1.9 mm from the nose tip (10.35 calibers)" in lines
    assert "margin              1.69 ± 0.09 calibers" in lines
    assert "margin by cut-out   -0.13 ± 0.06 calibers, for air from the side; most good" in lines
    assert "what to do          Give --behind." in lines
    assert "report              out/report.html" in lines
    assert lines[-1] == "The range safety officer decides."
    assert len(lines) < 40


def test_summary_keeps_a_long_path_whole():
    path = "/a folder/" + "deep/" * 30 + "report.html"
    assert path in summary_text(sample_result(), path)
