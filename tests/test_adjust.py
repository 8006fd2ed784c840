"""The adjustment and the agreement of scales: exact limbs and corners of known scenes, noisy copies of them.

Limbs are projected with Pose, which test_camera_pose holds to closed-form geometry; reference points with the
tests' own camera, which test_drawing holds to OpenCV.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest
from drawing import Camera as DrawnCamera
from drawing import Reference
from drawing import references as faces

from digitize.errors import ScaleRefusal
from digitize.photo.camera import Camera, camera_prior
from digitize.records import ReferencePoints
from digitize.solid.adjust import (
    EDGE_BIAS_PX,
    EDGE_BIAS_SIGMA_PX,
    EndPoints,
    GivenSizes,
    Problem,
    TubeLimbs,
    adjust,
    adjust_near,
    adjust_robustly,
    similarity,
)
from digitize.solid.agreement import check_agreement
from digitize.solid.pose import Pose, view_of_axis
from digitize.solid.slips import Place, other_numbers, place_of, swapped

SIZE_PX = (2400, 1600)
PRIOR = camera_prior(*SIZE_PX, 26)
MIDDLE = PRIOR.camera.centre_px
FREE_SET_BACK = 35.0  # sigma where the user said nothing, as for a rocket whose fins reach some 50 mm


@dataclass(frozen=True)
class Truth:
    """A tube of radius 20 on a rocket 400 long before a card; the axis runs along the picture, nose left.

    row_px: the axis' row from the picture's middle; edge_px: how far outward edges are seen; lean_deg: of the
    card's plane about world x and y; focal: over the one told.
    """

    depth_mm: float = 600.0
    tilt_rad: float = 0.0
    focal: float = 1.0
    k1: float = 0.0
    radius_mm: float = 20.0
    edge_px: float = EDGE_BIAS_PX
    behind_mm: float = 45.0
    lean_deg: tuple[float, float] = (0.0, 0.0)
    kinds: tuple[str, ...] = ("card",)
    stretch: float = 1.0
    row_px: float = 0.0
    points: int = 12

    @property
    def pose(self) -> Pose:
        camera = Camera(PRIOR.camera.focal_px * self.focal, MIDDLE, self.k1)
        return Pose(camera, self.view, -1.0, self.depth_mm, self.tilt_rad)

    @property
    def view(self) -> np.ndarray:
        ends = MIDDLE + np.array([[-700.0, self.row_px], [700.0, self.row_px]])
        return view_of_axis(PRIOR.camera, *ends)

    @property
    def log_scale(self) -> float:
        return float(np.log(self.depth_mm / self.pose.camera.focal_px))


def problem_of(truth: Truth, given: GivenSizes, noise_px: float = 0.0, rng=None, sigma_px: float = 0.1) -> Problem:
    """What is seen of it, and what is told."""
    pose = truth.pose
    sigma = noise_px or sigma_px

    def seen(points):
        return points + noise_px * rng.standard_normal(points.shape) if noise_px else points

    s = np.linspace(-110, 130, truth.points)
    half = np.full(truth.points, truth.radius_mm + truth.edge_px * truth.depth_mm / pose.camera.focal_px)
    limbs = np.concatenate([pose.limb_px(s, half), pose.limb_px(s, -half)])
    side = np.repeat([1.0, -1.0], truth.points)
    around = np.linspace(-1.2, 1.2, 9)
    rim = np.column_stack([np.full(9, 200.0), 20 * np.sin(around), 20 * np.cos(around)])
    ends = EndPoints(
        tip_px=pose.project(np.array([[-200.0, 0.0, 0.0]]))[0],
        base_px=pose.project(rim),
        rim_px=pose.limb_px(np.full(2, 200.0), np.array([20.0, -20.0])),
    )
    return Problem(
        PRIOR, truth.view, -1.0, (TubeLimbs(seen(limbs), side, np.full(2 * truth.points, sigma)),), ends,
        tuple(reference_of(truth, kind, seen, sigma) for kind in truth.kinds), given, 1.1 * truth.depth_mm,
    )  # fmt: skip


def reference_of(truth: Truth, kind: str, seen, sigma_px: float) -> ReferencePoints:
    """Beside the axis, its plane behind_mm behind the axis' middle."""
    middle = truth.depth_mm * truth.view[2]
    camera = DrawnCamera(SIZE_PX, truth.pose.camera.focal_px, tuple(-middle), k1=truth.k1)
    there = Reference(kind, (20.0, 95.0), truth.behind_mm, lean_deg=truth.lean_deg, stretch=truth.stretch)
    corners = faces.checker_corners_mm if kind == "checker" else faces.corners_mm
    pixels = seen(camera.project(there.plane().world(corners(there))))
    return ReferencePoints(kind, kind, pixels, corners(there), sigma_px, 5e-4, pixels[:4])


