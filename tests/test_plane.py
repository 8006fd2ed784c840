"""Plane geometry against a camera written out by hand (closed form)."""

import numpy as np
import pytest

from digitize.photo import plane
from digitize.records import ReferencePoints

FOCAL, CENTRE = 3000.0, np.array([2015.5, 1511.5])
GRID = np.array([[x, y] for y in range(0, 181, 60) for x in range(0, 241, 60)], float)


def rotation(tilt_deg, about_deg):
    """Tilt of the plane's normal, about an axis at this angle in the picture, by Rodrigues' formula."""
    tilt, about = np.radians([tilt_deg, about_deg])
    k = np.array([[0, 0, np.sin(about)], [0, 0, -np.cos(about)], [-np.sin(about), np.cos(about), 0]])
    return np.eye(3) + np.sin(tilt) * k + (1 - np.cos(tilt)) * k @ k


def seen(turn, shift, mm=GRID):
    """Pixels of plane points through the pinhole: the definition."""
    camera_points = np.column_stack([mm, np.zeros(len(mm))]) @ turn.T + shift
    return FOCAL * camera_points[:, :2] / camera_points[:, 2:] + CENTRE


def points(px, mm=GRID, sigma_px=0.1):
    return ReferencePoints("a4", "sheet", px, mm, sigma_px, 0.0, px)


def test_pose_and_scale_come_back():
    turn, shift = rotation(25, 40), np.array([-80.0, -60.0, 1200.0])
    matrix = plane.homography(points(seen(turn, shift)))
    pose = plane.pose(matrix, FOCAL, CENTRE)
    np.testing.assert_allclose(pose.rotation, turn, atol=1e-6)
    np.testing.assert_allclose(pose.shift_mm, shift, rtol=1e-6)
    assert pose.tilt_deg == pytest.approx(25, abs=1e-4)
    # Square on, one pixel is depth / focal millimetres.
    flat = plane.homography(points(seen(np.eye(3), shift)))
    assert plane.mm_per_px(flat, CENTRE) == pytest.approx(1200 / FOCAL, rel=1e-9)


def test_points_on_one_line_are_recognised():
    mm = np.column_stack([np.arange(30.0), np.zeros(30)])
    px = np.column_stack([np.arange(30) * 5.0, np.arange(30) * 2.0])
    found = plane.homography(points(px, mm))
    assert not found
    assert "one line" in found.reason
