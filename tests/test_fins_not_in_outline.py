"""Fins that the outline lacks, because they are of the ground's colour: the others are measured, and it is said."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from silhouettes import (
    ROCKET_A,
    as_seen,
    as_silhouette,
    check,
    geometry_of,
    outline_of,
    scene_a,
    solve,
    turned,
    with_fins,
)

from digitize.aero.components import centre_of_pressure
from digitize.bands.resampling import draw
from digitize.margin.warning_codes import is_grave
from digitize.photo.camera import Camera
from digitize.records import Warn
from digitize.solid.adjust import GivenSizes
from digitize.solid.measure import GivenFins
from digitize.solid.planform import Carving, closed_to_root, scenery
from digitize.solid.pose import Pose

BARE = replace(scene_a(), rocket=with_fins(ROCKET_A))


def without_one_side(scene):
    """The silhouette of a scene but for what stands out below the body."""
    whole, bare = (shapely.Polygon(outline_of(as_seen(s))) for s in (scene, BARE))
    axis = bare.centroid.y
    above = shapely.box(0, 0, scene.camera.size_px[0], axis)
    kept = bare.union(whole.intersection(above))
    return as_silhouette(np.array(kept.exterior.coords)[:-1], scene.camera.size_px)


@pytest.mark.parametrize(("count", "roll_deg", "lacking"), [(4, 10.0, 1), (3, 180.0, 1), (4, 45.0, 2)])
def test_the_others_are_measured_and_the_lacking_ones_counted(count, roll_deg, lacking):
    """Rocket A's own fins, all of them; with the lost one cut from every fin, nothing of a fin would be left."""
    scene = replace(scene_a(), rocket=turned(ROCKET_A, count, roll_deg))
    solid = check(scene, silhouette=without_one_side(scene), cp=0.06, area=3.0)
    assert len(solid.fins[0].absent) == lacking


@pytest.mark.parametrize(("count", "roll_deg"), [(4, 10.0), (4, 45.0)])
def test_where_the_roll_is_not_said_either_the_band_holds_what_it_costs(count, roll_deg):
    scene = replace(scene_a(), rocket=turned(ROCKET_A, count, roll_deg))
    given = GivenSizes(tube_mm=scene.rocket.max_diameter_mm)
    solid = solve(scene, given, silhouette=without_one_side(scene), fins=(GivenFins(count, (), 2.0),))
    assert solid.fins[0].absent
    true = centre_of_pressure(geometry_of(scene.rocket)).x_mm
    low, high = np.percentile(draw(solid, 1).cp_x_mm, [2.5, 97.5])
    assert low < true < high
    assert high - low < 2 * scene.rocket.max_diameter_mm


def test_a_whole_outline_lacks_no_fin():
    solid = check(scene_a(), fins=(GivenFins(3, (), 2.0),))
    assert solid.fins[0].absent == ()


def test_such_a_build_is_never_said_to_fly():
    assert is_grave(Warn("FIN_NOT_IN_OUTLINE", "", ""))


def test_a_fitted_edge_that_begins_inside_the_body_begins_where_it_leaves_it():
    """By hand: the line from (0, 5) to (20, 25) crosses a tube of radius 10 at x = 5."""
    job = Carving(np.array([[-200.0, 10.0], [200.0, 10.0]]), -50.0, 100.0, 60.0, 1.0, 1.0, 3, 0.0)
    pose = Pose(Camera(1000.0, np.array([500.0, 500.0])), np.eye(3), -1.0, 1000.0, 0.0)
    square = np.array([[300.0, 440.0], [700.0, 440.0], [700.0, 560.0], [300.0, 560.0]])
    edge = np.array([[0.0, 5.0], [20.0, 25.0], [40.0, 25.0], [40.0, 12.0]])
    closed = closed_to_root(edge, scenery(square, pose, job), pose, job)
    assert closed.outline_mm[0] == pytest.approx([5.0, 10.0], abs=0.1)
    assert (closed.outline_mm[:, 1] > 9.9).all()
