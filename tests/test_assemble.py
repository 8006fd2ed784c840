"""A measured solid to a result: bands that cancel, words of warning, the verdict's doubts, and the drawing.

Scenes are drawn silhouettes (tests/silhouettes.py), so their truth is known; there is no publication.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drawing import Reference
from silhouettes import CALIPER_A, CP_A_MM, prior_of, scene_a, silhouette_of, solve

from digitize.margin.warning_codes import doubt_of
from digitize.records import Photo, Warn
from digitize.request.options import measure_options
from digitize.result.from_photo import Measured, assemble, worth_saying
from digitize.result_records import NextMeasurement
from digitize.solid.adjust import GivenSizes

OPTIONS = {"fins": "3", "balance": "210mm", "thickness": "2mm"}


def measured(given=CALIPER_A, references=(), **changes) -> Measured:
    scene = replace(scene_a(520.0), references=references)
    silhouette = silhouette_of(scene)
    width, height = scene.camera.size_px
    photo = Photo(Path("drawn.jpg"), np.zeros((height, width, 3), np.uint8))
    solid = solve(scene, given, silhouette=silhouette)
    return replace(Measured(photo, prior_of(scene.camera), silhouette, (), solid, None), **changes)


def options(scale=("tube=24mm",), **said):
    return measure_options([Path("drawn.jpg")], scale=list(scale), **{**OPTIONS, **said})


@pytest.fixture(scope="module")
def by_caliper():
    return measured()


@pytest.fixture(scope="module")
def result(by_caliper):
    return assemble(by_caliper, options())


def test_rocket_a_and_its_margin(result):
    """Rocket A of the check values, balanced at 210: (248.54 - 210) / 24."""
    assert result.cp_x_mm.value == pytest.approx(CP_A_MM, abs=0.03 * 24)  # what silhouettes.check allows any solid
    assert abs(result.cp_x_mm.value - CP_A_MM) > 1e-6  # the truth has not leaked
    expected = (result.cp_x_mm.value - 210) / result.max_diameter_mm.value
    assert result.margin_calibers.value == pytest.approx(expected)
    assert result.verdict_level == "fly"


def test_the_band_of_the_margin_has_all_its_parts_once(result):
    """At least the balance point's and the method's, and no more than all parts added as if nothing cancelled."""
    d, view = result.max_diameter_mm.value, result.methods
    assert result.cp_x_mm.pm95 == pytest.approx(np.hypot(view.measured_pm95_mm, view.method_pm95_mm))
    least = np.hypot(result.balance_mm.pm95, view.method_pm95_mm) / d
    most = (result.balance_mm.pm95 + result.cp_x_mm.pm95) / d + abs(
        result.margin_calibers.value
    ) * result.max_diameter_mm.pm95 / d
    assert least < result.margin_calibers.pm95 < most


def test_scale_errors_cancel_in_the_margin():
    """A card of unsaid set-back: place and diameter err together, so the margin is known better than both alone say."""
    card = (Reference("card", (0.0, 110.0), 0.0),)
    vague = assemble(measured(GivenSizes(), card), options(["card"], balance="200mm"))
    alone = vague.cp_x_mm.pm95 / vague.max_diameter_mm.value
    # with the balance point from a tape, place and diameter cancel but for the balance point's own share of it
    assert vague.margin_calibers.pm95 < 0.97 * np.hypot(
        alone, abs(vague.margin_calibers.value) * vague.max_diameter_mm.pm95 / vague.max_diameter_mm.value
    )


def test_an_unsaid_number_of_fins_widens_the_band_and_leaves_doubt(by_caliper, result):
    group = by_caliper.solid.geometry.fins[0]
    four = replace(by_caliper.solid.geometry, fins=(replace(group, count=4),))
    unsaid = assemble(replace(by_caliper, other=replace(by_caliper.solid, geometry=four)), options(fins=None))
    assert unsaid.cp_x_mm.pm95 > result.cp_x_mm.pm95
    assert "FINS_NOT_SAID" in [warning.code for warning in unsaid.warnings]
    assert unsaid.verdict_level == "look again"


@pytest.mark.parametrize("code", ["SCALES_DISAGREE", "EDGE_WEAK", "HAND_MATTERS", "NOSE_DOUBT"])
def test_grave_warnings_take_the_verdict_away(by_caliper, code):
    doubtful = assemble(replace(by_caliper, warnings=(Warn(code, "something is wrong", "look"),)), options())
    assert doubtful.verdict_level == "look again" and "something is wrong" in doubtful.verdict_text


def test_light_warnings_do_not(by_caliper):
    light = assemble(replace(by_caliper, warnings=(Warn("RULER_COARSE", "so so", "look"),)), options())
    assert light.verdict_level == "fly" and doubt_of(light.warnings) is None


def test_a_hand_measurement_the_verdict_hangs_on(by_caliper):
    """Fins of a third of the span would not do: the verdict becomes 'look again'; a likely slip leaves it."""
    doubtful = assemble(by_caliper, options(hand=["span=14mm"]))
    assert doubtful.verdict_level == "look again"
    assert "HAND_MATTERS" in [warning.code for warning in doubtful.warnings]
    slip = assemble(by_caliper, options(hand=["span=104mm"]))
    assert slip.verdict_level == "fly" and "tip to tip" in slip.hand_checks[0].likely_slip


def test_a_balance_point_from_the_tail_is_the_length_less(by_caliper, result):
    """90 mm from the aft end of 300 mm is 210 from the nose tip; asked again it is the same."""
    tail = assemble(by_caliper, options(balance="90mm,from-tail"))
    assert tail.balance_mm.value == pytest.approx(result.length_mm.value - 90)
    assert tail.margin_calibers.value == pytest.approx(result.margin_calibers.value, abs=0.03)
    assert tail.verdict_level == result.verdict_level == "fly"
    assert tail.photo.asked["balance"] == "90.0mm,from-tail"
    wrong = assemble(by_caliper, options(balance="90mm"))
    assert wrong.verdict_level == "look again" and "BALANCE_END" in [w.code for w in wrong.warnings]
    assert assemble(by_caliper, options(balance="90mm,from-nose")).verdict_headline.startswith("fly, in calm air only")


def test_from_the_tail_the_scale_s_error_is_in_length_and_place_alike():
    """With a card of unsaid set-back: the length's own band is much in the balance point and little in the margin."""
    card = (Reference("card", (0.0, 110.0), 0.0),)
    vague = assemble(measured(GivenSizes(), card), options(["card"], balance="90mm,from-tail"))
    d, place = vague.max_diameter_mm.value, vague.balance_mm.pm95
    assert place == pytest.approx(np.hypot(2.0, vague.length_mm.pm95), rel=0.02) and vague.length_mm.pm95 > 4
    own = np.hypot(2.0, vague.methods.method_pm95_mm) / d
    assert own < vague.margin_calibers.pm95 < 0.7 * np.hypot(place, vague.cp_x_mm.pm95) / d


