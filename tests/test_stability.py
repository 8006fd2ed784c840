"""The margin and the verdict: the levels follow the lower end of the band, and doubt never helps."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitize import cautions
from digitize.records import Quantity
from digitize.stability import LEVELS, balance_quantity, margin_calibers, verdict


def test_margin_of_rocket_a():
    """Rocket A of the check values: centre of pressure 248.54225 on d 24 (regression), balanced at 200."""
    margin = margin_calibers(Quantity(248.54225, 0), balance_quantity(200.0), Quantity(24.0, 0))
    assert margin.value == pytest.approx(48.54225 / 24)
    assert margin.pm95 == pytest.approx(2.0 / 24)


def test_band_of_the_margin_against_sampling():
    """Half the middle 95 % of many samples with the three bands drawn as normal."""
    rng = np.random.default_rng(5)
    x, b, d = Quantity(330, 6), Quantity(270, 3), Quantity(41.6, 1.5)
    cp, balance, diameter = (q.value + q.pm95 / 1.96 * rng.standard_normal(200_000) for q in (x, b, d))
    low, high = np.quantile((cp - balance) / diameter, [0.025, 0.975])
    assert margin_calibers(x, b, d).pm95 == pytest.approx((high - low) / 2, rel=0.02)


@pytest.mark.parametrize(
    ("value", "pm95", "level", "says"),
    [
        (1.5, 0.1, "fly", "1 to 2 is usual."),
        (1.0, 0.0, "fly", "at least 1 is wanted"),
        (2.3, 0.1, "fly", "a little more"),
        (4.0, 0.1, "fly", "into the wind"),
        (1.05, 0.1, "marginal", "as low as 0.95"),
        (0.8, 0.1, "marginal", "nose weight"),
        (0.55, 0.1, "do not fly", "as low as 0.45"),
        (0.2, 0.1, "do not fly", "nose weight"),
        (-0.5, 0.1, "do not fly", "tumble"),
        (1.2, 0.9, "look again", "from 0.30 to 2.10"),
        (0.0, 3.0, "look again", "too wide"),
    ],
)
def test_levels(value, pm95, level, says):
    got = verdict(Quantity(value, pm95))
    assert got.level == level
    assert says in got.text


def test_without_a_balance_point_there_is_no_verdict_but_a_reason():
    got = verdict(None)
    assert got.level == "look again"
    assert "--balance" in got.text


def test_doubt_takes_the_verdict_away_but_never_a_warning():
    assert verdict(Quantity(1.5, 0.1), doubt="the tail is hidden").level == "look again"
    assert "the tail is hidden" in verdict(Quantity(1.5, 0.1), doubt="the tail is hidden.").text
    assert verdict(Quantity(-1, 0.1), doubt="the tail is hidden").level == "do not fly"


def test_cutout_and_mass_are_said_beside_it():
    text = verdict(Quantity(1.5, 0.1), Quantity(-0.4, 0.1), mass_g=1600).text
    assert "0.40 \u00b1 0.10 calibers ahead of the balance point" in text
    assert (
        "cautious bound" in text and "check the fins" in verdict(Quantity(1.5, 0.1), Quantity(1.8, 0.1)).text
    )
    assert "1500 g" in text  # NFPA 1122 (2018) and 14 CFR 101.22
    assert "1500" not in verdict(Quantity(1.5, 0.1), mass_g=1500).text
    assert cautions.mass_caution(None) is None


@given(value=st.floats(-5, 5), pm95=st.floats(0, 3), less=st.floats(0, 3))
def test_less_margin_or_a_wider_band_never_earns_fly(value, pm95, less):
    """'fly' needs the whole band above one caliber; lowering the margin keeps or worsens the level."""
    level = verdict(Quantity(value, pm95)).level
    assert level in LEVELS
    assert (level == "fly") == (value - pm95 >= 1)
    if level != "fly":
        assert verdict(Quantity(value - less, pm95)).level != "fly"
        assert verdict(Quantity(value, pm95 + less)).level != "fly"
    if level == "do not fly":
        assert verdict(Quantity(value - less, pm95)).level == "do not fly"
