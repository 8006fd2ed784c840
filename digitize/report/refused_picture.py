"""The photo that was refused, with what was seen of it and why it is refused: `draw_refused`."""

from textwrap import wrap

import cv2
import numpy as np

from digitize.errors import Refusal
from digitize.refused import Findings
from digitize.report import raster
from digitize.report.titleblock import MODEL_PATTERN, REFERENCE_PATTERN
from digitize.units.sentences import in_words

LONGEST_SIDE_PX, SHORTEST_WIDTH_PX = 1600, 800
LETTER_PX = 24
LINE_PX = 3.0
_BODY_PATTERN = MODEL_PATTERN


def draw_refused(refusal: Refusal) -> np.ndarray:
    """(h, w, 3) uint8: the photo, LONGEST_SIDE_PX long, with a strip of words below. refusal.seen: with its photo."""
    seen, rgb = refusal.seen, refusal.seen.photo.rgb
    zoom = LONGEST_SIDE_PX / max(rgb.shape[:2])
    size = tuple(max(1, round(n * zoom)) for n in rgb.shape[1::-1])
    how = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
    picture = cv2.resize(np.ascontiguousarray(rgb), size, interpolation=how)
    width = max(size[0], SHORTEST_WIDTH_PX)
    rows = [("", REFUSED_WORDS, 1.3), *_rows(refusal, width), *_legend(seen)]
    height = round(sum(LETTER_PX * 1.4 * scale for *_, scale in rows) + LETTER_PX)
    canvas = np.full((size[1] + height, width, 3), raster.PAPER, np.uint8)
    left = (width - size[0]) // 2
    canvas[: size[1], left : left + size[0]] = picture
    _draw_seen(canvas[: size[1]], seen, lambda points: (np.asarray(points, float) + 0.5) * zoom - 0.5 + [left, 0])
    _write(canvas, rows, size[1] + LETTER_PX * 0.6)
    return canvas


REFUSED_WORDS = "Not measured"


def _rows(refusal: Refusal, width: int) -> list[tuple[str, str, float]]:
    """(pattern's name, words, size) a line: what is wrong and what to do."""
    letters = max(20, int((width - 2 * LETTER_PX) / raster.text_width("abcdefghij", LETTER_PX) * 10))
    words = [f"{refusal.what.rstrip('.')}.", f"{refusal.remedy[:1].upper()}{refusal.remedy[1:].rstrip('.')}."]
    words = [in_words(line) for line in words]
    return [("", row, 1.0) for sentence in words for row in wrap(sentence, letters)]


def _legend(seen: Findings) -> list[tuple[str, str, float]]:
    found = [r.label for r in seen.references if len(r.outline_px) > 1]
    lines = [
        ("outline", "the outline that was found", seen.outline_px is not None),
        ("rocket", "what looks like a rocket", seen.outline_px is None and len(seen.rockets_px) > 0),
        ("body", "what looks like its body", seen.body_px is not None),
        ("reference", f"found for the scale: {', '.join(found)}", bool(found)),
    ]
    rows = [(kind, words, 0.85) for kind, words, there in lines if there]
    if seen.outline_px is None and not seen.rockets_px:
        rows.insert(0, ("", "No outline was come to.", 0.85))
    return rows


def _draw_seen(canvas, seen: Findings, place) -> None:
    for reference in seen.references:
        if len(reference.outline_px) > 1:
            _stroke(canvas, place(reference.outline_px), "reference")
    if seen.body_px is not None:
        _stroke(canvas, place(seen.body_px), "body")
    if seen.outline_px is not None:
        _stroke(canvas, place(seen.outline_px), "outline")
    else:
        for rocket in seen.rockets_px:
            _stroke(canvas, place(rocket), "rocket")


def _stroke(canvas, points, kind: str, closed: bool = True) -> None:
    pattern = {"reference": REFERENCE_PATTERN, "body": _BODY_PATTERN}.get(kind)
    colour = (
        raster.MODEL_COLOUR
        if kind == "body"
        else raster.CP_COLOUR
        if kind in ("outline", "rocket")
        else raster.LINE_COLOUR
    )
    raster.line(canvas, points, LINE_PX, colour, LINE_PX * 0.6, closed, pattern)


def _write(canvas, rows, y: float) -> None:
    for kind, words, scale in rows:
        x = LETTER_PX
        if kind:
            middle = y + LETTER_PX * scale * 0.6
            _stroke(canvas, [(x, middle), (x + 3 * LETTER_PX, middle)], kind, closed=False)
            x += 4 * LETTER_PX
        raster.write(
            canvas, words, (x, y), round(LETTER_PX * scale), raster.CP_COLOUR if scale > 1 else raster.LINE_COLOUR
        )
        y += LETTER_PX * 1.4 * scale
