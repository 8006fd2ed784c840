"""From a results folder and what was asked to the plan of a swing test, as swing.json holds it."""

from dataclasses import asdict, dataclass
from datetime import date

from digitize.errors import GeometryRefusal, Refusal, UsageRefusal
from digitize.margin.cautions import MODEL_ROCKET_MASS_LIMIT_G
from digitize.option_records import BalancePoint
from digitize.plans import ballast_plan
from digitize.plans.ballast_plan import end_question, states_of
from digitize.plans.swing_test import MOST_PULL_N, SwingPlan, Swung, plan_swing
from digitize.result.from_json import Saved
from digitize.result.swing_record import cleaned
from digitize.units.rounding import exact, fixed, with_band


@dataclass(frozen=True)
class SwingOptions:
    """What the command line says; None: not said."""

    string_m: float | None = None
    speed_mps: float | None = None
    mass_g: float | None = None
    balance: BalancePoint | None = None


def plan_of(saved: Saved, options: SwingOptions, needed: bool = True) -> dict | None:
    """The plan for the state with the least margin. needed: refuse where mass or balance is missing, or where it is
    too heavy to be swung by hand, else None.

    Raises UsageRefusal, GeometryRefusal.
    """
    result = saved.result
    known = bool(result.balance_states) and all(state.mass_g is not None for state in result.balance_states)
    if not needed and not known and options.mass_g is None and options.balance is None:
        return None
    found = states_of(saved, ballast_plan.BallastOptions(mass_g=options.mass_g, balance=options.balance))
    state = min(found, key=lambda s: s.low_calibers)
    swung = Swung(
        mass_g=state.mass_g.value,
        length_mm=result.length_mm.value,
        diameter_mm=result.max_diameter_mm.value,
        balance_mm=state.balance_mm.value,
        parts=tuple((part.cn_alpha_per_rad, part.x_mm) for part in result.parts),
    )
    if not swung.slope > 0:
        raise GeometryRefusal("the parts' normal forces add up to nothing", "measure or solve again")
    plan = plan_swing(swung, options.string_m, options.speed_mps)
    refusal = _too_heavy(swung, plan, options)
    if refusal is not None:
        if needed:
            raise refusal
        return None
    return {
        "name": result.name,
        "units": result.units,
        "state": state.words,
        "mass_g": state.mass_g.value,
        "balance_mm": state.balance_mm.value,
        "verdict": result.verdict_level,
        "question": end_question(saved, ballast_plan.BallastOptions(balance=options.balance), found),
        **asdict(plan),
    }


def _too_heavy(swung: Swung, plan: SwingPlan, options: SwingOptions) -> Refusal | None:
    """The refusal of a swing that no hand should hold; of a speed that was said, if a slower one would do."""
    if swung.mass_g > MODEL_ROCKET_MASS_LIMIT_G:
        return GeometryRefusal(
            f"{exact(swung.mass_g)} g is too heavy to be swung on a string: more than a model rocket's "
            f"{exact(MODEL_ROCKET_MASS_LIMIT_G)} g",
            "go by the margin and have it checked by the range safety officer",
        )
    if plan.pull_n <= MOST_PULL_N:
        return None
    what = f"it would pull {fixed(plan.pull_n, 0)} N, more than the {exact(MOST_PULL_N)} N that one arm can hold safely"
    if options.speed_mps is not None:
        return UsageRefusal(f"--speed: at {exact(plan.speed_mps)} m/s {what}", "give a slower swing or a longer string")
    return GeometryRefusal(
        f"{exact(swung.mass_g)} g is too heavy to be swung on a string: {what}",
        "go by the margin and have it checked by the range safety officer",
    )


def outcome_of(saved: Saved, outcome: str, note: str) -> dict:
    """One outcome with the day, and what the numbers said then."""
    decides = saved.result.decides
    return {
        "outcome": outcome,
        "note": cleaned(note),
        "date": date.today().isoformat(),
        "verdict": saved.result.verdict_level,
        "margin": "" if decides is None else with_band(decides.margin, "calibers"),
    }
