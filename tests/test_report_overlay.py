"""The overlay: marks where the drawing says, words clear of the rocket and of each other, any direction."""

import dataclasses
import itertools

import numpy as np
import pytest
from report_sample import sample_drawing, sample_picture, sample_result
from shapely.geometry import LineString, Polygon

from digitize.report import raster
from digitize.report.drawable import drawable
from digitize.report.layout import LETTER_PX, PHOTO_LONG_SIDE_PX, plan_sheet, rocket_points
from digitize.report.overlay import LONGEST_SIDE_PX, MARGIN_PX, draw_overlay, draw_tall
from digitize.report.upright import around_the_rocket, upright

SIZE = (900, 1200)
DIRECTIONS = [*range(0, 360, 30), 44, 46, 134, 136, 225, 315]


def _cp_spot(picture, shown, plan):
    """Distance, px, from the drawn CP dot's middle to where `shown` puts the CP; inf if there is no dot."""
    at = plan.placing.to_canvas(shown.drawing.cp)
    x, y = np.round(at).astype(int)
    reach = 12
    window = picture[y - reach : y + reach + 1, x - reach : x + reach + 1].astype(int)
    like = np.abs(window - np.array(raster.CP_COLOUR)).sum(axis=2) < 60
    yy, xx = np.nonzero(like)
    near = np.hypot(xx - reach, yy - reach) < 5.5
    if near.sum() < 40:
        return np.inf
    return float(np.hypot(xx[near].mean() - reach - (at[0] - x), yy[near].mean() - reach - (at[1] - y)))


def _draw(direction_deg=180.0, size=SIZE, **changes):
    result = sample_result(direction_deg, size, **changes)
    picture = draw_overlay(sample_picture(result, size), 1, result)
    plan, _ = plan_sheet((*size, 3), 1, result, MARGIN_PX)
    return picture, result, plan


@pytest.mark.parametrize("direction_deg", [0, 90, 180, 270, 37, 217])
def test_the_mark_stands_at_the_centre_of_pressure(direction_deg):
    picture, shown, plan = _draw(direction_deg)
    assert _cp_spot(picture, shown, plan) < 2.0


def test_a_mark_in_the_wrong_place_is_detected():
    """The check above must fail on a wrong picture: the CP drawn 2 mm (6 px) further aft."""
    right = sample_drawing(180.0, SIZE)
    step = (right.axis[1] - right.axis[0]) / 300 * 2
    wrong = dataclasses.replace(right, cp=right.cp + step)
    picture, _, _ = _draw(drawing=wrong)
    _, shown, plan = _draw()
    assert _cp_spot(picture, shown, plan) > 2.0


def test_without_a_centre_of_pressure_no_mark_is_drawn():
    bare = dataclasses.replace(sample_drawing(180.0, SIZE), cp=None, cp_band=None)
    picture, _, _ = _draw(drawing=bare)
    _, shown, plan = _draw()
    assert _cp_spot(picture, shown, plan) == np.inf


def _share_of_dark(picture, points):
    """Share of places with a dark pixel (ink or the model's blue) within 1.5 px."""
    found = 0
    for x, y in np.round(points).astype(int):
        found += picture[y - 1 : y + 2, x - 1 : x + 2].max(axis=2).min() < 165
    return found / len(points)


def test_the_outline_is_drawn_where_it_was_found():
    """On the line nearly all places are dark, 9 px beside it few are: a shifted outline would fail."""
    picture, shown, plan = _draw()
    cone, edge = plan.placing.to_canvas(shown.drawing.profile_lower[:2])
    along = cone + np.linspace(0.4, 0.9, 80)[:, None] * (edge - cone)
    beside = np.array([0, 9])
    assert _share_of_dark(picture, along) > 0.9
    assert _share_of_dark(picture, along + beside) < 0.1
    assert _share_of_dark(picture, along - beside) < 0.1


