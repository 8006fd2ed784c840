"""Fins against NARAM-8's trapezoid formula, closed forms, and lifting-surface numbers."""

import doctest

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from published import rows

from digitize.aero import fins, interference

LENGTHS = st.floats(5, 200)


def trapezoid(root, tip, span, sweep):
    return np.array([[0, 0], [sweep, span], [sweep + tip, span], [root, 0]], float)


@given(root=LENGTHS, tip=LENGTHS, span=LENGTHS, sweep=st.floats(-100, 200))
def test_trapezoid_formula_against_the_strip_integral(root, tip, span, sweep):
    """NARAM-8 eq. 76a for the place, eq. 57 for the slope (with the mid-chord line's length)."""
    x_mm = sweep * (root + 2 * tip) / (3 * (root + tip)) + (root + tip - root * tip / (root + tip)) / 6
    midchord = np.hypot(span, sweep + tip / 2 - root / 2)
    slope = 8 * (span / 20) ** 2 / (1 + np.sqrt(1 + (2 * midchord / (root + tip)) ** 2))
    plan = fins.planform(trapezoid(root, tip, span, sweep))
    assert plan.quarter_chord_mm == pytest.approx(x_mm, rel=1e-9, abs=1e-9)
    area = np.pi * 20**2 / 4
    assert fins.fin_slope(plan.area_mm2, span, plan.midchord_slope, area) == pytest.approx(slope, rel=1e-9)


def test_elliptic_fin():
    """Half an ellipse on its root: area pi/4, mean chord 8/(3 pi), place 1/2 - 2/(3 pi), of root chord and
    span.
    """
    t = np.linspace(0, np.pi, 721)
    plan = fins.planform(np.stack([30 - 30 * np.cos(t), 40 * np.sin(t)], -1))
    assert plan.area_mm2 / (60 * 40) == pytest.approx(0.785398, abs=1e-5)
    assert plan.mac_mm / 60 == pytest.approx(0.848826, abs=1e-5)
    assert plan.quarter_chord_mm / 60 == pytest.approx(0.287793, abs=1e-5)
    assert plan.midchord_slope == pytest.approx(0, abs=1e-9)


def test_polygon_centroid():
    """Area 3500 and centroid (58.571429, 21.428571): the general polygon formula (computed)."""
    plan = fins.planform(np.array([[0, 0], [100, 0], [90, 50], [50, 50]], float))
    assert plan.area_mm2 == pytest.approx(3500)
    assert (plan.x_centroid_mm, plan.y_centroid_mm) == pytest.approx((58.571429, 21.428571), abs=1e-6)


NOTCHED = [[0, 0], [20, 10], [8, 20], [30, 20], [45, 44], [60, 44], [58, 30], [70, 30], [60, 0]]
TWO_HORNED = [[0, 0], [10, 44], [30, 18], [35, 25], [70, 40], [60, 0]]


@pytest.mark.parametrize("outline", [NOTCHED, TWO_HORNED], ids=["level edges", "two chords at one level"])
def test_mean_chord_and_sweep_of_a_notched_fin_by_cutting_strips(outline):
    """A fin with a notch in its leading edge, level edges and a point; one split from its tip down; against
    strips cut by shapely.
    """
    outline = np.array(outline, float)
    shape = shapely.Polygon(outline)
    y = (np.arange(44000) + 0.5) / 1000
    strips = shapely.intersection(
        shape, shapely.linestrings(np.stack([np.full((y.size, 2), [-10, 100]), np.stack([y, y], -1)], -1))
    )
    chord, middle = shapely.length(strips), shapely.get_x(shapely.centroid(strips))
    between = ~np.isclose((y[1:] + y[:-1]) / 2, 20)  # the first fin's middle leaps at its level edge
    angle = np.arctan2(np.diff(middle), np.diff(y))[between]
    sweep = np.average(angle, weights=((chord[1:] + chord[:-1]) / 2)[between])
    plan = fins.planform(outline)
    assert plan.mac_mm == pytest.approx((chord**2).sum() / chord.sum(), rel=1e-6)
    assert np.arctan(plan.midchord_slope) == pytest.approx(sweep, abs=3e-4)


@given(root=LENGTHS, crank=LENGTHS, tip=LENGTHS, span=LENGTHS, share=st.floats(0.1, 0.9), bend=st.floats(-2, 2))
def test_sweep_of_a_cranked_fin_is_the_mean_of_its_panels_by_area(root, crank, tip, span, share, bend):
    """Two trapezoids, one on the other, each with its own straight mid-chord line."""
    inner, outer = share * span, (1 - share) * span
    x, x_tip = inner, inner + bend * outer
    fin = [[-root / 2, 0], [x - crank / 2, inner], [x_tip - tip / 2, span]]
    aft = [[x_tip + tip / 2, span], [x + crank / 2, inner], [root / 2, 0]]
    areas = np.array([(root + crank) * inner, (crank + tip) * outer])
    sweep = np.average([np.pi / 4, np.arctan(bend)], weights=areas)
    assert np.arctan(fins.planform(fin + aft).midchord_slope) == pytest.approx(sweep, abs=1e-6)


@pytest.mark.parametrize("tilt_mm", [1e-2, 1e-3, 1e-4, 1e-6, 1e-9])
def test_an_edge_nearly_level_counts_as_little_as_a_level_one(tilt_mm):
    """Its strip, however steep the mid-chord line in it, is at most tilt / span of the fin."""
    outline = trapezoid(80, 60, 50, 40)
    tilted = outline + np.array([[0, 0], [0, 0], [0, tilt_mm], [0, -tilt_mm]])
    change = np.arctan(fins.planform(tilted).midchord_slope) - np.arctan(fins.planform(outline).midchord_slope)
    assert abs(change) < 3 * np.pi * tilt_mm / 50 + 1e-9


