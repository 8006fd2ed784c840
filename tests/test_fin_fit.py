"""One planform fitted to the edges of all fins: what it says where there is nothing to see."""

import numpy as np
import pytest

from digitize.photo.camera import Camera
from digitize.records import Silhouette
from digitize.solid.fin_fit import edge_points_of, fit
from digitize.solid.planform import Carving, scenery
from digitize.solid.pose import Pose


@pytest.mark.parametrize("count", [3, 4])
def test_where_no_edge_is_seen_any_roll_is_as_likely_as_another(count):
    """A bare tube, and a fin that stands far from all of its outline. An even spread over 360/N degrees has a standard
    deviation of that over the square root of 12 (the uniform distribution's, any handbook of statistics)."""
    pose = Pose(Camera(1000.0, np.array([500.0, 500.0])), np.eye(3), -1.0, 1000.0, 0.0)
    tube = np.array([[300.0, 490.0], [700.0, 490.0], [700.0, 510.0], [300.0, 510.0]])
    job = Carving(np.array([[-200.0, 10.0], [200.0, 10.0]]), 50.0, 180.0, 200.0, 1.0, 1.0, count, 0.4)
    silhouette = Silhouette(tube, np.full(len(tube), 0.3), np.zeros((1000, 1000), bool))
    scene = scenery(tube, pose, job)
    seen = edge_points_of(silhouette, scene, pose, job)
    fitted = fit(seen, scene, pose, job, np.array([[100.0, 150.0], [120.0, 180.0], [150.0, 180.0]]), None)
    assert fitted.roll_sigma_rad == pytest.approx(2 * np.pi / count / np.sqrt(12), rel=0.02)


def test_a_grid_is_seen_where_its_points_are():
    """In single precision, to a thousandth of a pixel; with a lens that bends and an axis that leans."""
    pose = Pose(Camera(4000.0, np.array([2000.0, 1500.0]), 0.05), np.eye(3), -1.0, 900.0, 0.1, 0.01, -0.02)
    s, y = np.linspace(-200, 250, 60), np.linspace(0, 90, 40)
    points = np.stack(np.meshgrid(s, y), -1).reshape(-1, 2)
    seen = np.stack(pose.project_grid(s, y, 0.7, 1.5), -1).reshape(-1, 2)
    assert seen == pytest.approx(pose.project_fin(points, 0.7, 1.5), abs=2e-3)
