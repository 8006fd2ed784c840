"""From a results folder and what was asked to the plan of a swing test, as swing.json holds it."""

from dataclasses import asdict, dataclass
from datetime import date

from digitize import ballast_plan
from digitize.ballast_plan import states_of
from digitize.errors import GeometryRefusal
from digitize.report.numbers import with_band
from digitize.saved import Saved
from digitize.swing import Swung, plan_swing
from digitize.swing_record import cleaned


@dataclass(frozen=True)
class Asked:
    """What the command line says; None: not said."""

    string_m: float | None = None
    speed_mps: float | None = None
    mass_g: float | None = None
    balance_mm: float | None = None


def plan_of(saved: Saved, asked: Asked, needed: bool = True) -> dict | None:
    """The plan for the state with the least margin. needed: refuse where mass or balance is missing, else None.

    Raises UsageRefusal, GeometryRefusal.
    """
    kept = saved.data.get("balance_states") or []
    known = bool(kept) and all(state["mass_g"] is not None for state in kept)
    if not needed and not known and asked.mass_g is None and asked.balance_mm is None:
        return None
    found = states_of(saved, ballast_plan.Asked(mass_g=asked.mass_g, balance_mm=asked.balance_mm))
    state = min(found, key=lambda s: s.margin_calibers.value - s.margin_calibers.pm95)
    data = saved.data
    swung = Swung(
        mass_g=state.mass_g.value,
        length_mm=data["length_mm"]["value"],
        diameter_mm=data["max_diameter_mm"]["value"],
        balance_mm=state.balance_mm.value,
        parts=tuple((part["cn_alpha_per_rad"], part["x_mm"]) for part in data["cp"]["parts"]),
    )
    if not swung.slope > 0:
        raise GeometryRefusal("the parts' normal forces add up to nothing", "measure or solve again")
    plan = plan_swing(swung, asked.string_m, asked.speed_mps)
    return {
        "name": saved.name,
        "state": state.words,
        "mass_g": state.mass_g.value,
        "balance_mm": state.balance_mm.value,
        "verdict": data["verdict"]["level"],
        **asdict(plan),
    }


def outcome_of(saved: Saved, outcome: str, note: str) -> dict:
    """One outcome with the day, and what the numbers said then."""
    margin = saved.data["margin_calibers"]
    return {
        "outcome": outcome,
        "note": cleaned(note),
        "date": date.today().isoformat(),
        "verdict": saved.data["verdict"]["level"],
        "margin": "" if margin is None else with_band(margin, "calibers", 2),
    }