def test_sweep_of_a_traced_fin_is_steady():
    """A trapezoid with 15 points to an edge, each off by 0.1 mm."""
    outline = trapezoid(80, 40, 50, 40)
    share = (np.arange(15) / 15)[:, None]
    points = np.concatenate([p + share * (q - p) for p, q in zip(outline, np.roll(outline, -1, 0), strict=True)])
    traced = points + np.random.default_rng(1).normal(0, 0.1, (500, 60, 2))
    sweep_deg = np.degrees(np.arctan(fins.planform(traced).midchord_slope))
    assert abs(sweep_deg.mean() - np.degrees(np.arctan2(20, 50))) < 0.3
    assert 0.01 < sweep_deg.std() < 0.4


@pytest.mark.parametrize(
    "row", rows("lifting_surfaces.csv"), ids=lambda r: f"{r['name']} {float(r['aspect_ratio']):.2f}"
)
def test_slope_against_lifting_surface_theory(row):
    slope = fins.lift_slope(float(row["aspect_ratio"]), float(row["midchord_slope"]))
    assert slope == pytest.approx(float(row["cl_alpha"]), rel=float(row["within"]))


def test_underwater_vehicle_fin():
    """T. Prestero (2001), table 2.2: the aspect ratio of a fin counts its mirror image; and the other
    accepted form.
    """
    aspect_ratio = 2 * 8.57e-2**2 / 6.65e-3
    assert aspect_ratio == pytest.approx(2.21, abs=0.005)
    assert fins.lift_slope(aspect_ratio, 0.0) == pytest.approx(2.787, abs=0.0015)


def test_a_very_low_aspect_ratio_tends_to_jones():
    """pi AR / 2 (R. T. Jones, NACA TR 835, from memory)."""
    assert fins.lift_slope(1e-4, 0.0) / 1e-4 == pytest.approx(np.pi / 2, rel=1e-6)


def test_warren_12_place_is_forward_of_theory_by_what_is_known():
    """Lifting-surface theory 1.1302 (restated, two places); the quarter chord is 0.04 to 0.08 less."""
    x = fins.planform(trapezoid(1.5, 0.5, 2**0.5, 0.5 + 2**0.5)).quarter_chord_mm
    assert 0.04 < 1.1302 - x < 0.08


polygons = st.lists(st.tuples(st.floats(0, 80), st.floats(1, 60)), min_size=3, max_size=9, unique=True).filter(
    lambda points: shapely.MultiPoint(points).convex_hull.area > 50
)


@given(points=polygons, move=st.floats(-500, 500), scale=st.floats(0.1, 10))
@settings(max_examples=60)
def test_moving_scaling_and_reversing(points, move, scale):
    outline = np.array(shapely.MultiPoint(points).convex_hull.exterior.coords)[:-1]
    plan, other = fins.planform(outline), fins.planform((outline * scale + [move, 0])[::-1])
    assert other.area_mm2 == pytest.approx(plan.area_mm2 * scale**2, rel=1e-6)
    assert other.mac_mm == pytest.approx(plan.mac_mm * scale, rel=1e-5)
    assert other.quarter_chord_mm == pytest.approx(plan.quarter_chord_mm * scale + move, rel=1e-5, abs=1e-3)
    assert other.midchord_slope == pytest.approx(plan.midchord_slope, rel=1e-4, abs=1e-5)


@given(radius=st.floats(1, 100), span=st.floats(1, 200))
def test_fin_body_factor_against_slender_body_theory(radius, span):
    """K_W(B) of W. C. Pitts, J. N. Nielsen and G. E. Kaattari, NACA TR 1307 (1957; formula from memory).

    The classic 1 + r / (s + r) is above it by 0.051 at most, over radius ratios to 0.6, where the values
    were read.
    """
    k = radius / (radius + span)
    excess = interference.body_factor(4, radius, span) - slender_body_factor(min(k, 0.6))
    assert k > 0.6 or -1e-9 < excess < 0.051


def slender_body_factor(k):
    """NACA TR 1307's closed form in t = 1 / k."""
    t = 1 / k
    one = (1 + t**-4) * (0.5 * np.arctan(0.5 * (t - 1 / t)) + np.pi / 4)
    two = t**-2 * ((t - 1 / t) + 2 * np.arctan(1 / t))
    return 2 / np.pi * (one - two) / (1 - 1 / t) ** 2


K_WB = [(0.1, 1.0770), (0.2, 1.1616), (0.3, 1.2528), (0.4, 1.3493), (0.5, 1.4503), (0.6, 1.5550)]


@pytest.mark.parametrize(("k", "factor"), K_WB)
def test_the_slender_body_form_used_above_gives_its_own_values(k, factor):
    assert slender_body_factor(k) == pytest.approx(factor, abs=5e-4)


def test_counts():
    """NARAM-8 eq. 58, 59: 1.5 and 2 single fins; six fins take half the body's factor (from memory)."""
    assert [interference.count_factor(n) for n in (3, 4, 6)] == [1.5, 2.0, 3.0]
    assert interference.body_factor(6, 10.0, 30.0) == 1.125
    assert interference.body_factor(3, 10.0, 30.0) == interference.body_factor(4, 10.0, 30.0) == 1.25


def test_docstring_numbers():
    assert doctest.testmod(fins, raise_on_error=True).attempted >= 3
    assert doctest.testmod(interference, raise_on_error=True).attempted >= 1
