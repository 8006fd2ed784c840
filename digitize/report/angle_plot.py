"""Centre of pressure against angle of attack: the plot of the report, and its words."""

import math
from html import escape

from digitize.result_records import AngleCurve, Result
from digitize.units.rounding import counted, exact, fixed, sized
from digitize.units.shown_units import shown_number, unit_of

_WIDTH, _HEIGHT = 640, 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 62, 14, 14, 40


def section(result: Result) -> str:
    """The section with the plot and what a crosswind does; an empty text without a curve."""
    curve = result.angle
    if curve is None:
        return ""
    return (
        "<section>\n<h2>When the air comes from the side</h2>\n"
        f"<p>{escape(crosswind_words(curve))}</p>\n<figure>\n{plot_svg(result, curve)}\n"
        "<figcaption>Distance from the nose tip at which the air's force acts. At 0 degrees it is the component "
        "method's centre of pressure, at 90 degrees the cut-out's balance point; between them an "
        "estimate without a band of its own."
        "</figcaption>\n</figure>\n</section>"
    )


def crosswind_words(curve: AngleCurve) -> str:
    """'4 m/s across 15 m/s is 15 degrees: centre of pressure 0.4 caliber forward', and the margin that leaves."""
    words = (
        f"{sized(curve.wind_mps, 'm/s')} across {sized(curve.rod_speed_mps, 'm/s')} off the rod is "
        f"{counted(curve.wind_deg, 'degree')}: centre of pressure {fixed(abs(curve.wind_forward_calibers), 2)} "
        f"calibers {'forward' if curve.wind_forward_calibers >= 0 else 'aft'}"
    )
    if curve.wind_margin_calibers is not None:
        words += f", margin {fixed(curve.wind_margin_calibers, 2)} calibers"
    return words + "."


def plot_svg(result: Result, curve: AngleCurve) -> str:
    """The curve with the balance point, the cut-out and the crosswind's angle; black on white, told apart by dashes."""
    alpha, places = curve.alpha_deg, [shown_number(float(place), "mm") for place in curve.cp_x_mm]
    marks = [("cut-out: air from the side", shown_number(result.cutout_centroid_mm.value, "mm"), "2 4")]
    if result.balance_mm is not None:
        marks.append(("balance point", shown_number(result.balance_mm.value, "mm"), "10 5"))
    values = [*places, *(value for _, value, _ in marks)]
    low, high, step = _scale(min(values), max(values))

    def x(angle: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * angle / 90

    def y(value: float) -> float:  # the nose is up: forward is safe to read as higher
        return _TOP + (_HEIGHT - _TOP - _BOTTOM) * (value - low) / (high - low)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
        'font-family="sans-serif" font-size="13" fill="#161b26">',
        f"<title>Centre of pressure from {sized(curve.cp_x_mm[0], 'mm', 0)} at 0 degrees to "
        f"{sized(curve.cp_x_mm[-1], 'mm', 0)} at 90 degrees</title>",
        '<g stroke="#d5d8de" stroke-width="1">',
        *(f'<path d="M{x(a):.1f} {_TOP} V{_HEIGHT - _BOTTOM}"/>' for a in range(0, 91, 15)),
        *(f'<path d="M{_LEFT} {y(v):.1f} H{_WIDTH - _RIGHT}"/>' for v in _ticks(low, high, step)),
        "</g>",
        *(
            f'<text x="{x(a):.1f}" y="{_HEIGHT - _BOTTOM + 17}" text-anchor="middle">{a}</text>'
            for a in range(0, 91, 15)
        ),
        *(
            f'<text x="{_LEFT - 7}" y="{y(v) + 4:.1f}" text-anchor="end">{exact(v)}</text>'
            for v in _ticks(low, high, step)
        ),
        f'<text x="{(_LEFT + _WIDTH - _RIGHT) / 2:.0f}" y="{_HEIGHT - 5}" text-anchor="middle">'
        "angle of attack, degrees</text>",
        f'<text transform="translate(13 {(_TOP + _HEIGHT - _BOTTOM) / 2:.0f}) rotate(-90)" text-anchor="middle">'
        f"{unit_of('mm').name} from the nose tip</text>",
    ]
    for words, value, dashes in marks:
        parts += [
            f'<path d="M{_LEFT} {y(value):.1f} H{_WIDTH - _RIGHT}" stroke="#161b26" stroke-width="1.3" '
            f'stroke-dasharray="{dashes}"/>',
            f'<text x="{_WIDTH - _RIGHT - 4}" y="{y(value) + (15 if value < places[0] else -5):.1f}" '
            f'text-anchor="end" {_HALO}>{escape(words)}</text>',
        ]
    line = " ".join(f"{x(a):.1f},{y(v):.1f}" for a, v in zip(alpha, places, strict=True))
    gust_x, gust_y = x(curve.wind_deg), y(shown_number(curve.wind_cp_x_mm, "mm"))
    parts += [
        f'<polyline points="{line}" fill="none" stroke="#962e00" stroke-width="2.6"/>',
        f'<circle cx="{gust_x:.1f}" cy="{gust_y:.1f}" r="5" fill="#fff" stroke="#962e00" stroke-width="2.2"/>',
        f'<text x="{gust_x + 9:.1f}" y="{gust_y + 14:.1f}" {_HALO}>crosswind off the rod</text>',
        "</svg>",
    ]
    return "\n".join(parts)


_HALO = 'paint-order="stroke" stroke="#fcfbf7" stroke-width="4" stroke-linejoin="round"'


def _scale(low: float, high: float) -> tuple[float, float, float]:
    """Ends and step of an axis with about five round ticks."""
    room = max(high - low, shown_number(1.0, "mm"))
    rough = room / 4
    power = 10.0 ** math.floor(math.log10(rough) + 1e-9)
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough)
    return step * (low // step), step * (high // step + 1), step


def _ticks(low: float, high: float, step: float) -> list[float]:
    return [low + step * k for k in range(round((high - low) / step) + 1)]
