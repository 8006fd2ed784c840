"""Checkerboards in drawn photographs with exact truth."""

import numpy as np
import pytest
from drawing import Reference
from drawing import references as faces
from reference_scenes import corner_errors_px, drawn

from digitize.errors import ScaleRefusal
from digitize.photo.references.checker import find_checker


@pytest.mark.parametrize(("turn_deg", "lean_deg"), [(-4.0, (0, 0)), (88.0, (15, 20)), (140.0, (0, 0))])
def test_inner_corners(turn_deg, lean_deg):
    board = Reference("checker", (0, 45), 19.5, turn_deg, lean_deg)
    photo, picture = drawn(board, distance_mm=600.0)
    points = find_checker(photo, (7, 5), 15.0)
    inner = faces.checker_corners_mm(board)
    truth = picture.scene.camera.project(board.plane().world(inner))
    errors = min(np.hypot(*(order - truth).T).max() for order in (points.points_px, points.points_px[::-1]))
    assert 1e-3 < errors < 0.2
    assert corner_errors_px(points.outline_px, picture.corners_px[0]).max() < 1.0
    # Rows of six, 15 mm apart, as OpenCV documents the order: along the rows first.
    np.testing.assert_allclose(
        points.points_mm[:7], [[15, 15], [30, 15], [45, 15], [60, 15], [75, 15], [90, 15], [15, 30]]
    )


def test_wrong_count_is_refused():
    photo, _ = drawn(Reference("checker", (0, 45), 19.5), distance_mm=600.0)
    with pytest.raises(ScaleRefusal, match="9 x 6 squares"):
        find_checker(photo, (9, 6), 15.0)
