"""A picture read at more places than OpenCV's maps can hold; the reference is SciPy's bilinear interpolation."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.ndimage import map_coordinates

from digitize.outline.edges import sample_ribbon
from digitize.photo import read
from digitize.photo.sampling import MOST_SIDE, sampled
from digitize.solid.coverage import Coverage, coverage
from digitize.solid.planform import open_path

PICTURE = np.random.default_rng(3).random((40, 60)).astype(np.float32)
SHAPES = [(5,), (MOST_SIDE + 1,), (70_000,), (3, 40_000), (40_000, 3), (2, 3, 20_000), (0,), (0, 4)]


@pytest.mark.parametrize("shape", SHAPES)
def test_as_many_places_as_wanted(shape):
    """OpenCV works with a grid of 1/32 pixel, so values may differ by a 64th of the neighbours' difference, twice."""
    rng = np.random.default_rng(5)
    x, y = rng.uniform(0, 59, shape), rng.uniform(0, 39, shape)
    found = sampled(PICTURE, x, y)
    assert found.shape == shape
    exact = map_coordinates(PICTURE, [y, x], order=1)
    assert np.abs(found - exact).max(initial=0) < 2 / 64 + 1e-3


@pytest.mark.parametrize("shape", [(5,), (40_000,), (40_000, 2)])
def test_colours_and_what_lies_outside(shape):
    colours = np.stack([PICTURE, 1 - PICTURE, PICTURE / 2], -1)
    x, y = np.full(shape, -20.0), np.full(shape, 10.0)
    assert sampled(colours, x, y).shape == (*shape, 3)
    assert np.allclose(sampled(colours, x, y), colours[10, 0])
    assert np.allclose(sampled(colours, x, y, outside=-1.0), -1.0)


def test_rows_and_columns_are_spread_over_each_other():
    found = sampled(PICTURE, np.arange(60)[None], np.arange(40)[:, None])
    assert np.array_equal(found, PICTURE)


def test_a_silhouette_asked_at_very_many_points():
    """Half covered: 1 at the left, 0 at the right and outside."""
    cover = Coverage(np.repeat([[1.0] * 30 + [0.0] * 30], 40, 0).astype(np.float32), np.array([100.0, 50.0]))
    points = np.tile([[110.0, 70.0], [150.0, 70.0], [-5.0, 0.0]], (20_000, 1))
    assert np.array_equal(cover.at(points), np.tile([1.0, 0.0, 0.0], 20_000))


def test_a_strip_picture_is_made_small_enough_to_be_read():
    """Its diagonal too: a ruler's strip runs through the picture from border to border."""
    assert read.whole_shrink(4000, 3000) == 1
    assert read.whole_shrink(30_000, 1000) == 1
    assert read.whole_shrink(40_000, 1000) == 2
    assert read.whole_shrink(1000, 130_000) == 8
    assert np.hypot(read.LONGEST_SIDE_PX, read.LARGEST_WORKING_PX / read.LONGEST_SIDE_PX) < MOST_SIDE


# A rocket whose pattern has the ground's colour gets an outline that runs in and out of every stripe: a comb.
TEETH, DEEP = 260, 90


def comb() -> np.ndarray:
    """(h, w) 1 inside: teeth two pixels wide, a gap of two between them, standing on a bar."""
    field = np.zeros((DEEP + 30, 4 * TEETH + 20), np.float32)
    field[DEEP + 10 : DEEP + 20, 10:-10] = 1
    for k in range(TEETH):
        field[10 : DEEP + 10, 10 + 4 * k : 12 + 4 * k] = 1
    return field


def test_a_fin_with_a_very_long_outline_is_followed():
    path = open_path(comb(), np.ones_like(comb(), bool))
    assert len(path) > MOST_SIDE
    assert path[:, 1].min() == pytest.approx(9.5) and path[:, 0].min() == pytest.approx(9.5)


def test_the_edge_of_a_very_long_outline_is_read():
    """A ramp of brightness across the picture: each point's ribbon is as bright as its place, linear light aside."""
    rgb = np.repeat(np.linspace(0, 255, 200).astype(np.uint8)[None, :, None], 3, 2).repeat(50, 0)
    count = MOST_SIDE + 500
    points = np.column_stack([np.linspace(20, 180, count), np.full(count, 25.0)])
    ribbon = sample_ribbon(rgb, points, np.tile([0.0, 1.0], (count, 1)), 3.0)
    middle = ribbon.light[:, ribbon.light.shape[1] // 2, 0]
    assert len(middle) == count and (np.diff(middle) >= 0).all() and middle[-1] > 5 * middle[0]


def test_nothing_else_calls_the_function_that_has_the_limit():
    package = Path(read.__file__).parents[1]
    assert [p.name for p in package.rglob("*.py") if "cv2.remap(" in p.read_text("utf-8")] == ["sampling.py"]


def test_how_much_of_a_pixel_is_covered_is_the_area_of_its_part_of_the_polygon():
    """Against shapely's areas, for a slanting polygon that crosses all four sides of the part asked for."""
    outline = np.array([[-20.3, 4.2], [9.7, -12.1], [31.4, 6.8], [18.2, 9.4], [22.9, 40.6], [-3.1, 17.9]])
    found = coverage(outline, np.array([0.0, 0.0]), np.array([20.0, 15.0]))
    height, width = found.alpha.shape
    x, y = np.meshgrid(np.arange(width) + found.corner_px[0] - 0.5, np.arange(height) + found.corner_px[1] - 0.5)
    areas = shapely.area(shapely.intersection(shapely.Polygon(outline), shapely.box(x, y, x + 1, y + 1)))
    assert (areas > 0.99).sum() > 100 and (areas < 0.01).sum() > 20
    np.testing.assert_allclose(found.alpha, areas, atol=1e-6)
