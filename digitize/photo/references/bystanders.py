"""Flat objects lying in the picture that the user did not name: to keep them out of the rocket's outline.

They are never used for the scale: nobody said what size they are.
"""

from collections.abc import Collection

import numpy as np

from digitize.errors import ScaleRefusal
from digitize.photo.references.card import find_card
from digitize.photo.references.edges import grey_linear
from digitize.photo.references.paper import find_paper
from digitize.photo.references.ruler import DECADE, ROWS_READ, read_row
from digitize.photo.references.ruler_body import ruler_outline
from digitize.photo.references.ruler_search import find_rows
from digitize.records import Photo, ReferencePoints

FEWEST_TICKS = 60


def unnamed_ruler(photo: Photo) -> list[ReferencePoints]:
    """A ruler with a plain decimal graduation, if there is one."""
    grey = np.sqrt(np.clip(grey_linear(photo.rgb), 0, 1))
    for row in find_rows(grey)[:ROWS_READ]:
        ticks = read_row(grey, row)
        if ticks is None or len(ticks.s) < FEWEST_TICKS or ticks.decade - max(ticks.rival, 0.0) <= DECADE:
            continue
        return [_unnamed("ruler", ruler_outline(photo.rgb, ticks, ticks.period))]
    return []


def unnamed_sheets(photo: Photo, named: Collection[str]) -> list[ReferencePoints]:
    """A bank card or a sheet of paper, if there is one; named: kinds the user gave. Slower than the ruler."""
    found = []
    for kind in {"card", "a4", "letter"} - set(named):
        try:
            seen = find_card(photo) if kind == "card" else find_paper(photo, kind)
        except ScaleRefusal:
            continue
        found.append(_unnamed(kind, seen.outline_px))
    return found


def _unnamed(kind: str, outline_px: np.ndarray) -> ReferencePoints:
    return ReferencePoints(kind, f"{kind} not named", np.zeros((0, 2)), np.zeros((0, 2)), 1.0, 1.0, outline_px)
