"""The margin and the verdict: the levels follow the lower end of the band, and doubt never helps."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitize.margin import cautions
from digitize.margin.stability import BY_CUTOUT, BY_PARTS, LEVELS, balance_quantity, deciding, margin_calibers, verdict
from digitize.records import Quantity
from digitize.units.rounding import with_band


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


def test_mass_is_said_beside_it_and_the_cut_out_is_not():
    """A good rocket's cut-out margin is often below 0: said in the headline it reads as a verdict of its own."""
    text = verdict(Quantity(1.5, 0.1), Quantity(-0.4, 0.1), mass_g=1600).text
    assert "cut-out" not in text and "0.40" not in text and "ahead" not in text
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


# --- which margin decides ---------------------------------------------------------------------------------


STRAKES = Quantity(-0.23, 0.79), Quantity(1.26, 0.08)  # as seen: the cut-out lies aft of the centre of pressure
STOUT = Quantity(0.13, 0.22), Quantity(1.4, 0.1)


@pytest.mark.parametrize(("margin", "cutout"), [STRAKES, STOUT])
def test_outside_the_method_the_cut_out_never_makes_a_rocket_fly_that_its_parts_do_not(margin, cutout):
    assert verdict(cutout).level == "fly"  # alone it would
    got = verdict(margin, cutout, outside=True)
    assert got.level == "do not fly" and "by its parts" in got.text
    assert deciding(margin, cutout, outside=True) == deciding(margin, None, outside=True)


def test_outside_the_method_the_cut_out_decides_where_it_is_lower_and_elsewhere_never():
    high, low = Quantity(1.8, 0.1), Quantity(0.7, 0.1)
    assert deciding(high, low, outside=True).by == BY_CUTOUT
    got = verdict(high, low, outside=True)
    assert got.level == "marginal" and "0.70" in got.text and "air straight from the side" in got.text
    assert deciding(high, low, outside=False).by == BY_PARTS and verdict(high, low).level == "fly"


@given(
    one=st.floats(-5, 5), pm95_one=st.floats(0, 3), two=st.floats(-5, 5), pm95_two=st.floats(0, 3)
)  # fmt: skip
def test_outside_the_method_fly_needs_both(one, pm95_one, two, pm95_two):
    by_parts, by_cutout = Quantity(one, pm95_one), Quantity(two, pm95_two)
    level = verdict(by_parts, by_cutout, outside=True).level
    assert (level == "fly") == (verdict(by_parts).level == verdict(by_cutout).level == "fly")


# --- the headline, and what to do -------------------------------------------------------------------------


def test_over_stable_stands_in_the_headline_and_usual_margins_do_not():
    for calibers in (2.6, 14.0):
        got = verdict(Quantity(calibers, 0.1))
        assert got.level == "fly" and got.headline == "fly, in calm air only: over-stable"
    for got in (verdict(Quantity(1.5, 0.1)), verdict(Quantity(2.4, 0.1)), verdict(Quantity(14.0, 0.1), doubt="x")):
        assert got.headline == got.level


def test_measuring_is_advised_only_where_it_can_help():
    """Of 1.05 +- 0.15 the method makes 0.14, or 0.03: only in the second case may measuring reach one caliber."""
    margin = Quantity(1.05, 0.15)
    assert "measure more closely" not in verdict(margin, floor_pm95=0.14).text
    assert "measure more closely" in verdict(margin, floor_pm95=0.03).text
    low = Quantity(0.9, 0.25)  # measured, it may turn out as 1.14
    assert "measure more closely" in verdict(low, floor_pm95=0.06).text
    assert "measure more closely" not in verdict(low, floor_pm95=0.23).text
    wide = Quantity(0.9, 0.9)
    assert "no measuring helps" in verdict(wide, floor_pm95=0.85).text
    assert "better photo" in verdict(wide, floor_pm95=0.1).text


def test_what_falls_short_of_the_limit_never_reads_as_the_limit():
    got = verdict(Quantity(1.004, 0.0059))
    assert got.level == "marginal" and "as low as 0.99" in got.text


def test_verdict_and_table_round_alike():
    """0.181 once was 0.19 in the verdict and 0.18 in the table."""
    margin = Quantity(0.8912, 0.1809)
    assert with_band(margin, "calibers") in verdict(margin).text and "0.89 \u00b1 0.18" in verdict(margin).text
