"""The report as PDF: read back by PDFium, on both papers, with all the page's words."""

import io
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pypdfium2
import pytest
from PIL import Image
from report_sample import sample_result

from digitize import cli
from digitize.geometry.toml import to_toml
from digitize.margin.cautions import CAUTIONS
from digitize.records import FinGroup, Geometry, Warn
from digitize.report import pdf
from digitize.report.page import foot, report_html, sections
from digitize.report.pdf import is_report, report_pdf

ROCKET_A = Geometry(
    "bracken",
    np.array([[0, 0], [60, 12], [300, 12]], float),
    (FinGroup(3, np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float), 2.0),),
)
PIXEL = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c49444154789c63606060000000040001f61738550000"
    "000049454e44ae426082"
)


def sample():
    return sample_result()


_NOT_PRINTED = ("svg", "style", "title", "summary")  # a fold's handle has no use on paper


class Words(HTMLParser):
    """The words of a page, without its drawings."""

    def __init__(self):
        super().__init__()
        self.words, self.deep = [], 0

    def handle_starttag(self, tag, attrs):
        self.deep += tag in _NOT_PRINTED

    def handle_endtag(self, tag):
        self.deep -= tag in _NOT_PRINTED

    def handle_data(self, data):
        if not self.deep:
            self.words += data.split()


def pdf_of(data, paper="a4", cautions=CAUTIONS):
    first, details = sections(data, PIXEL, "photo.jpg", "", cautions)
    return report_pdf(first, details, "title", paper, foot(data))


def text_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    return " ".join(page.get_textpage().get_text_range() for page in document)


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210, 297)), ("letter", (215.9, 279.4))])
def test_the_paper(paper, size_mm):
    """ISO 216 and ANSI sizes; 72 points an inch (ISO 32000)."""
    document = pypdfium2.PdfDocument(pdf_of(sample(), paper))
    for page in document:
        assert np.array(page.get_size()) * 25.4 / 72 == pytest.approx(size_mm, abs=0.1)


def test_every_word_of_the_page_is_in_the_pdf():
    data = sample()
    page = Words()
    page.feed(report_html(data, PIXEL, "photo.jpg", "", CAUTIONS))
    flat = re.sub(r"[\s\ufffe\u00ad-]+", "", text_of(pdf_of(data)))
    missing = [word for word in page.words if word.replace("-", "").replace("\u2212", "") not in flat]
    assert not missing
    assert len(page.words) > 150


def test_the_first_page_is_enough_to_show():
    first = pypdfium2.PdfDocument(pdf_of(sample()))[0].get_textpage().get_text_range()
    for words in ("by its parts", "by the cut-out", "by the swing test", "not done yet", "range safety officer"):
        assert words in first


def test_the_page_to_show_stays_one_page_while_its_picture_can_shrink(monkeypatch):
    """A square picture would take all the width; with four warnings it shrinks until all fits."""
    data = replace(sample(), warnings=tuple(Warn("X", f"Warning {k}", "Do this") for k in range(4)))
    square = io.BytesIO()
    Image.new("RGB", (400, 400)).save(square, "PNG")
    first, _ = sections(data, square.getvalue(), "photo.jpg", "", CAUTIONS)
    for paper in ("a4", "letter"):
        assert len(pypdfium2.PdfDocument(report_pdf(first, [], "title", paper, foot(data)))) == 1
    monkeypatch.setattr("digitize.report.pdf._TALLEST", pdf._TALLEST[:1])
    assert len(pypdfium2.PdfDocument(report_pdf(first, [], "title", "letter", foot(data)))) == 2


def test_the_same_input_gives_the_same_bytes_and_is_known_as_ours():
    pdf = pdf_of(sample())
    assert pdf == pdf_of(sample()) and is_report(pdf) and not is_report(b"%PDF-1.4 other")


def test_names_and_notes_that_want_to_break_it():
    """Markup in a name is shown, not obeyed; letters the built-in fonts lack become question marks."""
    data = replace(sample(), name="<b>x</b> & \u96fb " + "long " * 40)
    text = text_of(pdf_of(data))
    assert "<b>x</b> & ?" in text


def test_the_whole_command(capsys, tmp_path):
    (tmp_path / "a.toml").write_text(to_toml(ROCKET_A))
    argv = ["solve", str(tmp_path / "a.toml"), "--balance", "200mm", "--mass", "120g", "--out", str(tmp_path / "r")]
    assert cli.main([*argv, "--pdf", "--paper", "letter"]) == 0
    pdf = tmp_path / "r" / "report.pdf"
    assert is_report(pdf.read_bytes())
    assert cli.main(["swing", str(tmp_path / "r"), "--outcome", "pass", "--note", "calm evening"]) == 0
    assert "Calm evening" in text_of(pdf.read_bytes())  # made again, on its own paper
    assert pypdfium2.PdfDocument(pdf)[0].get_size()[0] == pytest.approx(612)
    assert cli.main(["ballast", str(tmp_path / "r"), "--margin", "2.5"]) == 0
    assert cli.main([*argv, "--pdf"]) == 0
    assert "Nose weight" in text_of(pdf.read_bytes())
    assert cli.main(argv) == 0
    assert not pdf.exists()  # it would show other numbers than the report beside it
    capsys.readouterr()
    assert cli.main([*argv, "--paper", "letter"]) == 2 and "--pdf" in capsys.readouterr().err
    assert cli.main(["solve", str(tmp_path / "a.toml"), "--pdf"]) == 2


def test_a_pdf_of_others_is_left_alone(capsys, tmp_path):
    (tmp_path / "a.toml").write_text(to_toml(ROCKET_A))
    (tmp_path / "r").mkdir()
    (tmp_path / "r" / "report.pdf").write_bytes(b"mine")
    assert cli.main(["solve", str(tmp_path / "a.toml"), "--out", str(tmp_path / "r"), "--pdf"]) == 2
    assert (tmp_path / "r" / "report.pdf").read_bytes() == b"mine"
