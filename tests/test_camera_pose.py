"""The camera and the rays about the axis, against OpenCV's projection and closed-form pinhole geometry."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitize.photo.camera import Camera, camera_prior
from digitize.solid.pose import Pose, view_of_axis

CENTRE_PX = np.array([1199.5, 799.5])
STRAIGHT = Camera(2000.0, CENTRE_PX)
FACING = np.eye(3)  # the view's axes along the camera's: x aft to the right, y down, z forward


def facing(depth_mm, tilt_rad=0.0, camera=STRAIGHT, upper=-1.0, **more) -> Pose:
    """The axis across the picture's middle, nose left; the photo's upper side is at negative y."""
    return Pose(camera, FACING, upper, depth_mm, tilt_rad, **more)


def corners_of_the_picture():
    x, y = np.meshgrid(np.linspace(0, 2399, 9), np.linspace(0, 1599, 7))
    return np.column_stack([x.ravel(), y.ravel()])


# --- camera -----------------------------------------------------------------------------------------------


# Source: OpenCV's projectPoints with the same k1 (Brown-Conrady, first radial term).
@pytest.mark.parametrize("k1", [0.0, -0.03, 0.02])
def test_projection_agrees_with_opencv(k1):
    camera = Camera(2000.0, CENTRE_PX, k1)
    points = np.random.default_rng(0).uniform([-300, -200, 500], [300, 200, 1500], (60, 3))
    matrix = np.array([[2000.0, 0, 1199.5], [0, 2000.0, 799.5], [0, 0, 1]])
    theirs, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), matrix, np.array([k1, 0, 0, 0]))
    assert camera.project(points) == pytest.approx(theirs[:, 0], abs=1e-9)


@pytest.mark.parametrize("k1", [0.0, -0.03, 0.02])
def test_rays_are_the_inverse_of_projection(k1):
    camera = Camera(2000.0, CENTRE_PX, k1)
    pixels = corners_of_the_picture()
    rays = camera.rays(pixels)
    assert np.linalg.norm(rays, axis=-1) == pytest.approx(1.0, abs=1e-12)
    assert np.abs(camera.project(700 * rays) - pixels).max() < 1e-6


def test_distortion_moves_the_corner_by_its_term():
    """At the radius r (in focal lengths) a pixel moves by k1 r^3 focal lengths: the model's definition."""
    corner = np.array([[600.0, 400.0, 1000.0]])  # r = 0.7211
    moved = Camera(2000.0, CENTRE_PX, -0.02).project(corner) - STRAIGHT.project(corner)
    r = np.hypot(0.6, 0.4)
    assert np.linalg.norm(moved) == pytest.approx(2000 * 0.02 * r**3, rel=1e-9)
    assert moved[0] @ [0.6, 0.4] < 0  # inward: barrel


# Source: CIPA DCG-001 (from memory): the 35 mm-equivalent goes by the diagonal, 43.267 mm of 36 x 24.
def test_exif_focal_length_goes_by_the_diagonal():
    prior = camera_prior(2400, 1600, 26)
    assert prior.camera.focal_px == pytest.approx(1733.33, abs=0.02)  # 26 / 43.2666 of 2884.44 px
    assert prior.camera.centre_px == pytest.approx([1199.5, 799.5])
    # on a 4:3 picture of the same width the width alone would give another number
    assert camera_prior(2400, 1800, 26).camera.focal_px == pytest.approx(26 / 43.267 * 3000, abs=0.01)


def test_without_a_focal_length_phones_usual_lenses_are_in_reach():
    known, unknown = camera_prior(2400, 1600, 26), camera_prior(2400, 1600, None)
    assert 0.01 < known.log_focal_sigma < 0.05
    for f35 in (24, 77):  # main and portrait lenses of phones (from memory)
        away = abs(np.log(camera_prior(2400, 1600, f35).camera.focal_px / unknown.camera.focal_px))
        assert away < 2.01 * unknown.log_focal_sigma
    assert "not in the file" in unknown.source and "26 mm" in known.source


def test_the_lens_term_is_bounded_where_the_corner_is_bounded():
    """A wide lens sees its corner at a larger radius, so the same shift there allows a smaller k1."""
    for f35 in (24, 50, 80):
        prior = camera_prior(2400, 1600, f35)
        corner = np.hypot(1200, 800) / prior.camera.focal_px
        assert 0.003 < prior.k1_sigma * corner**2 < 0.02


def test_samples_of_a_camera_are_as_many_cameras():
    focal, k1 = np.array([1900.0, 2000.0, 2100.0]), np.array([-0.02, 0.0, 0.01])
    many = Camera(focal, CENTRE_PX, k1)
    pixels = corners_of_the_picture()
    rays = many.rays(pixels)
    assert rays.shape == (3, len(pixels), 3)
    points = np.random.default_rng(1).uniform([-300, -200, 500], [300, 200, 1500], (3, 20, 3))
    for k in range(3):
        one = Camera(focal[k], CENTRE_PX, k1[k])
        assert np.allclose(rays[k], one.rays(pixels), atol=1e-14)
        assert np.allclose(many.project(points)[k], one.project(points[k]), atol=1e-9)


