"""Inches, ounces and pounds where a person reads; millimetres and grams in the results, whatever is shown.

The factors are the international yard and pound agreement of 1959 (inch 25.4 mm, pound 0.45359237 kg, sixteen ounces to
it) and standard gravity, 9.80665 m/s² (3rd CGPM, 1901), as tabled in NIST Special Publication 811, appendix B.8 (from
memory).
"""

import doctest
import json
import re
from html import unescape

import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitize import cli
from digitize.report.page import report_html
from digitize.report.text import summary_text
from digitize.result.schema import RESULT
from digitize.units import sentences, shown_units
from digitize.units.rounding import at_least, band_alone, both, sized, with_band
from digitize.units.sentences import in_words
from digitize.units.shown_units import shown_in

ROCKET = "samples/rocket-a.toml"
MOTORS = ("--motor", "large,24g,12g,70mm,5mm", "--motor", "small,16g,9g,44mm")
METRIC = re.compile(r"\d ?(?:mm²|mm|cm|kg|g|N|m|m/s|km/h)(?![\w/²-]| equivalent| s\b)")
IMPERIAL = re.compile(r"\d ?(?:in²|in(?! the| its)|oz|lbf|lb|ft|mph)(?![\w/²-])")
MM_PER = {"in": 25.4, "in²": 25.4**2, "oz": 28.349523125, "lbf": 0.45359237 * 9.80665, "ft": 0.3048}
METRIC_OF = {"in": "mm", "in²": "mm²", "oz": "g", "lbf": "N", "ft": "m"}


def said_by(capsys, *argv):
    assert cli.main([str(word) for word in argv]) == 0
    return capsys.readouterr().out


def text_of(html):
    """What is read of a page, but for the code's distances, which stand in both units: 15 ft (5 m)."""
    words = unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL)))
    return re.sub(r"\d+ ft \(\d m\)", "", words)


def sizes(text, unit):
    """Every (value, band or None, half a unit of the last place) with that unit, in order."""
    number = r"[+-]?\d+(?:\.\d+)?"
    pattern = rf"(?<![\w.])({number})(?: ± ({number}))? {re.escape(unit)}(?![\w²/]| the| its)"
    found = []
    for match in re.finditer(pattern, " ".join(text.split())):
        places = len(match[1].partition(".")[2])
        found.append((float(match[1]), match[2] and float(match[2]), 0.5 * 10.0**-places))
    return found


@pytest.fixture
def both_folders(tmp_path, capsys):
    folders = {}
    for name in ("mm", "in"):
        folders[name] = tmp_path / name
        argv = ["solve", ROCKET, "--balance", "200mm", "--mass", "90g", *MOTORS, "--units", name]
        said = said_by(capsys, *argv, "--out", folders[name])
        (folders[name] / "summary.txt").write_text(said.replace(str(folders[name]), ""), "utf-8")
    return folders


def test_the_factors_are_the_defined_ones():
    assert shown_units.MM_PER_INCH == 25.4
    assert pytest.approx(453.59237 / 16, rel=1e-15) == shown_units.GRAMS_PER_OUNCE
    assert pytest.approx(0.45359237 * 9.80665, rel=1e-15) == shown_units.NEWTONS_PER_POUND_FORCE
    with shown_in("in"):
        assert shown_units.shown_number(304.8, "mm") == pytest.approx(12, rel=1e-15)
        assert shown_units.shown_number(0.3048, "m") == pytest.approx(1, rel=1e-15)
        assert shown_units.shown_number(1609.344 / 1000, "km/h") == pytest.approx(1, rel=1e-15)  # the mile, 1760 yards
        assert shown_units.shown_number(645.16, "mm²") == pytest.approx(1, rel=1e-15)
        assert shown_units.shown_number(3.0, "calibers") == 3


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        # Worked by hand: 248.5 / 25.4 = 9.7835, 3.0 / 25.4 = 0.1181 and up to two digits.
        (lambda: with_band({"value": 248.5, "pm95": 3.0}, "mm"), "9.78 ± 0.12 in"),
        (lambda: with_band({"value": 33.2, "pm95": 0.001}, "mm"), "1.307 ± 0.001 in"),
        (lambda: with_band({"value": 1600.0, "pm95": 0.0}, "mm²"), "2.48 in²"),  # 1600 / 645.16 = 2.4800
        (lambda: with_band({"value": 89.0, "pm95": 1.9}, "g"), "3.14 ± 0.07 oz"),
        (lambda: with_band({"value": 1.5, "pm95": 0.2}, "calibers"), "1.50 ± 0.20 calibers"),
        (lambda: with_band({"value": 1.0, "pm95": float("inf")}, "mm"), "0.039 (band unknown) in"),
        (lambda: with_band(None, "mm"), "unknown"),
        (lambda: band_alone(9.8, "mm"), "± 0.39 in"),
        (lambda: band_alone(0.0, "mm"), "± 0 in"),
        (lambda: sized(41.275, "mm"), "1.625 in"),
        (lambda: sized(-1.9, "mm", 1, sign=True), "-0.075 in"),
        (lambda: sized(0.0, "mm", 1, sign=True), "0.000 in"),
        (lambda: sized(3.4, "m", 1), "11.2 ft"),
        (lambda: at_least(45.0, "N", 0), "10.2 lbf"),  # 10.116
        (lambda: both(100.0, "mm"), "3.937 in (100 mm)"),
    ],
)
def test_numbers_in_inches(shown, words):
    with shown_in("in"):
        assert shown() == words


