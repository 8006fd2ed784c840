"""Rulers in drawn photographs with exact truth: graduations, count against the claim, refusals."""

import cv2
import numpy as np
import pytest
from drawing import Reference
from reference_scenes import camera, drawn, flat_print, lying, photo, ticks_px
from scipy.spatial import cKDTree

from digitize.errors import ScaleRefusal
from digitize.photo.references import ruler_search
from digitize.photo.references.ruler import find_ruler
from digitize.photo.references.ruler_ticks import Strip, alike_strips
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
    residual_px = (true - slope * claimed - start) * np.hypot(*np.ptp(points.points_px, axis=0)) / np.ptp(true)
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
    alike = alike_strips(blank, places, np.arange(-3.0, 4.0), 0.0, 200.0, np.ones(len(places), bool))
    assert not alike.any()


def test_power_is_the_spectrum_of_the_windowed_block():
    """Against numpy's own two-dimensional transform."""
    spectrum = ruler_search._Spectrum()
    size = ruler_search.BLOCK
    band = np.random.default_rng(4).normal(0.5, 0.1, (size, 4 * size)).astype(np.float32)
    lefts = np.array([0, 24, 31, 3 * size])
    blocks = np.array([band[:, left : left + size] for left in lefts], float)
    means = blocks.mean(axis=(1, 2))
    power = spectrum.power(band, lefts, means)
    window = np.outer(np.hanning(size), np.hanning(size))
    full = np.abs(np.fft.rfft2((blocks - means[:, None, None]) * window)) ** 2
    rows = np.rint(spectrum.fy * size).astype(int)
    expected = full[:, rows, : power.shape[2]] * spectrum.weight
    assert np.abs(power - expected).max() < 1e-5 * expected.max()
    radius = np.hypot(np.fft.fftfreq(size)[:, None], np.fft.rfftfreq(size))
    inside = (radius >= ruler_search.LOW) & (radius <= ruler_search.HIGH)
    assert (spectrum.weight > 0).sum() == inside.sum()  # nothing of the ring is left out


def test_mean_and_deviation_of_every_block():
    level = np.random.default_rng(5).normal(0.6, 0.05, (131, 200)).astype(np.float32)
    mean, deviation = ruler_search.mean_and_deviation(level)
    size, stride = ruler_search.BLOCK, ruler_search.STRIDE
    views = np.lib.stride_tricks.sliding_window_view(level, (size, size))[::stride, ::stride]
    assert mean == pytest.approx(views.mean(axis=(2, 3)), abs=1e-6)
    assert deviation == pytest.approx(views.std(axis=(2, 3)), abs=1e-4)


def test_pairs_are_those_near_each_other():
    cells = np.unique(np.random.default_rng(6).integers(0, 12, (60, 2)), axis=0)
    pairs = {frozenset(pair) for pair in zip(*(i.tolist() for i in ruler_search.pairs_of_cells(cells)), strict=True)}
    assert pairs == {frozenset(pair) for pair in cKDTree(cells).query_pairs(ruler_search.NEAR_CELLS)}
    assert len(pairs) == len(ruler_search.pairs_of_cells(cells)[0])  # each once
    assert all(len(i) == 0 for i in ruler_search.pairs_of_cells(cells[:1]))


def test_a_ruler_that_only_the_full_picture_shows_is_found():
    """Its millimetres are 3.3 pixels wide: half that on the first coarse level."""
    ruler = Reference("white", (0, 50), 19.5, 3.0, (0, 0), 200.0)
    picture_photo, picture = drawn(ruler, distance_mm=640.0)
    points = find_ruler(picture_photo, 200.0)
    true, claimed = millimetres(points, ticks_px(picture, ruler))
    assert 2.2 < np.hypot(*np.diff(ticks_px(picture, ruler)[:2], axis=0)[0]) < 4.5
    assert abs(np.polyfit(claimed, true, 1)[0] - 1) < 5e-4