# --- pose -------------------------------------------------------------------------------------------------


# Source: computed from pinhole geometry (tangent rays to a circle); first-year trigonometry.
@pytest.mark.parametrize(("distance_mm", "aside_mm", "wide_percent"), [(500, 0, 0.0313), (1000, 300, 4.4119)])
def test_a_cylinder_off_the_optical_axis_keeps_its_radius(distance_mm, aside_mm, wide_percent):
    """Its limbs in the picture are farther apart than its diameter; the rays behind them are not."""
    bearing, away = np.arctan2(aside_mm, distance_mm), np.hypot(aside_mm, distance_mm)
    half = np.arcsin(12.5 / away)
    rows = 2000 * np.tan([bearing - half, bearing + half]) + 799.5
    assert ((rows[1] - rows[0]) * distance_mm / 2000 / 25 - 1) * 100 == pytest.approx(wide_percent, abs=1e-4)
    limbs = np.array([[1199.5, rows[0]], [1199.5, rows[1]]])
    row = 799.5 + 2000 * aside_mm / distance_mm
    fore, aft = np.array([[899.5, row], [1499.5, row]])
    pose = Pose(STRAIGHT, view_of_axis(STRAIGHT, fore, aft), -1.0, away, 0.0)
    _, side, _ = pose.limb(limbs)
    assert side == pytest.approx([12.5, -12.5], abs=1e-9)


def test_a_reference_set_back_reads_small_by_dz_over_z():
    """Similar triangles: 20 mm behind an axis at 1500 mm costs 1.333 % of the size in the axis' plane."""
    ends = np.array([[-50.0, 0.0, 1520.0], [50.0, 0.0, 1520.0]])
    s, _, _ = facing(1500.0).limb(STRAIGHT.project(ends))
    assert (100 / np.ptp(s) - 1) * 100 == pytest.approx(1.3333, abs=1e-3)


@pytest.mark.parametrize(("tilt_deg", "short_percent"), [(3, 0.137), (-10, 1.519)])
def test_a_tilted_axis_is_short_by_one_minus_cosine(tilt_deg, short_percent):
    """The cosine, from so far that perspective plays no part; told of the tilt, the pose gives the length."""
    far = Camera(4e6, CENTRE_PX)
    tilt = np.radians(tilt_deg)
    ends = np.array([[-80 * np.cos(tilt), 0, 1e6 - 80 * np.sin(tilt)], [80 * np.cos(tilt), 0, 1e6 + 80 * np.sin(tilt)]])
    pixels = far.project(ends)
    flat, _, _ = facing(1e6, 0.0, far).limb(pixels)
    assert (1 - np.ptp(flat) / 160) * 100 == pytest.approx(short_percent, abs=2e-3)
    true, _, _ = facing(1e6, tilt, far).limb(pixels)
    assert np.ptp(true) == pytest.approx(160, abs=1e-3)


@given(
    tilt=st.floats(-0.3, 0.3),
    k1=st.floats(-0.02, 0.02),
    upper=st.sampled_from([-1.0, 1.0]),
    turn=st.floats(-0.01, 0.01),
)
def test_limb_px_is_the_inverse_of_limb(tilt, k1, upper, turn):
    pose = facing(600.0, tilt, Camera(2000.0, CENTRE_PX, k1), upper, turn_z=turn, turn_x=-turn)
    s = np.linspace(-150, 150, 13)
    side = np.where(np.arange(13) % 2, 14.0, -30.0)
    back_s, back_side, _ = pose.limb(pose.limb_px(s, side))
    assert np.abs(back_side - side).max() < 1e-6
    assert np.abs(back_s - s).max() < 1e-6


def test_a_cylinder_tilted_toward_the_camera_shows_its_radius_everywhere():
    """Tangent rays worked out from the points of the surface itself, as the hull of its projected circles."""
    tilt, radius = np.radians(6.0), 20.0
    pose = facing(500.0, tilt)
    around = np.linspace(0, 2 * np.pi, 2881)
    for s in (-120.0, 0.0, 120.0):
        ring = np.column_stack([np.full_like(around, s), radius * np.cos(around), radius * np.sin(around)])
        _, side, _ = pose.limb(pose.project(ring))
        assert side.max() == pytest.approx(radius, abs=1e-4)
        assert side.min() == pytest.approx(-radius, abs=1e-4)


def test_slope_of_the_ray_is_zero_where_it_meets_the_axis_square():
    pose = facing(500.0, 0.0)
    _, _, lean = pose.limb(np.array([[799.5, 799.5], [1199.5, 799.5], [1599.5, 799.5]]))
    assert lean == pytest.approx([-0.2, 0.0, 0.2], abs=1e-12)  # 400 px of a focal length of 2000


