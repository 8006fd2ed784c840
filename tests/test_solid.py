"""The solid from drawn silhouettes: no picture is searched, so what is measured is the solver's own error.

Every scene's true numbers are those of the drawing. Bounds are two-sided where an error of nought would mean
that something was not measured at all.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from drawing import Pose, Reference
from silhouettes import (
    CALIPER_A,
    PROFILE_A,
    ROCKET_A,
    SIZE_PX,
    THREE,
    as_silhouette,
    camera_at,
    check,
    errors,
    outline_of,
    points_of,
    scene_a,
    silhouette_of,
    solve,
    turned,
)

from digitize.errors import OutlineRefusal, ScaleRefusal
from digitize.solid.adjust import GivenSizes
from digitize.solid.ends import nose_tip, rim_of
from digitize.solid.measure import GivenFins
from digitize.solid.roll import UNEXPLAINED
from digitize.solid.stations import crossings, find_stations
from digitize.solid.validity import within_caliper

# --- the grid ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("distance_mm", "focal35_mm"),
    [(330.0, 24.0), (420.0, 28.0), (1500.0, 77.0)],
    ids=["near", "usual", "far"],
)
def test_distances_and_lenses(distance_mm, focal35_mm):
    solid = check(scene_a(distance_mm, focal35_mm=focal35_mm))
    assert solid.adjusted.pose().depth_mm == pytest.approx(distance_mm, rel=0.01)


@pytest.mark.parametrize("tilt_deg", [-4.5, 4.5])
def test_a_tilted_axis(tilt_deg):
    """Left out, it would cost 0.3 % by its cosine and, by perspective, several per cent of a fin's area."""
    scene = replace(scene_a(), pose=Pose(tilt_deg=tilt_deg))
    solid = check(scene)
    pose = solid.adjusted.pose()
    aft = pose.axis_direction() @ pose.to_camera()
    sigma_deg = np.degrees(0.01 * np.sqrt(solid.adjusted.covariance[4, 4]))  # the fifth unknown is tilt / 0.01
    assert sigma_deg < 1.0
    assert abs(np.degrees(np.arcsin(aft[2])) - tilt_deg) < 1.96 * sigma_deg


@pytest.mark.parametrize("k1", [-0.012, 0.012])
def test_a_lens_that_bends(k1):
    check(scene_a(k1=k1), cp=0.05, length=0.35)


@pytest.mark.parametrize(
    ("count", "roll_deg"),
    [(3, 0.0), (3, 180.0), (4, 0.0), (6, 0.0), (6, 30.0), (4, 30.0), (3, 30.0)],
)
def test_fin_numbers_and_rolls(count, roll_deg):
    scene = replace(scene_a(), rocket=turned(ROCKET_A, count, roll_deg))
    solid = check(scene)
    (fin,) = solid.fins
    found = np.degrees(fin.roll_rad - solid.adjusted.pose().roll_offset_rad())
    assert (found - roll_deg + 180) % 360 - 180 == pytest.approx(0.0, abs=1.0)
    assert fin.unexplained < 0.05


def test_fins_turned_to_the_diagonal():
    """Four at 45 degrees: every one is foreshortened by 0.7, and they hide the edge of the aft end."""
    check(replace(scene_a(), rocket=turned(ROCKET_A, 4, 45.0)), area=2.5)


@pytest.mark.parametrize("count", [3, 4])
def test_a_rocket_resting_on_two_fins(count):
    """Seen from above, the other fins point at the camera."""
    scene = replace(scene_a(), rocket=turned(ROCKET_A, count, -90.0 + 180 / count))
    check(scene, area=2.5)


def test_a_roll_beside_what_was_said_is_found():
    scene = replace(scene_a(), rocket=turned(ROCKET_A, 3, 4.0))
    solid = check(scene, fins=(THREE,))
    found = np.degrees(solid.fins[0].roll_rad - solid.adjusted.pose().roll_offset_rad())
    assert 1.0 < found < 7.0


def test_a_wrong_number_of_fins_contradicts_the_pose_or_leaves_the_silhouette_unexplained():
    """Two fins flat in the picture are of four; three show such a pair turned by 30 degrees, which was not said."""
    scene = replace(scene_a(), rocket=turned(ROCKET_A, 4, 0.0))
    right = solve(scene, CALIPER_A)
    (wrong,) = solve(scene, CALIPER_A, fins=(THREE,)).fins
    assert right.fins[0].unexplained < UNEXPLAINED
    departure = abs((np.degrees(wrong.roll_rad) + 30) % 60 - 30)
    assert wrong.unexplained > UNEXPLAINED or departure == pytest.approx(30, abs=5)


