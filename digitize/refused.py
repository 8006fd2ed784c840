"""What was seen of a photo before it was refused, carried by the refusal to whoever shows it."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np

from digitize.errors import Refusal
from digitize.records import Photo, ReferencePoints


@dataclass(frozen=True, eq=False)
class Findings:
    """As far as it was come to; in pixels of photo.rgb.

    references: those found; rockets_px: (n, 2) each, the borders of what looks like a rocket; outline_px: (n, 2) the
    rocket's own edge; body_px: (n, 2) the border of its body alone; nose_px: (2,) the middle of its nose.
    """

    photo: Photo | None = None
    references: tuple[ReferencePoints, ...] = ()
    rockets_px: tuple[np.ndarray, ...] = ()
    body_px: np.ndarray | None = None
    nose_px: np.ndarray | None = None
    outline_px: np.ndarray | None = None


@contextmanager
def carrying(**seen) -> Iterator[None]:
    """A refusal raised within says besides what was seen: the fields of Seen. What is known nearer to it counts."""
    try:
        yield
    except Refusal as refusal:
        before = refusal.seen or Findings()
        missing = {name: value for name, value in seen.items() if _empty(getattr(before, name))}
        refusal.seen = replace(before, **missing)
        raise


def _empty(value) -> bool:
    return value is None or (isinstance(value, tuple) and not value)
