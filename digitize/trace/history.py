"""The history of changes as trace.json holds it: the outlines that were begun with, and every sketch since.

A marked region, a pull or other words begin anew with another outline; the sketches before stay, so that undo leads
back over it. The first sketch of each beginning is what was found; it is found again when a folder is opened.
"""

import contextlib
import json
from dataclasses import dataclass, replace
from pathlib import Path

from digitize.errors import UsageRefusal
from digitize.trace.sketch import Sketch, from_json, to_json

HISTORY = "trace.json"
MARK = "digitize trace"
MOST_STATES = 300


@dataclass(frozen=True)
class Beginning:
    """What an outline was found with. drawn: the first points of a rocket drawn by hand, or None; regions: what was
    marked, as {"rocket": bool, "points": [...]}; pulls: of the outline, as {"from", "to", "reach"}. All are in pixels
    of the full-size photo."""

    texts: dict
    drawn: dict | None = None
    regions: tuple[dict, ...] = ()
    pulls: tuple[dict, ...] = ()

    @property
    def automatic(self) -> bool:
        """Whether the outline is as the program alone finds it."""
        return not (self.drawn or self.regions or self.pulls)


@dataclass(frozen=True)
class History:
    """Sketch k of states is of beginnings[states[k].beginning], whose number never falls from state to state. at: the
    state shown; saved_at: the one the results folder holds, None: none of them."""

    beginnings: tuple[Beginning, ...] = ()
    states: tuple[Sketch, ...] = ()
    at: int = 0
    saved_at: int | None = None

    @property
    def now(self) -> Sketch:
        return self.states[self.at]

    @property
    def beginning(self) -> Beginning:
        """Of the state shown."""
        return self.beginnings[self.now.beginning]

    @property
    def found_at(self) -> int:
        """The newest state up to the one shown that is as the program alone found it; 0 if there is none."""
        return max((k for k in self._firsts(self.at) if self.beginnings[self.states[k].beginning].automatic), default=0)

    def _firsts(self, upto: int) -> list[int]:
        """States with which their beginning began."""
        number = [state.beginning for state in self.states[: upto + 1]]
        return [k for k in range(len(number)) if k == 0 or number[k] != number[k - 1]]

    def with_start(self, start: Sketch) -> "History":
        """What was found again in place of what was kept of it."""
        k = next(k for k, state in enumerate(self.states) if state.beginning == start.beginning)
        return replace(self, states=(*self.states[:k], start, *self.states[k + 1 :]))

    def begun(self, beginning: Beginning, start: Sketch) -> "History":
        """Gone on with another outline; what could have been redone is let go."""
        beginnings = (*self.beginnings[: self.now.beginning + 1], beginning) if self.states else (beginning,)
        start = replace(start, beginning=len(beginnings) - 1)
        return replace(self._grown(start), beginnings=beginnings)

    def changed(self, sketch: Sketch) -> "History":
        """Gone on with another sketch of the same outline; what could have been redone is let go."""
        return replace(self._grown(sketch), beginnings=self.beginnings[: sketch.beginning + 1])

    def _grown(self, sketch: Sketch) -> "History":
        states = (*self.states[: self.at + 1], sketch)
        saved_at = None if self.saved_at is not None and self.saved_at >= len(states) - 1 else self.saved_at
        grown = replace(self, states=states, at=len(states) - 1, saved_at=saved_at)
        return grown if len(states) <= MOST_STATES else grown._without_oldest()

    def _without_oldest(self) -> "History":
        """Without the oldest state; what was found stays as long as anything rests on it."""
        firsts = set(self._firsts(self.at))
        k = next((k for k in range(1, len(self.states) - 1) if k not in firsts), 1)
        saved_at = self.saved_at
        if saved_at is not None:
            saved_at = None if saved_at == k else saved_at - (saved_at > k)
        return replace(self, states=(*self.states[:k], *self.states[k + 1 :]), at=self.at - 1, saved_at=saved_at)


def history_json(history: History, photo_path: Path) -> dict:
    """What trace.json holds."""
    beginnings = [
        {"asked": b.texts, "drawn": b.drawn, "regions": list(b.regions), "pulls": list(b.pulls)}
        for b in history.beginnings
    ]
    return {
        "made_by": MARK,
        "photo": str(photo_path.resolve()),
        "beginnings": beginnings,
        "states": [to_json(state) for state in history.states],
        "at": history.at,
        "saved_at": history.saved_at,
    }


def read_history(folder: Path) -> dict | None:
    """What trace.json holds, None if it is absent, broken or somebody else's."""
    try:
        data = json.loads((folder / HISTORY).read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return data if isinstance(data, dict) and data.get("made_by") == MARK else None


def put_aside(folder: Path) -> None:
    """Another photo takes the place of the one before: what was done on that one stays in a file of its own."""
    kept = folder / HISTORY
    if read_history(folder) is None:
        return
    with contextlib.suppress(OSError):  # what can't be moved would be refused when it is to be written over
        kept.replace(next(p for n in range(2, 10_000) if not (p := kept.with_stem(f"{kept.stem}-{n}")).exists()))


def history_of(data: dict) -> History:
    """From what trace.json holds; the states left out where they are damaged. Raises UsageRefusal."""
    begun = data.get("beginnings", [data])  # as files of one beginning were written
    if not isinstance(begun, list) or not begun or not all(isinstance(each, dict) for each in begun):
        raise UsageRefusal(f"{HISTORY} does not say how the outline was found", "measure the photo again")
    beginnings = tuple(_beginning(each) for each in begun)
    try:
        states = tuple(from_json(state) for state in data.get("states") or [])
        at, saved_at = int(data.get("at") or 0), data.get("saved_at")
        numbers = [state.beginning for state in states]
        if numbers != sorted(numbers) or (states and (not 0 <= at < len(states) or numbers[-1] >= len(beginnings))):
            raise ValueError("numbers of states")
        if not isinstance(saved_at, int | None):
            raise ValueError("saved_at")
        return History(beginnings, states, at, saved_at)
    except (UsageRefusal, TypeError, ValueError):
        return History(beginnings[-1:])


def _beginning(data: dict) -> Beginning:
    texts = data.get("asked")
    lists = (tuple(data.get(name) or ()) for name in ("regions", "pulls"))
    return Beginning(texts if isinstance(texts, dict) else {}, data.get("drawn"), *lists)