@pytest.mark.parametrize(("kind", "behind_mm"), [("card", 45.0), ("steel", 0.0), ("checker", 45.0)])
def test_references_level_and_set_back(kind, behind_mm):
    reference = Reference(kind, (0.0, 110.0), behind_mm, length_mm=200)
    scene = replace(scene_a(520.0), references=(reference,))
    check(scene, GivenSizes(behind_mm=behind_mm))
    both = solve(scene, CALIPER_A)
    assert abs(errors(scene, both)["cp"]) < 0.04
    assert both.adjusted.behind_mm()[0] == pytest.approx(behind_mm, abs=4.0)


@pytest.mark.parametrize("behind_mm", [0.0, 35.0, 45.0, 70.0])
def test_a_set_back_nobody_told_is_expected_behind_the_axis_and_not_hidden(behind_mm):
    """A card seen alone can't tell it; level with the axis or as far behind as the fins reach and 20 mm more, 45 of 520
    being 8.7 %: what was not expected of that goes into every length, and its own sigma must reach it."""
    scene = replace(scene_a(520.0), references=(Reference("card", (0.0, 110.0), behind_mm),))
    solid = solve(scene, GivenSizes())
    given = solid.adjusted.problem.given
    reach_mm = scene.rocket.fins[0].outline_mm[:, 1].max()
    assert given.behind_guess_mm == pytest.approx((reach_mm + 20) / 2, rel=0.12)
    missed_mm = behind_mm - given.behind_guess_mm
    assert errors(scene, solid)["length"] == pytest.approx(100 * missed_mm / (520 - missed_mm), abs=0.6)
    assert 1.96 * given.behind_sigma_mm > abs(missed_mm)


# --- the expectation about edges --------------------------------------------------------------------------


def test_an_edge_seen_true_costs_what_the_expected_bias_costs():
    """0.1 pixel on either side of a body 80 wide is 0.25 % of the scale by caliper."""
    scene = scene_a()
    solid = solve(scene, CALIPER_A, silhouette=as_silhouette(outline_of(scene), SIZE_PX))
    caliber_px = 24 / 420 * scene.camera.focal_px
    assert errors(scene, solid)["length"] == pytest.approx(-100 * 0.2 / caliber_px, abs=0.12)


# --- pieces -----------------------------------------------------------------------------------------------


def test_crossings_of_a_triangle():
    triangle = np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 5.0]])
    first, second, none = crossings(triangle, np.array([2.0, 5.0, 11.0]), along=0)
    assert first == pytest.approx([0.0, 4.0]) and second == pytest.approx([0.0, 2.5]) and len(none) == 0
    (across,) = crossings(triangle, np.array([1.0]), along=1)
    assert across == pytest.approx([0.0, 8.0])


def flat_cone(tip=-0.4, length=0.3, half=0.02, lost=0.0):
    """A cone and a tube in the flat view, its first `lost` cut off as a blur does."""
    x = np.linspace(lost, length, 60)
    upper = np.column_stack([tip + x, half * x / length])
    whole = np.vstack([upper, [[0.4, half], [0.4, -half]], upper[::-1] * [1, -1]])
    return whole


@pytest.mark.parametrize("lost_px", [0.0, 3.0])
def test_the_nose_tip_is_where_the_flanks_meet(lost_px):
    pixel = 1 / 1400
    stations = find_stations(flat_cone(lost=lost_px * pixel), -1.0, pixel, 0)[0]
    tip, sigma = nose_tip(stations)
    assert abs(tip + 0.4) < 1.0 * pixel
    assert 0.5 * pixel < sigma < 3 * pixel


def test_a_needle_that_the_outline_is_unsure_of_is_carried_on_to_where_its_flanks_meet():
    """A cone of 3.8 degrees whose foremost 50 pixels, less than 3.4 pixels wide to either side, are not in the
    outline."""
    pixel = 1 / 1400
    stations = find_stations(flat_cone(lost=50 * pixel), -1.0, pixel, 0)[0]
    short, _ = nose_tip(stations)
    assert 5 * pixel < short + 0.4 < 20 * pixel
    tip, sigma = nose_tip(stations, end_sigma_px=1.8)
    assert abs(tip + 0.4) < 1.5 * pixel
    assert 0.45 < sigma / (50 * pixel) < 0.55, "any of the 50 pixels may be true"


