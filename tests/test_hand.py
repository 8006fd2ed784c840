"""Hand measurements: agreement, the usual slips one by one, and whether the verdict hangs on them. Slips are common
practice, with no source; the expected readings are worked by hand on rocket A."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitize.records import FinGroup, Geometry, Quantity
from digitize.result.from_geometry import solve
from digitize.result.hand_checks import HandFacts, hand_checks, hand_warnings, level_if_right, likely_slip
from digitize.result_records import HandCheck

BODY = np.array([[0, 0], [60, 12], [300, 12]], float)
FIN = np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float)
ROCKET_A = Geometry("bracken", BODY, (FinGroup(3, FIN, 2.0),))
SOLVED = solve(ROCKET_A, balance_mm=220.0)
FACTS = HandFacts(
    Quantity(300.0, 1.0), Quantity(24.0, 0.2), Quantity(60.0, 3.0), SOLVED.fins, Quantity(194.25, 1.5), ROCKET_A
)
BALANCE = Quantity(220.0, 2.0)
CP = Quantity(248.54, 1.0)


def slip(name, by_hand):
    (check,) = hand_checks([(name, by_hand)], FACTS)
    assert not check.agrees
    return check.likely_slip


@pytest.mark.parametrize(
    ("name", "by_hand", "says"),
    [
        ("tube", 12.0, "radius"),
        ("tube", 75.4, "round the tube"),  # pi 24
        ("tube", 2.4, "centimetres read as millimetres"),
        ("tube", 240.0, "millimetres read as centimetres"),
        ("length", 11.81, "inches read as millimetres"),  # 300 / 25.4
        ("length", 240.0, "without the nose"),
        ("length", 310.0, "fin tips"),
        ("length", 400.0, "100 mm mark"),
        ("nose", 240.0, "the rest of the body"),
        ("root", 30.0, "the tip for the root"),
        ("tip", 50.0, "the root for the tip"),
        ("span", 50.0, "leading edge"),  # 3-4-5: span 40, sweep 30
        ("span", 41.2, "trailing edge"),  # hypot(40, 10)
        ("span", 52.0, "from the axis"),
        ("span", 104.0, "tip to tip"),
        ("span", 64.0, "over the body"),
        ("cutout-balance", 105.75, "from the tail"),
    ],
)
def test_the_usual_slips(name, by_hand, says):
    assert says in slip(name, by_hand)


@pytest.mark.parametrize(("name", "by_hand"), [("tube", 26.0), ("length", 280.0), ("root", 55.0), ("span", 46.0)])
def test_no_slip_is_made_up(name, by_hand):
    assert slip(name, by_hand) is None


def test_what_agrees_needs_no_slip_and_no_warning():
    hand = [("length", 300.8), ("tube", 24.3), ("nose", 61), ("root", 50.4), ("tip", 30.3), ("span", 39.6)]
    checks = hand_checks([*hand, ("cutout-balance", 197.0)], FACTS)
    assert len(checks) == 7 and all(check.agrees and check.likely_slip is None for check in checks)
    assert hand_warnings(checks, FACTS, CP, BALANCE) == []


def test_a_disagreement_that_matters_makes_doubt_and_one_that_does_not_only_warns():
    """Rocket A balanced at 220 mm: margin (248.54 - 220) / 24 = 1.19, flown. A fin of half the span would not do; a
    length 1 % longer would."""
    checks = hand_checks([("span", 28.0), ("length", 304.0)], FACTS)
    shorter, longer = hand_warnings(checks, FACTS, CP, BALANCE)
    assert (shorter.code, longer.code) == ("HAND_MATTERS", "HAND_DISAGREES")
    assert "the verdict would be" in shorter.text


def test_a_likely_slip_is_named_and_excuses_nothing():
    """A span of 104 mm, were it right, would leave rocket A flying; a diameter of half, and all else with it, would
    not: its radius was measured, or its scale is wrong."""
    (wide,) = hand_warnings(hand_checks([("span", 104.0)], FACTS), FACTS, CP, BALANCE)
    assert wide.code == "HAND_DISAGREES" and "tip to tip" in wide.text
    (half,) = hand_warnings(hand_checks([("tube", 12.0)], FACTS), FACTS, CP, BALANCE)
    assert half.code == "HAND_MATTERS" and "radius" in half.text and "the verdict would be" in half.text


def test_without_a_balance_point_nothing_hangs_on_the_hand():
    (warning,) = hand_warnings(hand_checks([("span", 28.0)], FACTS), FACTS, CP, None)
    assert warning.code == "HAND_DISAGREES"


@pytest.mark.parametrize("name", ["tube", "length", "root", "tip", "span", "cutout-balance"])
def test_every_measurement_is_followed_to_the_verdict(name):
    """With the margin just above one caliber, something smaller by a fifth of any of them takes it below, or, for the
    tube, above: calibers get smaller."""
    photo = next(c for c in hand_checks([(name, 1.0)], FACTS)).by_photo_mm
    levels = set()
    for share in (0.6, 0.8, 1.25, 1.6):
        check = HandCheck(name, share * photo.value, photo, False)
        for balance in (218.0, 222.0, 224.0):
            levels.add(level_if_right(check, FACTS, replace(CP, pm95=0.2), Quantity(balance, 0.2)))
    assert levels - {None}, name


@given(by_hand=st.floats(0.01, 5000), name=st.sampled_from(["length", "tube", "nose", "root", "tip", "span"]))
def test_any_number_gets_an_answer(by_hand, name):
    for check in hand_checks([(name, by_hand)], FACTS):
        assert check.agrees or hand_warnings([check], FACTS, CP, BALANCE)
    assert likely_slip(name, by_hand, Quantity(10.0, 0.0), FACTS) is None or by_hand > 0


def test_fins_are_left_out_where_there_are_none():
    assert hand_checks([("span", 40.0)], replace(FACTS, fins=())) == ()