@given(
    angle=st.floats(-1.3, 1.3),
    offset=st.floats(-2, 2),
    tilt=st.floats(-0.2, 0.2),
    upper=st.sampled_from([-1.0, 1.0]),
)
def test_in_fin_plane_is_the_inverse_of_project_fin(angle, offset, tilt, upper):
    pose = facing(600.0, tilt, Camera(2000.0, CENTRE_PX, 0.01), upper)
    planform = np.array([[60.0, 12.0], [90.0, 52.0], [120.0, 52.0], [110.0, 12.0]])
    back = pose.in_fin_plane(pose.project_fin(planform, angle, offset), angle, offset)
    assert np.abs(back - planform).max() < 1e-6


def test_fins_stand_where_their_angle_says():
    """0 on the photo's upper side, 90 degrees toward the camera, as the records state the rocket's frame."""
    pose = facing(600.0, 0.1)
    planform = np.array([[60.0, 12.0], [90.0, 52.0]])
    for angle in np.radians([0.0, 30.0, 90.0, 200.0]):
        solid = np.column_stack([planform[:, 0], planform[:, 1] * np.cos(angle), planform[:, 1] * np.sin(angle)])
        assert np.allclose(pose.project_fin(planform, angle), pose.project(solid), atol=1e-9)
    up = pose.project_fin(planform, 0.0)
    assert up[1, 1] < 799.5 - 52 * 2000 / 700
    face = pose.project_fin(planform, 0.0, 2.0)  # the face toward the camera is seen larger
    assert np.ptp(face[:, 1]) > np.ptp(up[:, 1])


def test_roll_counted_from_the_line_of_sight_and_from_the_photos_plane():
    """The two differ by the bearing of a rocket that lies off the picture's middle."""
    assert facing(600.0).roll_offset_rad() == pytest.approx(0.0)
    for row, upper in ((799.5 - 400, -1.0), (799.5 + 400, -1.0)):
        view = view_of_axis(STRAIGHT, np.array([900.0, row]), np.array([1500.0, row]))
        pose = Pose(STRAIGHT, view, upper, 600.0, 0.0)
        # a plate in the photo's plane, seen where it is: its far end from the axis keeps the axis' depth
        plane_fin = pose.roll_offset_rad()
        tip = np.array([[0.0, 40.0]])
        out, _ = pose.fin_frame(plane_fin)
        in_camera = out[0] @ pose.to_camera()
        assert in_camera[2] == pytest.approx(0.0, abs=1e-12)
        assert in_camera[1] == pytest.approx(-1.0)
        assert np.abs(plane_fin) == pytest.approx(np.arctan(0.2))
        assert pose.project_fin(tip, plane_fin)[0, 1] < row


def test_samples_of_a_pose_are_as_many_poses():
    rng = np.random.default_rng(2)
    count = 5
    focal, depth = 2000 + 40 * rng.standard_normal(count), 600 + 10 * rng.standard_normal(count)
    tilt, turn = 0.05 * rng.standard_normal(count), 0.005 * rng.standard_normal(count)
    k1 = 0.01 * rng.standard_normal(count)
    many = facing(depth, tilt, Camera(focal, CENTRE_PX, k1), turn_z=turn, turn_x=-turn)
    pixels = corners_of_the_picture()
    angle = 0.4 + 0.05 * rng.standard_normal((count, len(pixels)))
    limb, plane = many.limb(pixels), many.in_fin_plane(pixels, angle, 1.0)
    points = rng.uniform([-150, -50, -50], [150, 50, 50], (count, 8, 3))
    seen = many.project(points)
    assert limb[0].shape == limb[1].shape == limb[2].shape == (count, len(pixels))
    assert plane.shape == (count, len(pixels), 2) and seen.shape == (count, 8, 2)
    for k in range(count):
        one = facing(depth[k], tilt[k], Camera(focal[k], CENTRE_PX, k1[k]), turn_z=turn[k], turn_x=-turn[k])
        for whole, part in zip(limb, one.limb(pixels), strict=True):
            assert np.allclose(whole[k], part, atol=1e-9)
        assert np.allclose(plane[k], one.in_fin_plane(pixels, angle[k], 1.0), atol=1e-7)
        assert np.allclose(seen[k], one.project(points[k]), atol=1e-9)


def test_the_view_looks_at_the_axis_middle_with_the_nose_first():
    fore, aft = np.array([300.0, 700.0]), np.array([2000.0, 900.0])
    view = view_of_axis(STRAIGHT, fore, aft)
    assert view @ view.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(view) == pytest.approx(1.0)
    pose = Pose(STRAIGHT, view, -1.0, 800.0, 0.0)
    s, side, _ = pose.limb(np.array([fore, aft]))
    assert s[0] < 0 < s[1]
    assert side == pytest.approx([0.0, 0.0], abs=1e-9)
    assert s[0] == pytest.approx(-s[1])  # the view's z halves the angle between the two ends
