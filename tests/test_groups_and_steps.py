"""Shapes for which one reading of the method can be far too far aft: fins behind fins, a step down, many fins, a body
that ends at its fins. The other readings are shown, the band holds them, a warning names them, the verdict follows."""

import numpy as np
import pytest

from digitize.aero import lattice, wake
from digitize.aero.components import centre_of_pressure
from digitize.aero.method_view import method_view
from digitize.aero.methods import (
    BEHIND_LOST,
    CARRIED,
    CLASSIC,
    IN_WAKES,
    LATTICE,
    LET_GO,
    SLENDER,
    method_band,
    narrowing_load,
    readings,
)
from digitize.records import FinGroup, Geometry
from digitize.result.from_geometry import solve
from digitize.result.working import explain_text

TUBE = np.array([[0, 0], [60, 12], [300, 12]], float)
FIN = np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float)
CANARD = (FIN - [250, 12]) * 0.5 + [90, 12]


def rocket(*groups, profile=TUBE):
    return Geometry("bracken", np.array(profile, float), tuple(FinGroup(n, outline) for n, outline in groups))


def places(geometry):
    return {reading.name: reading.cp_x_mm for reading in readings(geometry)}


def codes(geometry):
    return [warning.code for warning in solve(geometry, balance_mm=150.0).warnings]


IN_LINE, STAGGERED = IN_WAKES[wake.IN_LINE], IN_WAKES[wake.STAGGERED]
TWO_GROUPS = rocket((3, FIN - [120, 0]), (3, FIN))

# --- fins behind fins -------------------------------------------------------------------------------------


def test_fins_in_line_behind_fins_move_the_centre_of_pressure_by_more_than_a_caliber():
    """By hand from what the aft group loses: the lattice's two groups and the nose, less that force at its place."""
    found = places(TWO_GROUPS)
    by_lattice = next(r for r in readings(TWO_GROUPS) if r.name == LATTICE)
    groups = [
        (np.vstack([outline, [[300 - 120 * k, 12], [250 - 120 * k, 12]]]), 3, 12.0)
        for k, outline in ((1, FIN - [120, 0]), (0, FIN))
    ]
    aft = wake.coupled_groups(groups, (0.0, 0.0))[1]
    area = np.pi * 12**2
    slope = by_lattice.cn_alpha_per_rad + aft.area / area
    place = (by_lattice.cn_alpha_per_rad * by_lattice.cp_x_mm + aft.moment / area) / slope
    assert found[IN_LINE] == pytest.approx(place, abs=1.0)  # the forward group's own change is small
    assert -2.5 < (found[IN_LINE] - found[CLASSIC]) / 24 < -1.0
    assert -0.6 < (found[STAGGERED] - found[CLASSIC]) / 24 < -0.1


@pytest.mark.parametrize("geometry", [TWO_GROUPS, rocket((4, CANARD), (4, FIN)), rocket((3, CANARD), (4, FIN))])
def test_the_band_holds_the_wakes_and_the_verdict_follows(geometry):
    view, found = method_view(geometry, 0.0), places(geometry)
    forward = found[CLASSIC] - min(found.values())
    assert forward < view.method_pm95_mm < 1.5 * forward
    result = solve(geometry, balance_mm=found[IN_LINE] - 0.2 * 24)  # with flat wakes a margin of a fifth of a caliber
    assert result.verdict_level != "fly"
    assert "FINS_IN_WAKE" in [warning.code for warning in result.warnings]
    assert "TR-814" in " ".join(view.words) and "TR-814" in " ".join(explain_text(geometry, result).split())


def test_with_enough_margin_two_groups_still_fly_and_are_warned_of():
    result = solve(TWO_GROUPS, balance_mm=100.0)
    assert result.verdict_level == "fly" and "FINS_IN_WAKE" in [warning.code for warning in result.warnings]


def test_one_group_has_no_wake_to_fly_in():
    one = rocket((3, FIN))
    assert not {IN_LINE, STAGGERED, BEHIND_LOST} & set(places(one)) and "FINS_IN_WAKE" not in codes(one)


def test_small_fins_far_out_of_the_way_are_not_warned_of():
    """A stub of a fin ahead of large ones changes some thousandths of a caliber."""
    stub = np.array([[100, 12], [101, 13], [102, 13], [103, 12]], float)
    assert "FINS_IN_WAKE" not in codes(rocket((3, stub), (3, FIN)))


def test_where_no_lattice_can_tell_the_fins_behind_may_lose_all(monkeypatch):
    """By hand: nose 2 at 40, forward fins 16.410256 at 153.958333, aft ones gone."""

    def none(*_):
        raise lattice.LatticeError("no")

    monkeypatch.setattr(wake, "coupled_groups", none)
    found, view = places(TWO_GROUPS), method_view(TWO_GROUPS, 0.0)
    assert found[BEHIND_LOST] == pytest.approx((2 * 40 + 16.410256 * 153.958333) / 18.410256, rel=1e-6)
    assert view.method_pm95_mm > found[CLASSIC] - found[BEHIND_LOST] > 24
    assert [warning.code for warning in view.warnings] == ["FINS_IN_WAKE"] and "up to" in view.warnings[0].text


# --- a step down ------------------------------------------------------------------------------------------

WIDE_NOSE = [[0, 0], [50, 20], [70, 20], [85, 12], [300, 12]]


