"""The cut-out against plane geometry, a published lesson, and by rasterising."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published import rows

from digitize.geometry.nose_shapes import nose_profile
from digitize.geometry.side_area import cutout
from digitize.records import FinGroup, Geometry

FIN = np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float)
BODY = np.array([[0, 0], [60, 12], [300, 12]], float)


def bare(profile):
    return Geometry("", np.array(profile, float))


def test_parabola_of_the_nasa_lesson():
    """NASA Glenn, area under x = +-sqrt(y) from 0 to 4: 32/3 (read, published lesson); centroid 2.4
    (computed).
    """
    area, x, y = cutout(bare(nose_profile("paraboloid", 4.0, 2.0)))
    assert area == pytest.approx(32 / 3, rel=1e-4)
    assert (x, y) == pytest.approx((2.4, 0), abs=1e-3)


def test_half_ellipse():
    """1 - 4 / (3 pi) of the length from the tip, plane geometry."""
    area, x, _ = cutout(bare(nose_profile("ellipsoid", 80.0, 20.0)))
    assert area == pytest.approx(np.pi * 80 * 20 / 2, rel=1e-4)
    assert x / 80 == pytest.approx(0.575587, abs=1e-4)


def test_trapezoid():
    """h (a + 2 b) / (3 (a + b)) from side a, plane geometry."""
    area, x, _ = cutout(bare([[0, 5], [30, 9]]))
    assert area == pytest.approx(30 * (10 + 18) / 2)
    assert x == pytest.approx(30 * (10 + 2 * 18) / (3 * (10 + 18)))


def test_rocket_c_with_two_fins_showing():
    """Centroid 6.393754 diameters (computed). A quarter turn of four fins shows the same two."""
    profile = np.array([[0, 0], [2.835641, 0.5], [10, 0.5]])
    fins = FinGroup(4, np.array([[9, 0.5], [9, 1.5], [10, 1.5], [10, 0.5]]))
    expected = float(next(row for row in rows("whole_rockets.csv") if row["name"] == "C")["centroid"])
    for roll_deg in (0.0, 90.0, -180.0):
        assert cutout(Geometry("", profile, (fins,)), roll_deg)[1] == pytest.approx(expected, abs=1e-6)


def test_turned_fins_by_counting_squares():
    """Three fins at a roll of 20 degrees, on a 0.1 mm raster of the body and each fin by itself."""
    area, x, y = cutout(Geometry("", BODY, (FinGroup(3, FIN),)), 20.0)
    gx, gy = np.meshgrid(np.arange(0.05, 312, 0.1), np.arange(-59.95, 60, 0.1))
    inside = np.abs(gy) <= np.where(gx <= 300, np.interp(gx, *BODY.T), -1)
    for angle in np.radians([20, 140, 260]):
        height = gy / np.cos(angle)
        front, back = 250 + 0.75 * (height - 12), 300 + 0.25 * (height - 12)
        inside |= (height >= 12) & (height <= 52) & (gx >= front) & (gx <= back)
    assert area == pytest.approx(inside.sum() * 0.01, rel=2e-4)
    assert (x, y) == pytest.approx((gx[inside].mean(), gy[inside].mean()), abs=0.02)


def test_one_fin_in_the_plane_adds_its_own_area_beside_a_straight_body():
    """Three fins at roll 90: one edge-on, the others at 210 and 330 shortened by cos 30."""
    flat = cutout(Geometry("", BODY, (FinGroup(4, FIN),)), 0.0)[0] - cutout(bare(BODY))[0]
    assert flat == pytest.approx(2 * 40 * (50 + 30) / 2)
    both = cutout(Geometry("", BODY, (FinGroup(4, FIN), FinGroup(4, FIN - [60, 0]))), (0.0, 45.0))[0]
    assert flat + cutout(bare(BODY))[0] < both < 2 * flat + cutout(bare(BODY))[0]


@given(roll=st.floats(-360, 360), count=st.integers(2, 8))
@settings(max_examples=40, deadline=None)
def test_mirror_image_and_whole_turns(roll, count):
    rocket = Geometry("", BODY, (FinGroup(count, FIN),))
    area, x, y = cutout(rocket, roll)
    assert cutout(rocket, 180 - roll if count % 2 == 0 else -roll)[:2] == pytest.approx((area, x), rel=1e-9)
    assert cutout(rocket, roll + 360 / count) == pytest.approx((area, x, y), rel=1e-9, abs=1e-9)
    turned = cutout(rocket, roll + 180)
    assert turned == pytest.approx((area, x, -y), rel=1e-9, abs=1e-9)
