"""Nose weight on the page: the very plan of `digitize ballast`, for the numbers that are shown, saved or not."""

from pathlib import Path

from digitize.errors import UsageRefusal
from digitize.geometry.toml import rounded
from digitize.plans.ballast_plan import BallastOptions, ballast_options, plan_ballast, states_of
from digitize.plans.nose_weight import Weight, with_weight
from digitize.records import Geometry
from digitize.report.ballast_page import fin_words, headline, notes
from digitize.result.from_json import Saved
from digitize.result_records import Result
from digitize.units.sentences import in_shown_units
from digitize.units.shown_units import shown_in

ON_PAGE = ("margin", "at", "fill", "density", "wall", "depth")
"""Options of `ballast` that the page holds; mass and balance point are told in its form."""


def nose_weight(folder: Path, result: Result, geometry: Geometry, texts: dict) -> dict:
    """What the page shows of nose weight. texts: options of `ballast` as typed. Raises UsageRefusal, GeometryRefusal.

    {"missing": [...]} names the options of the form that have to be told first; else "plan" is ballast.json, "states"
    holds every state's margin and the low end of its band along the plan's curve, "need" the weight's own band.
    """
    missing = _missing(result)
    if missing:
        return {"missing": missing}
    saved, options = Saved(folder, result, rounded(geometry)), ballast_options_of(texts)
    plan = plan_ballast(saved, options)
    with shown_in(plan["units"]):
        shown_plan = in_shown_units(plan)
    return {
        "plan": shown_plan,
        "headline": headline(plan),
        "notes": notes(plan),
        "fins": fin_words(plan),
        "states": _curves(saved, options, plan),
        "need": plan["need"],
    }


def ballast_options_of(texts) -> BallastOptions:
    """The page's texts, parsed as the command's. Raises UsageRefusal."""
    odd = UsageRefusal("the nose weight's fields are not understood", "reload the page")
    if not isinstance(texts, dict) or not set(texts) <= set(ON_PAGE):
        raise odd
    if not all(isinstance(text, str) and len(text) <= 100 for text in texts.values()):
        raise odd
    said = {name: text.strip() for name, text in texts.items() if text.strip()}
    if "margin" in said:
        try:
            said["margin"] = float(said["margin"])
        except ValueError:
            raise UsageRefusal(f"--margin: {said['margin']!r} is not a number", "give calibers, as 1.5") from None
    return ballast_options(**said)


def _missing(result: Result) -> list[str]:
    states = result.balance_states
    no_mass = any(state.mass_g is None for state in states) if states else result.mass_g is None
    return [*([] if states else ["balance"]), *(["mass"] if no_mass else [])]


def _curves(saved: Saved, options: BallastOptions, plan: dict) -> list[dict]:
    """Each state's own margin with the weights of the plan's curve in."""
    weights = [Weight(g, x) for g, x in zip(plan["curve"]["grams"], plan["curve"]["x_mm"], strict=True)]
    diameter = saved.result.max_diameter_mm.value
    found = []
    for state in states_of(saved, options):
        margins = [with_weight(state, weight, diameter).margin_calibers for weight in weights]
        found.append(
            {
                "state": state.words,
                "margin_calibers": [round(m.value, 4) for m in margins],
                "low_calibers": [round(m.low, 4) for m in margins],
            }
        )
    return found