@pytest.mark.parametrize("direction_deg", DIRECTIONS)
@pytest.mark.parametrize("size", [(900, 1200), (1200, 900), (400, 1600)])
def test_words_are_clear_and_upright(direction_deg, size):
    shown = sample_result(direction_deg, size)
    plan, (width, height) = plan_sheet((*size, 3), 1, shown, MARGIN_PX)
    rocket = Polygon(plan.placing.to_canvas(shown.outline_px))
    others = [Polygon(plan.placing.to_canvas(fin)) for fin in shown.drawing.fins]
    plaques = {label.kind + label.lines[0][0]: Polygon(label.corners()) for label in plan.labels}
    assert len(plaques) == 7  # both ends, CP, balance, cut-out, fin root, the card's name
    for plaque in plaques.values():
        assert not any(plaque.intersects(part) for part in [rocket, *others, Polygon(plan.rule.corners)])
        low_x, low_y, high_x, high_y = plaque.bounds
        assert low_x >= 0 and low_y >= 0 and high_x <= width and high_y <= height
    for one, other in itertools.combinations(plaques.values(), 2):
        assert not one.intersects(other)
    assert not Polygon(plan.rule.corners).intersects(rocket)
    assert all(abs(label.turn_deg) <= 45 for label in plan.labels)


@pytest.mark.parametrize("direction_deg", DIRECTIONS)
def test_leaders_do_not_cross_and_end_at_their_words(direction_deg):
    shown = sample_result(direction_deg, SIZE)
    plan, _ = plan_sheet((*SIZE, 3), 1, shown, MARGIN_PX)
    labels = [label for label in plan.labels if label.kind not in ("reference", "root")]
    leaders = [LineString([label.foot, label.knee, label.near]) for label in labels]
    for one, other in itertools.combinations(leaders, 2):
        assert not one.intersects(other)
    for label in labels:
        assert Polygon(label.corners()).exterior.distance(LineString([label.near, label.near + 1e-6])) < 1.0


def test_the_rule_reads_the_millimetres_of_the_axis():
    shown = sample_result(200.0, SIZE)
    plan, _ = plan_sheet((*SIZE, 3), 1, shown, MARGIN_PX)
    per_mm = plan.frame.length_px / 300
    majors = [start for start, _, is_major in plan.rule.ticks if is_major]
    u = plan.frame.uv(majors)[:, 0] / per_mm
    assert np.allclose(u, np.arange(0, 301, 50), atol=0.02)
    for text, centre in plan.rule.numbers:
        assert abs(plan.frame.uv(centre)[0, 0] / per_mm - float(text)) < 0.02


@pytest.mark.parametrize(("size", "shrink"), [((1000, 1500), 1), ((3000, 4000), 1), ((2000, 3000), 2), ((90, 120), 1)])
def test_any_picture_size(size, shrink):
    """1.5 MP, 12 MP, a reduced 24 MP, and a thumbnail: the same drawing at about the same size."""
    shown = sample_result(180.0, size, shrink)
    rgb = np.full((*size, 3), 200, np.uint8)
    picture = draw_overlay(rgb, shrink, shown)
    assert 1500 < max(picture.shape) <= LONGEST_SIDE_PX
    plan, _ = plan_sheet(rgb.shape, shrink, shown, MARGIN_PX)
    assert _cp_spot(picture, shown, plan) < 2.0
    assert not rgb.min() < 200  # the caller's picture is left alone


def test_no_drawing_still_shows_the_photo():
    shown = sample_result(180.0, SIZE, drawing=None)
    picture = draw_overlay(np.full((*SIZE, 3), 90, np.uint8), 1, shown)
    assert (picture == 90).all(axis=2).sum() > 0
    assert picture.shape[1] > PHOTO_LONG_SIDE_PX


def test_a_long_name_and_foreign_letters_fit_the_strip():
    name = "Ränkewürz ☃ 日本 " * 12
    picture, _, _ = _draw(name=name)
    plain, _, _ = _draw()
    assert picture.shape == plain.shape
    assert raster.letterable("Ränkewürz ☃ ± 2°") == "Rankewurz ? ± 2°"
    assert raster.text_width(raster.shortened(name, 30, 200.0), 30) <= 200.0