def test_without_a_word_all_is_metric():
    assert with_band({"value": 248.5, "pm95": 3.0}, "mm") == "248.5 ± 3.0 mm"
    assert both(100.0, "mm") == "100 mm (3.937 in)"
    assert in_words("2 in, 50 mm") == "2 in, 50 mm"
    with shown_in("parsec"):
        assert sized(1.0, "mm") == "1 mm"


@given(st.floats(0.01, 3000), st.floats(0.001, 300))
def test_a_band_in_inches_is_never_narrower(value, pm95):
    """And says the same number: the value within half its last place, the band at most two last places wider."""
    with shown_in("in"):
        ((shown, band, half),) = sizes(with_band({"value": value, "pm95": pm95}, "mm"), "in")
    assert abs(shown * 25.4 - value) <= half * 25.4 * (1 + 1e-6)
    assert pm95 - 0.11 * 2 * half * 25.4 <= band * 25.4 <= pm95 + 2.2 * half * 25.4


@given(st.floats(0.05, 2000))
def test_a_weight_that_is_needed_is_never_rounded_down(grams):
    with shown_in("in"):
        ((ounces, _, half),) = sizes(at_least(grams, "g", 1), "oz")
    assert grams - 1e-3 <= ounces * 28.349523125 <= grams + 2.01 * half * 28.349523125


@pytest.mark.parametrize(
    ("metric", "words"),
    [
        ("A lens of 52 mm equivalent, 35 mm-equivalent", "A lens of 52 mm equivalent, 35 mm-equivalent"),
        ("at 1.8 g/cm3 and 320 N s", "at 1.8 g/cm3 and 320 N s"),
        ("12.0 and 14.0 mm, or 12.0 to 14.0 mm", "0.472 and 0.551 in, or 0.472 to 0.551 in"),
        ("brings ± 7.6 mm (± 0.23 calibers)", "brings ± 0.30 in (± 0.23 calibers)"),
        ("write --balance 254mm,from-nose", "write --balance 10in,from-nose"),
        ("--scale checker=7x5x12.7mm", "--scale checker=7x5x0.5in"),
        ("the sheet's 100 mm bar", "the sheet's 100 mm (3.937 in) bar"),
        ("2131 ± 78 mm² each", "3.30 ± 0.12 in² each"),
        ("4 m/s across", "13 ft/s across"),
        ("fin group 2, 3 fins, page 118", "fin group 2, 3 fins, page 118"),
    ],
)
def test_sentences_in_inches(metric, words):
    with shown_in("in"):
        assert in_words(metric) == words
        assert in_words(words) == words


def test_a_sentence_s_number_reads_as_in_the_table():
    """38.0499 ± 0.98 mm is 1.498 ± 0.039 in; from the digits of the sentence it would be 1.496 ± 0.040."""
    warning = {"text": "the photo's 38.0 ± 1.0 mm", "code": "X"}
    data = {"span_mm": {"value": 38.0499, "pm95": 0.98}, "warnings": [warning]}
    with shown_in("in"):
        assert sentences.in_shown_units(data)["warnings"][0]["text"] == "the photo's 1.498 ± 0.039 in"


def test_the_result_is_the_same_but_for_its_units(both_folders):
    told = {name: json.loads((folder / "result.json").read_text()) for name, folder in both_folders.items()}
    assert [told[name].pop("units") for name in ("mm", "in")] == ["mm", "in"]
    assert told["mm"] == told["in"]
    assert (both_folders["mm"] / "geometry.toml").read_bytes() == (both_folders["in"] / "geometry.toml").read_bytes()


@pytest.mark.parametrize("page", ["summary.txt", "report.html"])
def test_what_is_shown_is_the_same_in_both(both_folders, page):
    """Every number in inches, times 25.4, is the metric one beside it, to the last places of both; so the rest."""
    shown = {name: text_of((folder / page).read_text("utf-8")) for name, folder in both_folders.items()}
    assert METRIC.search(shown["mm"]) and not METRIC.search(shown["in"]), METRIC.search(shown["in"])
    assert IMPERIAL.search(shown["in"])
    told = 0
    for unit in ("in", "in²", "oz"):
        metric, imperial = sizes(shown["mm"], METRIC_OF[unit]), sizes(shown["in"], unit)
        assert len(metric) == len(imperial)
        for (value, band, half), (other, other_band, other_half) in zip(metric, imperial, strict=True):
            most = (half + MM_PER[unit] * other_half) * (1 + 1e-6)
            assert abs(value - MM_PER[unit] * other) <= most, (value, other)
            assert (band is None) == (other_band is None)
            assert band is None or abs(band - MM_PER[unit] * other_band) <= 2.2 * most, (band, other_band)
            told += 1
    assert told >= 15