def sigma_of(adjusted, function):
    """Standard deviation of a function of the unknowns, number or array, by the covariance."""
    step = 1e-4 * np.eye(len(adjusted.values))
    rows = [(function(adjusted.values + e) - function(adjusted.values - e)) / 2e-4 for e in step]
    rows = np.array(rows)
    return np.sqrt(np.einsum("i...,ij,j...->...", rows, adjusted.covariance, rows))


def log_scale(adjusted):
    return lambda values: float(np.log(adjusted.pose(values).depth_mm / adjusted.pose(values).camera.focal_px))


# --- exact observations -----------------------------------------------------------------------------------


@pytest.mark.parametrize("depth_mm", [400.0, 900.0, 2500.0])
def test_depth_and_scale_come_back_from_a_tube(depth_mm):
    truth = Truth(depth_mm=depth_mm, kinds=())
    adjusted = adjust(problem_of(truth, GivenSizes(tube_mm=40.0)))
    assert adjusted.pose().depth_mm == pytest.approx(depth_mm, rel=1e-4)
    assert adjusted.tube_radii_mm() == pytest.approx([20.0], abs=1e-3)
    assert adjusted.problem.ends.length_mm(adjusted.pose()) == pytest.approx(400.0, rel=1e-3)
    # the doubt about the edge bias over the seen half-width, and the caliper's own; computed
    px_mm = depth_mm / truth.pose.camera.focal_px
    expected = np.hypot(EDGE_BIAS_SIGMA_PX * px_mm / 20, 0.05 / 40)
    assert 0.95 * expected < sigma_of(adjusted, log_scale(adjusted)) < 1.2 * expected


@pytest.mark.parametrize("tilt_deg", [-6.0, -2.0, 4.0])
def test_tilt_comes_back_from_the_taper_of_a_tube(tilt_deg):
    """The one expected is 0 with a sigma of 3 degrees; the taper outweighs it as far as it is known."""
    tilt = np.radians(tilt_deg)
    adjusted = adjust(problem_of(Truth(tilt_rad=tilt), GivenSizes(tube_mm=40.0, behind_sigma_mm=FREE_SET_BACK)))
    found = float(adjusted.pose().tilt_rad)
    sigma = sigma_of(adjusted, lambda v: float(adjusted.pose(v).tilt_rad))
    assert abs(found) <= abs(tilt)  # drawn toward what was expected, never beyond
    assert abs(found - tilt) < 0.02 * abs(tilt)
    assert np.radians(0.05) < sigma < np.radians(1.0)
    assert adjusted.problem.ends.length_mm(adjusted.pose()) == pytest.approx(400.0, rel=2e-3)


def test_a_length_and_a_diameter_together_tell_the_tilt_of_a_slender_rocket():
    truth = Truth(tilt_rad=np.radians(10.0), kinds=(), depth_mm=3000.0)  # too far for the taper to say much
    without = adjust(problem_of(truth, GivenSizes(tube_mm=40.0), sigma_px=0.5))
    both = adjust(problem_of(truth, GivenSizes(tube_mm=40.0, length_mm=400.0), sigma_px=0.5))
    before, after = (a.problem.ends.length_mm(a.pose()) for a in (without, both))
    assert abs(after - 400) < 0.5 < abs(before - 400)


