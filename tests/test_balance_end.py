"""From which end the balance point was measured: said, asked, or not believed.

Rocket A of the check values: 300 mm long, 24 mm in diameter, centre of pressure 248.5 mm from the nose tip.
"""

import json

import numpy as np
import pytest
from rockets import loading_of
from test_aero_components import ROCKET_A

from digitize import cli
from digitize.errors import UsageRefusal
from digitize.margin.stability import balance_quantity
from digitize.option_records import BalancePoint
from digitize.records import FinGroup, Geometry, Quantity
from digitize.request.option_table import texts
from digitize.request.options import measure_options
from digitize.request.parsers import parse_balance
from digitize.result.from_geometry import solve

LENGTH_MM, CALIBER_MM, CP_MM = 300.0, 24.0, 248.54


def solved(*words, **others):
    return solve(ROCKET_A, loading=loading_of(*words, **others))


def codes(result):
    return [warning.code for warning in result.warnings]


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("250mm", BalancePoint(250.0)),
        ("250mm,from-nose", BalancePoint(250.0, "from-nose")),
        (" 16.3 cm , From Tail ", BalancePoint(163.0, "from-tail")),
    ],
)
def test_the_end_is_said_after_a_comma(text, point):
    assert parse_balance(text) == point


@pytest.mark.parametrize("text", ["163mm,tail end", "163mm,", "163,from-tail", "from-tail", "163mm,from-tail,x"])
def test_another_end_is_refused_with_both_forms(text):
    with pytest.raises(UsageRefusal) as refused:
        parse_balance(text)
    assert "--balance" in refused.value.what


def test_from_the_tail_is_the_same_rocket():
    """90 mm from the tail is 210 mm from the nose tip."""
    tail, nose = solved("90mm,from-tail"), solved("210mm")
    assert tail.balance_mm.value == pytest.approx(nose.balance_mm.value)
    assert tail.margin_calibers == nose.margin_calibers and tail.verdict_level == nose.verdict_level == "fly"
    assert tail.as_balanced_mm == balance_quantity(210.0)


def test_a_balance_point_measured_from_the_tail_is_never_flown_on():
    """Balanced at 210 mm, said as the 90 mm from the tail: the margin looks like 6.6 and is 1.6."""
    result = solved("90mm")
    assert result.verdict_level == "look again" and codes(result) == ["BALANCE_END"]
    right = solved("210mm").margin_calibers.value
    assert f"From the tail the margin would be {right:.2f}" in result.verdict_text
    assert "90mm,from-nose" in result.warnings[0].remedy and "90mm,from-tail" in result.warnings[0].remedy


@pytest.mark.parametrize("at_mm", range(60, 296, 15))
def test_unsaid_it_is_believed_up_to_four_calibers_and_asked_about_above_two_and_a_half(at_mm):
    """By hand from the centre of pressure: (248.54 - x) / 24."""
    margin, result = (CP_MM - at_mm) / CALIBER_MM, solved(f"{at_mm}mm")
    doubted = margin > 4 or at_mm < LENGTH_MM / 4
    assert (result.verdict_level == "look again") == doubted == ("BALANCE_END" in codes(result))
    assert ("measured from the nose tip?" in result.verdict_text) == (doubted or margin > 2.5)
    said = solved(f"{at_mm}mm,from-nose")
    assert "BALANCE_END" not in codes(said) and "nose tip?" not in said.verdict_text
    assert said.margin_calibers == result.margin_calibers
    assert (said.verdict_level == "fly") == (margin - said.margin_calibers.pm95 >= 1)
    assert said.verdict_level != "look again"


def test_the_front_quarter_is_asked_about_even_with_a_usual_margin():
    """A stub 140 mm long whose centre of pressure lies far forward: 34 mm is less than a quarter of it, 36 is not."""
    body = np.array([[0, 0], [30, 15], [60, 25], [140, 25]], float)
    fins = FinGroup(4, np.array([[90, 25], [120, 85], [150, 85], [140, 25]], float), 2.0)
    forward, behind = (solve(Geometry("stub", body, (fins,)), loading=loading_of(f"{at}mm")) for at in (34, 36))
    assert behind.margin_calibers.value < forward.margin_calibers.value < 2
    assert "BALANCE_END" in codes(forward) and "front quarter" in forward.verdict_text
    assert "BALANCE_END" not in codes(behind) and behind.verdict_level == "fly"