def test_a_step_down_counts_in_full_or_not_at_all():
    """By hand on A = pi 20^2: the step has 2 (144 - 400) / 400 = -1.28, acting (15 x 144 - V / pi) / (144 - 400) behind
    its front, V / pi = 15 (400 + 240 + 144) / 3 = 3920: 6.875 mm, x = 76.875."""
    wide = rocket((3, FIN), profile=WIDE_NOSE)
    slope, moment = narrowing_load(wide)
    assert (slope, moment / slope) == pytest.approx((-1.28, 76.875), rel=1e-6)
    cp = centre_of_pressure(wide)
    without = (cp.cn_alpha_per_rad * cp.x_mm - moment) / (cp.cn_alpha_per_rad - slope)
    assert places(wide)[LET_GO] == pytest.approx(without, rel=1e-9)
    assert places(wide)[CLASSIC] - places(wide)[LET_GO] > 0.3 * 40
    view = method_view(wide, 0.0)
    assert cp.x_mm - view.method_pm95_mm < without
    assert [warning.code for warning in view.warnings] == ["NARROWS_AHEAD"]
    sure = solve(wide, balance_mm=without - 0.9 * 40)  # in full 1.56 calibers, let go 0.9
    assert sure.verdict_level in ("marginal", "look again", "do not fly") and sure.margin_calibers.value > 1.2


@pytest.mark.parametrize(
    ("profile", "why"),
    [
        ([[0, 0], [50, 14], [70, 14], [170, 12], [300, 12]], "tapers by 1.1 degrees, which keeps the flow"),
        ([[0, 0], [60, 12], [280, 12], [300, 8]], "narrows at the tail, behind the centre of pressure"),
        ([[0, 0], [60, 12], [100, 12.1], [101, 11.9], [300, 12]], "is a tube, unevenly traced"),
        (TUBE, "does not narrow"),
    ],
    ids=["gentle", "tail", "uneven", "tube"],
)
def test_other_bodies_have_nothing_to_let_go(profile, why):
    body = rocket((3, FIN), profile=profile)
    assert narrowing_load(body) == (0, 0) and LET_GO not in places(body), why
    assert "NARROWS_AHEAD" not in codes(body)


def test_an_upright_step_and_a_slow_one_are_told_apart():
    """16 mm of radius over 0 mm is 90 degrees; 2 mm over 30 are 3.8, over 40 are 2.9."""
    for aft_mm, lets_go in ((70, True), (100, True), (110, False)):
        radius = 20 if aft_mm == 70 else 14
        body = rocket((3, FIN), profile=[[0, 0], [50, radius], [70, radius], [aft_mm, 12], [300, 12]])
        assert (narrowing_load(body)[0] < 0) == lets_go, aft_mm


# --- many fins --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [5, 6, 8])
def test_the_band_of_many_fins_reaches_the_loss_between_them(count):
    many, three = rocket((count, FIN)), rocket((3, FIN))
    found, view = places(many), method_view(many, 0.0)
    assert found[CLASSIC] - view.method_pm95_mm < found[LATTICE] < found[CLASSIC]
    words = " ".join(view.words)
    assert "six carry 16 % less than that and eight 29 % less" in words
    assert "six carry" not in " ".join(method_view(three, 0.0).words)


def test_slender_body_theory_knows_the_loss_too():
    """Slope of the reading: eight fins have 29 % less than N / 2 without a body, less beside one; three 6 % more."""
    slopes = {n: readings(rocket((n, FIN)))[-1] for n in (3, 4, 8)}
    assert {reading.name for reading in slopes.values()} == {SLENDER}
    per_fin = {n: (reading.cn_alpha_per_rad - 2) / n for n, reading in slopes.items()}
    assert 0.68 < per_fin[8] / per_fin[4] < 0.82 and 1.02 < per_fin[3] / per_fin[4] < 1.07


# --- the lift on the body ---------------------------------------------------------------------------------


def test_a_body_that_ends_at_its_fins_carries_less_and_farther_forward():
    """The same fins with an afterbody of twenty calibers behind them have what an endless body carries."""
    ends, goes_on = rocket((4, FIN)), rocket((4, FIN), profile=[[0, 0], [60, 12], [780, 12]])
    moved = {name: places(g)[CARRIED] - places(g)[LATTICE] for name, g in (("ends", ends), ("goes on", goes_on))}
    assert 0 < moved["ends"] < 0.65 * moved["goes on"]
    slopes = [next(r.cn_alpha_per_rad for r in readings(g) if r.name == CARRIED) for g in (ends, goes_on)]
    assert 0.95 < slopes[0] / slopes[1] < 0.99


def test_leaving_the_lift_on_the_body_out_is_called_cautious_only_where_it_is():
    """At the tail it would act aft of the centre of pressure; beside canards, ahead of it."""
    aft, fore = rocket((4, FIN)), rocket((4, CANARD), (4, FIN))
    assert places(aft)[CARRIED] > places(aft)[LATTICE] and places(fore)[CARRIED] < places(fore)[LATTICE]
    cautious, not_cautious = (" ".join(method_view(g, 0.0).words) for g in (aft, fore))
    assert "so leaving it out is the cautious side" in cautious
    assert "so leaving it out is not the cautious side" in not_cautious
    assert places(fore)[CLASSIC] - method_band(fore, readings(fore)).pm95_mm < places(fore)[CARRIED]
