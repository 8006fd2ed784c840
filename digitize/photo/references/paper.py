"""A blank sheet of paper: A4 (ISO 216) or US Letter."""

from digitize.records import Photo, ReferencePoints
from digitize.sizes import A4_MM, LETTER_MM, PAPER_TOLERANCE_MM

from .rectangle import RectangleKind, find_rectangle

_SHEETS = {
    kind: RectangleKind(
        kind=kind,
        label=label,
        size_mm=size_mm,
        corner_radius_mm=0.0,
        size_sigma=PAPER_TOLERANCE_MM / 3 / size_mm[0],  # the tolerance is a limit: taken as three sigma
        white=True,
    )
    for kind, label, size_mm in (("a4", "A4 sheet", A4_MM), ("letter", "US Letter sheet", LETTER_MM))
}


def find_paper(photo: Photo, kind: str) -> ReferencePoints:
    """The sheet's four corners; kind 'a4' or 'letter'. Raises ScaleRefusal."""
    return find_rectangle(photo, _SHEETS[kind])