@pytest.mark.parametrize("k1", [-0.015, 0.01])
def test_the_lens_term_comes_back_from_the_bow_of_a_tube(k1):
    """A tube 550 pixels off the middle must be straight."""
    truth = Truth(k1=k1, row_px=550.0, depth_mm=320.0, points=24, kinds=())
    adjusted = adjust(problem_of(truth, GivenSizes(tube_mm=40.0), sigma_px=0.05))
    sigma = sigma_of(adjusted, lambda v: float(adjusted.pose(v).camera.k1))
    assert sigma < 0.5 * PRIOR.k1_sigma
    assert 0 < abs(float(adjusted.pose().camera.k1) - k1) < max(2 * sigma, 0.15 * abs(k1))


def test_a_wrong_focal_length_in_the_file_hardly_moves_the_lengths():
    """Depth and focal length err together: a caliper on the tube fixes what the picture's plane holds."""
    adjusted = adjust(problem_of(Truth(focal=1.04), GivenSizes(tube_mm=40.0, behind_sigma_mm=FREE_SET_BACK)))
    assert adjusted.problem.ends.length_mm(adjusted.pose()) == pytest.approx(400.0, rel=2e-3)
    assert abs(np.log(adjusted.pose().depth_mm / 600)) < 0.045


def test_a_reference_level_with_the_axis_gives_the_scale():
    truth = Truth(behind_mm=0.0)
    adjusted = adjust(problem_of(truth, GivenSizes(behind_mm=0.0)))
    assert log_scale(adjusted)(adjusted.values) == pytest.approx(truth.log_scale, abs=5e-4)
    assert adjusted.tube_radii_mm() == pytest.approx([20.0], rel=1e-3)
    assert 3 / 600 * 0.8 < sigma_of(adjusted, log_scale(adjusted)) < 3 / 600 * 1.3  # 3 mm of set-back at 600


def test_set_back_told_is_corrected():
    """20 mm at 1500 mm would be 1.333 % (similar triangles)."""
    truth = Truth(behind_mm=20.0, depth_mm=1500.0)
    right, unsaid = (adjust(problem_of(truth, GivenSizes(behind_mm=said))) for said in (20.0, 0.0))
    assert right.tube_radii_mm() == pytest.approx([20.0], rel=1e-3)
    assert (20.0 / unsaid.tube_radii_mm()[0] - 1) * 100 == pytest.approx(-100 * 20 / 1500, abs=0.1)


def test_set_back_is_found_when_tube_and_reference_are_both_told():
    given = GivenSizes(tube_mm=40.0, behind_sigma_mm=FREE_SET_BACK)
    adjusted = adjust(problem_of(Truth(), given))
    sigma = sigma_of(adjusted, lambda v: adjusted.behind_mm(v)[0])
    assert abs(adjusted.behind_mm()[0] - 45) < min(1.96 * sigma, 3.0)
    assert 1.0 < sigma < 8.0
    alone = adjust(problem_of(Truth(), GivenSizes(behind_sigma_mm=FREE_SET_BACK)))
    assert sigma_of(alone, lambda v: alone.behind_mm(v)[0]) == pytest.approx(FREE_SET_BACK, rel=0.05)


def test_a_reference_alone_without_its_place_gives_a_wide_band():
    truth = Truth()
    adjusted = adjust(problem_of(truth, GivenSizes(behind_sigma_mm=FREE_SET_BACK)))
    sigma = sigma_of(adjusted, log_scale(adjusted))
    assert sigma == pytest.approx(FREE_SET_BACK / truth.depth_mm, rel=0.15)
    assert 0.5 * sigma < abs(log_scale(adjusted)(adjusted.values) - truth.log_scale) < 2 * sigma


