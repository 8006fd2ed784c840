"""Pen and lettering for the overlay: cased lines, dashes, arrowheads, plaques of words.

Points are (x, y) in pixels of the canvas, the centre of the top-left pixel at (0, 0). A dark line in a light
casing reads on any background, and each kind of line has its own pattern, so that no meaning hangs on colour.
"""

import functools
import unicodedata

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

LINE_COLOUR = (22, 27, 38)
SOFT_COLOUR = (92, 98, 110)
PAPER = (252, 251, 247)
MODEL_COLOUR = (0, 84, 160)  # blue, which every common kind of colour vision tells from the others
CP_COLOUR = (150, 46, 0)

_SHIFT = 4  # fractional bits of cv2's drawing coordinates
_SPELLING = {
    "×": "x",
    "–": "-",
    "—": "-",
    "−": "-",
    "²": "2",
    "“": '"',
    "”": '"',
    "’": "'",
    "ø": "o",
    "ß": "ss",
}


@functools.lru_cache(maxsize=32)
def font(size_px: int):
    """Pillow's own scalable font: nothing to install."""
    return ImageFont.load_default(size_px)


def letterable(text: str) -> str:
    """The text in letters the built-in font has: accents taken off, the rest replaced by '?'."""
    spelled = "".join(_SPELLING.get(letter, letter) for letter in text)
    spelled = "".join(c if c in "±°" else unicodedata.normalize("NFKD", c) for c in spelled)
    kept = (c for c in spelled if not unicodedata.combining(c))
    return "".join(c if c in "±°" or " " <= c <= "~" else "?" for c in kept)


def text_width(text: str, size_px: int) -> float:
    """Width of the text as it would be drawn, px."""
    return font(size_px).getlength(letterable(text))


