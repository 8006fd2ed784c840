"""The report as PDF: the same sections as the page, laid out by ReportLab on A4 or Letter paper.

The sections are the page's own HTML, of which only what this tool writes is understood: headings, paragraphs, lists,
tables, figures with a picture or a drawing, and the boxes of the first page.
"""

import base64
import io
from dataclasses import dataclass, field
from html import escape
from html.parser import HTMLParser

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Frame,
    HRFlowable,
    Image,
    KeepTogether,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)
from svglib.svglib import svg2rlg

PAPERS = {"a4": A4, "letter": letter}
MADE_BY = "digitize report"
_MARGIN = 15 * mm
_TALLEST = tuple(height * mm for height in (105, 90, 75, 60, 48, 38))
"""Heights a picture may have; the first page takes the largest that leaves the page whole."""
_LINE, _SOFT, _LINE = colors.HexColor("#161b26"), colors.HexColor("#5c626e"), colors.HexColor("#c9cdd4")
_VOID = {"img", "source", "br", "meta", "hr", "line", "circle", "path", "polyline", "polygon", "rect"}
_TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=8.8, leading=11.2, textColor=_LINE)
_STYLES = {
    "p": ParagraphStyle("p", _TEXT, spaceAfter=3),
    "small": ParagraphStyle("small", _TEXT, fontSize=8, leading=10, textColor=_SOFT),
    "h1": ParagraphStyle("h1", _TEXT, fontName="Helvetica-Bold", fontSize=19, leading=23),
    "h2": ParagraphStyle("h2", _TEXT, fontName="Helvetica-Bold", fontSize=11, leading=14, spaceBefore=4, spaceAfter=2),
    "h3": ParagraphStyle("h3", _TEXT, fontSize=8, leading=10, textColor=_SOFT),
    "big": ParagraphStyle("big", _TEXT, fontName="Helvetica-Bold", fontSize=13, leading=16, spaceAfter=2),
    "level": ParagraphStyle("level", _TEXT, fontName="Helvetica-Bold", fontSize=20, leading=24),
    "num": ParagraphStyle("num", _TEXT, alignment=2),
}


@dataclass
class _Node:
    tag: str
    attributes: dict = field(default_factory=dict)
    inside: list = field(default_factory=list)  # nodes and texts

    def classes(self) -> set[str]:
        return set((self.attributes.get("class") or "").split())

    def all(self, tag: str) -> list["_Node"]:
        found = []
        for item in self.inside:
            if isinstance(item, _Node):
                found += [item] if item.tag == tag else item.all(tag)
        return found


class _Reader(HTMLParser):
    """The tree of a piece of HTML; what is inside an svg is kept as text."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.root = _Node("root")
        self.open, self.svg = [self.root], None

    def handle_starttag(self, tag, attrs):
        if self.svg is not None or tag == "svg":
            self.svg = (self.svg or "") + self.get_starttag_text()
            return
        node = _Node(tag, dict(attrs))
        self.open[-1].inside.append(node)
        if tag not in _VOID:
            self.open.append(node)

    def handle_startendtag(self, tag, attrs):
        if self.svg is not None:
            self.svg += self.get_starttag_text()
        else:
            self.open[-1].inside.append(_Node(tag, dict(attrs)))

    def handle_endtag(self, tag):
        if self.svg is not None:
            self.svg += f"</{tag}>"
            if tag == "svg":
                self.open[-1].inside.append(_Node("svg", {"text": self.svg}))
                self.svg = None
        elif tag not in _VOID:
            while len(self.open) > 1 and self.open.pop().tag != tag:
                pass

    def handle_data(self, data):
        if self.svg is not None:
            self.svg += escape(data)
        else:
            self.open[-1].inside.append(data)


def report_pdf(first: list[str], details: list[str], title: str, paper: str, foot: str) -> bytes:
    """The PDF. first: the sections of the page to show; details: those behind it; paper: 'a4' or 'letter'; foot: the
    line at the bottom of every page."""
    size = PAPERS[paper]
    width = size[0] - 2 * _MARGIN
    story = _first_page("\n".join(first), width, size[1] - 2 * _MARGIN)
    if details:
        story += [PageBreak(), *_flowables("\n".join(details), width)]
    stream = io.BytesIO()
    document = BaseDocTemplate(
        stream, pagesize=size, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN, bottomMargin=_MARGIN,
        title=title, creator=MADE_BY, invariant=1,
    )  # fmt: skip
    frame = Frame(_MARGIN, _MARGIN, width, size[1] - 2 * _MARGIN, 0, 0, 0, 0)

    def foot_of(canvas, _document):
        canvas.setFont("Helvetica", 7.5)
        canvas.setFillColor(_SOFT)
        canvas.drawString(_MARGIN, 8 * mm, _printable(foot))
        canvas.drawRightString(size[0] - _MARGIN, 8 * mm, str(canvas.getPageNumber()))

    document.addPageTemplates(PageTemplate("page", [frame], onPageEnd=foot_of))
    document.build(story)
    return stream.getvalue()


def is_report(content: bytes) -> bool:
    """Whether a PDF is a report this tool made."""
    return content.startswith(b"%PDF-") and MADE_BY.encode() in content


def _first_page(html: str, width: float, height: float) -> list:
    """The page to show, its picture as large as leaves room for all the rest; the smallest where nothing does."""
    for tallest in _TALLEST:
        frame = Frame(0, 0, width, height, 0, 0, 0, 0)
        scratch = Canvas(io.BytesIO())
        scratch.nothing_but_sizes = True
        left = _loose(_flowables(html, width, tallest))
        frame.addFromList(left, scratch)
        if not left:
            break
    return _flowables(html, width, tallest)


def _loose(flowables: list) -> list:
    """The same without what keeps some together, which a frame alone can't lay out."""
    inside = ([item] if not isinstance(item, KeepTogether) else _loose(item._content) for item in flowables)
    return [item for items in inside for item in items]


