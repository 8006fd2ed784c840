"""What to do about too small a margin: the same grams wherever they are said, and none where they would mislead."""

import json
from dataclasses import replace

import pytest
from report_sample import sample_geometry
from rockets import loading_of

from digitize import cli
from digitize.margin.stability import LEVELS
from digitize.margin.warning_codes import Gravity, of_gravity
from digitize.plans.to_do import with_to_do
from digitize.records import Warn
from digitize.report.answer import MEANINGS, next_command, to_do_words
from digitize.report.beside import Beside, after_swing
from digitize.result.from_geometry import solve
from digitize.result.to_json import to_dict
from digitize.units.shown_units import shown_in

GEOMETRY = sample_geometry()  # margin 1 at a balance point of 224.5 mm


def result_of(balance, mass="90g", geometry=GEOMETRY):
    found = solve(geometry, loading=loading_of(balance, mass))
    return with_to_do(found, geometry)


def data_of(*args, **kwargs):
    return json.loads(json.dumps(to_dict(result_of(*args, **kwargs))))


@pytest.fixture
def geometry(tmp_path):
    from digitize.geometry.toml import to_toml

    path = tmp_path / "geometry.toml"
    path.write_text(to_toml(GEOMETRY))
    return path


@pytest.mark.parametrize(("balance", "level"), [("225mm", "marginal"), ("235mm", "do not fly")])
def test_the_second_line_is_what_ballast_says(balance, level, geometry, tmp_path, capsys):
    """And by the law of the lever, (M x + w p) / (M + w), that weight brings the band's low end to one caliber."""
    folder = tmp_path / "my results"
    assert cli.main(["solve", str(geometry), "--balance", balance, "--mass", "90g", "--out", str(folder)]) == 0
    lines = capsys.readouterr().out.splitlines()
    data = json.loads((folder / "result.json").read_text())
    assert data["verdict"]["level"] == level
    command = next(line.strip() for line in lines if line.strip().startswith("digitize ballast"))
    assert command == f"digitize ballast '{folder}'"
    assert cli.main(["ballast", str(folder)]) == 0
    capsys.readouterr()
    plan = json.loads((folder / "ballast.json").read_text())
    grams, place = plan["weight"]["mass_g"], plan["weight"]["x_mm"]
    assert data["to_do"]["nose_weight_g"] == grams > 0
    assert lines[1].startswith(f"  To do: {grams:g} g of modelling clay in the nose tip would do it")

    margin, x = data["margin_calibers"], float(balance.removesuffix("mm"))
    moved_mm = x - (90 * x + grams * place) / (90 + grams)
    low = margin["value"] - margin["pm95"] + moved_mm / 24
    # half a gram is the step it is rounded up by; the weight shrinks the balance point's own band a little too
    assert 1 - 0.02 < low < 1 + 0.5 * (x - place) / (90 * 24) + 0.02
    report = (folder / "report.html").read_text()
    assert f"{grams:g} g of modelling clay in the nose tip" in report and "digitize ballast" in report


def test_best_and_worst_end_are_those_of_the_margin_s_band():
    """With the least weight the band's high end is at one caliber, wherever in the nose (60 mm) it lies: statics."""
    data = data_of("240mm")
    least, margin = data["to_do"]["nose_weight_least_g"], data["margin_calibers"]
    assert 0 < least < data["to_do"]["nose_weight_g"]
    highs = []
    for place in (0.0, 60.0):
        moved_mm = 240 - (90 * 240 + least * place) / (90 + least)
        highs.append(margin["value"] + margin["pm95"] + moved_mm / 24)
    assert highs[1] < 1 < highs[0] < highs[1] + 0.2


def test_without_the_mass_it_is_asked_for_and_the_command_as_it_stands_is_refused(geometry, tmp_path, capsys):
    folder = tmp_path / "r"
    assert cli.main(["solve", str(geometry), "--balance", "235mm", "--out", str(folder)]) == 0
    printed = capsys.readouterr().out
    assert "Weigh it ready to fly" in printed and f"digitize ballast {folder} --mass ...g" in printed
    assert json.loads((folder / "result.json").read_text())["to_do"]["nose_weight_g"] is None
    assert cli.main(["ballast", str(folder), "--mass", "...g"]) == 2
    assert cli.main(["ballast", str(folder), "--mass", "90g"]) == 0


@pytest.mark.parametrize("code", of_gravity(Gravity.GRAVE))
def test_no_grams_while_a_warning_has_to_be_cleared_up(code):
    plain = result_of("260mm")
    assert plain.verdict_level == "do not fly"
    doubted = with_to_do(replace(plain, warnings=(Warn(code, "x", "y"),)), GEOMETRY)
    words = to_do_words(doubted)
    assert doubted.to_do.nose_weight_g is None and "warning" in words and "modelling clay" not in words
    assert next_command(doubted, "r") == ""


def test_nothing_to_do_where_it_flies_and_where_there_is_no_answer():
    assert data_of("200mm")["to_do"] is None and to_do_words(result_of("200mm")) == ""
    assert to_do_words(result_of(None)) == ""
    assert data_of("200mm")["verdict"]["level"] == "fly" and data_of(None)["verdict"]["level"] == "look again"


def test_a_failed_swing_takes_the_grams_away():
    result = result_of("225mm")
    assert "modelling clay" in to_do_words(result)
    failed = Beside(swing={"outcomes": [{"outcome": "fail", "date": "2026-05-01"}]})
    assert to_do_words(after_swing(result, failed)) == ""


def test_where_the_nose_holds_too_little_it_says_so():
    words = to_do_words(result_of("270mm", mass="2kg"))
    assert "is not enough" in words and "would do it" not in words


def test_only_the_crosswind_asks_for_no_weight():
    plain = result_of("200mm")
    upset = with_to_do(replace(plain, verdict_level="marginal"), GEOMETRY)
    assert upset.to_do.kind == "calm air" and "calm air" in to_do_words(upset)


def test_ounces_are_never_less_than_the_grams():
    for balance in ("224mm", "228mm", "235mm", "241mm"):
        result = result_of(balance)
        with shown_in("in"):
            ounces = float(to_do_words(result).split(" oz")[0])
        # the avoirdupois ounce: 28.349523125 g (international agreement of 1959)
        assert 0 <= ounces * 28.349523125 - result.to_do.nose_weight_g < 0.3


def test_every_level_is_explained():
    assert set(MEANINGS) == set(LEVELS)