def test_a_short_rocket_that_flies_by_one_end_alone_is_asked_before_it_flies():
    """5.6 calibers long, centre of pressure 107 mm back: 40 mm from the nose tip makes 2.7 calibers, from the tail
    0.3 (by hand from the centre of pressure)."""
    body = np.array([[0, 0], [50, 12.5], [140, 12.5]], float)
    fins = FinGroup(4, np.array([[100, 12.5], [125, 45], [140, 45], [140, 12.5]], float), 2.0)
    short = Geometry("short", body, (fins,))
    unsaid, said, tail = (solve(short, loading=loading_of(f"40mm{end}")) for end in ("", ",from-nose", ",from-tail"))
    assert 2.5 < unsaid.margin_calibers.value < 4 and tail.verdict_level not in ("fly", "marginal")
    assert unsaid.verdict_level == "look again" and codes(unsaid) == ["BALANCE_END"]
    assert f"From the tail the margin would be {tail.margin_calibers.value:.2f}" in unsaid.verdict_text
    assert said.verdict_level == "fly" and "BALANCE_END" not in codes(said)


def test_with_motors_only_the_share_that_was_balanced_moves():
    """From the tail as said now is what the question promises."""
    words = {"mass": "60g", "motor": ["large,24g,12g,70mm,5mm"], "balanced_with": "none"}
    unsaid, tail = solved("100mm", **words), solved("100mm,from-tail", **words)
    assert f"would be {tail.margin_calibers.value:.2f}" in unsaid.verdict_text
    assert unsaid.verdict_level == "look again" and tail.verdict_level == "fly"


def test_off_the_body_from_either_end_is_refused(capsys, tmp_path):
    for words in ("310mm", "310mm,from-nose", "310mm,from-tail"):
        with pytest.raises(UsageRefusal):
            solved(words)
    assert cli.main(["solve", "samples/rocket-a.toml", "--balance", "310mm,from-tail"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_the_options_keep_it_and_ask_it_again_as_typed():
    options = measure_options(["p.jpg"], balance="163mm,from-tail", mass="60g", add=["parachute,12g,180mm"])
    assert texts(options)["balance"] == "163.0mm,from-tail"
    assert options.loading().from_tail == balance_quantity(163.0) and options.loading().end_said
    assert texts(measure_options(["p.jpg"], balance="163mm"))["balance"] == "163.0mm"
    assert options.balance_mm == 163.0 and options.loading().balance is None
    assert measure_options(["p.jpg"], balance="250mm").loading().balance == Quantity(250.0, 2.0)


@pytest.mark.parametrize("command", ["ballast", "swing"])
def test_ballast_and_swing_take_and_ask_the_same(command, capsys, tmp_path):
    folder = tmp_path / "r"
    assert cli.main(["solve", "samples/rocket-a.toml", "--out", str(folder)]) == 0

    def told(balance):
        capsys.readouterr()
        assert cli.main([command, str(folder), "--mass", "90g", "--balance", balance, "--json"]) == 0
        data = json.loads(capsys.readouterr().out)
        return data if command == "ballast" else data["plan"]

    capsys.readouterr()
    assert cli.main([command, str(folder), "--mass", "90g", "--balance", "90mm"]) == 2
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1 and ".." not in said.err
    assert "From the tail the margin would be 1.61" in said.err and "90mm,from-nose" in said.err
    assert "measured from the nose tip?" in told("170mm")["question"]
    for plain in ("210mm", "90mm,from-tail", "90mm,from-nose"):
        assert told(plain)["question"] == ""
    at = told("90mm,from-tail")
    assert (at["balance_mm"] if command == "swing" else at["before"][0]["balance_mm"]["value"]) == pytest.approx(210)


def test_a_weight_worked_out_from_a_doubtful_result_says_so_first(capsys, tmp_path):
    """The folder holds the slip: 'no weight is needed' is then no answer by itself, on paper, page or report."""
    folder = tmp_path / "r"
    words = ["solve", "samples/rocket-a.toml", "--mass", "90g", "--out", str(folder), "--balance"]
    for balance, first in (("90mm", True), ("90mm,from-nose", False)):
        assert cli.main([*words, balance]) == 0
        capsys.readouterr()
        assert cli.main(["ballast", str(folder)]) == 0
        out = capsys.readouterr().out
        assert out.startswith("rocket A: Look again first" if first else "rocket A: No nose weight is needed")
        assert ("Look again first" in (folder / "ballast.html").read_text()) == first
        assert out.count("look again") == first


def test_the_margin_is_not_said_twice():
    text = solved("90mm").verdict_text
    assert text.count("6.61") == 1 and ".." not in text