def test_how_far_a_nose_is_carried_on_without_being_seen_is_in_its_deviation():
    """A flank that is too high by five pixels at the tip, sharp all along, runs out far ahead of the nose."""
    pixel = 1 / 1400
    flat = flat_cone(half=0.04)
    raised = flat.copy()
    near = (flat[:, 0] < -0.4 + 120 * pixel) & (flat[:, 1] > 0)
    raised[near, 1] += 5 * pixel * (1 - (flat[near, 0] + 0.4) / (120 * pixel))
    tip, sigma = nose_tip(find_stations(raised, -1.0, pixel, 0)[0], end_sigma_px=3.0)
    assert tip + 0.4 < -10 * pixel, "the case is to be wrong"
    assert abs(tip + 0.4) < 1.96 * sigma


def flat_nose(profile, length=0.25, half=0.02):
    """A nose of radius profile(0..1) and a tube, in the flat view."""
    x = np.linspace(0.0, 1.0, 200) ** 2
    upper = np.column_stack([-0.4 + length * x, half * profile(x)])
    return np.vstack([upper, [[0.4, half], [0.4, -half]], upper[::-1] * [1, -1]])


@pytest.mark.parametrize("spur_px", [20.0, 90.0])
@pytest.mark.parametrize("half", [0.02, 0.03])
def test_a_line_of_the_ground_in_front_of_the_nose_is_not_nose(spur_px, half):
    """A cone of 4.6 and of 6.9 degrees: slender noses, whose flanks a rule on their slope would take for a line."""
    pixel = 1 / 1400
    cone = flat_nose(lambda x: x, half=half)[1:-1]
    spur = np.array([[-0.4, 1.3 * pixel], [-0.4 - spur_px * pixel, 1.3 * pixel]])
    cone = cone[np.abs(cone[:, 1]) > 1.4 * pixel]
    stations = find_stations(np.vstack([spur[::-1], cone, spur * [1, -1]]), -1.0, pixel, 0)[0]
    tip, sigma = nose_tip(stations)
    assert abs(tip + 0.4) < 2 * pixel
    assert 2 * pixel < sigma < 10 * pixel


@pytest.mark.parametrize(
    "profile",
    [
        lambda x: np.sqrt(1 - (1 - x) ** 2),  # ellipsoid
        lambda x: np.sqrt(x),  # paraboloid of power 1/2
        lambda x: x**0.75,
        lambda x: np.sqrt(4 - (1 - x) ** 2) - np.sqrt(3),  # an arc, as an ogive's
        lambda x: np.maximum(x, 0.12),  # a cone cut off
    ],
)
def test_no_nose_is_taken_for_a_line_of_the_ground(profile):
    pixel = 1 / 1400
    stations = find_stations(flat_nose(lambda x: profile(x) / profile(np.ones(1))), -1.0, pixel, 0)[0]
    assert nose_tip(stations)[0] - stations.p[0] < 1.1 * pixel  # nothing is cut off


def test_the_rim_of_the_aft_end():
    """One of radius 9 seen from 5 degrees aft bulges by sqrt(81 - y^2) tan 5; a fin covers part of it."""
    side = np.linspace(-11.5, 11.5, 41)
    lean = np.full(41, np.tan(np.radians(5)))
    s = 300 + np.sqrt(np.maximum(81 - side**2, 0)) * lean
    s[np.abs(side) > 9] = 297 - (np.abs(side[np.abs(side) > 9]) - 9)  # the tail's flank ahead of it
    s[30:33] += 6.0
    radius, sigma, on_rim = rim_of(s, side, lean, 12.0, 0.3)
    assert abs(radius - 9) < 1.96 * sigma
    assert 0.1 < sigma < 2.5
    assert not on_rim[30:33].any() and not on_rim[np.abs(side) > 9.2].any()
    assert on_rim.sum() >= 20


# --- refusals ---------------------------------------------------------------------------------------------


def refused(outline, given=CALIPER_A, fins=(THREE,), kind=OutlineRefusal):
    with pytest.raises(kind) as caught:
        solve(scene_a(), given, silhouette=as_silhouette(np.asarray(outline, float), SIZE_PX), fins=fins)
    assert caught.value.what and caught.value.remedy
    assert "\n" not in caught.value.line()
    return caught.value


def fine(corners, step=1.0):
    """A polygon's corners with points between them."""
    corners = np.asarray(corners, float)
    edges = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        edges.append(a + (b - a) * np.arange(0, 1, step / np.linalg.norm(b - a))[:, None])
    return np.vstack(edges)


