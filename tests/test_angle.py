"""From small angles to the cut-out: the curve, the crosswind, and what both do to the verdict."""

import doctest
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from digitize.aero import crossflow
from digitize.aero.angle_curve import angle_curve, loads_of
from digitize.aero.components import centre_of_pressure
from digitize.geometry import side_area
from digitize.margin.stability import verdict
from digitize.option_records import Flight
from digitize.records import FinGroup, Geometry, Quantity
from digitize.report.angle_plot import crosswind_words, plot_svg
from digitize.result.from_geometry import solve
from digitize.result.to_json import to_dict

BODY_C = np.array([[0, 0], [2.835641, 0.5], [10, 0.5]])
ROCKET_C = Geometry("sedge", BODY_C * 40, (FinGroup(4, np.array([[9, 0.5], [9, 1.5], [10, 1.5], [10, 0.5]]) * 40),))
ROCKET_A = Geometry(
    "bracken",
    np.array([[0, 0], [60, 12], [300, 12]], float),
    (FinGroup(3, np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float), 2.0),),
)


def loads(rocket):
    area, centroid, _ = side_area.cutout(rocket)
    return loads_of(rocket, centre_of_pressure(rocket), area, centroid)


def test_the_body_alone_at_ten_degrees():
    """Body of rocket C: CN 0.6110 at 3.562 diameters, and 5.669872 at 90 degrees, its plan centroid. By the form of
    L. H. Jorgensen, NASA TR R-474 (from memory); numbers computed for this project apart from this code."""
    body = loads(replace(ROCKET_C, fins=()))
    force, x = crossflow.normal_force(body, np.radians([10.0, 90.0]))
    assert force[0] == pytest.approx(0.6110, abs=4e-4)  # eta has three places
    assert x / 40 == pytest.approx([3.562, 5.669872], abs=1e-3)


@pytest.mark.parametrize(("slenderness", "eta"), [(5, 0.624), (10, 0.683), (20, 0.753)])
def test_crossflow_share(slenderness, eta):
    """Fit to a figure of L. H. Jorgensen, NASA TR R-474 (1977), +-0.02, in a restatement."""
    assert crossflow.crossflow_share(slenderness) == pytest.approx(eta, abs=1e-9)
    assert 0.4 <= crossflow.crossflow_share(1.0) < 0.624 and 0.753 < crossflow.crossflow_share(40.0) <= 1.0


@pytest.mark.parametrize("rocket", [ROCKET_A, ROCKET_C], ids=["A", "C"])
@pytest.mark.parametrize("roll_deg", [0.0, 45.0])
def test_the_curve_joins_the_components_and_the_cut_out(rocket, roll_deg):
    area, centroid, _ = side_area.cutout(rocket, roll_deg)
    cp = centre_of_pressure(rocket)
    curve = angle_curve(loads_of(rocket, cp, area, centroid), Flight(), None, 24.0)
    assert curve.cp_x_mm[0] == pytest.approx(cp.x_mm, rel=1e-12)
    assert curve.cp_x_mm[-1] == pytest.approx(centroid, rel=1e-9)
    assert curve.normal_force[0] == 0 and curve.normal_force[1] == pytest.approx(
        cp.cn_alpha_per_rad * np.radians(1), rel=0.03
    )


@pytest.mark.parametrize("rocket", [ROCKET_A, ROCKET_C], ids=["A", "C"])
def test_the_centre_of_pressure_moves_forward(rocket):
    """As NARAM-8 says (read): farthest aft at zero angle of attack, the side-area centroid the cautious estimate."""
    x = angle_curve(loads(rocket), Flight(), None, 24.0).cp_x_mm
    caliber = 2 * rocket.profile_mm[:, 1].max()
    assert (np.diff(x[:75]) < 0).all()
    assert x.min() > x[-1] - 0.15 * caliber  # it never goes much ahead of the cut-out's centroid


@given(
    sweep=st.floats(0, 60), span=st.floats(15, 60), root=st.floats(30, 90), count=st.sampled_from([3, 4, 6]),
    length=st.floats(200, 600),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_any_rocket_ends_at_its_side_area_centroid(sweep, span, root, count, length):
    fin = np.array([[length - root, 12], [length - root + sweep, 12 + span], [length + 5, 12 + span], [length, 12]])
    if sweep >= root:
        fin = fin[[0, 1, 3]]
    rocket = Geometry("any", np.array([[0, 0], [60, 12], [length, 12]]), (FinGroup(count, fin),))
    area, centroid, _ = side_area.cutout(rocket)
    curve = angle_curve(loads_of(rocket, centre_of_pressure(rocket), area, centroid), Flight(), None, 24.0)
    assert curve.cp_x_mm[-1] == pytest.approx(centroid, rel=1e-9)
    assert np.isfinite(curve.cp_x_mm).all() and (curve.normal_force[1:] > 0).all()


def test_a_crosswind_off_the_rod():
    """4 m/s across 15 m/s is atan(4 / 15) = 14.93 degrees."""
    result = solve(ROCKET_A, balance_mm=220.0, flight=Flight(wind_mps=4.0, rod_speed_mps=15.0))
    gust = to_dict(result)["angle_of_attack"]["crosswind"]
    assert gust["alpha_deg"] == pytest.approx(14.9314, abs=1e-3)
    assert 0.2 < gust["forward_calibers"] < 0.8
    assert gust["margin_calibers"] == pytest.approx(result.margin_calibers.value - gust["forward_calibers"])
    assert "4 m/s across 15 m/s off the rod is 15 degrees" in crosswind_words(result.angle)


def test_a_crosswind_that_takes_all_the_margin_takes_fly_away():
    curve = angle_curve(loads(ROCKET_A), Flight(wind_mps=15.0, rod_speed_mps=15.0), 218.0, 24.0)
    assert curve.wind_margin_calibers < 0
    calm, windy = (verdict(Quantity(1.4, 0.1), Quantity(-0.9, 0.1), curve=c) for c in (None, curve))
    assert (calm.level, windy.level) == ("fly", "marginal")
    assert "45 degrees" in windy.text and "longer rod" in windy.text
    for unstable in (Quantity(-0.4, 0.1), Quantity(0.2, 0.1)):  # what must not fly gets no advice to fly it in calm air
        worse = verdict(unstable, Quantity(-0.9, 0.1), curve=curve)
        assert worse.level == "do not fly" and "calm air" not in worse.text


def test_the_plot_shows_curve_balance_and_cut_out():
    result = solve(ROCKET_A, balance_mm=220.0)
    svg = plot_svg(result, result.angle)
    for words in ("balance point", "cut-out: air from the side", "crosswind off the rod", "angle of attack, degrees"):
        assert words in svg
    assert svg.count("stroke-dasharray") == 2
    bare = solve(ROCKET_A)
    assert "balance point" not in plot_svg(bare, bare.angle)


def test_docstring_numbers():
    assert doctest.testmod(crossflow, raise_on_error=True).attempted >= 2
