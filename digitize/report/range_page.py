"""The first page, to show at the range: the verdict's three cross-checks side by side, and what hangs on them."""

from html import escape
from typing import Any

from digitize.report.ballast_page import headline
from digitize.report.beside import Beside
from digitize.report.text import by_cutout, sentence
from digitize.result_records import Result
from digitize.units.rounding import sized, with_band


def cross_checks(result: Result, found: Beside) -> str:
    """Components, cut-out and swing beside each other."""
    cells = "\n".join(
        f'<div class="check"><h3>{escape(title)}</h3><p class="big">{escape(headline)}</p><p>{escape(words)}</p></div>'
        for title, headline, words in (_components(result), _cutout(result), _swing(found.outcomes))
    )
    return f'<section>\n<h2>Three checks</h2>\n<div class="checks">\n{cells}\n</div>\n</section>'


def _components(result: Result) -> tuple[str, str, str]:
    margin = result.margin_calibers
    place = f"Centre of pressure {with_band(result.cp_x_mm, 'mm')} from the nose tip"
    if margin is None:
        return "by its parts", "no balance point", f"{place}."
    balance = with_band(result.balance_mm, "mm")
    decides = "The cut-out's margin decides here." if by_cutout(result) else "This margin decides."
    return "by its parts", with_band(margin, "calibers"), f"{place}, balance point {balance}. {decides}"


def _cutout(result: Result) -> tuple[str, str, str]:
    margin = result.cutout_margin_calibers
    place = f"A card of its outline balances {with_band(result.cutout_centroid_mm, 'mm')} from the tip"
    by_hand = next((c for c in result.hand_checks if c.name == "cutout-balance"), None)
    card = ""
    if by_hand:
        agrees = "agrees" if by_hand.agrees else "disagrees"
        card = f" The card that was cut balances at {sized(by_hand.by_hand_mm, 'mm')}: it {agrees}."
    headline = "no balance point" if margin is None else with_band(margin, "calibers")
    return "by the cut-out: air from the side", headline, f"{place}.{card} {cutout_meaning(result)}"


def cutout_meaning(result: Result) -> str:
    """What the cut-out's margin stands for, what it is worth, and when it decides."""
    meaning = "That is for air straight from the side; in straight flight it comes from ahead."
    if by_cutout(result):
        return f"{meaning} Here it decides: working it out by parts does not hold for this shape, and this is lower."
    return f"{meaning} Most good rockets fail it, with less than 1 or even less than 0, and here it does not decide."


def _swing(outcomes: list[dict[str, str]]) -> tuple[str, str, str]:
    if not outcomes:
        return "by the swing test", "not done yet", "The command digitize swing plans it and keeps how it went."
    last = outcomes[-1]
    note = f" {sentence(last['note'])}" if last["note"] else ""
    return "by the swing test", last["outcome"], f"On {last['date']}.{note}"


def nose_weight(plan: dict[str, Any] | None) -> str:
    """What the nose weight's command found for these numbers; an empty text without it."""
    return f"<section>\n<h2>Nose weight</h2>\n<p>{escape(headline(plan))}</p>\n</section>" if plan else ""