def test_two_references_are_weighed_by_what_they_are_worth():
    """A checker many points strong outweighs a card seen as badly; both in one plane, the checker true."""
    truth = Truth(behind_mm=0.0, kinds=("checker", "card"))
    problem = problem_of(truth, GivenSizes(behind_mm=0.0, behind_sigma_mm=0.5), sigma_px=0.5)
    checker, card = problem.references
    off = replace(card, points_mm=card.points_mm * 1.004)
    both = adjust(replace(problem, references=(checker, off)))
    apart = log_scale(both)(both.values) - truth.log_scale
    assert 2e-5 < apart < 0.002


def test_points_beside_the_tube_lose_their_weight():
    """A bit of string taken for body on a few stations of one side."""
    problem = problem_of(Truth(kinds=(), points=24), GivenSizes(tube_mm=40.0), sigma_px=0.35)
    tube = problem.tubes[0]
    pushed = tube.points_px.copy()
    pushed[3:6, 1] -= 9.0
    problem = replace(problem, tubes=(replace(tube, points_px=pushed),))
    plain, robust = adjust(problem), adjust_robustly(problem)
    assert abs(np.log(plain.pose().depth_mm / 600)) > 3e-3
    assert abs(np.log(robust.pose().depth_mm / 600)) < 1e-3


@pytest.mark.parametrize("given_mm", [40.1, 41.0, 44.0, 30.0, 120.0])
def test_from_a_solution_near_by_it_is_as_good_as_the_same(given_mm):
    """From near or far: within two hundredths of the standard deviation of what `adjust` says, and the covariance."""
    truth, given = Truth(kinds=("card", "a4")), GivenSizes(tube_mm=40.0, behind_mm=45.0)
    problem = problem_of(truth, given, 0.1, np.random.default_rng(4))
    start = adjust(problem).values
    moved = replace(problem, given=replace(given, tube_mm=given_mm))
    exact, near = adjust(moved, start), adjust_near(moved, start)
    sigma = np.sqrt(np.diag(exact.covariance))
    quickly = np.abs(near.values - exact.values).max() > 0
    assert quickly == (abs(given_mm - 40) < 5)  # from farther off it is solved as ever
    assert (np.abs(near.values - exact.values) < 0.02 * sigma).all()
    assert np.sqrt(np.diag(near.covariance)) == pytest.approx(sigma, rel=1e-3)
    assert near.sources == exact.sources and near.residuals == pytest.approx(exact.residuals, abs=0.02)


def test_similarity_is_that_of_known_points():
    source = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 5.0]])
    turn, size, shift = np.radians(30), 3.0, np.array([7.0, -2.0])
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    found = similarity(source, size * source @ rotation.T + shift)
    assert found == pytest.approx([size * np.cos(turn), size * np.sin(turn), *shift])


# --- the covariance ---------------------------------------------------------------------------------------


def drawn_from_the_priors(rng) -> tuple[Truth, GivenSizes]:
    """A scene whose every number is as doubtful as the adjustment takes it to be.

    Tilt t and the plane's slope n along the axis are held by t / 3, n / 4 and (t + n) / 4 degrees at once:
    together they are normal with the inverse of the sum of those terms as their covariance.
    """
    precision = np.array([[1 / 9 + 1 / 16, 1 / 16], [1 / 16, 2 / 16]])
    tilt_deg, slope_deg = rng.multivariate_normal([0, 0], np.linalg.inv(precision))
    truth = Truth(
        tilt_rad=np.radians(tilt_deg),
        focal=float(np.exp(PRIOR.log_focal_sigma * rng.standard_normal())),
        k1=PRIOR.k1_sigma * rng.standard_normal(),
        edge_px=EDGE_BIAS_PX + EDGE_BIAS_SIGMA_PX * rng.standard_normal(),
        lean_deg=(4.0 * rng.standard_normal(), slope_deg),
        stretch=1 + 5e-4 * rng.standard_normal(),
        points=6,
    )
    given = GivenSizes(tube_mm=40 + 0.05 * rng.standard_normal(), behind_mm=set_back_of(truth))
    return truth, replace(given, behind_mm=given.behind_mm + 3 * rng.standard_normal())