def test_a_folder_s_units_are_kept_and_can_be_changed(both_folders, capsys):
    folder = both_folders["in"]
    argv = ("ballast", folder, "--margin", "2")
    ounces, grams = said_by(capsys, *argv), said_by(capsys, *argv, "--units", "mm")
    assert " oz " in ounces and not METRIC.search(ounces)
    assert " g " in grams and not IMPERIAL.search(grams)
    said_by(capsys, *argv)
    page = text_of((folder / "ballast.html").read_text("utf-8"))
    assert not METRIC.search(page) and "mass, oz" in page and "nose weight, oz" in page
    ours, metric = (json.loads(said_by(capsys, *argv, "--json", "--units", name)) for name in ("in", "mm"))
    assert (ours.pop("units"), metric.pop("units")) == ("in", "mm") and ours == metric


def test_the_swing_card_in_feet_and_pounds(both_folders, capsys):
    shown = {name: said_by(capsys, "swing", folder) for name, folder in both_folders.items()}
    assert not METRIC.search(shown["in"]) and not IMPERIAL.search(shown["mm"])
    for unit in ("in", "lbf", "ft"):
        for (value, _, half), (other, _, other_half) in zip(
            sizes(shown["mm"], METRIC_OF[unit]), sizes(shown["in"], unit), strict=True
        ):
            assert abs(value - MM_PER[unit] * other) <= 2.2 * (half + MM_PER[unit] * other_half)
    card = text_of((both_folders["in"] / "swing-card.html").read_text("utf-8"))
    assert not METRIC.search(card) and "{" not in card
    said_by(capsys, "swing", both_folders["in"], "--outcome", "pass", "--units", "mm")
    assert not METRIC.search(text_of((both_folders["in"] / "report.html").read_text("utf-8")))


def test_templates_say_both(both_folders, capsys):
    metric, imperial = ("100 mm (3.937 in)", "1600 mm² (2.480 in²)"), ("3.937 in (100 mm)", "2.480 in² (1600 mm²)")
    for name, (bar, area) in (("mm", metric), ("in", imperial)):
        said = said_by(capsys, "templates", both_folders[name])
        assert bar in said and area in said
        assert bar in (both_folders[name] / "template-fin-1.svg").read_text("utf-8")
        escaped = bar.replace("(", r"\(").replace(")", r"\)").encode()
        assert escaped in (both_folders[name] / "templates.pdf").read_bytes()
    assert "3.937 in (100 mm)" not in said_by(capsys, "templates", both_folders["in"], "--units", "mm")


def test_a_refusal_in_inches(capsys):
    assert cli.main(["solve", ROCKET, "--balance", "508mm", "--units", "in"]) == 2
    line = capsys.readouterr().err
    assert "20 in" in line and "11.81 in" in line and not METRIC.search(line)


def test_the_working_is_in_inches_too(capsys):
    """Every step of it: the sum's moment and place are 1/25.4 of those in millimetres, the slopes the same."""
    found = {}
    for units in ("mm", "in"):
        text = said_by(capsys, "solve", ROCKET, "--balance", "210mm", "--explain", "--units", units)
        moment, slope, place = re.search(r"sum\(slope\) = ([\d.]+) / ([\d.]+) = ([\d.]+)", text).groups()
        area = re.search(r"A = ([\d.]+) (mm|in)2", text)
        assert area[2] == units
        found[units] = [float(moment), float(slope), float(place), float(area[1])]
        assert not (METRIC.search(text) if units == "in" else IMPERIAL.search(text))
    mm, inches = found["mm"], found["in"]
    assert inches[1] == mm[1]
    assert inches[0] * 25.4 == pytest.approx(mm[0], abs=2e-3) and inches[2] * 25.4 == pytest.approx(mm[2], abs=2e-3)
    assert inches[3] * 25.4**2 == pytest.approx(mm[3], rel=1e-3)


def test_units_nobody_knows_are_refused(capsys, both_folders):
    for argv in (["solve", ROCKET], ["measure", "x.jpg"], *(["ballast", both_folders["in"]],) * 1):
        assert cli.main([*map(str, argv), "--units", "ell"]) == 2
        assert "--units: 'ell'" in capsys.readouterr().err
    path = both_folders["in"] / "result.json"
    path.write_text(path.read_text().replace('"units": "in"', '"units": "ell"'))
    assert cli.main(["ballast", str(both_folders["in"])]) == 3
    assert "units is not one of mm, in" in capsys.readouterr().err


def test_a_result_from_before_there_were_units_is_metric(both_folders):
    data = json.loads((both_folders["in"] / "result.json").read_text())
    del data["units"]
    result = RESULT.read(data, "")
    assert not IMPERIAL.search(summary_text(result)) and METRIC.search(summary_text(result))
    assert not IMPERIAL.search(text_of(report_html(result, None, "a.toml")))


def test_docstring_numbers():
    assert doctest.testmod(sentences, raise_on_error=True).attempted >= 1
