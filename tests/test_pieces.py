"""A profile described as named pieces: drawn exactly, and traced with noise."""

from itertools import pairwise

import numpy as np
import pytest

from digitize.geometry.describe import describe_profile
from digitize.geometry.nose_shapes import nose_profile
from digitize.records import ProfilePiece

SHAPES = [
    ("cone", 0.0),
    ("ogive", 0.0),
    ("ellipsoid", 0.0),
    ("paraboloid", 0.0),
    ("haack", 0.0),
    ("haack", 1 / 3),
]


def rocket(shape, c):
    """A nose of 110 mm, tube of 36 mm, boat-tail of 50 mm to 26 mm, tube of 26 mm."""
    nose = nose_profile(shape, 110.0, 18.0, c)
    return np.concatenate([nose, [[300, 18], [350, 13], [420, 13]]])


def traced(profile, sigma_mm, seed=1):
    rng = np.random.default_rng(seed)
    x = np.linspace(0, profile[-1, 0], 211)
    r = np.interp(x, *profile.T) + rng.normal(0, sigma_mm, x.size) * (x > 0)
    return np.stack([x, np.abs(r)], -1)


@pytest.mark.parametrize(("shape", "c"), SHAPES)
def test_a_drawn_profile_is_named_exactly(shape, c):
    pieces = describe_profile(rocket(shape, c))
    assert [p.kind for p in pieces] == [shape, "tube", "frustum", "tube"]
    assert [p.to_mm for p in pieces] == pytest.approx([110, 300, 350, 420], abs=0.5)
    assert [p.aft_diameter_mm for p in pieces] == pytest.approx([36, 36, 26, 26], abs=0.05)
    assert max(p.misfit_mm for p in pieces) < 0.03
    assert (pieces[0].c or 0.0) == pytest.approx(c, abs=0.001)


@pytest.mark.parametrize(("shape", "c"), SHAPES)
@pytest.mark.parametrize("sigma_mm", [0.1, 0.2])
def test_noise_neither_adds_nor_hides_pieces(shape, c, sigma_mm):
    """As traced, 2 mm apart. The kind of a slim curved nose is not sure then, its ends are."""
    pieces = describe_profile(traced(rocket(shape, c), sigma_mm))
    assert [p.kind for p in pieces[1:]] == ["tube", "frustum", "tube"]
    assert (pieces[0].kind == "cone") == (shape == "cone")
    assert [p.to_mm for p in pieces] == pytest.approx([110, 300, 350, 420], abs=8)
    assert [p.aft_diameter_mm for p in pieces] == pytest.approx([36, 36, 26, 26], abs=0.3)
    assert sigma_mm / 3 < pieces[1].misfit_mm < sigma_mm * 1.3


def test_pieces_meet():
    pieces = describe_profile(traced(rocket("ogive", 0.0), 0.15))
    for before, behind in pairwise(pieces):
        assert before.to_mm == behind.from_mm
        assert before.aft_diameter_mm == behind.fore_diameter_mm


def test_a_blunt_start_is_kept_and_a_step_is_a_short_frustum():
    pieces = describe_profile(np.array([[0, 6], [40, 12], [200, 12], [200, 15], [300, 15]], float))
    assert [p.kind for p in pieces] == ["frustum", "tube", "frustum", "tube"]
    assert [p.fore_diameter_mm for p in pieces] == pytest.approx([12, 24, 24, 30], abs=0.2)
    assert 194 < pieces[2].from_mm < pieces[2].to_mm < 206


def test_a_single_cone():
    (cone,) = describe_profile(np.array([[0, 0], [100, 10]], float))
    assert cone == ProfilePiece("cone", 0.0, 100.0, 0.0, 20.0, 0.0)
