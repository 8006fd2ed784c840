"""The first page, to show at the range: the verdict's three cross-checks side by side, and what hangs on them."""

from html import escape

from digitize.report.ballast_page import headline
from digitize.report.numbers import exact, with_band
from digitize.report.text import sentence


def cross_checks(result: dict) -> str:
    """Components, cut-out and swing beside each other."""
    cells = "\n".join(
        f'<div class="check"><h3>{escape(title)}</h3><p class="big">{escape(headline)}</p><p>{escape(words)}</p></div>'
        for title, headline, words in (_components(result), _cutout(result), _swing(result))
    )
    return f'<section>\n<h2>Three checks</h2>\n<div class="checks">\n{cells}\n</div>\n</section>'


def _components(result: dict) -> tuple[str, str, str]:
    margin = result.get("margin_calibers")
    place = f"Centre of pressure {with_band(result['cp']['x_mm'], 'mm', 1)} from the nose tip"
    if margin is None:
        return "by its parts", "no balance point", f"{place}."
    balance = with_band(result["balance_mm"], "mm", 1)
    return "by its parts", with_band(margin, "calibers", 2), f"{place}, balance point {balance}."


def _cutout(result: dict) -> tuple[str, str, str]:
    margin = result.get("cutout_margin_calibers")
    place = f"A card of its outline balances {with_band(result['cutout']['centroid_mm'], 'mm', 1)} from the tip"
    by_hand = next((c for c in result["hand_checks"] if c["name"] == "cutout-balance"), None)
    card = ""
    if by_hand:
        agrees = "agrees" if by_hand["agrees"] else "disagrees"
        card = f" The card that was cut balances at {exact(by_hand['by_hand_mm'])} mm: it {agrees}."
    headline = "no balance point" if margin is None else with_band(margin, "calibers", 2)
    return "by the cut-out, the cautious bound", headline, f"{place}.{card}"


def _swing(result: dict) -> tuple[str, str, str]:
    outcomes = (result.get("swing") or {}).get("outcomes") or []
    if not outcomes:
        return "by the swing test", "not done yet", "digitize swing plans it and records how it went."
    last = outcomes[-1]
    note = f" {sentence(last['note'])}" if last["note"] else ""
    return "by the swing test", str(last["outcome"]), f"On {last['date']}.{note}"


def nose_weight(result: dict) -> str:
    """What the nose weight's command found for these numbers; an empty text without it."""
    plan = result.get("ballast")
    return f"<section>\n<h2>Nose weight</h2>\n<p>{escape(headline(plan))}</p>\n</section>" if plan else ""
