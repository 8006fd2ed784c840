"""Our small numerical methods against SciPy's, which is too slow to load for them while a photo is measured."""

import numpy as np
import pytest
from scipy import ndimage, optimize
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from digitize.numeric.neighbours import Nearest
from digitize.numeric.solving import damped_least_squares, least_between, nondecreasing, rotations
from digitize.numeric.windows import opened, smoothed, steps_to_false

RNG = np.random.default_rng(7)


@pytest.mark.parametrize("count", [1, 3, 5000])
def test_nearest_points(count):
    points, places = RNG.random((count, 2)) * 16000, RNG.random((700, 2)) * 16000
    away, number = Nearest(points).query(places)
    true = cKDTree(points).query(places)
    assert away == pytest.approx(true[0], abs=2e-3)
    # where two are equally near to a thousandth of a pixel, either is right
    assert np.linalg.norm(points[number] - places, axis=1) == pytest.approx(true[0], abs=2e-3)


def test_nearest_to_nothing():
    away, number = Nearest(np.zeros((3, 2))).query(np.zeros((0, 2)))
    assert len(away) == len(number) == 0


@pytest.mark.parametrize("shape", [(7,), (50, 3), (40, 9, 3)])
@pytest.mark.parametrize("sigma", [0.6, 2.0, 10.0])
@pytest.mark.parametrize(("kind", "within"), [(np.float32, 1e-5), (np.float64, 1e-12)])
def test_smoothing(shape, sigma, kind, within):
    values = RNG.normal(size=shape).astype(kind)
    for closed, mode in ((True, "wrap"), (False, "nearest")):
        found = smoothed(values, sigma, closed)
        assert found.dtype == kind
        np.testing.assert_allclose(found, ndimage.gaussian_filter1d(values, sigma, axis=0, mode=mode), atol=within)


@pytest.mark.parametrize("size", [1, 3, 12, 240, 505])
@pytest.mark.parametrize("mode", ["reflect", "nearest"])
def test_shaving_off(size, mode):
    values = RNG.normal(size=1200).cumsum()
    assert opened(values, size).tolist() == ndimage.grey_opening(values, size=size, mode=mode).tolist()


def test_steps_to_the_nearest_false():
    flags = RNG.random(400) > 0.1
    assert steps_to_false(flags).tolist() == ndimage.distance_transform_edt(flags).tolist()
    assert steps_to_false(np.ones(5, bool)).tolist() == [5.0] * 5


def _banana(values):
    """H. H. Rosenbrock's valley (Comput. J. 3 (1960) 175) as residuals, with their slopes; least at (1, 1)."""
    x, y = values
    return np.array([10 * (y - x * x), 1 - x]), np.array([[-20 * x, 10.0], [-1.0, 0.0]])


def test_least_squares_goes_round_a_curved_valley():
    values, slopes = damped_least_squares(_banana, np.array([-1.2, 1.0]), settled=1e-9)
    assert values == pytest.approx([1.0, 1.0], abs=1e-8)
    assert slopes == pytest.approx(_banana(values)[1])


def test_least_squares_with_something_left_over():
    """An exponential through noisy points, where the best fit is not exact; SciPy's MINPACK says where it lies."""
    t = np.linspace(0, 3, 40)
    seen = 2.5 * np.exp(-1.3 * t) + RNG.normal(scale=0.05, size=40)

    def linearised(v):
        grown = np.exp(-v[1] * t)
        return (v[0] * grown - seen) / 0.05, np.column_stack([grown, -v[0] * t * grown]) / 0.05

    found = damped_least_squares(linearised, np.array([1.0, 0.3]))[0]
    true = optimize.least_squares(lambda v: linearised(v)[0], [1.0, 0.3], method="lm", xtol=1e-12, ftol=1e-12)
    sigma = np.sqrt(np.diag(np.linalg.inv(true.jac.T @ true.jac)))
    assert np.abs(found - true.x).max() < 0.01 * sigma.min()


def test_the_least_of_a_function():
    assert least_between(lambda x: (x - 0.3) ** 4, -1.0, 2.0) == pytest.approx(0.3, abs=1e-3)
    assert least_between(lambda x: x, 2.0, 3.0) == pytest.approx(2.0, abs=1e-4)  # at an end


def test_rotations():
    vectors = np.concatenate([RNG.normal(size=(20, 3)), np.zeros((1, 3)), 1e-9 * np.ones((1, 3))])
    assert rotations(vectors) == pytest.approx(Rotation.from_rotvec(vectors).as_matrix(), abs=1e-12)
    assert rotations(vectors.reshape(2, 11, 3)).shape == (2, 11, 3, 3)


def test_nowhere_falling():
    values = RNG.normal(size=60).cumsum()
    assert nondecreasing(values) == pytest.approx(optimize.isotonic_regression(values).x)
