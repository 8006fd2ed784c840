"""The rocket on the page, and the earlier ones whose results folders lie beside its own.

What the page may open it names from this list; no path goes out or comes in.
"""

import json
import threading
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from digitize.errors import UsageRefusal
from digitize.report.folder import RESULT, check_out_dir
from digitize.trace.history import HISTORY, read_history
from digitize.trace.reopened import open_folder
from digitize.trace.session import Session

MOST_LISTED = 30
NEW = "rocket-digitized"
"""Folder of a rocket begun on the page; a number follows where it is taken."""


@dataclass(frozen=True)
class Earlier:
    """folder: its name; rocket: the name in the results, or the folder's; changed: when, as an ISO date and minute;
    saved: whether there are results, or only changes that were kept."""

    folder: str
    rocket: str
    changed: str
    saved: bool


class Shelf:
    """Not a value: `session` is the rocket that is shown now."""

    def __init__(self, session: Session):
        self.session, self.lock = session, threading.Lock()

    def earlier(self) -> list[Earlier]:
        """The rockets beside the one shown, the newest first."""
        return [_earlier(folder, at) for at, folder in self._folders()]

    def open(self, name: str) -> None:
        """Show the rocket of that folder. Raises UsageRefusal, UnreadableRefusal, and then nothing has changed."""
        with self.lock:
            folder = next((folder for _, folder in self._folders() if folder.name == name), None)
            if folder is None:
                raise UsageRefusal("this rocket's folder is no longer there", "reload the page")
            self._free()
            check_out_dir(folder)
            session, begin = open_folder(folder)
            session.begin_in_background(**begin)
            self._show(session)

    def another(self) -> None:
        """An empty page for another rocket; the one shown keeps its folder. Raises UsageRefusal."""
        with self.lock:
            self._free()
            if self.session.photo is not None:
                self._show(Session(free_folder(self.session.folder.parent / NEW)))

    def _free(self) -> None:
        if self.session.working:
            raise UsageRefusal("the photo is still being measured", "wait until it is done, or stop it")

    def _show(self, session: Session) -> None:
        session.units = session.units or self.session.units
        for path in self.session.cameras.values():
            session.cameras.name_of(path)
        self.session = session

    def _folders(self) -> list[tuple[float, Path]]:
        found = []
        try:
            for folder in self.session.folder.absolute().parent.iterdir():
                kept = [path for name in (RESULT, HISTORY) if (path := folder / name).is_file()]
                if kept and folder.name != self.session.folder.name:
                    found.append((max(path.stat().st_mtime for path in kept), folder))
        except OSError:
            pass  # what can't be read is not offered
        return sorted(found, reverse=True)[:MOST_LISTED]


def free_folder(folder: Path) -> Path:
    """The folder, or the first of its name with a number that is not there yet."""
    if not folder.exists():
        return folder
    return next(p for n in range(2, 10_000) if not (p := folder.with_name(f"{folder.name}-{n}")).exists())


def _earlier(folder: Path, at: float) -> Earlier:
    when = datetime.fromtimestamp(at).isoformat(" ", "minutes")
    name, saved = None, False
    try:
        data = json.loads((folder / RESULT).read_text("utf-8"))
        name, saved = data.get("name"), True
    except (OSError, ValueError, AttributeError, RecursionError):
        name = _told_name(read_history(folder))
    return Earlier(folder.name, str(name or folder.name)[:80], when, saved)


def _told_name(history: dict | None) -> str | None:
    if history is None:
        return None
    try:
        return history["beginnings"][-1]["asked"].get("name")
    except (TypeError, KeyError, IndexError, AttributeError):
        return None
