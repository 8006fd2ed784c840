"""Bank cards and sheets of paper in drawn photographs with exact truth: corners, refusals."""

from dataclasses import replace

import numpy as np
import pytest
from drawing import Reference
from reference_scenes import camera, corner_errors_px, drawn, flat_print, lying, photo

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
    picture_photo, picture = drawn(card, ground=ground, colour=GROUNDS[ground], k1=k1)
    points = find_card(picture_photo)
    errors = corner_errors_px(points.points_px, picture.corners_px[0])
    assert 1e-3 < errors.max() < 0.4
    assert errors.mean() < 3 * points.sigma_px
    np.testing.assert_allclose(points.points_mm[2], [85.60, 53.98])  # ISO/IEC 7810 ID-1


def framed_face():
    """A card's face, ten texels a millimetre: a pale frame, a dark field, lines of print. Linear grey."""
    face = np.full((540, 856), 0.8, np.float32)
    face[30:-30, 30:-30] = 0.12
    face[80:140, 80:500] = face[400:430, 80:620] = 0.6
    return face


@pytest.mark.parametrize("radius_mm", [2.88, 3.48])  # ISO/IEC 7810 ID-1 allows these
def test_printed_frame_is_not_taken_for_the_card(radius_mm):
    view, plane = camera(600.0, (2, -1, 0)), lying((-30, -20, 0), 25.0, (6, 4))
    points = find_card(photo(flat_print(view, (framed_face(), 0.1, plane), radius_mm=radius_mm)))
    truth = view.project(plane.world(np.array([[0, 0], [85.6, 0], [85.6, 54.0], [0, 54.0]])))
    assert 1e-3 < corner_errors_px(points.points_px, truth).max() < 0.3


@pytest.mark.parametrize("radius_mm", [0.0, 12.0])
def test_a_slip_with_other_corners_is_no_card(radius_mm):
    view, plane = camera(600.0, (2, -1, 0)), lying((-30, -20, 0), 25.0, (6, 4))
    with pytest.raises(ScaleRefusal, match="No bank card"):
        find_card(photo(flat_print(view, (framed_face(), 0.1, plane), radius_mm=radius_mm)))


@pytest.mark.parametrize("kind", ["a4", "letter"])
def test_paper_corners(kind):
    sheet = Reference(kind, (0, 105), 19.5, 5.0)
    picture_photo, picture = drawn(sheet, ground="wood", colour=GROUNDS["wood"], distance_mm=1000.0)
    errors = corner_errors_px(find_paper(picture_photo, kind).points_px, picture.corners_px[0])
    assert 1e-3 < errors.max() < 0.25


def test_card_without_exif():
    card = Reference("card", (10, 45), 19.5, -7.0)
    picture_photo, picture = drawn(card)
    without = replace(picture_photo, focal35_mm=None)
    assert corner_errors_px(find_card(without).points_px, picture.corners_px[0]).max() < 0.4


@pytest.mark.parametrize("claimed", ["a4", "letter"])
def test_other_paper_is_refused(claimed):
    other = {"a4": "letter", "letter": "a4"}[claimed]
    picture_photo, _ = drawn(Reference(other, (0, 105), 19.5, 5.0), ground="wood", distance_mm=1000.0)
    with pytest.raises(ScaleRefusal, match="was found") as refusal:
        find_paper(picture_photo, claimed)
    assert refusal.value.exit_code == ExitCode.SCALE


def test_nothing_there_is_refused():
    picture_photo, _ = drawn(ground="mat", colour=GROUNDS["mat"])
    for find in (find_card, lambda p: find_paper(p, "a4")):
        with pytest.raises(ScaleRefusal, match="No "):
            find(picture_photo)


def test_two_cards_are_refused_naming_both_places():
    cards = Reference("card", (-60, 45), 19.5, 4.0), Reference("card", (60, 45), 19.5, -5.0)
    picture_photo, picture = drawn(*cards)
    with pytest.raises(ScaleRefusal, match="Two objects") as refusal:
        find_card(picture_photo)
    for corners in picture.corners_px:
        x, y = np.round(corners.mean(axis=0))
        places = [f"({x + dx:.0f}, {y + dy:.0f})" for dx in (-1, 0, 1) for dy in (-1, 0, 1)]
        assert any(place in refusal.value.what for place in places)