def test_a_bar_is_refused_with_a_point_or_without():
    pencil = fine([[300, 600], [400, 570], [1500, 570], [1500, 630], [400, 630]])
    assert "fin" in refused(pencil).what
    bar = fine([[300, 570], [1500, 570], [1500, 630], [300, 630]])
    assert "nose" in refused(bar).what


def test_a_shadow_along_one_side_of_most_of_the_body_is_refused():
    """It makes the commonest width, and the axis with it; the nose then lies beside the axis."""
    outline = outline_of(scene_a())
    (left, _), (right, _) = outline[outline[:, 0].argmin()], outline[outline[:, 0].argmax()]
    nose_y = float(outline[outline[:, 0].argmin(), 1])
    span, half = right - left, 12.0 / 300 * (right - left)
    shadow = shapely.box(left + 0.3 * span, nose_y, left + 0.8 * span, nose_y + 1.2 * half)
    joined = shapely.segmentize(shapely.Polygon(outline).union(shadow), 1.0)
    assert "beside the body's axis" in refused(np.array(joined.exterior.coords)[:-1]).what


def test_a_round_blob_is_refused():
    turn = np.linspace(0, 2 * np.pi, 600, endpoint=False)
    assert "slender" in refused(np.column_stack([900 + 200 * np.cos(turn), 600 + 180 * np.sin(turn)])).what


def test_a_rocket_of_a_few_pixels_is_refused():
    tiny = outline_of(scene_a(16000.0))
    refused(tiny)


def test_more_groups_than_stand_out_are_refused():
    assert "2 fin group" in refused(outline_of(scene_a()), fins=(THREE, THREE)).what


def test_nothing_of_known_size_is_refused():
    refused(outline_of(scene_a()), given=GivenSizes(), kind=ScaleRefusal)


def test_the_geometry_is_rounded_as_its_file_will_be():
    solid = solve(scene_a(), CALIPER_A)
    for numbers in (solid.geometry.profile_mm, solid.geometry.fins[0].outline_mm):
        assert numbers == pytest.approx(np.round(numbers, 4), abs=1e-12)
    assert len(PROFILE_A) <= len(solid.geometry.profile_mm) <= 12  # a cone and a tube need few knots


def test_reference_points_far_from_the_rocket_do_not_matter_to_the_outline():
    """The same silhouette told by two references in one plane agrees with either."""
    scene = scene_a(520.0)
    references = tuple(Reference(kind, (x, 110.0), 0.0) for kind, x in (("card", -80.0), ("checker", 80.0)))
    scene = replace(scene, references=references)
    one = solve(scene, GivenSizes(behind_mm=0.0), references=(points_of(scene, references[0]),))
    both = solve(scene, GivenSizes(behind_mm=0.0))
    assert both.geometry.profile_mm[-1, 0] == pytest.approx(one.geometry.profile_mm[-1, 0], rel=1e-3)


def test_a_camera_aside_sees_the_same_rocket():
    """40 mm aside and 30 below: another bearing, the same millimetres."""
    scene = scene_a()
    check(replace(scene, camera=camera_at(440.0, aside_mm=(20.0, 30.0))))


# --- fins glued and cut by hand, and outlines that err ----------------------------------------------------


def by_hand(rocket, roll_deg, turns_deg, scales):
    """The rocket with each fin turned and scaled by itself."""
    (group,), root = rocket.fins, rocket.fins[0].outline_mm[[0, -1]].mean(0)
    fins = []
    for k, (turn, scale) in enumerate(zip(turns_deg, scales, strict=True)):
        outline = root + (group.outline_mm - root) * scale
        outline[[0, -1]] = group.outline_mm[[0, -1]]
        roll = roll_deg + 360 * k / len(turns_deg) + turn
        fins.append(replace(group, count=1, outline_mm=outline, roll_deg=roll))
    return replace(rocket, fins=tuple(fins))


def bitten(silhouette, centre_px, radius_px):
    whole = shapely.Polygon(silhouette.outline_px).difference(shapely.Point(centre_px).buffer(radius_px))
    outline = np.array(shapely.segmentize(whole, 1.0).exterior.coords)[:-1]
    return as_silhouette(outline, SIZE_PX)


