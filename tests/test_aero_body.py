"""The body against published nose, frustum and ogive numbers, in closed form and through traced polylines."""

import doctest

import numpy as np
import pytest
from published import rows

from digitize.aero import body
from digitize.geometry.nose_shapes import nose_profile, nose_radius


def centre_mm(profile):
    slope, moment = body.body_load(*profile.T)
    return slope, moment / slope


@pytest.mark.parametrize("row", rows("nose_constants.csv"), ids=lambda r: f"{r['shape']} {r['c'][:4]}")
def test_nose_constant_through_a_fine_polyline(row):
    profile = nose_profile(row["shape"], 100.0, 15.0, float(row["c"]))
    slope, x_mm = centre_mm(profile)
    assert slope == pytest.approx(2.0, abs=1e-12)  # NARAM-8: 2 per radian on the base area, any shape
    assert x_mm / 100 == pytest.approx(float(row["x_over_length"]), abs=1e-4)


@pytest.mark.parametrize("row", rows("nose_constants.csv"), ids=lambda r: f"{r['shape']} {r['c'][:4]}")
def test_nose_constant_through_a_traced_polyline(row):
    """As a photo gives it: stations 2 mm apart and 0.1 mm of noise on the radius."""
    rng = np.random.default_rng(7)
    x = np.linspace(0, 100, 51)
    r = 15 * nose_radius(row["shape"], x / 100, 100 / 15, float(row["c"])) + rng.normal(0, 0.1, x.size)
    r[[0, -1]] = 0, 15
    error = centre_mm(np.stack([x, np.abs(r)], -1))[1] / 100 - float(row["x_over_length"])
    assert 1e-7 < abs(error) < 4e-3


@pytest.mark.parametrize("row", rows("ogive_centre_of_pressure.csv"), ids=lambda r: f"L/d {r['length_d']}")
def test_tangent_ogive_table(row):
    x_d = centre_mm(nose_profile("ogive", float(row["length_d"]), 0.5))[1]
    assert x_d == pytest.approx(float(row["x_d"]), abs=1e-3)


@pytest.mark.parametrize(("length_d", "x_d"), [(3, 1.38736), (4, 1.85719)])
def test_tangent_ogive_exact_where_the_table_is_misprinted(length_d, x_d):
    """Computed from the arc's exact volume (regression numbers)."""
    assert centre_mm(nose_profile("ogive", length_d, 0.5))[1] == pytest.approx(x_d, abs=1e-4)


@pytest.mark.parametrize(
    ("fore_mm", "aft_mm", "length_mm", "d_mm", "slope", "x_mm"),
    [
        (25, 40, 50, 25, 3.12, 26.923077),
        (40, 25, 50, 25, -3.12, 23.076923),
        (24, 18, 20, 24, -0.875, 9.523810),
    ],
)
def test_frustum(fore_mm, aft_mm, length_mm, d_mm, slope, x_mm):
    """NARAM-8's shoulder and boat-tail formulas (computed). The frustum alone: the tube before it has no
    share.
    """
    x = np.array([-10.0, 0.0, length_mm])
    r = np.array([fore_mm, fore_mm, aft_mm]) / 2
    slopes, moments = body.segment_loads(x, r)
    on_d = (max(fore_mm, aft_mm) / d_mm) ** 2  # from the reference area of the largest diameter to that of d
    assert slopes[1] == 0 and moments[1] == pytest.approx(0, abs=1e-12)
    assert slopes[2] * on_d == pytest.approx(slope, abs=1e-9)
    assert moments[2] / slopes[2] == pytest.approx(x_mm, abs=1e-6)


def test_a_cylinder_has_no_share_and_a_finer_polyline_changes_nothing():
    coarse = np.array([[0, 0], [60, 12], [300, 12], [340, 9]], float)
    x = np.union1d(np.linspace(0, 340, 171), coarse[:, 0])
    fine = np.stack([x, np.interp(x, *coarse.T)], -1)
    assert centre_mm(fine) == pytest.approx(centre_mm(coarse), rel=1e-12)
    slopes, moments = body.segment_loads(*coarse.T)
    assert slopes[2] == 0 and moments[2] == pytest.approx(0, abs=1e-9)


def test_a_flat_front_face_acts_at_the_front():
    assert centre_mm(np.array([[0, 5], [100, 5]], float)) == pytest.approx((2.0, 0.0), abs=1e-12)


def test_docstring_numbers():
    assert doctest.testmod(body, raise_on_error=True).attempted >= 3
