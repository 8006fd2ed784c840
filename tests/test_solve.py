"""A geometry solved without a photo: the check values, the warnings, the words."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from digitize.errors import GeometryRefusal, Refusal, UsageRefusal
from digitize.geometry.toml import check_geometry, standing
from digitize.records import FinGroup, Geometry
from digitize.request.parsers import parse_pose
from digitize.result.from_geometry import fin_measures, geometry_warnings, radius_choice, solve
from digitize.result.to_json import dumps, to_dict

BODY = np.array([[0, 0], [60, 12], [300, 12]], float)
FIN = np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float)
ROCKET_A = Geometry("bracken", BODY, (FinGroup(3, FIN, 2.0),))
ROCKET_C = Geometry(
    "sedge",
    np.array([[0, 0], [2.835641, 0.5], [10, 0.5]]) * 40,
    (FinGroup(4, np.array([[9, 0.5], [9, 1.5], [10, 1.5], [10, 0.5]]) * 40),),
)


def test_rocket_a():
    """Numbers of the check values (computed, regression); sizes by hand."""
    result = solve(ROCKET_A, balance_mm=200.0)
    assert result.cp_x_mm.value == pytest.approx(248.54225, abs=1e-4)
    assert result.cn_alpha_per_rad.value == pytest.approx(18.410256, abs=1e-6)
    assert result.margin_calibers.value == pytest.approx((248.54225 - 200) / 24, abs=1e-5)
    assert (result.length_mm.value, result.max_diameter_mm.value, result.base_diameter_mm.value) == (
        300,
        24,
        24,
    )
    (fin,) = result.fins
    sizes = [q.value for q in (fin.root_chord_mm, fin.tip_chord_mm, fin.span_mm, fin.sweep_mm, fin.area_mm2)]
    assert sizes == pytest.approx([50, 30, 40, 30, 1600])
    assert result.verdict_level == "fly"
    assert result.methods.measured_pm95_mm == 0 and result.cp_x_mm.pm95 == result.methods.method_pm95_mm > 0
    assert result.margin_calibers.pm95 * 24 == pytest.approx(np.hypot(2.0, result.cp_x_mm.pm95))
    assert any("taken as exact" in line for line in result.assumptions)


def test_rocket_c_with_its_side_area():
    """In diameters: centre of pressure 7.891714, side-area centroid 6.393754 (computed, regression)."""
    result = solve(ROCKET_C)
    assert result.cp_x_mm.value / 40 == pytest.approx(7.891714, abs=1e-6)
    assert result.cutout_centroid_mm.value / 40 == pytest.approx(6.393754, abs=1e-6)
    assert result.verdict_level == "look again" and result.margin_calibers is None


@pytest.mark.parametrize("rocket", [ROCKET_A, ROCKET_C], ids=["A", "C"])
@pytest.mark.parametrize("pose", ["in-plane", "diagonal", "resting"])
def test_the_cut_out_lies_forward_of_the_centre_of_pressure(rocket, pose):
    """So NARAM-8 says (read): the side-area centroid is the cautious estimate."""
    result = solve(rocket, pose=parse_pose(pose))
    caliber = result.max_diameter_mm.value
    assert 0.5 < (result.cp_x_mm.value - result.cutout_centroid_mm.value) / caliber < 5


def test_pose_turns_the_cut_out_only():
    flat, turned = solve(ROCKET_C), solve(ROCKET_C, pose=parse_pose("diagonal"))
    assert turned.cp_x_mm == flat.cp_x_mm
    # Four square fins of 40 mm at 45 degrees stand out of a body of radius 20 by 60 cos 45 - 20.
    body = flat.cutout_area_mm2.value - 2 * 40 * 40
    assert turned.cutout_area_mm2.value == pytest.approx(body + 2 * 40 * (60 / 2**0.5 - 20))
    assert any("fin 1 at 45.0 degrees" in line for line in turned.assumptions)
    kept = standing(ROCKET_C, turned.cutout_rolls_deg)
    assert solve(kept).cutout_area_mm2 == turned.cutout_area_mm2  # as the geometry has it
    assert solve(kept, pose=parse_pose("in-plane")).cutout_area_mm2 == flat.cutout_area_mm2  # what is said counts


def test_balance_off_the_body_is_refused():
    with pytest.raises(UsageRefusal, match="beyond the body's end"):
        solve(ROCKET_A, balance_mm=300.0)


def test_warnings_for_counts_the_method_was_not_made_for():
    def codes(*counts):
        groups = tuple(FinGroup(n, FIN - [70 * k, 0]) for k, n in enumerate(counts))
        return [w.code for w in geometry_warnings(Geometry("", BODY, groups))]

    assert codes(3) == codes(4) == codes(6) == codes(3, 4) == []
    assert codes(2) == codes(3, 2) == ["TWO_FINS"]
    assert codes(5) == codes(8, 7) == ["FIN_COUNT"]
    assert codes() == ["NO_FINS"]


def test_two_fins_never_fly():
    two = Geometry("", BODY, (FinGroup(2, FIN),))
    assert solve(ROCKET_A, balance_mm=150.0).verdict_level == "fly"
    assert solve(two, balance_mm=150.0).verdict_level == "look again"


def test_no_fins_is_solved_and_unstable():
    """The body alone: 2 per radian at two thirds of the cone (NARAM-8)."""
    result = solve(Geometry("", BODY), balance_mm=150.0)
    assert result.cp_x_mm.value == pytest.approx(40.0)
    assert result.verdict_level == "do not fly"
    with pytest.raises(GeometryRefusal):
        solve(Geometry("", np.array([[0, 0], [60, 12], [200, 12], [260, 0]], float)))


def test_choice_of_radius_is_explained_where_it_matters():
    assert radius_choice(ROCKET_A) is None and radius_choice(Geometry("", BODY)) is None
    tail = np.array([[0, 0], [60, 12], [200, 12], [240, 5]], float)
    outline = np.array([[195, 12], [215, 40], [245, 40], [235, 5.875]], float)
    words = radius_choice(Geometry("", tail, (FinGroup(4, outline),)))
    assert "mean along the root" in words
    assert words in solve(Geometry("", tail, (FinGroup(4, outline),))).assumptions


@pytest.mark.parametrize(
    ("outline", "tip_mm", "sweep_mm"),
    [
        (FIN, 30, 30),
        ([[250, 12], [300, 52], [300, 12]], 0, 50),
        ([[250, 12], [280, 51.2], [310, 52], [300, 12]], 30, 30),  # a tip raked by 0.8 of 40 mm
    ],
)
def test_tip(outline, tip_mm, sweep_mm):
    measures = fin_measures(np.array(outline, float), 12.0)
    assert (measures["tip_chord_mm"], measures["sweep_mm"]) == (tip_mm, sweep_mm)


number = st.one_of(st.floats(-5, 60), st.sampled_from([0.0, 12.0, 1e-9, 1e5, 1e300, float("nan"), float("inf")]))
points = st.lists(st.tuples(number, number), max_size=6)


@given(profile=points, outline=points, count=st.integers(-1, 13), sane=st.booleans())
@settings(max_examples=200, deadline=None)
def test_any_numbers_give_finite_numbers_or_a_refusal(profile, outline, count, sane):
    """Points in any order and of any size, on a body that is usable in half of the cases."""
    body = BODY if sane else np.array(sorted(profile), float).reshape(-1, 2)
    fin = np.array([[250, 12], *[(240 + x, 12 + y) for x, y in outline], [300, 12]], float)
    geometry = Geometry("", body, (FinGroup(count, fin),))
    try:
        check_geometry(geometry)
        data = to_dict(solve(geometry, balance_mm=0.5))
    except Refusal as refusal:
        assert refusal.exit_code in (2, 6)
    else:
        assert dumps(data)
