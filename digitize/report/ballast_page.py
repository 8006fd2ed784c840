"""The nose weight's page and summary, laid out from what ballast.json holds."""

import textwrap
from html import escape

from digitize.margin.cautions import CAUTIONS
from digitize.report.plain_page import bullets, page, paragraphs, section, table
from digitize.units.rounding import at_least, exact, sized, weight_needed, with_band
from digitize.units.sentences import in_its_units
from digitize.units.shown_units import shown_number, unit_of

_WIDTH, _HEIGHT, _LEFT, _RIGHT, _TOP, _BOTTOM = 760, 400, 56, 20, 16, 46
_HALO = 'paint-order="stroke" stroke="#fcfbf7" stroke-width="4" stroke-linejoin="round"'
_LINE = 80
_WORST = "even at the worst end of its 95 % band"
_STYLE = """
.verdict .level { font-size: 1.5rem; }
@media print { body { font-size: 8.8pt; } figure svg { max-height: 62mm; } h2 { margin-top: 2mm; }
  p, ul, li { max-width: none; margin-top: .3mm; margin-bottom: .3mm; } }
@media (max-width: 40rem) { td.num, th.num { white-space: normal; } tbody th { min-width: 6rem; } }
"""


@in_its_units
def headline(plan: dict) -> str:
    """The answer in one sentence."""
    wanted = f"{exact(plan['wanted_calibers'])} caliber" + ("s" if plan["wanted_calibers"] != 1 else "")
    what = _weight_words(plan)
    first = "Look again first; by these numbers: " if plan.get("doubt") else ""
    return (
        first
        + {
            "none needed": f"No nose weight is needed: the margin is at least {wanted} already, {_WORST}.",
            "needed": f"{what}: then the margin is at least {wanted}, {_WORST}.",
            "does not fit": f"The nose can't hold enough. Full, it takes {what}, and the margin is still not {wanted}.",
            "never": f"No weight there gets the margin to {wanted}, {_WORST}; {what} was the most looked at.",
        }[plan["outcome"]]
    )


def _weight_words(plan: dict) -> str:
    weight = plan["weight"]
    grams = weight_needed(weight["mass_g"])
    if plan["fill"] is None:
        return f"{grams} at {sized(weight['x_mm'], 'mm')} from the nose tip"
    return (
        f"{grams} of {plan['fill']['words']}, filling the hollow tip to a depth of "
        f"{sized(weight['depth_mm'], 'mm', 0)}, its middle {sized(weight['x_mm'], 'mm', 0)} from the nose tip"
    )


@in_its_units
def notes(plan: dict) -> list[str]:
    """What else follows from the weight."""
    found = []
    if plan["outcome"] != "none needed":
        found.append(
            f"Lift-off mass becomes {sized(plan['lift_off_mass_g'], 'g')}, was {sized(plan['before_mass_g'], 'g')}. "
            f"The motor must still lift it: five times its weight, {at_least(plan['thrust_n'], 'N', 1)} of average "
            "thrust at least (common practice)."
        )
    if plan["mass_caution"]:
        found.append(plan["mass_caution"])
    if plan["outcome"] != "none needed" and plan["fill"] is not None:
        found.append(plan["fill"]["source"])
    if plan["outcome"] != "none needed":
        found += _metal(plan)
        found.append(
            "A heavier rocket comes down faster and coasts less: it needs a larger parachute, and another delay, most "
            "often a shorter one. Work out both again."
        )
        found.append("Fix the weight so that it can't come loose, balance the rocket again, and solve again.")
    return found


def _metal(plan: dict) -> list[str]:
    """The caution on metal: of shot, and of a weight at a place, which is most often washers or lead."""
    if plan["fill"] is not None and "shot" not in plan["fill"]["words"]:
        return []
    what = "If it is of metal, such as washers or lead" if plan["fill"] is None else "Metal in the nose"
    return [
        f"{what}: codes want nose, body and fins without metal, so ask the range safety officer first. Lead is "
        "poisonous: gloves, no food near by, no sanding."
    ]


