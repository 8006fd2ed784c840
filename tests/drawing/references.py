"""Reference objects: outlines, sizes and printed faces, in their own plane with the origin in the middle."""

import re
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import shapely

from .raster import linear
from .scene import Reference

CARD_MM, CARD_CORNER_MM = (85.60, 53.98), 3.18  # ISO/IEC 7810 ID-1
PAPER_MM = {"a4": (297.0, 210.0), "letter": (279.4, 215.9), "sheet": (210.0, 297.0)}
RULER_WIDTH_MM = 30.0
RULER_MARGIN_MM = {"steel": 0.0, "white": 3.0, "wood": 6.0, "inch": 4.0}  # from the end to the first graduation
INCH_MM = 25.4


@dataclass(frozen=True)
class Face:
    """A printed face as a bitmap: (h, w, 3) linear light, texel_mm wide texels, covering size_mm."""

    texels: np.ndarray
    texel_mm: float


def size_mm(reference: Reference) -> tuple[float, float]:
    """Width and height of the whole object."""
    if reference.kind in RULER_MARGIN_MM:
        return reference.length_mm + 2 * RULER_MARGIN_MM[reference.kind], RULER_WIDTH_MM
    if reference.kind == "checker":
        return tuple((n + 2) * reference.square_mm for n in reference.squares)
    return CARD_MM if reference.kind == "card" else PAPER_MM[reference.kind]


def corners_mm(reference: Reference) -> np.ndarray:
    """(4, 2) its own top-left, top-right, bottom-right, bottom-left."""
    width, height = size_mm(reference)
    return np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([width, height]) / 2


def outline_mm(reference: Reference) -> np.ndarray:
    """(n, 2) its edge; a card's corners are rounded."""
    corners = corners_mm(reference)
    if reference.kind != "card":
        return corners
    inner = shapely.Polygon(corners).buffer(-CARD_CORNER_MM)
    return shapely.get_coordinates(inner.buffer(CARD_CORNER_MM, quad_segs=24))[:-1]


def graduations_mm(reference: Reference) -> np.ndarray:
    """(n, 2) where a ruler's millimetre lines meet its graduated edge."""
    at = np.arange(reference.length_mm + 1) - reference.length_mm / 2
    return np.column_stack([at, np.full(len(at), -RULER_WIDTH_MM / 2)])


def checker_corners_mm(reference: Reference) -> np.ndarray:
    """(n, 2) the inner corners where four squares meet, row by row."""
    across, down = reference.squares
    x, y = np.meshgrid(np.arange(1, across) - across / 2, np.arange(1, down) - down / 2)
    return np.column_stack([x.ravel(), y.ravel()]) * reference.square_mm


@lru_cache(maxsize=8)
def face(reference: Reference, texel_mm: float) -> Face:
    """The printed face at this fineness."""
    width, height = size_mm(reference)
    columns, rows = round(width / texel_mm), round(height / texel_mm)
    if reference.kind == "inch":
        texels = _inch_ruler(reference, columns, rows, texel_mm)
    elif reference.kind in RULER_MARGIN_MM:
        texels = _ruler(reference, columns, rows, texel_mm)
    elif reference.kind == "checker":
        texels = _checker(reference, columns, rows, texel_mm)
    elif reference.kind == "card":
        texels = _card(columns, rows, texel_mm)
    elif reference.kind == "sheet":
        texels = _sheet(columns, rows, texel_mm)
    else:
        texels = np.broadcast_to(linear((236, 236, 232)), (rows, columns, 3)).copy()
    return Face(texels.astype(np.float32), texel_mm)


def _bar(count: int, texel_mm: float, start_mm: float | np.ndarray, end_mm: float | np.ndarray) -> np.ndarray:
    """(count,) exact share of each texel between start and end; arrays of bars are added up."""
    edges = np.arange(count + 1)[:, None] * texel_mm
    start, end = np.atleast_1d(start_mm), np.atleast_1d(end_mm)
    below = np.clip(edges, start, end) - start
    return np.diff(below, axis=0).sum(1) / texel_mm


def _text(texels: np.ndarray, words: str, at_mm: tuple[float, float], height_mm: float, texel_mm: float) -> None:
    """Dark letters centred on a place (from the top-left corner), in place."""
    scale = height_mm / texel_mm / 22  # Hershey capitals are 22 units high at scale 1
    (wide, high), _ = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, scale, 1)
    origin = round(at_mm[0] / texel_mm - wide / 2), round(at_mm[1] / texel_mm + high / 2)
    thick = max(1, round(0.35 / texel_mm))
    ink = np.zeros(texels.shape[:2], np.uint8)
    cv2.putText(ink, words, origin, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, thick, cv2.LINE_AA)
    texels *= 1 - 0.95 * (ink[..., None] / np.float32(255))


