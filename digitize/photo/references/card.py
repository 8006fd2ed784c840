"""A bank card: ISO/IEC 7810 ID-1."""

from digitize.records import Photo, ReferencePoints
from digitize.sizes import CARD_CORNER_RADIUS_MM, CARD_MM

from .rectangle import RectangleKind, find_rectangle

CARD = RectangleKind(
    kind="card",
    label="bank card",
    size_mm=CARD_MM,
    corner_radius_mm=sum(CARD_CORNER_RADIUS_MM) / 2,
    size_sigma=0.0008,  # ID-1 allows 85.47 to 85.72 mm: +-0.13 mm taken as the 95 % band
    white=False,
)


def find_card(photo: Photo) -> ReferencePoints:
    """The card's four sharp corners (where its sides, continued, meet). Raises ScaleRefusal."""
    return find_rectangle(photo, CARD)