@in_its_units
def fin_words(plan: dict) -> list[str]:
    """The other remedy in words."""
    if plan["outcome"] == "none needed":
        return []
    if plan["fins"] is None:
        return [plan["fins_words"]] if plan["fins_words"] else []
    found = []
    for how, words in (("span", "more span, same root"), ("whole", "larger all over, same shape")):
        fins = plan["fins"][how]
        if fins is None:
            why = ", as the root grows forward too" if how == "whole" else ""
            found.append(f"With {words}: no size up to {exact(plan['fins']['most_times'])} times is enough{why}.")
            continue
        found.append(
            f"With {words}: {exact(fins['times'])} times, which is root {sized(fins['root_chord_mm'], 'mm', 0)}, span "
            f"{sized(fins['span_mm'], 'mm', 0)}, {sized(fins['area_mm2'], 'mm²', 0)} each, "
            f"{sized(fins['added_g'], 'g', 1)} more; margin {with_band(fins['margin_calibers'], 'calibers')}."
        )
    found.append(plan["fins_words"])
    return found


@in_its_units
def summary(plan: dict, page_path) -> str:
    """What the command prints, 80 columns."""
    lines = textwrap.wrap(f"{plan['name']}: {headline(plan)}", _LINE, subsequent_indent="  ")
    for words in (plan["doubt"], plan["question"]):
        lines += ["", *textwrap.wrap(words, _LINE)] if words else []
    lines.append("")
    for before, after in zip(plan["before"], plan["after"], strict=True):
        lines += textwrap.wrap(
            f"{before['state']}: margin {with_band(before['margin_calibers'], 'calibers', bare=True)} becomes "
            f"{with_band(after['margin_calibers'], 'calibers')}, balance "
            f"{with_band(before['balance_mm'], 'mm', bare=True)} becomes {with_band(after['balance_mm'], 'mm')}",
            _LINE,
            subsequent_indent="  ",
        )
    for title, sentences in (("", notes(plan)), ("or larger aft fins", fin_words(plan))):
        if sentences:
            lines += ["", *([title] if title else [])]
            for words in sentences:
                lines += textwrap.wrap(words, _LINE, initial_indent="  ", subsequent_indent="  ")
    lines += ["", f"page                {page_path}", "", "The range safety officer decides."]
    return "\n".join(lines) + "\n"


@in_its_units
def ballast_html(plan: dict) -> str:
    """The page: the answer, the curve, every state before and after, larger fins, cautions."""
    rows = [
        (
            before["state"],
            with_band(before["mass_g"], "g", bare=True),
            with_band(before["balance_mm"], "mm", bare=True),
            with_band(before["margin_calibers"], "calibers", bare=True),
            with_band(after["margin_calibers"], "calibers", bare=True),
        )
        for before, after in zip(plan["before"], plan["after"], strict=True)
    ]
    heads = ("state", f"mass, {unit_of('g').name}", f"balance, {unit_of('mm').name}", "margin, calibers")
    answer = (
        f'<section class="verdict"><p class="level">{escape(headline(plan))}</p>'
        f"{paragraphs(plan['doubt'], plan['question'])}</section>"
    )
    figure = (
        f"<figure>\n{curve_svg(plan)}\n<figcaption>{escape(plan['reference_words'])} Where there are several states of "
        "flight, the curve is that of the least margin.</figcaption>\n</figure>"
    )
    return page(
        f"{plan['name']}: nose weight",
        plan["name"],
        "nose weight",
        [
            answer,
            section("Margin against weight", figure),
            section(
                "Each state of flight",
                table((*heads, "with the weight"), rows),
            ),
            section("What follows", bullets(notes(plan)) if notes(plan) else ""),
            section("The other remedy: larger aft fins", bullets(fin_words(plan)) if fin_words(plan) else ""),
            section("Cautions", bullets(CAUTIONS)),
        ],
        _STYLE,
    )


def _weights(curve: dict) -> list[float]:
    return [shown_number(grams, "g") for grams in curve["grams"]]


