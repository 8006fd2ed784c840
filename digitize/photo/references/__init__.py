"""Flat reference objects found in the photo: one module a kind of object."""

from digitize.photo.references.sheet_finder import find_sheets
from digitize.records import Photo, ReferencePoints

from .card import find_card
from .checker import find_checker
from .paper import find_paper
from .ruler import find_ruler


def find_reference(photo: Photo, claim, sheet_bar_mm: float | None = None) -> list[ReferencePoints]:
    """The reference objects the user says are in the photo.

    claim: has kind ('card', 'a4', 'letter', 'ruler', 'checker' or 'sheet'), length_mm (a ruler's graduated length, or
    a checker's square) and squares (across, down; checker only). sheet_bar_mm: what the printed sheet's 100 mm bar
    measures by the user's ruler. Raises ScaleRefusal when the object isn't found believably.
    """
    if claim.kind == "card":
        return [find_card(photo)]
    if claim.kind in ("a4", "letter"):
        return [find_paper(photo, claim.kind)]
    if claim.kind == "ruler":
        return [find_ruler(photo, claim.length_mm)]
    if claim.kind == "checker":
        return [find_checker(photo, claim.squares, claim.length_mm)]
    if claim.kind == "sheet":
        return find_sheets(photo, sheet_bar_mm)
    raise ValueError(f"no finder for a scale of kind {claim.kind!r}")