def _flowables(html: str, width: float, tallest: float = _TALLEST[0]) -> list:
    reader = _Reader()
    reader.feed(html)
    reader.close()
    for picture in (*reader.root.all("img"), *reader.root.all("svg")):
        picture.attributes["tallest"] = tallest
    return _blocks(reader.root, width)


def _blocks(node: _Node, width: float) -> list:
    found = []
    for item in node.inside:
        if isinstance(item, _Node):
            found += _block(item, width)
    return found


def _block(node: _Node, width: float) -> list:
    make = {
        "section": _section, "header": _blocks, "figure": _figure, "table": _table, "ul": _list, "ol": _list,
        "dl": _warnings, "div": _div, "h1": _paragraph, "h2": _heading, "h3": _paragraph, "p": _paragraph,
        "figcaption": _small, "caption": _small, "svg": _drawing, "img": _picture,
    }.get(node.tag, _blocks)  # fmt: skip
    return make(node, width)


def _section(node: _Node, width: float) -> list:
    blocks = _blocks(node, width - (16 if "verdict" in node.classes() else 0))
    if "verdict" in node.classes():
        box = Table([[blocks]], colWidths=[width])
        box.setStyle(
            TableStyle([
                ("BOX", (0, 0), (-1, -1), 0.5, _LINE), ("LINEBEFORE", (0, 0), (0, -1), 5, _LINE),
                ("LEFTPADDING", (0, 0), (-1, -1), 10), ("BOTTOMPADDING", (0, 0), (-1, -1), 6),
            ])
        )  # fmt: skip
        return [Spacer(1, 4), box, Spacer(1, 6)]
    # a heading stays with what follows it
    return [KeepTogether(blocks[:3]), *blocks[3:]] if blocks else []


def _heading(node: _Node, width: float) -> list:
    return [
        HRFlowable(width, 0.8, color=_LINE, spaceBefore=4, spaceAfter=0),
        Paragraph(_words(node), _STYLES["h2"]),
    ]


def _paragraph(node: _Node, width: float) -> list:
    names = [*node.classes(), node.tag, "p"]
    style = next(_STYLES[name] for name in names if name in _STYLES)
    words = _words(node)
    return [Paragraph(words, style)] if words.strip() else []


def _small(node: _Node, width: float) -> list:
    return [Paragraph(_words(node), _STYLES["small"])]


def _list(node: _Node, width: float) -> list:
    style = ParagraphStyle("li", _TEXT, leftIndent=10, bulletIndent=0, spaceAfter=2)
    marks = (f"{k}." for k in range(1, 1000)) if node.tag == "ol" else ("\u2022" for _ in range(1000))
    return [Paragraph(_words(item), style, bulletText=mark) for item, mark in zip(node.all("li"), marks, strict=False)]


def _warnings(node: _Node, width: float) -> list:
    found = []
    for pair in node.all("div") or [node]:
        terms = [Paragraph(f"<b>{_words(term)}</b>", _STYLES["p"]) for term in pair.all("dt")]
        remedies = [Paragraph(_words(term), _STYLES["p"]) for term in pair.all("dd")]
        box = Table([[[*terms, *remedies]]], colWidths=[width])
        box.setStyle(TableStyle([("LINEBEFORE", (0, 0), (0, -1), 2.5, _LINE), ("LEFTPADDING", (0, 0), (-1, -1), 8)]))
        found += [box, Spacer(1, 4)]
    return found