@pytest.mark.parametrize(("then", "worth"), [(0.14, False), (0.136, False), (0.12, True), (0.05, True)])
def test_a_measurement_that_shrinks_next_to_nothing_is_not_asked_for(then, worth):
    step = NextMeasurement("a caliper", 0.14, then)
    assert worth_saying(step) == (step if worth else None)
    assert worth_saying(None) is None


def test_without_a_balance_point_there_is_no_margin(by_caliper):
    bare = assemble(by_caliper, options(balance=None))
    assert bare.margin_calibers is None and bare.balance_mm is None and bare.verdict_level == "look again"
    assert bare.drawing.balance is None


def test_the_drawing_lies_on_the_axis_in_order(result):
    """Nose left: balance point, cut-out and centre of pressure lie on the axis' line, each as far along as it says."""
    drawing, length = result.drawing, result.length_mm.value
    nose, aft = drawing.axis
    along = (aft - nose) / np.linalg.norm(aft - nose)
    for place, point in (
        (result.cp_x_mm.value, drawing.cp), (210.0, drawing.balance), (result.cutout_centroid_mm.value, drawing.cutout),
    ):  # fmt: skip
        aside = along[0] * (point - nose)[1] - along[1] * (point - nose)[0]
        assert aside == pytest.approx(0.0, abs=0.5)
        assert along @ (point - nose) / np.linalg.norm(aft - nose) == pytest.approx(place / length, abs=0.003)
    low, high = (along @ (end - nose) for end in drawing.cp_band)
    assert low < along @ (drawing.cp - nose) < high


def test_the_same_seed_gives_the_same_result(by_caliper, result):
    again, other = assemble(by_caliper, options()), assemble(by_caliper, options(seed=2))
    assert again.cp_x_mm == result.cp_x_mm
    assert other.cp_x_mm != result.cp_x_mm and other.cp_x_mm.pm95 == pytest.approx(result.cp_x_mm.pm95, rel=0.1)
