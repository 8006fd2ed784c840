"""Templates as files: one PDF with all sheets, and a whole drawing of each piece as SVG; true to size.

The PDF is written by ReportLab, in points of 1/72 inch.
"""

import io
from html import escape

import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from digitize.printed.patterns import BAR_MM, EDGE_MM, FOOT_MM, Piece, Sheet
from digitize.units.rounding import both

MADE_BY = "digitize templates"
HOW = (
    "Print at 100 % (actual size) and check the bar with a ruler. Glue to cardboard, sheets cross on cross, and cut.",
    "Balance the cut-out on a ruler's edge, and tell the tool: --hand cutout-balance=LENGTH from the nose tip.",
)
_CROSS_MM, _LETTER_PT = 4.0, 9
"""Sizes on paper, by eye."""


def templates_pdf(pages: tuple[Sheet, ...]) -> bytes:
    """All sheets, a page each."""
    stream = io.BytesIO()
    canvas = Canvas(stream, pagesize=tuple(side * mm for side in pages[0].size_mm), invariant=1, pageCompression=0)
    canvas.setCreator(MADE_BY)
    canvas.setTitle(pages[0].piece.title.split(":")[0] + ": templates")
    for page in pages:
        canvas.setPageSize(tuple(side * mm for side in page.size_mm))
        _draw(canvas, page)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def is_template(content: bytes) -> bool:
    """Whether a file is a template this tool made."""
    return MADE_BY.encode() in content


def _draw(canvas: Canvas, page: Sheet) -> None:
    piece, (low, high) = page.piece, page.window_mm
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(low[0] * mm, low[1] * mm, (high[0] - low[0]) * mm, (high[1] - low[1]) * mm)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.setLineWidth(0.3 * mm)
    for outline in piece.outlines:
        _closed(canvas, (outline + page.origin_mm) * mm)
    canvas.setDash(8, 3)
    canvas.setLineWidth(0.15 * mm)
    for line in piece.lines:
        (x1, y1), (x2, y2) = (line + page.origin_mm) * mm
        canvas.line(x1, y1, x2, y2)
    canvas.setDash()
    for number, mark in enumerate(piece.marks):
        _mark(canvas, (np.array(mark.place) + page.origin_mm) * mm, mark.words, number)
    canvas.restoreState()
    _frame(canvas, page)
    _foot(canvas, page)


def _closed(canvas: Canvas, points) -> None:
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    path.close()
    canvas.drawPath(path)


def _mark(canvas: Canvas, place, words: str, number: int) -> None:
    """A cross in a ring, and its words above or below."""
    x, y = place
    canvas.setLineWidth(0.25 * mm)
    canvas.circle(x, y, 1.6 * mm)
    for dx, dy in ((3 * mm, 0), (0, 3 * mm)):
        canvas.line(x - dx, y - dy, x + dx, y + dy)
    canvas.setFont("Helvetica", _LETTER_PT)
    canvas.drawCentredString(x, y + (4 * mm if number % 2 == 0 else -7 * mm), words)


def _frame(canvas: Canvas, page: Sheet) -> None:
    """The window's edge, thin, and the register crosses that the neighbours show at the same places."""
    low, high = page.window_mm * mm
    canvas.setLineWidth(0.1 * mm)
    canvas.setDash(1, 3)
    canvas.rect(low[0], low[1], high[0] - low[0], high[1] - low[1])
    canvas.setDash()
    canvas.setLineWidth(0.2 * mm)
    for x, y in page.crosses_mm * mm:
        canvas.line(x - _CROSS_MM * mm, y, x + _CROSS_MM * mm, y)
        canvas.line(x, y - _CROSS_MM * mm, x, y + _CROSS_MM * mm)


def _foot(canvas: Canvas, page: Sheet) -> None:
    left, top = EDGE_MM * mm, (EDGE_MM + FOOT_MM - 5) * mm
    canvas.setFont("Helvetica-Bold", 10)
    canvas.drawString(left, top, _printable(page.words))
    canvas.setFont("Helvetica", 7.5)
    for k, line in enumerate(HOW):
        canvas.drawString(left, top - (4.2 + 3.4 * k) * mm, line)
    y = EDGE_MM * mm + 1.5 * mm
    canvas.setLineWidth(0.3 * mm)
    canvas.line(left, y, left + BAR_MM * mm, y)
    for x in (left, left + BAR_MM * mm):
        canvas.line(x, y - 1.5 * mm, x, y + 1.5 * mm)
    words = f"{both(BAR_MM, 'mm')}; the sheet's own scale if it is not"
    canvas.drawString(left + (BAR_MM + 3) * mm, y - 1 * mm, words)


def _printable(text: str) -> str:
    """Letters the built-in font lacks as question marks."""
    return text.encode("cp1252", "replace").decode("cp1252")


def piece_svg(piece: Piece) -> str:
    """One piece whole, true to size; one user unit is a millimetre, y down."""
    width, height = piece.size()
    margin, foot = 8.0, 16.0

    def flat(points) -> str:
        return " ".join(f"{x:.4f},{height - y:.4f}" for x, y in points)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width + 2 * margin:.3f}mm" '
        f'height="{height + margin + foot:.3f}mm" viewBox="{-margin:.3f} {-margin:.3f} {width + 2 * margin:.3f} '
        f'{height + margin + foot:.3f}">',
        f"<!-- {MADE_BY} -->",
        f"<title>{escape(piece.title)}, true size</title>",
        '<g fill="none" stroke="#000" stroke-width="0.3" font-family="sans-serif">',
        *(
            f'<polygon id="{"cut" if k == 0 else f"cut-{k}"}" points="{flat(outline)}"/>'
            for k, outline in enumerate(piece.outlines)
        ),
        *(f'<polyline stroke-width="0.15" stroke-dasharray="6 2" points="{flat(line)}"/>' for line in piece.lines),
    ]
    for number, mark in enumerate(piece.marks):
        x, y = mark.place[0], height - mark.place[1]
        parts += [
            f'<circle id="mark-{number}" cx="{x:.4f}" cy="{y:.4f}" r="1.6"/>',
            f'<path d="M{x - 3:.4f} {y:.4f} h6 M{x:.4f} {y - 3:.4f} v6"/>',
            f'<text x="{x:.3f}" y="{y + (-4 if number % 2 == 0 else 7):.3f}" font-size="3.2" stroke="none" fill="#000" '
            f'text-anchor="middle">{escape(mark.words)}</text>',
        ]
    bar_y = height + foot - margin
    parts += [
        f'<path id="bar" d="M0 {bar_y:.3f} h{BAR_MM:g} M0 {bar_y - 1.5:.3f} v3 M{BAR_MM:g} {bar_y - 1.5:.3f} v3"/>',
        f'<text x="{BAR_MM + 3:g}" y="{bar_y + 1:.3f}" font-size="3.2" stroke="none" fill="#000">'
        f"{both(BAR_MM, 'mm')}</text>",
        "</g>",
        "</svg>",
    ]
    return "\n".join(parts) + "\n"