def _ruler(reference: Reference, columns: int, rows: int, texel_mm: float) -> np.ndarray:
    """Lines 0.2 mm wide: millimetres from the upper edge, numbered; centimetres from the lower one."""
    colour = {"steel": (158, 160, 164), "white": (238, 238, 236), "wood": (200, 160, 100)}[reference.kind]
    texels = np.broadcast_to(linear(colour), (rows, columns, 3)).copy()
    rng = np.random.default_rng(7)
    if reference.kind != "white":  # brushed metal, wood fibre
        texels *= 1 + 0.05 * cv2.GaussianBlur(rng.standard_normal((rows, 1)), (1, 5), 0).reshape(rows, 1, 1)
    margin = RULER_MARGIN_MM[reference.kind]
    tick = np.arange(reference.length_mm + 1)
    for which, long_mm in (
        (tick % 5 != 0, 4.0),
        ((tick % 5 == 0) & (tick % 10 != 0), 5.5),
        (tick % 10 == 0, 8.0),
    ):
        at = margin + tick[which]
        ink = _bar(rows, texel_mm, 0, long_mm)[:, None] * _bar(columns, texel_mm, at - 0.1, at + 0.1)
        texels *= 1 - 0.93 * ink[..., None]
    at = margin + tick[tick % 10 == 0]
    height = rows * texel_mm
    ink = _bar(rows, texel_mm, height - 4, height)[:, None] * _bar(columns, texel_mm, at - 0.1, at + 0.1)
    texels = np.ascontiguousarray(texels * (1 - 0.93 * ink[..., None]), np.float32)
    for centimetre in range(1, int(reference.length_mm) // 10):
        _text(texels, str(centimetre), (margin + centimetre * 10, 11.5), 2.6, texel_mm)
    _text(texels, "cm", (columns * texel_mm / 2, 20), 2.6, texel_mm)
    return texels


def _inch_ruler(reference: Reference, columns: int, rows: int, texel_mm: float) -> np.ndarray:
    """White, lines 0.25 mm wide from the upper edge: sixteenths of an inch, longer at eighths, quarters and halves,
    numbered at the inches."""
    texels = np.broadcast_to(linear((240, 239, 233)), (rows, columns, 3)).copy()
    margin, sixteenth = RULER_MARGIN_MM["inch"], np.arange(round(reference.length_mm / INCH_MM * 16) + 1)
    lengths_mm = np.select([sixteenth % k == 0 for k in (16, 8, 4, 2)], [11, 8.5, 7, 5.5], 3.8)
    for long_mm in np.unique(lengths_mm):
        at = margin + sixteenth[lengths_mm == long_mm] * INCH_MM / 16
        ink = _bar(rows, texel_mm, 0, long_mm)[:, None] * _bar(columns, texel_mm, at - 0.125, at + 0.125)
        texels *= 1 - 0.93 * ink[..., None]
    texels = np.ascontiguousarray(texels, np.float32)
    for inch in range(1, round(reference.length_mm / INCH_MM)):
        _text(texels, str(inch), (margin + inch * INCH_MM - 3, 13), 4.0, texel_mm)
    _text(texels, "INCHES", (columns * texel_mm / 2, 23), 3.2, texel_mm)
    return texels


def _checker(reference: Reference, columns: int, rows: int, texel_mm: float) -> np.ndarray:
    size = reference.square_mm
    across, down = reference.squares
    starts = (np.arange(across) + 1) * size, (np.arange(down) + 1) * size
    even = [_bar(n, texel_mm, s[::2], s[::2] + size) for n, s in zip((columns, rows), starts, strict=True)]
    odd = [_bar(n, texel_mm, s[1::2], s[1::2] + size) for n, s in zip((columns, rows), starts, strict=True)]
    ink = even[1][:, None] * even[0] + odd[1][:, None] * odd[0]
    white, black = linear((238, 238, 236)), linear((28, 28, 30))
    return white + ink[..., None] * (black - white)


@lru_cache(maxsize=1)
def sheet_rectangles_mm() -> np.ndarray:
    """(n, 4) left, top, width, height of the black rectangles on the printed sheet, read from its PDF."""
    from digitize.printed.scale_sheet import write_sheet

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "sheet.pdf"
        write_sheet(file)
        text = file.read_bytes().decode("latin-1")
    number = r"(-?[\d.]+)"
    found = re.findall(rf"^{number} {number} {number} {number} re$", text, re.MULTILINE)
    left, bottom, width, height = np.array(found, float).T * 25.4 / 72
    return np.column_stack([left, PAPER_MM["sheet"][1] - bottom - height, width, height])


def _sheet(columns: int, rows: int, texel_mm: float) -> np.ndarray:
    ink = np.zeros((rows, columns))
    for left, top, width, height in sheet_rectangles_mm():
        across = _bar(columns, texel_mm, left, left + width)
        ink += _bar(rows, texel_mm, top, top + height)[:, None] * across
    white, black = linear((240, 240, 238)), linear((24, 24, 26))
    return white + np.minimum(ink, 1)[..., None] * (black - white)


def _card(columns: int, rows: int, texel_mm: float) -> np.ndarray:
    """An invented library card: a blue gradient, a chip, a name and a number."""
    share = np.linspace(0, 1, columns)[:, None]
    texels = np.broadcast_to((1 - share) * linear((52, 84, 190)) + share * linear((110, 140, 205)), (rows, columns, 3))
    texels = np.ascontiguousarray(texels, np.float32)
    chip = _bar(rows, texel_mm, 19, 28)[:, None] * _bar(columns, texel_mm, 10, 21)
    texels += chip[..., None] * (linear((226, 190, 120)) - texels)
    _text(texels, "LIBRARY", (22, 9), 5, texel_mm)
    _text(texels, "0034 8817 2290", (32, 42), 3.5, texel_mm)
    return texels
