"""Bank cards and sheets of paper in drawn photographs with exact truth: corners, refusals."""

import numpy as np
import pytest
from drawing import Reference
from reference_scenes import corner_errors_px, drawn

from digitize.errors import ExitCode, ScaleRefusal
from digitize.photo.references.card import find_card
from digitize.photo.references.paper import find_paper

GROUNDS = {
    "concrete": (172, 166, 156),
    "mat": (30, 96, 82),
    "wood": (188, 140, 90),
    "wall": (214, 212, 204),
}


@pytest.mark.parametrize(
    ("ground", "turn_deg", "lean_deg", "k1"),
    [
        ("concrete", -7.0, (0, 0), -0.02),
        ("mat", 35.0, (0, 0), 0.0),
        ("wood", 96.0, (0, 0), 0.01),
        ("wall", 160.0, (12, -15), 0.0),
    ],
)
def test_card_corners(ground, turn_deg, lean_deg, k1):
    card = Reference("card", (10, 45), 19.5, turn_deg, lean_deg)
    photo, picture = drawn(card, ground=ground, colour=GROUNDS[ground], k1=k1)
    points = find_card(photo)
    errors = corner_errors_px(points.points_px, picture.corners_px[0])
    assert 1e-3 < errors.max() < 0.4
    assert errors.mean() < 3 * points.sigma_px
    np.testing.assert_allclose(points.points_mm[2], [85.60, 53.98])  # ISO/IEC 7810 ID-1


@pytest.mark.parametrize("kind", ["a4", "letter"])
def test_paper_corners(kind):
    sheet = Reference(kind, (0, 105), 19.5, 5.0)
    photo, picture = drawn(sheet, ground="wood", colour=GROUNDS["wood"], distance_mm=1000.0)
    errors = corner_errors_px(find_paper(photo, kind).points_px, picture.corners_px[0])
    assert 1e-3 < errors.max() < 0.25


def test_card_without_exif():
    card = Reference("card", (10, 45), 19.5, -7.0)
    photo, picture = drawn(card)
    photo = type(photo)(photo.path, photo.rgb, 1, None)
    assert corner_errors_px(find_card(photo).points_px, picture.corners_px[0]).max() < 0.4


@pytest.mark.parametrize("claimed", ["a4", "letter"])
def test_other_paper_is_refused(claimed):
    other = {"a4": "letter", "letter": "a4"}[claimed]
    photo, _ = drawn(Reference(other, (0, 105), 19.5, 5.0), ground="wood", distance_mm=1000.0)
    with pytest.raises(ScaleRefusal, match="was found") as refusal:
        find_paper(photo, claimed)
    assert refusal.value.exit_code == ExitCode.SCALE


def test_nothing_there_is_refused():
    photo, _ = drawn(ground="mat", colour=GROUNDS["mat"])
    for find in (find_card, lambda p: find_paper(p, "a4")):
        with pytest.raises(ScaleRefusal, match="No "):
            find(photo)


def test_two_cards_are_refused_naming_both_places():
    cards = Reference("card", (-60, 45), 19.5, 4.0), Reference("card", (60, 45), 19.5, -5.0)
    photo, picture = drawn(*cards)
    with pytest.raises(ScaleRefusal, match="Two objects") as refusal:
        find_card(photo)
    for corners in picture.corners_px:
        x, y = np.round(corners.mean(axis=0))
        places = [f"({x + dx:.0f}, {y + dy:.0f})" for dx in (-1, 0, 1) for dy in (-1, 0, 1)]
        assert any(place in refusal.value.what for place in places)