def _div(node: _Node, width: float) -> list:
    if "checks" not in node.classes():
        return _blocks(node, width)
    cells = [item for item in node.inside if isinstance(item, _Node)]
    each = width / max(len(cells), 1)
    table = Table([[_blocks(cell, each - 12) for cell in cells]], colWidths=[each] * len(cells))
    table.setStyle(
        TableStyle([
            ("BOX", (0, 0), (-1, -1), 0.6, _LINE), ("INNERGRID", (0, 0), (-1, -1), 0.6, _LINE),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ])
    )  # fmt: skip
    return [table]


def _figure(node: _Node, width: float) -> list:
    return [KeepTogether(_blocks(node, width)), Spacer(1, 3)]


class _Picture(Image):
    """Not drawn where only its size is asked for, which saves packing it."""

    def draw(self):
        if not getattr(self.canv, "nothing_but_sizes", False):
            super().draw()


def _picture(node: _Node, width: float) -> list:
    data = base64.b64decode(node.attributes["src"].split(",", 1)[1])
    picture = _Picture(io.BytesIO(data))
    scale = min(width / picture.imageWidth, node.attributes["tallest"] / picture.imageHeight)
    picture.drawWidth, picture.drawHeight = picture.imageWidth * scale, picture.imageHeight * scale
    return [picture]


def _drawing(node: _Node, width: float) -> list:
    drawing = svg2rlg(io.BytesIO(node.attributes["text"].encode("utf-8")))
    assert drawing is not None  # it is that only of what is no SVG, and this one is our own
    scale = min(width / drawing.width, 52 * mm / drawing.height, node.attributes["tallest"] / drawing.height)
    drawing.scale(scale, scale)
    drawing.width, drawing.height = drawing.width * scale, drawing.height * scale
    drawing.hAlign = "CENTER"
    return [drawing]


def _table(node: _Node, width: float) -> list:
    rows = [[cell for cell in row.inside if isinstance(cell, _Node)] for row in node.all("tr")]
    columns = max((len(row) for row in rows), default=0)
    if not columns:
        return []
    cells, spans = [], []
    for r, row in enumerate(rows):
        line = [_cell(cell) for cell in row]
        if row and int(row[-1].attributes.get("colspan") or 1) > 1:
            spans.append(("SPAN", (len(row) - 1, r), (columns - 1, r)))
        cells.append([*line, *[""] * (columns - len(line))])
    repeated = 1 if node.all("thead") else 0
    table = Table(cells, colWidths=_widths(rows, columns, width), repeatRows=repeated, hAlign="LEFT")
    table.setStyle(
        TableStyle([
            ("LINEBELOW", (0, 0), (-1, -1), 0.3, _LINE), ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("TOPPADDING", (0, 0), (-1, -1), 1.2), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.8),
            ("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 8), *spans,
        ])
    )  # fmt: skip
    captions = [Paragraph(_words(caption), _STYLES["small"]) for caption in node.all("caption")]
    return [*captions, table, Spacer(1, 4)]


def _cell(cell: _Node):
    words = _words(cell)
    if "note" in cell.classes() or cell.attributes.get("scope") == "col":
        style = _STYLES["small"] if "num" not in cell.classes() else ParagraphStyle("s", _STYLES["small"], alignment=2)
        return Paragraph(words, style)
    return Paragraph(words, _STYLES["num"] if "num" in cell.classes() else _TEXT)


def _widths(rows, columns: int, width: float) -> list[float]:
    """Columns as wide as their longest text asks, at most the page together."""
    wanted = [30.0] * columns
    for row in rows:
        for k, cell in enumerate(row):
            if int(cell.attributes.get("colspan") or 1) == 1:
                wanted[k] = max(wanted[k], 4.7 * len(_plain(cell)) + 16)
    longest = max(wanted)
    if sum(wanted) > width:  # the widest column gives way
        wanted[wanted.index(longest)] = max(width - (sum(wanted) - longest), 0.3 * width)
    scale = min(1.0, width / sum(wanted))
    return [value * scale for value in wanted]


def _plain(node: _Node) -> str:
    return " ".join("".join(i if isinstance(i, str) else _plain(i) for i in node.inside).split())


def _words(node: _Node) -> str:
    """The text in ReportLab's own markup: bold stays, all else is plain."""
    parts = []
    for item in node.inside:
        if isinstance(item, str):
            parts.append(escape(_printable(item)))
        elif item.tag in ("strong", "b"):
            parts.append(f"<b>{_words(item)}</b>")
        else:
            parts.append(_words(item))
    return "".join(parts)


def _printable(text: str) -> str:
    """What the built-in fonts can show; other signs as the nearest plain ones."""
    text = text.translate({0x2212: "-", 0x2009: " ", 0x202F: " ", 0x2265: ">=", 0x2264: "<="})
    return text.encode("cp1252", "replace").decode("cp1252")
