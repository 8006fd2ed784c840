"""Rulers in drawn photographs with exact truth: graduations, count against the claim, refusals."""

import cv2
import numpy as np
import pytest
from drawing import Reference
from reference_scenes import camera, drawn, flat_print, lying, photo, ticks_px

from digitize.errors import ScaleRefusal
from digitize.photo.references.ruler import find_ruler
from digitize.photo.references.ruler_ticks import Strip, _alike
from digitize.records import Photo


def millimetres(points, truth_px):
    """Each point's true graduation, by the truth's own spacing, and its claimed one, running the same way."""
    along = (truth_px[-1] - truth_px[0]) / np.hypot(*(truth_px[-1] - truth_px[0]))
    true = np.interp(
        (points.points_px - truth_px[0]) @ along, (truth_px - truth_px[0]) @ along, np.arange(len(truth_px))
    )
    claimed = points.points_mm[:, 0]
    return true, claimed * np.sign(np.polyfit(claimed, true, 1)[0])


@pytest.mark.parametrize(
    ("kind", "length_mm", "turn_deg", "ground", "colour", "lean_deg"),
    [
        ("steel", 200.0, 3.0, "sheet", (216, 216, 212), (0, 0)),
        ("white", 150.0, 92.0, "mat", (30, 96, 82), (0, 0)),
        ("wood", 200.0, -140.0, "concrete", (172, 166, 156), (0, 0)),
        ("steel", 150.0, 20.0, "wood", (120, 84, 62), (0, 0)),
        ("white", 200.0, -5.0, "wall", (214, 212, 204), (5, 18)),
    ],
)
def test_graduations(kind, length_mm, turn_deg, ground, colour, lean_deg):
    ruler = Reference(kind, (0, 50), 19.5, turn_deg, lean_deg, length_mm)
    picture_photo, picture = drawn(ruler, ground=ground, colour=colour, distance_mm=600.0)
    points = find_ruler(picture_photo, length_mm)
    true, claimed = millimetres(points, ticks_px(picture, ruler))
    slope, start = np.polyfit(claimed, true, 1)
    assert 1e-7 < abs(slope - 1) < 3e-4
    assert np.ptp(true) > 0.95 * length_mm
    residual_px = (
        (true - slope * claimed - start) * np.hypot(*np.ptp(points.points_px, axis=0)) / np.ptp(true)
    )
    assert residual_px.std() < 3 * points.sigma_px
    assert abs(start - round(start)) < 0.1  # whole graduations, whichever is called zero
    assert points.warnings == ()


def test_outline_covers_the_body():
    ruler = Reference("wood", (0, 40), 19.5, 12.0, (0, 0), 200.0)
    picture_photo, picture = drawn(ruler, distance_mm=600.0)
    outline = find_ruler(picture_photo, 200.0).outline_px.astype(np.float32)
    body = picture.corners_px[0].astype(np.float32)
    for corner in body:
        assert cv2.pointPolygonTest(outline, tuple(map(float, corner)), True) > -2.0
    assert 1.0 < cv2.contourArea(outline) / cv2.contourArea(body) < 1.35


def test_contradicted_length_is_refused():
    picture_photo, _ = drawn(Reference("steel", (0, 40), 19.5, 3.0, (0, 0), 200.0), distance_mm=600.0)
    with pytest.raises(ScaleRefusal, match="100 mm"):
        find_ruler(picture_photo, 100.0)


def test_ruler_run_out_of_the_picture_is_read_with_a_warning():
    picture_photo, _ = drawn(Reference("steel", (0, 40), 19.5, 3.0, (0, 0), 300.0), distance_mm=600.0)
    cropped = Photo(picture_photo.path, np.ascontiguousarray(picture_photo.rgb[:, 400:1100]), 1, None)
    points = find_ruler(cropped, 300.0)
    assert [warning.code for warning in points.warnings] == ["RULER_LENGTH"]


@pytest.mark.parametrize("ground", ["mat", "wood", "wall"])
def test_no_ruler_is_refused(ground):
    picture_photo, _ = drawn(Reference("card", (10, 45), 19.5), ground=ground)
    with pytest.raises(ScaleRefusal, match="No graduated ruler"):
        find_ruler(picture_photo, 300.0)


def graduated(lengths_mm, pitch_mm: float, texel_mm: float = 0.1) -> np.ndarray:
    """A white bar (linear grey) with black marks 0.2 mm wide of these lengths, a pitch apart."""
    face = np.full((round(28 / texel_mm), round((len(lengths_mm) * pitch_mm + 8) / texel_mm)), 0.8)
    x = np.arange(face.shape[1]) * texel_mm
    for number, length in enumerate(lengths_mm):
        ink = np.clip(0.5 + (0.1 - np.abs(x - 4 - number * pitch_mm)) / texel_mm, 0, 1)
        face[: round(length / texel_mm)] *= 1 - 0.95 * ink
    return face


def seen(face: np.ndarray) -> Photo:
    return photo(flat_print(camera(500.0, (0, 3, 0)), (face, 0.1, lying((-110, 20, 0), -4.0))))


def test_inch_scale_is_refused_when_millimetres_were_claimed():
    sixteenths = np.arange(8 * 16 + 1)
    lengths = np.select([sixteenths % k == 0 for k in (16, 8, 4, 2)], [10, 8, 6.5, 5], 3.5)
    with pytest.raises(ScaleRefusal):
        find_ruler(seen(graduated(lengths, 25.4 / 16)), 200.0)


def test_inch_scale_is_read_when_inches_were_claimed():
    sixteenths = np.arange(8 * 16 + 1)
    lengths = np.select([sixteenths % k == 0 for k in (16, 8, 4, 2)], [10, 8, 6.5, 5], 3.5)
    points = find_ruler(seen(graduated(lengths, 25.4 / 16)), 8 * 25.4)
    np.testing.assert_allclose(np.abs(np.diff(points.points_mm[:, 0]))[1:-1], 10 * 25.4 / 16)


def test_a_ruler_told_in_inches_for_centimetres_is_asked_about():
    """20 cm and 20 inches in tenths have the same 201 marks in the same pattern."""
    picture_photo, _ = drawn(Reference("steel", (0, 40), 19.5, 3.0, (0, 0), 200.0), distance_mm=600.0)
    (warn,) = find_ruler(picture_photo, 20 * 25.4).warnings
    assert warn.code == "RULER_TENTHS" and "ruler=200mm" in warn.remedy
    assert find_ruler(picture_photo, 200.0).warnings == ()


def test_half_millimetres_are_not_taken_for_millimetres():
    halves = np.arange(2 * 150 + 1)
    lengths = np.select([halves % k == 0 for k in (20, 10, 2)], [10, 8, 6], 4)
    points = find_ruler(seen(graduated(lengths, 0.5)), 150.0)
    extent_mm = np.ptp(points.points_mm[:, 0])
    true_px = 150.0 * camera(500.0).focal_px / 500.0
    assert abs(np.hypot(*np.ptp(points.points_px, axis=0)) / extent_mm * 150.0 / true_px - 1) < 0.02


def test_marks_of_no_contrast_are_like_nothing():
    """A band of one grey, as in a blown-out part of the picture."""
    blank = Strip(np.full((21, 400), 200.0, np.float32), np.zeros(2), np.array([1.0, 0.0]), 0.0, 1)
    places = np.arange(20.0, 380.0, 8.0)
    alike = _alike(blank, places, np.arange(-3.0, 4.0), 0.0, 200.0, np.ones(len(places), bool))
    assert not alike.any()
