"""A balance point marked in the photo: points of a known skin come back to their place along the axis."""

import numpy as np
import pytest
from silhouettes import CALIPER_A, PROFILE_A, scene_a, solve

from digitize.bands.marked_balance import mark_x_mm, marked_balance
from digitize.bands.resampling import draw
from digitize.errors import UsageRefusal
from digitize.photo.camera import Camera
from digitize.solid.pose import Pose

PROFILE = np.array([[0.0, 0.0], [100.0, 20.0], [400.0, 20.0]])


def pose(tilt_rad=0.0):
    return Pose(Camera(2000.0, np.array([1199.5, 799.5])), np.eye(3), -1.0, 1500.0, tilt_rad)


def test_the_skin_toward_the_camera_is_not_the_axis():
    """Pinhole geometry by hand: at 1500 mm, focal 2000 px, a point 200 mm off the middle on the skin 20 mm nearer shows
    at 2000 * 200 / 1480 = 270.27 px, where the axis would be at 202.70 mm: 2.70 mm too far."""
    x, aside = mark_x_mm(pose(), -200.0, PROFILE, np.array([1199.5 + 270.2703, 799.5]))
    assert x == pytest.approx(400.0, abs=1e-3) and aside == pytest.approx(0, abs=1e-9)
    at_axis, _ = mark_x_mm(pose(), -200.0, PROFILE * [1, 1e-9], np.array([1199.5 + 270.2703, 799.5]))
    assert at_axis == pytest.approx(402.7027, abs=1e-3)


@pytest.mark.parametrize("tilt_rad", [-0.08, 0.0, 0.08])
@pytest.mark.parametrize("x_mm", [60.0, 150.0, 320.0])
@pytest.mark.parametrize("around_deg", [-80.0, -30.0, 0.0, 50.0])
def test_any_point_of_the_near_skin_comes_back(tilt_rad, x_mm, around_deg):
    """Projected by the pose itself, which is tested against OpenCV; 0 degrees is toward the camera."""
    camera, radius = pose(tilt_rad), np.interp(x_mm, *PROFILE.T)
    turn = np.radians(around_deg)
    point = np.array([[x_mm - 200.0, radius * np.sin(turn), radius * np.cos(turn)]])
    x, _ = mark_x_mm(camera, -200.0, PROFILE, camera.project(point)[0])
    assert x == pytest.approx(x_mm, abs=0.02)


@pytest.fixture(scope="module")
def solid():
    return solve(scene_a(), CALIPER_A)


def test_the_band_holds_hand_click_and_photo_and_the_margin_cancels_scale(solid):
    samples, found = draw(solid, 1), solid.adjusted
    tip = float(found.problem.ends.tip_s_mm(found.pose()))
    middle = found.pose().project(np.array([[tip + 200.0, 0.0, PROFILE_A[:, 1].max()]]))[0]
    place, error = marked_balance(solid, samples, middle, "")
    assert place.value == pytest.approx(200.0, abs=0.01)
    photo = np.ptp(np.quantile(error, [0.025, 0.975])) / 2
    assert place.pm95 > np.hypot(2.0, photo) and place.pm95 < np.hypot(2.0, photo) + 1.0
    assert error.std() > 0
    between = samples.cp_x_mm - samples.cp_x_mm.mean() - error
    assert between.std() < np.hypot(samples.cp_x_mm.std(), error.std())


@pytest.mark.parametrize("pixel", [(0.0, 0.0), (5.0, 400.0), (1e5, 1e5)])
def test_a_pixel_off_the_rocket_is_refused(solid, pixel):
    with pytest.raises(UsageRefusal, match="is not on the rocket's body"):
        marked_balance(solid, draw(solid, 1, 50), np.array(pixel), "0,0")
