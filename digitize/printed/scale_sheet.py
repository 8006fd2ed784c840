"""The scale sheet to print: an exact vector PDF, written by hand because it is little more than rectangles.

Frame: PDF user space, points of 1/72 inch from the page's lower left, as ISO 32000 has it.
"""

from pathlib import Path

from digitize.files import replace_own_file
from digitize.photo.references.sheet_layout import (
    BAR_MM,
    MARKER_MM,
    PAPERS_MM,
    SHEETS,
    SheetLayout,
    layout,
    marker_cells,
)
from digitize.units.rounding import both

POINTS_PER_MM = 72 / 25.4
"""ISO 32000: 72 points an inch."""
NAMES = {"a4": "A4", "letter": "US Letter"}
BAR_LEFT_MM, BAR_TOP_MM = 57.0, 60.0
TEXT_LEFT_MM = 66.0
LINE_MM = 4.7
"""From line to line; the places above and this by eye, so that nothing touches a marker."""
WORDS = (
    "",
    "Print",
    "at 100 % (actual size), not fitted to the page,",
    "on stiff paper or glued flat on card.",
    "",
    "Check",
    "both bars with a ruler: 100.0 mm (3.937 in) each.",
    "If not: --sheet-bar 99.2mm (or 3.906in) tells it.",
    "If the two differ, use another printer.",
    "",
    "Place",
    "flat beside the rocket, facing the camera,",
    "level with the rocket's axis if you can.",
    "If it lies lower or farther away, say by how much:",
    "--behind 45mm (or 1-3/4in)",
    "",
    "Photograph",
    "with the camera square to it, 1 to 2 m (3 to 7 ft) away,",
    "the whole rocket and every black square in the frame.",
    "",
    "Measure",
    "digitize measure PHOTO --scale sheet",
)
HEADINGS = {"Print", "Check", "Place", "Photograph", "Measure"}


def write_sheet(path: Path, paper: str = "a4", sheets: int = 1) -> None:
    """Write the scale sheets 1 to `sheets`, a page each, as a true-size PDF.

    paper: 'a4' or 'letter'. Sheets of different numbers can lie in one picture. An earlier sheet there is
    replaced, nothing else. Raises ValueError for other papers or numbers, UsageRefusal if the file can't be
    written.
    """
    if paper not in PAPERS_MM:
        raise ValueError(f"no scale sheet for paper {paper!r}: {' or '.join(PAPERS_MM)}")
    if not 1 <= sheets <= SHEETS:
        raise ValueError(f"scale sheets are numbered 1 to {SHEETS}, not {sheets}")
    pages = [_page(layout(paper, number)) for number in range(1, sheets + 1)]
    replace_own_file(Path(path), _pdf(pages, PAPERS_MM[paper]), _is_sheet)


def _is_sheet(content: bytes) -> bool:
    return content.startswith(b"%PDF-") and b"(Scale sheet 1, " in content


def _page(plan: SheetLayout) -> bytes:
    """One page's drawing commands. Rectangles are x, y, width, height in mm from the top-left."""
    rectangles = []
    for marker, corners in plan.corners_mm.items():
        rectangles += _marker_rectangles(marker, corners[0])
    width, height = plan.size_mm
    rectangles += _bar(BAR_LEFT_MM, BAR_TOP_MM, upright=True)
    rectangles += _bar((width - BAR_MM) / 2, height - BAR_TOP_MM, upright=False)
    commands = ["0 g"]
    commands += [_rectangle(height, *r) for r in rectangles]
    commands.append("f")
    commands += _text(plan)
    return "\n".join(commands).encode("ascii")


def _marker_rectangles(marker: int, top_left) -> list[tuple[float, float, float, float]]:
    """Black runs of each row of cells; rows overlap by nothing, so their common edges are exact."""
    cells = marker_cells(marker)
    size = MARKER_MM / len(cells)
    rectangles = []
    for j, row in enumerate(cells):
        i = 0
        while i < len(row):
            run = 0
            while i + run < len(row) and row[i + run]:
                run += 1
            if run:
                rectangles.append((top_left[0] + i * size, top_left[1] + j * size, run * size, size))
            i += max(run, 1)
    return rectangles


def _bar(x: float, y: float, upright: bool) -> list[tuple[float, float, float, float]]:
    """A thin line exactly BAR_MM long between end strokes, whose OUTER edges are the bar's ends."""
    stroke, tall = 0.3, 5.0
    if upright:
        return [
            (x, y, stroke, BAR_MM),
            (x - tall / 2, y, tall, stroke),
            (x - tall / 2, y + BAR_MM - stroke, tall, stroke),
        ]
    return [
        (x, y, BAR_MM, stroke),
        (x, y - tall / 2, stroke, tall),
        (x + BAR_MM - stroke, y - tall / 2, stroke, tall),
    ]


def _rectangle(page_height: float, x: float, y: float, width: float, height: float) -> str:
    values = (x, page_height - y - height, width, height)
    return " ".join(f"{value * POINTS_PER_MM:.4f}" for value in values) + " re"


def _text(plan: SheetLayout) -> list[str]:
    height = plan.size_mm[1]
    lines = [(f"Scale sheet {plan.number}, {NAMES[plan.paper]}", "F2", 13)]
    lines += [(words, "F2" if words in HEADINGS else "F1", 9) for words in WORDS]
    placed = [(TEXT_LEFT_MM, BAR_TOP_MM + 3 + k * LINE_MM, *line) for k, line in enumerate(lines)]
    bar_words = both(BAR_MM, "mm")
    placed.append((plan.size_mm[0] / 2 - 8, height - BAR_TOP_MM - 2, bar_words, "F1", 9))
    commands = []
    for x, y, words, font, size in placed:
        place = f"{x * POINTS_PER_MM:.2f} {(height - y) * POINTS_PER_MM:.2f}"
        if words:
            commands.append(f"BT /{font} {size} Tf {place} Td ({_escaped(words)}) Tj ET")
    return commands


def _escaped(words: str) -> str:
    return words.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")


def _pdf(pages: list[bytes], size_mm: tuple[float, float]) -> bytes:
    """A PDF 1.7 file of these pages. It asks the viewer not to scale when printing."""
    box = " ".join(f"{value * POINTS_PER_MM:.4f}" for value in (0, 0, *size_mm))
    kids = " ".join(f"{5 + 2 * k} 0 R" for k in range(len(pages)))
    fonts = "/Font << /F1 3 0 R /F2 4 0 R >>"
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R /ViewerPreferences << /PrintScaling /None >> >>",
        f"<< /Type /Pages /Kids [{kids}] /Count {len(pages)} /MediaBox [{box}] >>".encode(),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica-Bold >>",
    ]
    for k, page in enumerate(pages):
        objects.append(f"<< /Type /Page /Parent 2 0 R /Resources << {fonts} >> /Contents {6 + 2 * k} 0 R >>".encode())
        objects.append(b"<< /Length %d >>\nstream\n%s\nendstream" % (len(page), page))
    out, offsets = bytearray(b"%PDF-1.7\n"), []
    for index, body in enumerate(objects, 1):
        offsets.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (index, body)
    start = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    out += b"".join(b"%010d 00000 n \n" % offset for offset in offsets)
    out += b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, start)
    return bytes(out)
