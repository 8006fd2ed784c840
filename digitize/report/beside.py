"""What lies in a results folder beside the result, for its report: how a swing test went, what nose weight it needs."""

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from digitize.report.ballast_page import headline
from digitize.result.swing_record import shown_swing
from digitize.result_records import Result

BALLAST = "ballast.json"


@dataclass(frozen=True)
class Beside:
    """folder: None while there is none; swing, ballast: what swing.json and ballast.json hold, None without."""

    folder: Path | None = None
    swing: dict[str, Any] | None = None
    ballast: dict[str, Any] | None = None

    @property
    def outcomes(self) -> list[dict[str, str]]:
        """Of swing tests, the last one last."""
        return [] if self.swing is None else self.swing["outcomes"]


NOTHING = Beside()


def beside(folder: Path, result: Result) -> Beside:
    """What lies there; what can't be used, or is about another result, is left alone."""
    ballast = _shown_ballast(folder, result)
    return Beside(folder, shown_swing(folder), ballast and {**ballast, "units": result.units})


def after_swing(result: Result, found: Beside) -> Result:
    """The result as a report shows it: a failed swing takes 'fly' and 'marginal' away."""
    last = found.outcomes[-1] if found.outcomes else None
    if last is None or last["outcome"] != "fail" or result.verdict_level not in ("fly", "marginal"):
        return result
    words = f"The swing test failed ({last['date']}), against the margin. {result.verdict_text}"
    return replace(result, verdict_level="look again", verdict_headline="look again", verdict_text=words)


def _shown_ballast(folder: Path, result: Result) -> dict[str, Any] | None:
    """ballast.json, if it is there, whole, and about these very numbers."""
    quantities = (result.margin_calibers, *(state.margin_calibers for state in result.balance_states))
    try:
        plan = json.loads((folder / BALLAST).read_text("utf-8"))
        before = plan["before"][0]["margin_calibers"]["value"]
        headline(plan)
        same = any(abs(before - margin.value) < 1e-9 for margin in quantities if margin is not None)
    except (OSError, ValueError, RecursionError, LookupError, TypeError, AttributeError):
        return None
    return plan if same else None