@pytest.mark.parametrize(("count", "roll_deg"), [(3, 0.0), (3, 30.0), (3, 75.0), (4, 20.0), (6, 10.0)])
def test_a_roll_nobody_said_is_found(count, roll_deg):
    """Or its mirror image toward the camera, which a silhouette from afar tells by perspective alone."""
    scene = replace(scene_a(), rocket=turned(ROCKET_A, count, roll_deg))
    solid = check(scene, fins=(GivenFins(count, (), 2.0),))
    gap = 360 / count
    off = [abs((np.degrees(solid.fins[0].roll_rad) - r + gap / 2) % gap - gap / 2) for r in (roll_deg, -roll_deg)]
    assert min(off) < 2.5


def test_four_fins_flat_or_at_45_degrees_from_afar_are_not_told_apart():
    """In the plane, or 1.41 times as long and turned: the same silhouette but for perspective, which is gone here."""
    scene = replace(scene_a(6000.0, focal35_mm=400.0), rocket=turned(ROCKET_A, 4, 0.0))
    solid = solve(scene, CALIPER_A, fins=(GivenFins(4, (), 2.0),))
    spans = [geometry.fins[0].outline_mm[:, 1].max() for geometry in (solid.geometry, *(g for _, g in solid.others))]
    assert min(spans) == pytest.approx(52.0, abs=1.0) and max(spans) == pytest.approx(52 * 2**0.5, abs=3.0)
    said = solve(scene, CALIPER_A, fins=(GivenFins(4, (0.0,), 2.0),))
    assert said.geometry.fins[0].outline_mm[:, 1].max() == pytest.approx(52.0, abs=1.0)


def test_fins_glued_and_cut_unlike_give_their_mean():
    """The hull of such copies loses twice 3 % of the span and more of the area."""
    rocket = by_hand(ROCKET_A, 30.0, (2.5, -2.0, 1.0), (1.02, 0.98, 1.0))
    off = errors(replace(scene_a(), rocket=ROCKET_A), solve(replace(scene_a(), rocket=rocket), CALIPER_A,
                 fins=(GivenFins(3, (), 2.0),)))  # fmt: skip
    assert abs(off["areas"][0]) < 4.0 and abs(off["cp"]) < 0.06


def test_a_bit_missing_from_one_fin_is_not_taken_from_the_others():
    """A bite at the tip of one of two that show: hull and least squares alone would halve between them."""
    scene = replace(scene_a(), rocket=turned(ROCKET_A, 4, 0.0))
    whole = silhouette_of(scene)
    top = whole.outline_px[whole.outline_px[:, 1].argmin()]
    off = errors(scene, solve(scene, CALIPER_A, silhouette=bitten(whole, top, 25.0)))
    assert abs(off["areas"][0]) < 4.0


# --- outlines and cameras as people have them -------------------------------------------------------------


@pytest.mark.parametrize("tilt_deg", [-13.0, 13.0])
def test_a_rocket_looked_down_on(tilt_deg):
    """A standing person before a standing rocket: its tube is slenderer at one end by perspective, and still a tube."""
    scene = replace(scene_a(), pose=Pose(tilt_deg=tilt_deg))
    solid = solve(scene, CALIPER_A)
    off = errors(scene, solid)
    assert solid.stations.tubes and abs(off["length"]) < 1.0 and abs(off["cp"]) < 0.1, off


def test_an_outline_that_errs_by_more_than_a_pixel_still_shows_a_tube():
    """And says so by its standard deviation; the diameter is the caliper's to a per cent."""
    scene = scene_a()
    rough = silhouette_of(scene, 1.2, np.random.default_rng(3))
    solid = solve(scene, CALIPER_A, silhouette=replace(rough, sigma_px=np.full(len(rough.outline_px), 1.2)))
    off = errors(scene, solid)
    assert solid.stations.tubes and abs(off["diameter"]) < 1.0 and abs(off["length"]) < 1.5, off


def test_nothing_is_wider_than_the_caliper_found():
    """By a hair it is the outline's error; by more it is named, and the diameter is the caliper's all the same."""
    solid = solve(scene_a(), CALIPER_A)
    for excess, named in ((1.01, 0), (1.15, 1)):
        profile = solid.geometry.profile_mm * [1.0, excess]
        narrowed, words = within_caliper(solid.adjusted, profile, solid.stations)
        assert narrowed[:, 1].max() == pytest.approx(12.0, abs=0.05) and len(words) == named
    scale_by_tape = solve(scene_a(), GivenSizes(length_mm=300.0))
    assert within_caliper(scale_by_tape.adjusted, profile, scale_by_tape.stations) == (profile, ())