def shortened(text: str, size_px: int, width_px: float) -> str:
    """The text, cut in its middle with "..." when it is wider than width_px."""
    if text_width(text, size_px) <= width_px:
        return text
    keep = len(text)
    while keep > 6 and text_width(text[: keep // 2] + "..." + text[-(keep // 2) :], size_px) > width_px:
        keep -= 1
    return text[: keep // 2] + "..." + text[-(keep // 2) :]


def line(canvas, points, width_px, colour=LINE_COLOUR, casing_px=0.0, closed=False, pattern=None) -> None:
    """Draw a polyline of (n, 2) points; casing_px: paper-coloured edge; pattern: dashes (on, off, ...)."""
    points = np.asarray(points, float)
    if len(points) < 2 or not np.isfinite(points).all():
        return
    pieces = [(points, closed)] if pattern is None else [(p, False) for p in dashes(points, pattern, closed)]
    fixed = [(_fixed(piece), shut) for piece, shut in pieces]
    if casing_px:
        thick = max(1, round(width_px + 2 * casing_px))
        for piece, shut in fixed:
            cv2.polylines(canvas, [piece], shut, PAPER, thick, cv2.LINE_AA, _SHIFT)
    for piece, shut in fixed:
        cv2.polylines(canvas, [piece], shut, colour, max(1, round(width_px)), cv2.LINE_AA, _SHIFT)


def dashes(points, pattern, closed=False) -> list[np.ndarray]:
    """The drawn pieces of a polyline, by arc length, for a pattern (on, off, on, off ...) in px."""
    points = np.asarray(points, float)
    if closed:
        points = np.vstack([points, points[:1]])
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    pieces: list[np.ndarray] = []
    start, step = 0.0, 0
    while start < at[-1] and len(pieces) < 5000:
        end = min(start + pattern[step % len(pattern)], at[-1])
        if step % 2 == 0:
            inside = at[(at > start) & (at < end)]
            stops = np.concatenate([[start], inside, [end]])
            pieces.append(np.column_stack([np.interp(stops, at, points[:, i]) for i in (0, 1)]))
        start, step = end, step + 1
    return pieces


def area(canvas, points, colour, opacity=1.0) -> None:
    """Fill a polygon."""
    points = np.asarray(points, float)
    if opacity >= 1.0:
        cv2.fillPoly(canvas, [_fixed(points)], colour, cv2.LINE_AA, _SHIFT)
        return
    top = np.array(canvas.shape[1::-1])
    low = np.clip(np.floor(points.min(axis=0)).astype(int) - 1, 0, top)
    high = np.clip(np.ceil(points.max(axis=0)).astype(int) + 2, 0, top)
    if (high <= low).any():
        return
    window = canvas[low[1] : high[1], low[0] : high[0]]
    filled = window.copy()
    cv2.fillPoly(filled, [_fixed(points - low)], colour, cv2.LINE_AA, _SHIFT)
    cv2.addWeighted(filled, opacity, window, 1 - opacity, 0, dst=window)


def dot(canvas, point, radius_px, colour=LINE_COLOUR) -> None:
    """A round spot in a light ring, centred on the point."""
    centre = tuple(int(v) for v in _fixed(np.asarray(point, float)))
    for radius, shade in ((radius_px * 1.6, PAPER), (radius_px, colour)):
        cv2.circle(canvas, centre, round(radius * 2**_SHIFT), shade, -1, cv2.LINE_AA, _SHIFT)


def arrowhead(canvas, tip, direction, length_px, colour=LINE_COLOUR, hollow=False) -> None:
    """A slim triangle whose tip touches the point, pointing along the unit vector `direction`."""
    tip, along = np.asarray(tip, float), np.asarray(direction, float)
    across = np.array([-along[1], along[0]]) * length_px * 0.34
    base = tip - along * length_px
    triangle = np.array([tip, base + across, base - across])
    line(canvas, triangle, max(2, length_px * 0.12), PAPER, length_px * 0.06, closed=True)
    area(canvas, triangle, PAPER if hollow else colour)
    line(canvas, triangle, max(1, length_px * 0.08), colour, closed=True)


def words_size(lines, size_px) -> tuple[int, int]:
    """Width and height of a plaque of words, px. lines: (text, relative size) pairs, top to bottom."""
    width = max(text_width(text, max(1, round(size_px * rel))) for text, rel in lines)
    height = sum(round(size_px * rel) * 1.18 for _, rel in lines)
    return round(width + size_px * 0.8), round(height + size_px * 0.45)


def plaque(lines, size_px, colour=LINE_COLOUR, opacity=0.93) -> Image.Image:
    """Words on a small paper label, as an RGBA picture of words_size."""
    width, height = words_size(lines, size_px)
    picture = Image.new("RGBA", (width, height), (*PAPER, 0))
    pen = ImageDraw.Draw(picture)
    pen.rounded_rectangle(
        (0, 0, width - 1, height - 1),
        radius=size_px * 0.25,
        fill=(*PAPER, round(255 * opacity)),
        outline=(*SOFT_COLOUR, round(150 * opacity)),
    )
    y = size_px * 0.2
    for text, rel in lines:
        size = max(1, round(size_px * rel))
        pen.text((width / 2, y), letterable(text), font=font(size), fill=(*colour, 255), anchor="ma")
        y += size * 1.18
    return picture


def paste(canvas, picture: Image.Image, centre, turn_deg: float = 0.0) -> None:
    """Lay an RGBA picture on the canvas, centred, its x axis turned turn_deg clockwise (y is down)."""
    if turn_deg:
        picture = picture.rotate(-turn_deg, expand=True, resample=Image.Resampling.BICUBIC)
    patch = np.asarray(picture, float)
    left, top = (round(float(c) - s / 2) for c, s in zip(centre, picture.size, strict=True))
    x0, y0 = max(left, 0), max(top, 0)
    x1, y1 = min(left + patch.shape[1], canvas.shape[1]), min(top + patch.shape[0], canvas.shape[0])
    if x1 <= x0 or y1 <= y0:
        return
    patch = patch[y0 - top : y1 - top, x0 - left : x1 - left]
    alpha = patch[..., 3:] / 255
    ground = canvas[y0:y1, x0:x1]
    ground[:] = np.round(ground * (1 - alpha) + patch[..., :3] * alpha).astype(np.uint8)


def write(canvas, text, at, size_px, colour=LINE_COLOUR, anchor="la") -> None:
    """Write one line of words straight on the canvas; `anchor` as Pillow names it."""
    text = letterable(text)
    left, top, right, bottom = font(size_px).getbbox(text, anchor=anchor)
    picture = Image.new("RGBA", (round(right - left) + 4, round(bottom - top) + 4), (*colour, 0))
    ImageDraw.Draw(picture).text((2 - left, 2 - top), text, font=font(size_px), fill=(*colour, 255), anchor=anchor)
    centre = (at[0] + left - 2 + picture.width / 2, at[1] + top - 2 + picture.height / 2)
    paste(canvas, picture, centre)


def _fixed(points) -> np.ndarray:
    limit = 2**26  # keeps far-away points inside cv2's 32-bit coordinates
    return np.clip(np.round(np.asarray(points, float) * 2**_SHIFT), -limit, limit).astype(np.int32)
