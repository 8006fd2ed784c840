"""Two numbers by which pages keep in step: has anything shown changed, and does an edit stand on what is there now."""

from digitize.errors import Refusal
from digitize.trace.session import Session


class Stale(Refusal):
    """The edit was made on something that has been changed since, in another window or on the phone."""

    def __init__(self):
        super().__init__(
            "the rocket was changed on another screen meanwhile, so this was not done",
            "look at it as it is now, and do it again if it is still wanted",
        )


class Versions:
    """Not a value: it counts. What was looked at last is kept and compared, so that no change need be announced; all it
    compares is replaced, never changed in place."""

    def __init__(self):
        self._shown, self.version = None, 0
        self._edited, self.edition = None, 0

    def now(self, session: Session) -> dict:
        """version: grows with anything that a page shows; edition: with the photo and the rocket that edits change."""
        with session.lock:
            shown, edited = _shown(session), _edited(session)
            if not _same(shown, self._shown):
                self._shown, self.version = shown, self.version + 1
            if not _same(edited, self._edited):
                self._edited, self.edition = edited, self.edition + 1
            return {"version": self.version, "edition": self.edition}

    def check(self, session: Session, edition: int | None) -> None:
        """Raises Stale unless the edit was made on what is there now; None: it does not say, and passes. To be called
        with the session's lock held, else another edit may come between."""
        if edition is not None and edition != self.now(session)["edition"]:
            raise Stale


def _edited(s: Session) -> tuple:
    return s, s.photo, s.history.states, s.at


def _shown(s: Session) -> tuple:
    return (
        *_edited(s), s.history, s.full, s.working, s.stage, s.refused, s.seen, s.start, s.texts, s.units, s.paper,
        s.cameras.chosen, len(s.cameras),
    )  # fmt: skip


def _same(now: tuple, before: tuple | None) -> bool:
    """Plain values by what they are, all else by whether it is the same thing: arrays are not compared."""
    if before is None:
        return False
    plain = (str, int, bool)
    return all(a is b or (isinstance(a, plain) and isinstance(b, plain) and a == b) for a, b in zip(now, before,
               strict=True))  # fmt: skip
