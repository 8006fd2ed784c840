"""Digits follow the band. Examples marked GUM: JCGM 100:2008, 7.2.2 and 7.2.6, from memory."""

import math

import pytest

from digitize.records import Quantity
from digitize.units.rounding import (
    MOST_DECIMALS,
    band_alone,
    band_decimals,
    counted,
    exact,
    fixed,
    round_band,
    scale_with_band,
    signed,
    with_band,
)


@pytest.mark.parametrize(
    ("value", "pm95", "written"),
    [
        (100.02147, 0.00035, "100.02147 ± 0.00035"),  # GUM 7.2.2
        (100.0, 10.47, "100 ± 11"),  # GUM 7.2.6: rounded up
        (500.0, 28.05, "500 ± 28"),  # GUM 7.2.6: the digit dropped is negligible
        (248.54225, 1.9, "248.5 ± 1.9"),
        (248.54225, 0.083, "248.542 ± 0.083"),
        (19218.0, 123.4, "19220 ± 130"),
        (0.0, 0.994, "0.0 ± 1.0"),  # the band's rounding carries into the next place
        (9.996, 0.0995, "10.00 ± 0.10"),
        (-0.004, 0.19, "0.00 ± 0.19"),  # never "-0.00"
        (-0.187, 0.041, "-0.187 ± 0.041"),
    ],
)
def test_value_and_band(value, pm95, written):
    assert with_band({"value": value, "pm95": pm95}, "mm per pixel", bare=True) == written


def test_a_band_is_never_written_smaller_than_a_tenth_of_its_last_digit():
    for exponent in range(-4, 5):
        for mantissa in (1.0, 1.04, 1.49, 2.51, 5.05, 9.94, 9.96):
            pm95 = mantissa * 10.0**exponent
            rounded, decimals = round_band(pm95)
            assert pm95 - 0.1001 * 10.0**-decimals <= rounded <= pm95 + 10.0**-decimals


def test_capped_places_round_the_band_up_not_to_nothing():
    assert with_band({"value": 1.8341, "pm95": 0.0021}, "calibers") == "1.83 ± 0.01 calibers"
    assert with_band({"value": 41.6, "pm95": 0.12}, "mm") == "41.6 ± 0.2 mm"


@pytest.mark.parametrize(
    ("quantity", "written"),
    [
        (None, "unknown"),
        ({"value": math.nan, "pm95": 1.0}, "unknown"),
        ({"value": math.inf, "pm95": 1.0}, "unknown"),
        ({"value": 250.0, "pm95": 0.0}, "250 mm"),
        ({"value": 250.0, "pm95": math.inf}, "250 (band unknown) mm"),
        ({"value": 250.0, "pm95": math.nan}, "250 (band unknown) mm"),
    ],
)
def test_numbers_without_a_band(quantity, written):
    assert with_band(quantity, "mm") == written


def test_plain_numbers():
    assert [exact(v) for v in (425.0, 41.6, 53.98, -0.001, 1e6)] == ["425", "41.6", "53.98", "0", "1000000"]
    assert fixed(1249.0, -2) == "1200"
    assert [band_decimals(v) for v in (0.083, 1.9, 12.0, 120.0)] == [3, 1, 0, -1]
    assert scale_with_band({"value": 0.2162828, "pm95": 0.00031}) == "0.21628 ± 0.00031 mm per pixel"


def test_one_number_reads_the_same_everywhere():
    """As a dictionary of result.json or as a Quantity, with its unit or bare; by the unit alone."""
    quantity = Quantity(66.0004, 0.0987)
    told = {"value": quantity.value, "pm95": quantity.pm95}
    assert with_band(quantity, "mm") == with_band(told, "mm") == "66.0 ± 0.1 mm"
    assert with_band(told, "mm", bare=True) == "66.0 ± 0.1"
    assert with_band(Quantity(0.8912, 0.1809), "calibers") == "0.89 ± 0.18 calibers"
    assert with_band(Quantity(1600.0, 3.2), "mm²") == "1600 ± 4 mm²"
    assert with_band(Quantity(12345.678, 0.0001), "mm") == "12345.7 ± 0.1 mm"


def test_a_band_too_narrow_for_its_unit_is_never_made_narrower():
    for unit, most in MOST_DECIMALS.items():
        for pm95 in (0.5 * 10.0**-most, 1.4 * 10.0**-most, 3e-9):
            written = float(with_band(Quantity(1.0, pm95), unit, bare=True).split(" ± ")[1])
            assert pm95 - 0.1001 * 10.0**-most <= written <= pm95 + 1.0001 * 10.0**-most


@pytest.mark.parametrize(
    ("number", "written"),
    [(0, "0 degrees"), (0.6, "1 degree"), (1, "1 degree"), (1.4, "1 degree"), (1.6, "2 degrees"), (-0.2, "0 degrees")],
)
def test_what_is_counted_reads_as_one_or_several(number, written):
    assert counted(number, "degree") == written


def test_large_and_tiny_numbers_are_written_out():
    assert [fixed(v, 0) for v in (1060.4, -0.3, 123456789.0)] == ["1060", "0", "123456789"]
    assert [exact(v) for v in (1060.0, 1e7)] == ["1060", "10000000"]


def test_a_difference_has_its_sign_and_none_of_nothing():
    assert [signed(v, 1) for v in (1.26, -0.24, -0.04, 0.04, 0.0)] == ["+1.3", "-0.2", "0.0", "0.0", "0.0"]
    assert [band_alone(b, "mm") for b in (9.81, 0.02, 123.4, 0.0)] == ["± 9.9 mm", "± 0.1 mm", "± 130 mm", "± 0 mm"]