def set_back_of(truth: Truth) -> float:
    """Distance of the axis' middle from the card's plane."""
    plane = Reference("card", (20.0, 95.0), truth.behind_mm, lean_deg=truth.lean_deg).plane()
    normal = np.cross(plane.x_axis, plane.y_axis)
    return float(normal @ plane.origin_mm)


QUANTITIES = ("scale", "tilt", "radius", "depth", "length", "set-back", "lens")


def quantities_of(adjusted, values) -> np.ndarray:
    pose = adjusted.pose(values)
    return np.array([
        np.log(pose.depth_mm / pose.camera.focal_px), pose.tilt_rad, adjusted.tube_radii_mm(values)[0],
        pose.depth_mm, adjusted.problem.ends.length_mm(pose), adjusted.behind_mm(values)[0], pose.camera.k1,
    ])  # fmt: skip


def test_the_covariance_is_the_scatter_over_noisy_copies():
    """Truth and observations drawn anew each time; the covariance is that of the scene they scatter about."""
    rng = np.random.default_rng(20)
    middle = Truth(points=6)
    nominal = adjust(problem_of(middle, GivenSizes(tube_mm=40.0, behind_mm=45.0), sigma_px=0.3))
    sigma = sigma_of(nominal, lambda values: quantities_of(nominal, values))
    errors = []
    for _ in range(200):
        truth, given = drawn_from_the_priors(rng)
        adjusted = adjust(problem_of(truth, given, noise_px=0.3, rng=rng), nominal.values)
        true = [truth.log_scale, truth.tilt_rad, 20.0, 600.0, 400.0, set_back_of(truth), truth.k1]
        errors.append(quantities_of(adjusted, adjusted.values) - true)
    scatter = np.sqrt(np.mean(np.square(errors), axis=0)) / sigma
    for name, ratio in zip(QUANTITIES, scatter, strict=True):
        assert 0.8 < ratio < 1.25, (name, ratio)


def test_the_variance_splits_by_source_and_the_parts_make_the_whole():
    given = GivenSizes(tube_mm=40.0, behind_mm=45.0, distance_mm=620.0, length_mm=400.0)
    adjusted = adjust(problem_of(Truth(), given))
    sources = np.array(adjusted.sources)
    assert set(sources) == {"lens", "edge", "pose", "scale", "distance", "set-back"}
    assert len(sources) == len(adjusted.names) == len(adjusted.residuals) == len(adjusted.jacobian)
    parts = np.zeros_like(adjusted.covariance)
    for source in sorted(set(sources)):
        moved = adjusted.sample(np.eye(len(sources))[sources == source]) - adjusted.values
        assert np.linalg.norm(moved) > 0
        parts += moved.T @ moved
    scale = np.sqrt(np.diag(adjusted.covariance))
    assert parts / np.outer(scale, scale) == pytest.approx(adjusted.covariance / np.outer(scale, scale), abs=1e-5)


def test_samples_scatter_as_the_covariance_says():
    adjusted = adjust(problem_of(Truth(), GivenSizes(tube_mm=40.0)))
    errors = np.random.default_rng(3).standard_normal((4000, len(adjusted.residuals)))
    samples = adjusted.sample(errors)
    assert samples.shape == (4000, len(adjusted.values))
    ratio = samples.std(0) / np.sqrt(np.diag(adjusted.covariance))
    assert np.abs(ratio - 1).max() < 0.06  # five standard errors
    pose = adjusted.pose(samples)
    assert pose.depth_mm.shape == pose.tilt_rad.shape == (4000,)
    assert adjusted.tube_radii_mm(samples).shape == (4000, 1)


