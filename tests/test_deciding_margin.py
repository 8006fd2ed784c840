"""One margin decides, and every place shows that one, rounded alike: summary, report, table of a club, nose weight.

Which one is by the rule in margin/stability.py; the shapes are invented, the numbers read off the result itself.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from rockets import loading_of

from digitize import cli
from digitize.club import Outcome, table_row
from digitize.margin.stability import BY_CUTOUT, BY_PARTS
from digitize.records import FinGroup, Geometry, Quantity
from digitize.report.overview import overview_html
from digitize.report.page import report_html
from digitize.report.text import line, summary_text
from digitize.result.from_geometry import solve
from digitize.result.hand_checks import hand_checks, hand_facts, hand_warnings
from digitize.result.schema import RESULT
from digitize.result.to_json import to_dict
from digitize.units.rounding import with_band

TUBE = [[0, 0], [60, 12], [300, 12]]
STUB = [[0, 0], [30, 15], [60, 25], [140, 25]]


def rocket(profile, *fins):
    groups = tuple(FinGroup(count, np.array(outline, float), 2.0) for count, outline in fins)
    return Geometry("sorrel", np.array(profile, float), groups)


USUAL = rocket(TUBE, (3, [[250, 12], [280, 52], [310, 52], [300, 12]]))
STRAKES = rocket(TUBE, (4, [[120, 12], [140, 24], [300, 24], [300, 12]]))
OVERHANG = rocket(TUBE, (3, [[270, 12], [320, 50], [360, 50], [299, 12]]))
SMALL_FINS = rocket(STUB, (3, [[110, 25], [120, 35], [140, 35], [140, 25]]))
BARE = rocket(TUBE)
FLARED = rocket([[0, 0], [60, 12], [250, 12], [300, 18]])
SHAPES = [
    (USUAL, 210, BY_PARTS, "fly"),
    (STRAKES, 150, BY_PARTS, "do not fly"),  # once FLY by the cut-out, which lies aft
    (SMALL_FINS, 50, BY_PARTS, "do not fly"),
    (OVERHANG, 180, BY_CUTOUT, "marginal"),
]


def solved(geometry, at_mm, end="from-nose"):
    return solve(geometry, loading=loading_of(f"{at_mm}mm,{end}", "90g"))


@pytest.mark.parametrize(("geometry", "at_mm", "by", "level"), SHAPES)
def test_every_place_shows_the_margin_that_decides(geometry, at_mm, by, level):
    result = solved(geometry, at_mm)
    assert (result.verdict_level, result.deciding.by) == (level, by)
    data = json.loads(json.dumps(to_dict(result)))
    margin = data["margin_calibers" if by == BY_PARTS else "cutout_margin_calibers"]
    words = with_band(margin, "calibers")
    assert data["deciding_margin"] == {"calibers": margin, "by": by}
    row = table_row(Outcome("sorrel", 0, result, Path("out")))
    assert float(row["margin calibers"]) == pytest.approx(margin["value"], abs=6e-4)
    places = [
        data["verdict"]["text"],
        line(result, "report.html"),
        overview_html([result], [row]),
        summary_text(result),
        report_html(result, None, "sorrel.toml"),
    ]
    assert all(words in " ".join(place.split()) for place in places)


@pytest.mark.parametrize(("geometry", "at_mm", "by", "level"), SHAPES)
def test_the_page_says_which_check_decides_and_what_the_cut_out_stands_for(geometry, at_mm, by, level):
    result = solved(geometry, at_mm)
    checks = report_html(result, None, "sorrel.toml").split("Three checks")[1].split("</section>")[0]
    assert "air straight from the side" in checks
    assert ("Here it decides" in checks) == (by == BY_CUTOUT) == ("This margin decides" not in checks)
    assert ("most good rockets" in checks.lower()) == (by == BY_PARTS)
    assert "cut-out" not in result.verdict_text or level != "fly"


@pytest.mark.parametrize("geometry", [BARE, FLARED])
@pytest.mark.parametrize("at_mm", [20, 39, 60, 100, 150, 250])
def test_without_fins_it_never_flies_nor_nearly(geometry, at_mm):
    assert solved(geometry, at_mm).verdict_level in ("do not fly", "look again")


def test_without_fins_it_would_fly_by_its_margin_alone():
    """So the rule before is not empty."""
    low = solved(FLARED, 100).margin_calibers
    assert low.low > 1 and "no fins" in solved(FLARED, 100).verdict_text


def test_over_stable_is_in_every_headline():
    result = solved(USUAL, 140)
    row = table_row(Outcome("sorrel", 0, result, Path("out")))
    for place in (
        summary_text(result), report_html(result, None, "x"), overview_html([result], [row]), line(result, "x")
    ):  # fmt: skip
        assert "in calm air only: over-stable" in place.lower()
    assert result.verdict_level == row["verdict"] == "fly"
    assert "calm" not in summary_text(solved(USUAL, 210))


def test_a_result_of_before_this_key_still_shows_its_margin():
    data = to_dict(solved(USUAL, 210))
    data.pop("deciding_margin")
    data["verdict"].pop("headline")
    result = RESULT.read(data, "")
    assert "sorrel: FLY" in summary_text(result) and "1.61" in line(result, "x")


def test_a_hand_measurement_is_followed_by_the_margin_that_decides():
    """A cut-out of card that balances 30 mm farther forward: of the strakes' two margins the parts' stays lower, of the
    overhanging fins' the card's own goes below."""
    for geometry, at_mm, matters in ((OVERHANG, 150, True), (USUAL, 150, False)):
        result = solved(geometry, at_mm)
        facts = hand_facts(
            result.length_mm, result.max_diameter_mm, result.pieces, result.fins, result.cutout_centroid_mm, geometry
        )
        checks = hand_checks([("cutout-balance", result.cutout_centroid_mm.value - 30)], facts)
        (warning,) = hand_warnings(checks, facts, Quantity(result.cp_x_mm.value, 0.1), result.balance_mm)
        assert (warning.code == "HAND_MATTERS") == matters


def test_without_a_balance_point_there_is_none_and_every_place_stands():
    result = solve(USUAL)
    assert to_dict(result)["deciding_margin"] is None
    row = table_row(Outcome("sorrel", 0, result, Path("out")))
    assert row["margin calibers"] == "" and "no balance point" in overview_html([result], [row])
    assert "margin" not in line(result, "x") and "no balance point" in report_html(result, None, "x")


def test_no_weight_makes_up_for_missing_fins(tmp_path, capsys):
    path = tmp_path / "bare.toml"
    path.write_text('name = "sorrel"\n[body]\nprofile_mm = [[0, 0], [60, 12], [300, 12]]\n')
    folder = str(tmp_path / "r")
    assert cli.main(["solve", str(path), "--balance", "150mm", "--mass", "90g", "--out", folder]) == 0
    capsys.readouterr()
    assert cli.main(["ballast", folder]) == 6
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and "no fins" in err
