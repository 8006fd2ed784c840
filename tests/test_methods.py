"""Other methods beside the headline, the method's own band, shapes outside it, and the working line by line."""

import re
from dataclasses import replace

import numpy as np
import pytest

from digitize.aero import interference
from digitize.aero.components import other_readings
from digitize.aero.limits import outside_warnings
from digitize.aero.method_view import METHOD, method_view, next_with_method, whole_band, with_method
from digitize.aero.methods import CLASSIC, SLENDER, SLOPE_SCATTER, method_band, readings
from digitize.margin.stability import verdict
from digitize.margin.warning_codes import Gravity, is_outside, of_gravity
from digitize.records import FinGroup, Geometry, Quantity
from digitize.result.from_geometry import solve
from digitize.result.working import explain_text
from digitize.result_records import BandShare, NextMeasurement

BODY = np.array([[0, 0], [60, 12], [300, 12]], float)
FIN = np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float)
ROCKET_A = Geometry("bracken", BODY, (FinGroup(3, FIN, 2.0),))
NARROWING = Geometry(
    "sedge",
    np.array([[0, 0], [100, 20], [300, 20], [340, 15]], float),
    (FinGroup(4, np.array([[305, 19.375], [330, 55], [350, 55], [338, 15.25]]), 2.0),),
)


def test_slender_factors_change_the_fins_by_their_ratio():
    """Rocket A by hand: fins 16.410256 at 273.958333 with K = 1 + 12/52. Its body ends 26.041667 behind that, and a
    horseshoe a third of the span out is 25.333333 from the axis, so of K_B(W) the share
    (1 + 26.041667 / 36.331064) / 2 = 0.858394 is carried, with a moment of 25.333333^2 / (2 x 36.331064) = 8.832356
    less than at the fins' place. Three fins help one another: 1.042 at k = 12/52 (`slender_number_factor`)."""
    found = {reading.name: reading for reading in readings(ROCKET_A)}
    slender = found[SLENDER]
    k = 12 / 52
    bare = 16.410256 / (1 + k) * float(interference.slender_number_factor(3, 12.0, 40.0))
    fins, carried = (float(f(12.0, 40.0)) for f in (interference.slender_fin_factor, interference.slender_body_factor))
    slope = bare * (fins + 0.858394 * carried)
    moment = bare * (fins * 273.958333 + carried * (0.858394 * 273.958333 - 8.832356))
    assert float(interference.slender_number_factor(3, 12.0, 40.0)) == pytest.approx(1.042, abs=0.003)
    assert slender.cn_alpha_per_rad == pytest.approx(2 + slope, rel=1e-6)
    assert slender.cp_x_mm == pytest.approx((2 * 40 + moment) / (2 + slope), rel=1e-6)
    assert found[CLASSIC].cp_x_mm == pytest.approx(248.54225, abs=1e-4)


@pytest.mark.parametrize("rocket", [ROCKET_A, NARROWING], ids=["straight", "narrowing"])
def test_the_lattice_agrees_with_the_formula_to_its_known_errors(rocket):
    """The classic slope is within some 10 % of a lifting surface, its place within 0.08 chord."""
    classic, lattice, carried, _ = readings(rocket)
    assert 0.85 < lattice.cn_alpha_per_rad / classic.cn_alpha_per_rad < 1.12
    caliber = 2 * rocket.profile_mm[:, 1].max()
    assert 0.002 < abs(lattice.cp_x_mm - classic.cp_x_mm) / caliber < 0.3
    assert carried.cp_x_mm > lattice.cp_x_mm  # what the body carries lies at the fins, aft


def test_the_methods_band_is_neither_nothing_nor_everything():
    found = readings(ROCKET_A)
    band = method_band(ROCKET_A, found)
    assert 0.05 < band.pm95_mm / 24 < 0.3
    assert band.radius_mm == pytest.approx(0, abs=1e-9)  # a straight tube leaves no choice
    assert band.pm95_mm == pytest.approx(np.hypot(band.largest_mm, band.scatter_mm))
    # a tenth more or less slope of the fins, by hand: slope 2 at 40, 16.410256 at 273.958333
    up = (80 + 1.1 * 16.410256 * 273.958333) / (2 + 1.1 * 16.410256)
    down = (80 + 0.9 * 16.410256 * 273.958333) / (2 + 0.9 * 16.410256)
    assert SLOPE_SCATTER == 0.10
    assert band.scatter_mm == pytest.approx((up - down) / 2, rel=0.03)


def test_the_choice_of_radius_on_a_narrowing_tail_is_in_the_methods_band():
    """Solved from an exact geometry, the choice is in the band all the same: 1.96 / 4 of the readings' spread."""
    places = list(other_readings(NARROWING).values())
    band = method_band(NARROWING, readings(NARROWING))
    assert band.radius_mm == pytest.approx(0.49 * (max(places) - min(places))) and band.radius_mm > 0.05
    parts = (band.largest_mm, band.scatter_mm, band.radius_mm)
    assert solve(NARROWING).cp_x_mm.pm95 == pytest.approx(np.linalg.norm(parts))


def test_a_body_alone_has_no_other_method():
    alone = Geometry("cone", np.array([[0, 0], [60, 12], [300, 12]], float))
    (only,) = readings(alone)
    assert only.cp_x_mm == pytest.approx(40)
    assert method_band(alone, (only,)).pm95_mm == 0