def test_every_further_observation_narrows_the_scale():
    truth = Truth(behind_mm=45.0)
    steps = [
        GivenSizes(behind_sigma_mm=FREE_SET_BACK),
        GivenSizes(behind_sigma_mm=FREE_SET_BACK, length_mm=400.0),
        GivenSizes(behind_sigma_mm=FREE_SET_BACK, length_mm=400.0, tube_mm=40.0),
        GivenSizes(behind_mm=45.0, length_mm=400.0, tube_mm=40.0),
    ]
    solved = [adjust(problem_of(truth, given)) for given in steps]
    sigmas = [sigma_of(a, log_scale(a)) for a in solved]
    assert all(later < earlier for earlier, later in pairwise(sigmas))


# --- agreement --------------------------------------------------------------------------------------------


def agreed(truth: Truth, given: GivenSizes):
    return check_agreement(adjust(problem_of(truth, given)), ())


def agreement(truth: Truth, given: GivenSizes, *claims: str):
    return check_agreement(adjust(problem_of(truth, given)), claims).warnings


def test_scales_that_agree_are_silent():
    assert agreement(Truth(), GivenSizes(tube_mm=40.0, behind_mm=45.0, length_mm=400.0)) == ()


def test_scales_that_agree_but_would_hide_a_slip_say_so():
    (warn,) = agreement(Truth(), GivenSizes(tube_mm=40.0, behind_guess_mm=45.0, behind_sigma_mm=FREE_SET_BACK))
    assert warn.code == "SCALES_LOOSE" and "--behind" in warn.remedy
    hidden = float(warn.text.split("up to ")[1].split(" %")[0])
    assert hidden == pytest.approx(100 * 2 * FREE_SET_BACK / 600, rel=0.1)  # two deviations of the set-back


def test_a_reference_where_nobody_puts_one_leaves_room_for_each_scale_and_its_own_deviation():
    """The card lies 45 mm behind, where it was not to be expected: by itself it makes the rocket 45 / 600 larger, and
    may be off by 35 / 645. Where a card that agrees is level with the axis or on the ground, nothing is widened."""
    (factor,) = agreed(Truth(), GivenSizes(tube_mm=40.0, behind_sigma_mm=FREE_SET_BACK)).factors
    assert factor == pytest.approx((1 + 45 / 600) * (1 + FREE_SET_BACK / 645), abs=0.01)
    for behind_mm in (0.0, 25.0, 45.0, 70.0):
        guessed = GivenSizes(tube_mm=40.0, behind_guess_mm=40.0, behind_sigma_mm=FREE_SET_BACK)
        found = agreed(Truth(behind_mm=behind_mm), guessed)
        assert found.factors == () and [warn.code for warn in found.warnings] == ["SCALES_LOOSE"], behind_mm
    assert agreed(Truth(), GivenSizes(tube_mm=40.0, behind_mm=45.0, length_mm=400.0)).factors == ()
    assert agreed(Truth(), GivenSizes(tube_mm=40.0)).factors == ()  # one scale alone


@pytest.mark.parametrize(
    ("behind_mm", "place"),
    [(-40.0, Place.NOWHERE), (-5.0, Place.LEVEL), (5.0, Place.LEVEL), (20.0, Place.GROUND), (75.0, Place.GROUND),
     (110.0, Place.NOWHERE)],
)  # fmt: skip
def test_a_reference_is_level_or_on_the_ground_or_where_nobody_puts_it(behind_mm, place):
    """The body is 20 mm thick from its axis, and fins reach about 60 mm: twice the guess, with 20 to spare."""
    told = GivenSizes(tube_mm=40.0, behind_guess_mm=40.0, behind_sigma_mm=FREE_SET_BACK)
    assert place_of(adjust(problem_of(Truth(behind_mm=behind_mm), told))) is place
    assert place_of(adjust(problem_of(Truth(behind_mm=behind_mm), replace(told, behind_mm=behind_mm)))) is Place.LEVEL


