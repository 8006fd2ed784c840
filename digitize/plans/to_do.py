"""What to do about a margin that is too small, in grams: what `digitize ballast` finds with nothing more said, kept in
the result itself. No grams are named of numbers that have to be cleared up first."""

from dataclasses import replace
from pathlib import Path

from digitize.errors import GeometryRefusal, UsageRefusal
from digitize.geometry.toml import rounded
from digitize.margin.warning_codes import is_grave
from digitize.records import Geometry
from digitize.result_records import Result, ToDo

LEVELS = ("marginal", "do not fly")
"""Verdicts that something done to the rocket itself can better."""


def with_to_do(result: Result, geometry: Geometry) -> Result:
    """The result with what would put its margin right; without it where the verdict asks for nothing of the kind."""
    found = _to_do(result, geometry) if result.verdict_level in LEVELS else None
    return replace(result, to_do=found)


def _to_do(result: Result, geometry: Geometry) -> ToDo:
    if any(map(is_grave, result.warnings)):
        return ToDo("clear up first")
    if not result.balance_states or any(state.mass_g is None for state in result.balance_states):
        return ToDo("tell the mass")
    # what searches for a weight is loaded only where one is needed
    from digitize.plans.ballast_plan import BallastOptions, plan_ballast
    from digitize.result.from_json import Saved

    saved = Saved(Path(), result, rounded(geometry))
    try:
        plan = plan_ballast(saved, BallastOptions(), with_fins=False)
        if plan["outcome"] not in ("needed", "none needed"):
            plan = plan_ballast(saved, BallastOptions())
    except (GeometryRefusal, UsageRefusal):
        return ToDo("work it out")  # a nose that nothing can be put in, as a solid one: the command says why
    if plan["outcome"] == "none needed":
        return ToDo("calm air")
    fins = (plan["fins"] or {}).get("span")
    return ToDo(
        kind="nose weight" if plan["outcome"] == "needed" else "more than nose weight",
        nose_weight_g=plan["weight"]["mass_g"],
        nose_weight_least_g=plan["need"]["least_g"],
        filling=plan["fill"]["words"],
        fin_span_mm=fins and fins["span_mm"],
    )