def test_the_rocket_keeps_its_colour_and_the_ground_is_paled():
    picture, shown, plan = _draw()
    inside = plan.placing.to_canvas(shown.drawing.axis).mean(axis=0) + np.array([0, 12])
    outside = plan.photo_corners[0] + 15
    x, y = np.round(inside).astype(int)
    assert tuple(picture[y, x]) == (200, 60, 40)
    x, y = np.round(outside).astype(int)
    assert 185 < picture[y, x].min() < 205  # 170 before


def test_extent_holds_every_part():
    shown = sample_result(10.0, SIZE)
    plan, _ = plan_sheet((*SIZE, 3), 1, shown, MARGIN_PX)
    points = rocket_points(shown.drawing, shown, plan.placing)
    v = plan.frame.uv(points)[:, 1] / (plan.frame.length_px / 300)
    assert max(v.max(), -v.min()) == pytest.approx(52.0, abs=0.1)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -1e9, 3e5])
def test_a_model_gone_astray_still_gives_a_picture(bad):
    """Points that can't be drawn leave their mark out; a far one can't ask for a sheet of any size."""
    whole = sample_drawing(180.0, SIZE)
    point, line = np.full(2, bad), np.full((4, 2), bad)
    for change in (
        {"cp": point},
        {"axis": line[:2]},
        {"fins": (line,), "roots": (line[:2],)},
        {"cp_band": line[:2]},
    ):
        result = sample_result(180.0, SIZE, drawing=dataclasses.replace(whole, **change))
        picture = draw_overlay(np.full((*SIZE, 3), 170, np.uint8), 1, result)
        assert 1800 <= max(picture.shape) <= LONGEST_SIDE_PX


# --- the tall picture


@pytest.mark.parametrize("direction_deg", [0, 35, 100, 180, 250, 359])
@pytest.mark.parametrize("shrink", [1, 3])
def test_upright_marks_stay_on_their_pixels_and_the_nose_is_up(direction_deg, shrink):
    """Dots painted on nose tip and tail are where the turned and cropped marks say; turned by NumPy's rot90."""
    shown = drawable(sample_result(float(direction_deg), SIZE, shrink))
    rgb, middle = np.zeros((*SIZE, 3), np.uint8), (shrink - 1) / 2  # of a working pixel, from its first full one
    for channel, (x, y) in enumerate(shown.drawing.axis):
        rgb[round((y - middle) / shrink), round((x - middle) / shrink), channel] = 255
    turns, turned = upright(shown, shown.drawing, (SIZE[1] * shrink, SIZE[0] * shrink))
    picture = np.rot90(rgb, turns)
    crop, cropped = around_the_rocket(turned, picture.shape, shrink)
    for channel, (x, y) in enumerate(cropped.drawing.axis):
        (row,), (column,) = np.nonzero(picture[crop][..., channel])
        assert np.abs(np.array([column, row]) * shrink + middle - [x, y]).max() <= 0.5 * shrink + 1e-6
    (nose_x, nose_y), (tail_x, tail_y) = cropped.drawing.axis
    assert tail_y - nose_y >= abs(tail_x - nose_x)
    everything = np.vstack([cropped.outline_px, *cropped.drawing.fins]) / shrink
    height, width = picture[crop].shape[:2]
    assert (everything >= -1).all() and (everything <= [width, height]).all()
    assert height * width < SIZE[0] * SIZE[1]


def test_the_tall_picture_is_narrow_enough_to_be_read_on_a_phone():
    """390 px of a phone less its margins: letters of 11 px and more, and taller than wide; none without an axis."""
    result = sample_result(20.0, SIZE)
    tall = draw_tall(sample_picture(result, SIZE), 1, result)
    assert LETTER_PX * 0.85 * 360 / tall.shape[1] > 11 and tall.shape[0] > tall.shape[1]
    assert draw_tall(sample_picture(result, SIZE), 1, sample_result(20.0, SIZE, drawing=None)) is None