def test_two_references_side_by_side_differ_however_far_behind_both_may_lie():
    """One printed 4 % small; that nobody knows where their plane is is no excuse for a difference between them."""
    truth = Truth(behind_mm=45.0, kinds=("card", "checker"))
    told = GivenSizes(behind_guess_mm=40.0, behind_sigma_mm=FREE_SET_BACK)
    problem = problem_of(truth, told)
    codes = [w.code for w in check_agreement(adjust(problem), ("card", "checker")).warnings]
    assert "SCALES_DISAGREE" not in codes
    card, checker = problem.references
    printed = replace(problem, references=(card, replace(checker, points_mm=checker.points_mm / 0.96)))
    (warn,) = check_agreement(adjust(printed), ("card", "checker")).warnings
    assert warn.code == "SCALES_DISAGREE" and "the checker makes the rocket larger" in warn.text


# --- a number with two digits swapped ---------------------------------------------------------------------


def test_what_may_have_been_meant_has_two_neighbouring_digits_swapped():
    def meant(said: str) -> list[str]:
        return [other for _, other, _ in swapped(said)]

    assert meant("33.2mm") == ["32.3mm"]  # the first two are alike
    assert meant("41.6mm") == ["14.6mm", "46.1mm"]
    assert meant("7x5x15mm") == ["51mm"]
    assert meant("1,25in") == ["2.15in", "1.52in"]
    assert meant("1 3/8in") == [] and meant("a4") == [] and meant("300mm") == ["030mm"]
    assert [factor for _, _, factor in swapped("66mm")] == []
    assert [factor for _, _, factor in swapped("41.6mm")] == pytest.approx([14.6 / 41.6, 46.1 / 41.6])


def numbers(true_mm: float, typed: str, behind_mm: float, *, said: bool = False, worse: int = -1):
    """(typed, meant, asked) by a card that lies there and a caliper's number for a body so thick in truth."""
    told = GivenSizes(tube_mm=float(typed), behind_guess_mm=40.0, behind_sigma_mm=FREE_SET_BACK)
    told = replace(told, behind_mm=behind_mm, behind_sigma_mm=3.0) if said else told
    solved = adjust(problem_of(Truth(behind_mm=behind_mm, radius_mm=true_mm / 2), told))
    return [(n.typed, n.meant, n.asked) for n in other_numbers(solved, ("card", f"tube={typed}mm"), worse)]


def test_a_number_is_asked_about_where_its_digits_swapped_fit_the_photo_as_well():
    """51.4 for 54.1 is 5 %, or 30 mm of set-back at 600 mm: half of a body's thickness more."""
    asked, safe = [("54.1mm", "51.4mm", True)], [("51.4mm", "54.1mm", False)]
    assert numbers(54.1, "54.1", 0.0) == []  # level, and by the other number it would lie on the ground
    assert numbers(54.1, "54.1", 45.0) == asked  # on the ground by both
    assert numbers(54.1, "54.1", 45.0, said=True) == numbers(54.1, "54.1", 0.0, said=True) == []
    assert numbers(51.4, "51.4", 62.0) == safe  # the larger one would only add to the margin
    assert numbers(51.4, "51.4", 62.0, worse=1) == [("51.4mm", "54.1mm", True)]  # balanced from the tail
    assert numbers(54.1, "54.1", 45.0, worse=0) == [("54.1mm", "51.4mm", False)]  # balanced on the photo
    assert numbers(51.4, "54.1", 62.0) == asked  # typed wrong: the same picture as the second but for a few mm
    assert asked[0] in numbers(51.4, "54.1", 0.0)  # typed wrong, and the card is nearer than the axis
    assert numbers(54.1, "51.4", 0.0) == [("51.4mm", "54.1mm", True)]  # typed wrong, and level by the other alone