@pytest.mark.parametrize("change", ["mirror", "twice as large", "moved"])
def test_the_readings_follow_the_geometry(change):
    """Twice as large: places twice as far. A longer nose section moves body and fins alike."""
    base = readings(NARROWING)
    if change == "mirror":
        fins = tuple(replace(g, outline_mm=g.outline_mm.copy()) for g in NARROWING.fins)
        other = readings(replace(NARROWING, fins=fins))
        expected = [r.cp_x_mm for r in base]
    elif change == "twice as large":
        fins = tuple(replace(g, outline_mm=2 * g.outline_mm) for g in NARROWING.fins)
        other = readings(Geometry("twice", 2 * NARROWING.profile_mm, fins))
        expected = [2 * r.cp_x_mm for r in base]
    else:  # moving the fins alone moves only their part
        moved = NARROWING.profile_mm + np.array([50.0, 0.0])
        fins = tuple(replace(g, outline_mm=g.outline_mm + [50.0, 0.0]) for g in NARROWING.fins)
        other = readings(Geometry("moved", np.vstack([[0.0, 1e-6], moved[:1] + [0, 1e-6], moved[1:]]), fins))
        expected = [r.cp_x_mm + 50 for r in base]
    assert [r.cp_x_mm for r in other] == pytest.approx(expected, rel=1e-6)


def test_mach_moves_the_fins_share():
    """A faster stream gives the fins more slope and leaves the slender body as it is, so the force moves aft."""
    slow, fast = readings(ROCKET_A), readings(ROCKET_A, 0.8)
    for one, other in zip(slow, fast, strict=True):
        assert other.cn_alpha_per_rad > one.cn_alpha_per_rad and other.cp_x_mm > one.cp_x_mm


def test_the_band_is_the_root_of_both_parts():
    view = method_view(ROCKET_A, 3.0)
    whole = whole_band(Quantity(248.5, 3.0), view)
    assert whole.pm95 == pytest.approx(np.hypot(3.0, view.method_pm95_mm))
    shares = with_method((BandShare("scale", 1.0, 3.0),), view)
    assert {share.source for share in shares} == {"scale", METHOD}
    assert sum(share.share for share in shares) == pytest.approx(1.0)
    assert [s.share for s in shares] == sorted((s.share for s in shares), reverse=True)
    step = next_with_method(NextMeasurement("measure", 0.2, 0.1), view, 24.0)
    assert step.cp_pm95_calibers_now == pytest.approx(np.hypot(0.2, view.method_pm95_mm / 24))
    assert 0.1 < step.cp_pm95_calibers_then < step.cp_pm95_calibers_now
    assert next_with_method(None, view, 24.0) is None


# --- shapes outside ---------------------------------------------------------------------------------------


def body(*points):
    return np.array(points, float)


OUTSIDE = {
    "BODY_SHORT": Geometry("stub", body([0, 0], [30, 15], [120, 15]), (FinGroup(4, FIN - [200, -3]),)),
    "BASE_WIDE": Geometry("skirt", body([0, 0], [60, 12], [240, 12], [300, 24])),
    "STRAKES": Geometry("strake", BODY, (FinGroup(4, np.array([[100, 12], [110, 20], [290, 20], [300, 12]], float)),)),
    "FINS_OVERHANG": Geometry(
        "tail", BODY, (FinGroup(4, np.array([[280, 12], [310, 60], [380, 60], [300, 12]], float)),)
    ),
}


@pytest.mark.parametrize("code", of_gravity(Gravity.OUTSIDE))
def test_shapes_outside_the_method_are_named(code):
    found = outside_warnings(OUTSIDE[code])
    assert [warning.code for warning in found] == [code]
    assert is_outside(found) and "cut-out" in found[0].remedy


@pytest.mark.parametrize("rocket", [ROCKET_A, NARROWING], ids=["A", "narrowing"])
def test_ordinary_rockets_are_inside(rocket):
    assert outside_warnings(rocket) == ()


def test_outside_the_method_the_cut_out_decides():
    inside = verdict(Quantity(1.5, 0.1), Quantity(-0.5, 0.1))
    outside = verdict(Quantity(1.5, 0.1), Quantity(-0.5, 0.1), outside=True)
    assert (inside.level, outside.level) == ("fly", "do not fly")
    assert "the one by the cut-out" in outside.text
    result = solve(OUTSIDE["STRAKES"], balance_mm=200.0)
    assert result.verdict_level != "fly" and "STRAKES" in [w.code for w in result.warnings]


# --- the working ------------------------------------------------------------------------------------------


def test_explain_holds_every_number_of_rocket_a():
    """The check values' numbers (computed, regression) and steps worked by hand: A = pi 24^2 / 4 = 452.389,
    AR = 2 40^2 / 1600 = 2, K = 1 + 12 / 52 = 1.230769, N / 2 = 1.5."""
    text = explain_text(ROCKET_A, solve(ROCKET_A, balance_mm=200.0))
    flat = " ".join(text.split())
    for words in (
        "A = 452.389", "AR = 2 s^2 / A_f = 2.000000", "= 1.230769 [1] eq 77", "N / 2 = 1.5", "= 16.410256",
        "slope = 18.410256", "248.5422", "x = 40.0000", "NARAM-8", "TR 1307", "TR R-474", "2.0226 calibers",
    ):  # fmt: skip
        assert words in flat, words


def test_the_working_of_one_fin_can_be_followed():
    """The printed factors multiply to the printed slope."""
    text = " ".join(explain_text(NARROWING, solve(NARROWING)).split())
    factors = re.search(r"slope = ([\d.]+) x ([\d.]+) x ([\d.]+) = ([\d.]+)", text).groups()
    one, half, factor, product = map(float, factors)
    assert product == pytest.approx(one * half * factor, rel=1e-6)
    assert factor == pytest.approx(float(interference.body_factor(4, 17.3125, 55 - 17.3125)), rel=1e-3)
    assert "boat-tail" in text