def curve_svg(plan: dict) -> str:
    """Margin and its band's low end against grams; black on white, told apart by dashes."""
    curve, wanted = plan["curve"], plan["wanted_calibers"]
    grams, margin, low = _weights(curve), curve["margin_calibers"], curve["low_calibers"]
    step = _step(max(margin + [wanted]) - min(low + [0.0]))
    bottom = step * (min([*low, 0.0]) // step)
    top = step * (max([*margin, wanted]) // step + 1)
    across = _step(max(grams[-1], 1e-9))

    def x(value: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * value / max(grams[-1], 1e-9)

    def y(value: float) -> float:
        return _TOP + (_HEIGHT - _TOP - _BOTTOM) * (top - value) / (top - bottom)

    def path(values) -> str:
        return " ".join(f"{x(g):.1f},{y(v):.1f}" for g, v in zip(grams, values, strict=True))

    ticks_x = [across * k for k in range(int(grams[-1] / across + 1e-6) + 1)]
    ticks_y = [bottom + step * k for k in range(round((top - bottom) / step) + 1)]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
        'font-family="sans-serif" font-size="13" fill="#161b26">',
        f"<title>Margin from {margin[0]:.2f} calibers without weight to {margin[-1]:.2f} at "
        f"{sized(curve['grams'][-1], 'g', 0)}</title>",
        '<g stroke="#d5d8de">',
        *(f'<path d="M{x(g):.1f} {_TOP} V{_HEIGHT - _BOTTOM}"/>' for g in ticks_x),
        *(f'<path d="M{_LEFT} {y(v):.1f} H{_WIDTH - _RIGHT}"/>' for v in ticks_y),
        "</g>",
        *(f'<text x="{x(g):.1f}" y="{_HEIGHT - _BOTTOM + 18}" text-anchor="middle">{exact(g)}</text>' for g in ticks_x),
        *(f'<text x="{_LEFT - 7}" y="{y(v) + 4:.1f}" text-anchor="end">{exact(v)}</text>' for v in ticks_y),
        f'<text x="{(_LEFT + _WIDTH - _RIGHT) / 2}" y="{_HEIGHT - 6}" text-anchor="middle">'
        f"nose weight, {unit_of('g').name}</text>",
        f'<text transform="translate(14 {(_TOP + _HEIGHT - _BOTTOM) / 2}) rotate(-90)" text-anchor="middle">'
        "margin, calibers</text>",
        f'<path d="M{_LEFT} {y(wanted):.1f} H{_WIDTH - _RIGHT}" stroke="#161b26" stroke-width="1.3" '
        'stroke-dasharray="2 4"/>',
        f'<polyline points="{path(margin)}" fill="none" stroke="#161b26" stroke-width="2.6"/>',
        f'<polyline points="{path(low)}" fill="none" stroke="#161b26" stroke-width="1.8" stroke-dasharray="9 5"/>',
        *_names(plan, x, y),
        "</svg>",
    ]
    return "\n".join(parts)


def _names(plan: dict, x, y) -> list[str]:
    curve, weight = plan["curve"], shown_number(plan["weight"]["mass_g"], "g")
    grams, margin, low = _weights(curve), curve["margin_calibers"], curve["low_calibers"]
    late_k = len(grams) * 2 // 3
    k, above = len(grams) // 2, margin[0] < plan["wanted_calibers"]
    late = weight > 0.85 * grams[-1]
    parts = [
        f'<text x="{x(grams[k]):.1f}" y="{y(margin[k]) - 9:.1f}" text-anchor="end" {_HALO}>margin</text>',
        f'<text x="{x(grams[late_k]):.1f}" y="{y(low[late_k]) + 22:.1f}" {_HALO}>low end of its 95 % band</text>',
        f'<text x="{_LEFT + 6}" y="{y(plan["wanted_calibers"]) + (-6 if above else 16):.1f}" {_HALO}>wanted</text>',
    ]
    if plan["outcome"] == "needed":
        at, level = x(weight), y(plan["wanted_calibers"])
        parts += [
            f'<path d="M{at:.1f} {level:.1f} V{_HEIGHT - _BOTTOM}" stroke="#161b26" stroke-width="1.3"/>',
            f'<circle cx="{at:.1f}" cy="{level:.1f}" r="5" fill="#fff" stroke="#161b26" stroke-width="2.2"/>',
            f'<text x="{at + (-6 if late else 6):.1f}" y="{_HEIGHT - _BOTTOM - 8}" '
            f'text-anchor="{"end" if late else "start"}" {_HALO}>{weight_needed(plan["weight"]["mass_g"])}</text>',
        ]
    return parts


def _step(span: float) -> float:
    """A round step that gives about five ticks."""
    power = 10.0
    while power > span / 4:
        power /= 10
    while power * 10 <= span / 4:
        power *= 10
    return next(power * m for m in (1, 2, 5, 10) if power * m >= span / 5)