def test_a_wrong_distance_between_two_points_is_asked_about_too():
    """Of a checkerboard 84.5 told as 85.4 nothing moves by 0.2 caliber; 15 mm squares told as 51 are no likely slip."""
    solved = adjust(problem_of(Truth(behind_mm=0.0, kinds=("checker",)), GivenSizes(tube_mm=40.0, behind_mm=0.0)))
    assert other_numbers(solved, ("checker=7x5x15mm", "tube=40mm")) == ()


def test_a_disagreement_is_named_with_its_size():
    (warn,) = agreement(Truth(behind_mm=0.0), GivenSizes(tube_mm=42.0, behind_mm=0.0, behind_sigma_mm=1.0))
    assert warn.code == "SCALES_DISAGREE"
    assert "tube" in warn.text and "card" in warn.text
    percent = float(warn.text.split("scales ")[1].split(" %")[0])
    assert percent == pytest.approx(5.0, abs=0.5)  # 42 over 40
    assert "the tube makes the rocket larger" in warn.text
    assert "--behind" in warn.remedy


def test_beyond_eight_percent_nothing_is_measured():
    with pytest.raises(ScaleRefusal) as refused:
        agreement(Truth(behind_mm=0.0), GivenSizes(tube_mm=44.5, behind_mm=0.0, behind_sigma_mm=1.0))
    assert "tube" in refused.value.what and "card" in refused.value.what and refused.value.remedy


def test_two_references_of_which_one_was_printed_small():
    truth = Truth(behind_mm=0.0, kinds=("card", "checker"))
    problem = problem_of(truth, GivenSizes(behind_mm=0.0))
    card, checker = problem.references
    printed = replace(checker, points_mm=checker.points_mm / 0.96)
    (warn,) = check_agreement(adjust(replace(problem, references=(card, printed))), ("card", "checker")).warnings
    assert warn.code == "SCALES_DISAGREE"
    assert "the checker makes the rocket larger" in warn.text and "another size" in warn.remedy


@pytest.mark.parametrize(
    ("tube_mm", "claim"),
    [(41.6 * 25.4, "tube=41.6in"), (41.6 * 1000, "tube=41.6m"), (1.6, "tube=1.6mm"), (0.416, "tube=0.416mm")],
)
def test_a_slip_of_the_unit_is_refused(tube_mm, claim):
    with pytest.raises(ScaleRefusal) as refused:
        agreement(Truth(kinds=()), GivenSizes(tube_mm=tube_mm), claim)
    assert claim in refused.value.what and "unit" in refused.value.remedy


def test_a_camera_impossibly_far_for_its_lens_is_refused():
    """A tube said in cm for mm stays within hobby sizes, but not within a hand-held camera's reach."""
    with pytest.raises(ScaleRefusal):
        agreement(Truth(kinds=(), depth_mm=2500.0), GivenSizes(tube_mm=400.0), "tube=40cm")
    with pytest.raises(ScaleRefusal) as refused:
        agreement(Truth(kinds=()), GivenSizes(tube_mm=40.0, distance_mm=1500.0), "tube=40mm")
    assert "--distance" in refused.value.what


def test_a_distance_that_speaks_against_the_scale_is_named():
    """A caliper read on another part than the widest: the camera would stand a third too far."""
    assert agreement(Truth(kinds=()), GivenSizes(tube_mm=40.0, distance_mm=630.0), "tube=40mm") == ()
    (warn,) = agreement(Truth(kinds=()), GivenSizes(tube_mm=53.0, distance_mm=600.0), "tube=53mm")
    assert warn.code == "SCALES_DISAGREE"
    away, said = (float(part.split(" m")[0]) for part in (warn.text.split("be ")[1], warn.text.split("says ")[1]))
    assert away == pytest.approx(0.6 * 53 / 40, abs=0.02) and said == 0.6
