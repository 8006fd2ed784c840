"""The strip below the overlay: name, sizes, scale, key of lines. No date: the same input, the same sheet."""

from digitize.report import raster
from digitize.report.layout import FINE_PX, LETTER_PX
from digitize.report.text import margin_words
from digitize.result_records import Result
from digitize.units.rounding import scale_with_band, with_band
from digitize.units.shown_units import IN, now

MODEL_PATTERN = (LETTER_PX * 0.42, LETTER_PX * 0.34)
AXIS_PATTERN = tuple(LETTER_PX * k for k in (1.1, 0.25, 0.2, 0.25))
REFERENCE_PATTERN = (LETTER_PX * 0.16, LETTER_PX * 0.22)

_KEY = (
    ("outline found in the photo", raster.LINE_COLOUR, None, 1.0),
    ("body and fins as measured", raster.MODEL_COLOUR, MODEL_PATTERN, 1.0),
    ("fin root", raster.LINE_COLOUR, None, 1.5),
    ("axis", raster.LINE_COLOUR, AXIS_PATTERN, 0.6),
    ("scale reference", raster.LINE_COLOUR, REFERENCE_PATTERN, 1.0),
)
_TITLE = 1.35
_SMALL = 0.82
_WIDE_PX = 56 * LETTER_PX  # below this the three columns become two rows
_ROW = 1.25 * LETTER_PX


def title_block_height(width_px: int) -> int:
    """Height of the strip on a sheet of that width, px."""
    rows = 5 if width_px >= _WIDE_PX else 9
    return round(rows * _ROW + 1.9 * LETTER_PX)


def draw_title_block(canvas, top_px: int, result: Result) -> None:
    """Draw the strip on the canvas from row top_px down."""
    width = canvas.shape[1]
    left, right = LETTER_PX * 1.2, width - LETTER_PX * 1.2
    raster.line(canvas, [(left, top_px), (right, top_px)], FINE_PX, raster.LINE_COLOUR)
    top = top_px + 0.7 * LETTER_PX
    wide = width >= _WIDE_PX
    column = (right - left) / (3 if wide else 2)
    _title(canvas, left, top, column - LETTER_PX, result)
    _facts(canvas, left + column, top, column - LETTER_PX, result)
    if wide:
        _key(canvas, left + 2 * column, top, 1, column)
    else:
        _key(canvas, left, top + 5.9 * _ROW, 2, column)


def _title(canvas, left, top, width, result) -> None:
    size = round(LETTER_PX * _TITLE)
    name = raster.shortened(raster.letterable(result.name or "rocket"), size, width)
    raster.write(canvas, name, (left, top), size)
    small = round(LETTER_PX * _SMALL)
    lines = [f"side view, {'inches' if now() == IN else 'millimetres'} from the nose tip"]
    if result.photo is not None and result.photo.file:
        lines.append(f"photo: {result.photo.file}")
    if result.scale_kind is not None:
        lines += [f"scale: {result.scale_kind}", scale_with_band(result.mm_per_px_at_axis)]
    for i, text in enumerate(lines):
        raster.write(
            canvas, raster.shortened(text, small, width), (left, top + (1.4 + i) * _ROW), small, raster.SOFT_COLOUR
        )


def _facts(canvas, left, top, width, result) -> None:
    rows = [
        ("length", with_band(result.length_mm, "mm")),
        ("largest diameter", with_band(result.max_diameter_mm, "mm")),
        ("centre of pressure", with_band(result.cp_x_mm, "mm")),
        ("cut-out balance", with_band(result.cutout_centroid_mm, "mm")),
        ("margin", margin_words(result)),
    ]
    if result.margin_calibers is None:
        rows.pop()
    small = round(LETTER_PX * _SMALL)
    for i, (what, text) in enumerate(rows):
        raster.write(canvas, what, (left, top + i * _ROW), small, raster.SOFT_COLOUR)
        raster.write(canvas, text, (left + 8.6 * LETTER_PX, top + i * _ROW), small)


def _key(canvas, left, top, columns, width) -> None:
    small = round(LETTER_PX * _SMALL)
    for i, (words, colour, pattern, weight) in enumerate(_KEY):
        x, y = left + (i % columns) * width, top + (i // columns) * _ROW
        middle = y + small * 0.42
        ends = [(x, middle), (x + 3 * LETTER_PX, middle)]
        raster.line(canvas, ends, FINE_PX * weight, colour, pattern=pattern)
        raster.write(canvas, words, (x + 3.6 * LETTER_PX, y), small)
