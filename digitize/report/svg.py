"""The measured rocket as a true-size drawing: `outline_svg`. One user unit is one millimetre.

Frame of the drawing: x from the nose tip aft along the axis, y down, 0 on the axis.
"""

from html import escape

import numpy as np

from digitize.result_records import Result
from digitize.units.rounding import with_band
from digitize.units.sentences import in_its_units

_MARGIN_MM = 8.0
_DECIMALS = 3


@in_its_units
def outline_svg(result: Result, profile_mm: np.ndarray) -> str:
    """A stand-alone SVG, width and height in mm: body, fins on both sides, axis, CP and balance marks.

    result: what result.json holds; profile_mm: (n, 2) x from the nose tip, radius. The fins are drawn in the
    plane of the paper whatever their count; id "body" and ids "fins-1" ... (nose to tail) name the outlines.
    """
    profile = np.asarray(profile_mm, float)
    fins = [np.asarray(group.outline_mm, float) for group in result.fins]
    points = np.vstack([profile, *fins])
    length, radius = profile[-1, 0], points[:, 1].max()
    letter = min(max(length / 30, 2.2), 16.0)
    marks, leftward = _marks(result, length)
    low_x, low_y = points[:, 0].min() - _MARGIN_MM, -radius - _MARGIN_MM
    width = points[:, 0].max() + _MARGIN_MM - low_x
    height = radius + _MARGIN_MM + (len(marks) + 0.5) * letter * 1.5 - low_y
    name = escape(result.name or "rocket")
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm" '
        f'viewBox="{low_x:.3f} {low_y:.3f} {width:.3f} {height:.3f}" role="img">',
        f"<title>{name}: side view, true size</title>",
        f'<g fill="none" stroke="#161b26" stroke-width="{letter * 0.09:.3f}" stroke-linejoin="round">',
    ]
    for i, outline in enumerate(fins, start=1):
        d = f"{_path(outline)} {_path(outline * [1, -1])}"
        parts.append(f'<path id="fins-{i}" fill="#eef1f5" d="{d}"/>')
    body = np.vstack([profile * [1, -1], profile[::-1]])
    parts.append(f'<path id="body" fill="#ffffff" d="{_path(body)}"/>')
    over = _MARGIN_MM * 0.6
    parts.append(
        f'<line id="axis" x1="{-over:.3f}" y1="0" x2="{length + over:.3f}" y2="0" '
        f'stroke-width="{letter * 0.05:.3f}" '
        f'stroke-dasharray="{letter * 1.6:.2f} {letter * 0.35:.2f} {letter * 0.3:.2f} {letter * 0.35:.2f}"/>'
    )
    parts.append("</g>")
    for row, (key, words, x, colour) in enumerate(marks, start=1):
        bottom = radius + _MARGIN_MM * 0.5 + row * letter * 1.5
        parts += _mark(key, words, x, colour, bottom, letter, leftward)
    parts.append("</svg>")
    return "\n".join(parts) + "\n"


def _marks(result: Result, length_mm: float) -> tuple[list[tuple[str, str, float, str]], bool]:
    """(id, words, x, colour) from the top row down, and whether the words stand left of their leaders.

    Words point toward the longer side of the rocket; the rows are ordered so that no leader crosses words.
    """
    wanted = (
        ("cp", "centre of pressure", result.cp_x_mm, "#962e00"),
        ("balance", "balance point", result.balance_mm, "#161b26"),
        ("cutout", "cut-out balance", result.cutout_centroid_mm, "#161b26"),
    )
    found = [(k, f"{w} {with_band(q, 'mm')}", q.value, c) for k, w, q, c in wanted if q is not None]
    leftward = sum(mark[2] for mark in found) > len(found) * length_mm / 2
    return sorted(found, key=lambda mark: mark[2], reverse=not leftward), leftward


def _mark(key, words, x, colour, bottom, letter, leftward) -> list[str]:
    """A plumb line from the axis down past the rocket to its words; an arrowhead touches the axis."""
    head = letter * 0.8
    anchor, shift = ("end", -0.4) if leftward else ("start", 0.4)
    return [
        f'<g id="{key}" stroke="{colour}" fill="{colour}" stroke-width="{letter * 0.08:.3f}">',
        f'<line x1="{x:.3f}" y1="0" x2="{x:.3f}" y2="{bottom:.3f}"/>',
        f'<path d="M{x:.3f} 0 l{head * 0.35:.3f} {head:.3f} h{-head * 0.7:.3f} z"/>',
        f'<text x="{x + shift * letter:.3f}" y="{bottom:.3f}" font-size="{letter:.3f}" stroke="none" '
        f'font-family="sans-serif" text-anchor="{anchor}">{escape(words)}</text>',
        "</g>",
    ]


def _path(points: np.ndarray) -> str:
    steps = " ".join(f"{x:.{_DECIMALS}f},{y:.{_DECIMALS}f}" for x, y in np.asarray(points, float))
    return f"M{steps} Z".replace("-0.000", "0.000")
