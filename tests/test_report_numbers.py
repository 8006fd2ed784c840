"""Digits follow the band. Examples marked GUM: JCGM 100:2008, 7.2.2 and 7.2.6, from memory."""

import math

import pytest

from digitize.report.numbers import band_decimals, exact, fixed, round_band, scale_with_band, with_band


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
    assert with_band({"value": value, "pm95": pm95}, most_decimals=5) == written


def test_a_band_is_never_written_smaller_than_a_tenth_of_its_last_digit():
    for exponent in range(-4, 5):
        for mantissa in (1.0, 1.04, 1.49, 2.51, 5.05, 9.94, 9.96):
            pm95 = mantissa * 10.0**exponent
            rounded, decimals = round_band(pm95)
            assert pm95 - 0.1001 * 10.0**-decimals <= rounded <= pm95 + 10.0**-decimals


def test_capped_places_round_the_band_up_not_to_nothing():
    assert with_band({"value": 1.8341, "pm95": 0.0021}, "calibers", 2) == "1.83 ± 0.01 calibers"
    assert with_band({"value": 41.6, "pm95": 0.12}, "mm", 1) == "41.6 ± 0.2 mm"


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
