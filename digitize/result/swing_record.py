"""swing.json: the plan of a swing test and what came of it, kept beside the result whatever is measured again."""

import json
from pathlib import Path

from digitize.errors import UnreadableRefusal
from digitize.result.from_json import MADE_BY, is_ours

RECORD = "swing.json"
OUTCOMES = ("pass", "fail", "unclear")
LONGEST_NOTE = 500


def read_swing(folder: Path) -> dict | None:
    """The record in a results folder, None if there is none. Raises UnreadableRefusal if it can't be used."""
    path = Path(folder) / RECORD
    if not path.exists():
        return None
    try:
        content = path.read_bytes()
        data = json.loads(content.decode("utf-8"))
        if is_ours(content) and _is_record(data):
            return data
        reason = "it is not this tool's record of a swing test"
    except (OSError, ValueError, RecursionError) as error:
        reason = getattr(error, "strerror", None) or str(error) or "it is nested too deeply"
    raise UnreadableRefusal(f"{path}: {' '.join(reason.split())}", "Move that file away and record the outcome again")


def shown_swing(folder: Path) -> dict | None:
    """The record for the report: one that can't be used is left alone and not shown."""
    try:
        return read_swing(folder)
    except UnreadableRefusal:
        return None


def new_record(plan: dict | None, before: dict | None, outcome: dict | None) -> dict:
    """The record with this plan (the one before if None) and one more outcome, if any."""
    before = before or {"plan": None, "outcomes": []}
    return {
        "made_by": MADE_BY,
        "plan": before.get("plan") if plan is None else plan,
        "outcomes": [*before["outcomes"], *([outcome] if outcome else [])],
    }


def cleaned(note: str) -> str:
    """A note as one line of printable text."""
    words = " ".join("".join(sign if sign.isprintable() else " " for sign in note).split())
    return words[:LONGEST_NOTE]


def _is_record(data) -> bool:
    if not isinstance(data, dict) or not isinstance(data.get("outcomes"), list):
        return False
    if not (data.get("plan") is None or isinstance(data["plan"], dict)):
        return False
    return all(
        isinstance(item, dict)
        and item.get("outcome") in OUTCOMES
        and all(isinstance(item.get(key), str) for key in ("note", "date", "verdict", "margin"))
        for item in data["outcomes"]
    )
