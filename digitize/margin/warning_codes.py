"""Every warning's code in one place, and what it does to the verdict.

A code that is not listed, such as one of a later version read from a file, is a note.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from digitize.records import Warn


class Gravity(Enum):
    """What a warning does: NOTE, it is told; OUTSIDE, the shape lies outside the method of parts, so the lower of two
    margins decides; GRAVE, any verdict but 'look again' is wrong, be the numbers from a photo or a geometry."""

    NOTE = "note"
    OUTSIDE = "outside"
    GRAVE = "grave"


@dataclass(frozen=True)
class Meaning:
    """gravity: what it does; of_said: it is about what was measured by hand, so it is made anew for several photos."""

    gravity: Gravity
    of_said: bool = False


_NOTE, _OUTSIDE, _GRAVE = (Meaning(gravity) for gravity in Gravity)
CODES = {
    # the photo and its outline
    "EDGE_WEAK": _GRAVE,
    "NOSE_SPUR": _NOTE,
    "NO_FOCAL_LENGTH": _NOTE,
    "OTHER_ROCKET": _NOTE,
    "OUTLINE_UNSTEADY": _GRAVE,
    "PHOTOS_DISAGREE": _GRAVE,
    # the scale
    "CALIPER_DIFFERS": _GRAVE,
    "NUMBER_SAFE": _NOTE,
    "NUMBER_UNSURE": _GRAVE,
    "REFERENCE_TILTED": _NOTE,
    "RULER_COARSE": _NOTE,
    "RULER_LENGTH": _NOTE,
    "RULER_ONE_END": _GRAVE,
    "RULER_TENTHS": _GRAVE,
    "SCALES_DISAGREE": _GRAVE,
    "SCALES_LOOSE": _NOTE,  # where its bands reach to each of the scales, the verdict is asked again by each
    "SCALE_UNDECIDED": _NOTE,
    "SET_BACK_NEARER": _GRAVE,
    "SET_BACK_UNKNOWN": _NOTE,
    "SHEET_UNCHECKED": _NOTE,
    "SIZE_UNLIKELY": _GRAVE,
    # the solid
    "FINS_NOT_SAID": _GRAVE,
    "FINS_OTHER_NUMBER": _GRAVE,
    "FINS_UNEXPLAINED": _GRAVE,
    "FIN_NOT_IN_OUTLINE": _GRAVE,
    "FIN_ASKEW": _NOTE,
    "FIN_SIDES_DIFFER": _NOTE,
    "NOSE_DOUBT": _GRAVE,
    "POSE_UNSURE": _GRAVE,
    "ROLL_DIFFERS": _NOTE,
    "WIDER_TAIL": _NOTE,
    "WIDER_TAIL_UNSURE": _GRAVE,
    "WIDE_BAND": _NOTE,
    # set by a hand, on the page
    "HAND_OFF": _NOTE,  # as SCALES_LOOSE, by the photo's own edge
    "HAND_UNSEEN": _NOTE,
    "NOT_CHECKED": _GRAVE,
    # the geometry and its method
    "BASE_WIDE": _OUTSIDE,
    "BODY_SHORT": _OUTSIDE,
    "FINS_IN_WAKE": _NOTE,
    "FINS_OVERHANG": _OUTSIDE,
    "FINS_OVERLAP": _GRAVE,
    "FIN_COUNT": _NOTE,
    "NARROWS_AHEAD": _NOTE,
    "NO_FINS": _GRAVE,
    "STRAKES": _OUTSIDE,
    "TWO_FINS": _GRAVE,
    # what was measured by hand
    "BALANCE_END": Meaning(Gravity.GRAVE, of_said=True),
    "HAND_DISAGREES": Meaning(Gravity.NOTE, of_said=True),
    "HAND_MATTERS": Meaning(Gravity.GRAVE, of_said=True),
    "MASSES_UNUSED": _NOTE,
}


def meaning_of(code: str) -> Meaning:
    """What a warning of this code does."""
    return CODES.get(code, _NOTE)


def of_gravity(gravity: Gravity) -> list[str]:
    """The codes of one gravity."""
    return [code for code, meaning in CODES.items() if meaning.gravity is gravity]


def is_grave(warning: Warn) -> bool:
    """Whether it makes any verdict but 'look again' wrong."""
    return meaning_of(warning.code).gravity is Gravity.GRAVE


def is_outside(warnings: Iterable[Warn]) -> bool:
    """Whether any of them says that the shape lies outside the method of parts."""
    return any(meaning_of(warning.code).gravity is Gravity.OUTSIDE for warning in warnings)


def doubt_of(warnings: Iterable[Warn]) -> str | None:
    """The first warning that makes any verdict but 'look again' wrong, in its words."""
    return next((warning.text for warning in warnings if is_grave(warning)), None)
