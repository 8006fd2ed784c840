"""The sample photographs through the whole command, against their exact truth, and what is refused.

The photographs are rendered, so their truth is known exactly (samples/README.md); it was computed when they
were drawn, not by this tool. The options are those of the commands in samples/README.md.
"""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from sample_runs import COMMANDS, NAMES, SAMPLES, measured, measured_in

from digitize import cli
from digitize.report.text import summary_text
from digitize.result.from_json import result_of
from digitize.units.shown_units import shown_in

FILES = ("geometry.toml", "outline.svg", "overlay.png", "report.html", "result.json")
EASIEST = "bramble-white-ruler"


def measured_part(cp):
    """The band of the measurement alone: the truth was computed by the headline's own method."""
    return {"value": cp["x_mm"]["value"], "pm95": cp["measured_pm95_mm"]}


TRUTH = {name: json.loads((SAMPLES / f"{name}.json").read_text()) for name in NAMES}
FLAT = [name for name in NAMES if "diagonal" not in COMMANDS[name]]
TURNED = [name for name in NAMES if name not in FLAT]


@pytest.fixture(scope="session")
def run():
    """Measures a sample, each only once: (results folder, result.json)."""
    return measured


def cp_error_calibers(result, truth):
    return (result["cp"]["x_mm"]["value"] - truth["cp_mm"]) / truth["max_diameter_mm"]


def percent_off(quantity, true):
    return 100 * (quantity["value"] / true - 1)


# --- the photographs --------------------------------------------------------------------------------------


def test_every_photograph_has_its_command_and_its_truth():
    assert {path.stem for path in SAMPLES.glob("*.jpg")} == set(NAMES) == {p.stem for p in SAMPLES.glob("*.json")}
    assert FLAT and TURNED


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_a_sample_is_measured_and_the_five_files_are_there(run, name):
    folder, result = run(name)
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)
    assert all(path.stat().st_size > 500 for path in folder.iterdir())
    with Image.open(folder / "overlay.png") as overlay:
        assert overlay.format == "PNG" and min(overlay.size) > 600
    assert result["photo"]["file"] == f"{name}.jpg"


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_length_and_diameters(run, name):
    """Half a percent; the aft end, which fins may hide, within its own band if that is wider."""
    _, result = run(name)
    truth, base = TRUTH[name], result["base_diameter_mm"]
    assert percent_off(result["length_mm"], truth["length_mm"]) == pytest.approx(0, abs=0.5)
    assert percent_off(result["max_diameter_mm"], truth["max_diameter_mm"]) == pytest.approx(0, abs=0.5)
    allowed = max(base["pm95"], 0.01 * truth["base_diameter_mm"])
    assert base["value"] == pytest.approx(truth["base_diameter_mm"], abs=allowed)
    assert base["pm95"] < 0.15 * truth["base_diameter_mm"]


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_fins(run, name):
    """One fin's area within 3 % where it lies flat in the picture, within 8 % where it is turned."""
    _, result = run(name)
    (fin,), (true,) = result["fins"], TRUTH[name]["fin_sets"]
    limit = 3 if name in FLAT else 8
    assert fin["count"] == true["count"]
    assert percent_off(fin["area_mm2"], true["planform_area_mm2"]) == pytest.approx(0, abs=limit)
    assert percent_off(fin["span_mm"], true["span_mm"]) == pytest.approx(0, abs=limit)
    assert percent_off(fin["root_chord_mm"], true["root_chord_mm"]) == pytest.approx(0, abs=2 * limit)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_cut_out(run, name):
    """Where the side view balances, within a tenth of a caliber; its area within 2 %."""
    cutout = run(name)[1]["cutout"]
    truth = TRUTH[name]
    caliber = truth["max_diameter_mm"]
    assert (cutout["centroid_mm"]["value"] - truth["cutout_centroid_mm"]) / caliber == pytest.approx(0, abs=0.1)
    assert percent_off(cutout["area_mm2"], truth["cutout_area_mm2"]) == pytest.approx(0, abs=2)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_centre_of_pressure(run, name):
    """Flat fins within 0.1 caliber, turned ones within 0.12; the slope within a tenth."""
    _, result = run(name)
    assert cp_error_calibers(result, TRUTH[name]) == pytest.approx(0, abs=0.1 if name in FLAT else 0.12)
    assert percent_off(result["cp"]["cn_alpha_per_rad"], TRUTH[name]["cn_alpha_per_rad"]) == pytest.approx(0, abs=10)


@pytest.mark.slow
def test_centre_of_pressure_of_them_all(run):
    """Median error at most 0.06 caliber; more than nothing, or the truth has leaked into the answer."""
    errors = np.array([cp_error_calibers(run(name)[1], TRUTH[name]) for name in NAMES])
    assert 0.0005 < np.median(np.abs(errors)) <= 0.06, dict(zip(NAMES, errors.round(3), strict=True))


@pytest.mark.slow
def test_the_bands_hold_the_truth_in_all_but_one_at_most_and_say_something(run):
    outside, half_widths = [], []
    for name in NAMES:
        cp, caliber = measured_part(run(name)[1]["cp"]), TRUTH[name]["max_diameter_mm"]
        half_widths.append(cp["pm95"] / caliber)
        if abs(cp["value"] - TRUTH[name]["cp_mm"]) > cp["pm95"]:
            outside.append(name)
    assert len(outside) <= 1, outside
    assert min(half_widths) > 0.005 and max(half_widths) < 0.25, half_widths


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_no_rocket_is_said_to_fly_that_should_not(run, name):
    """By the true margin and the half width of the run's own band: its low end is at least one caliber to fly (common
    practice), and half a caliber to be marginal (our own limit)."""
    _, result = run(name)
    true_margin = (TRUTH[name]["cp_mm"] - result["balance_mm"]["value"]) / TRUTH[name]["max_diameter_mm"]
    assert result["margin_calibers"]["value"] == pytest.approx(true_margin, abs=0.15)
    lowest = true_margin - result["margin_calibers"]["pm95"]
    assert result["verdict"]["level"] == ("fly" if lowest >= 1 else "marginal" if lowest >= 0.5 else "do not fly")


@pytest.mark.slow
def test_the_inch_ruler_s_answer_is_in_inches_and_its_file_metric(run):
    """12 inches are 304.8 mm; the truth is 16.5 inches long. The second line is in ounces."""
    folder, result = run("yarrow-inch-ruler")
    assert result["units"] == "in" and result["length_mm"]["value"] == pytest.approx(16.5 * 25.4, rel=5e-3)
    assert result["verdict"]["level"] == "marginal" and 1 < result["to_do"]["nose_weight_g"] < 40
    with shown_in("in"):
        said = summary_text(result_of(folder / "result.json"), folder / "report.html")
    assert " oz of modelling clay in the nose tip would do it" in said


@pytest.mark.slow
def test_the_plainest_sample_flies_without_a_warning_that_spoils_it(run):
    result = run(EASIEST)[1]
    assert result["verdict"]["level"] == "fly", result["warnings"]


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_the_written_geometry_gives_the_same_centre_of_pressure(run, capsys, name):
    folder, result = run(name)
    capsys.readouterr()
    assert cli.main(["solve", str(folder / "geometry.toml"), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    for key in ("length_mm", "max_diameter_mm"):
        assert again[key]["value"] == pytest.approx(result[key]["value"], abs=1e-6)
    assert again["cp"]["x_mm"]["value"] == pytest.approx(result["cp"]["x_mm"]["value"], abs=1e-6)


@pytest.mark.slow
def test_a_balance_point_marked_in_the_photo(run, tmp_path):
    """The pixel where the axis stands at 390 mm, as a mark on the skin: nearer the camera, so nearer the middle.

    The margin's band is narrower than by tape measure, as scale errors cancel.
    """
    _, by_tape = run(EASIEST)
    x, y = by_tape["drawing"]["balance"]
    options = list(COMMANDS[EASIEST])
    at = options.index("--balance")
    del options[at : at + 2]
    marked = measured_in(tmp_path / "r", SAMPLES / f"{EASIEST}.jpg", [*options, "--balance-at", f"{x},{y}"])
    tape_mm = by_tape["balance_mm"]["value"]
    assert 0.2 < tape_mm - marked["balance_mm"]["value"] < 5
    assert marked["balance_mm"]["pm95"] > by_tape["balance_mm"]["pm95"]
    assert marked["margin_calibers"]["pm95"] < by_tape["margin_calibers"]["pm95"]


# --- the same photograph seen otherwise -------------------------------------------------------------------

TURNS = {"mirrored": Image.Transpose.FLIP_LEFT_RIGHT, "turned": Image.Transpose.ROTATE_90}


@pytest.mark.slow
@pytest.mark.parametrize("turn", TURNS)
def test_mirrored_or_turned_it_measures_the_same(run, tmp_path, turn):
    """The same photograph otherwise seen agrees within the band each result states for itself.

    The solver alone is invariant to far less than this (test_solid); what differs here is the edge finder's way round
    the picture.
    """
    assert "--nose" not in COMMANDS[EASIEST]  # which way it points is found anew
    with Image.open(SAMPLES / f"{EASIEST}.jpg") as photo:
        photo.transpose(TURNS[turn]).save(tmp_path / "seen.png", exif=photo.getexif(), compress_level=1)
    one, other = run(EASIEST)[1], measured_in(tmp_path / "results", tmp_path / "seen.png", COMMANDS[EASIEST])
    for seen, again in (
        (one["cp"]["x_mm"], other["cp"]["x_mm"]),
        (one["length_mm"], other["length_mm"]),
        (one["max_diameter_mm"], other["max_diameter_mm"]),
    ):
        assert again["value"] == pytest.approx(seen["value"], abs=min(seen["pm95"], again["pm95"]))
    assert other["cp"]["x_mm"]["pm95"] == pytest.approx(one["cp"]["x_mm"]["pm95"], rel=0.2)


# --- what is refused --------------------------------------------------------------------------------------


@pytest.fixture
def inputs(tmp_path):
    """Paths of good and bad inputs in a folder of their own."""
    photo = tmp_path / "rocket.jpg"
    shutil.copy(SAMPLES / f"{EASIEST}.jpg", photo)
    (tmp_path / "cut.jpg").write_bytes(photo.read_bytes()[:200_000])
    (tmp_path / "empty.jpg").write_bytes(b"")
    with Image.open(photo) as picture:  # the lower part holds the table only
        picture.crop((0, 1150, 2400, 1600)).save(tmp_path / "table.jpg")
    Image.new("RGB", (800, 600), (120, 130, 140)).save(tmp_path / "plain.png")
    good = (SAMPLES / "rocket-a.toml").read_text()
    (tmp_path / "inside.toml").write_text(good.replace("[280, 52]", "[280, 2]").replace("[310, 52]", "[290, 2]"))
    (tmp_path / "broken.toml").write_text(good.replace("[[fins]]", "[[fins"))
    return tmp_path


REFUSED = {
    "no scale": (4, ["measure", "rocket.jpg", "--fins", "4"], "--scale"),
    "a scale that is not in the picture": (
        4,
        ["measure", "table.jpg", "--scale", "checker=7x5x15mm"],
        "checker",
    ),
    "a cut off photo": (3, ["measure", "cut.jpg", "--scale", "tube=33.2mm"], "cut.jpg"),
    "an empty photo": (3, ["measure", "empty.jpg", "--scale", "tube=33.2mm"], "empty.jpg"),
    "no photo of that name": (3, ["measure", "none.jpg", "--scale", "tube=33.2mm"], "none.jpg"),
    "an unknown option": (2, ["measure", "rocket.jpg", "--size", "33mm"], "--size"),
    "a length without its unit": (2, ["measure", "rocket.jpg", "--scale", "tube=33.2"], "mm, cm, m, in, ft"),
    "a photo of the table": (5, ["measure", "table.jpg", "--scale", "tube=33.2mm"], ""),
    "a photo of nothing": (5, ["measure", "plain.png", "--scale", "tube=33.2mm"], ""),
    "a fin inside the body": (6, ["solve", "inside.toml"], "inside the body"),
    "broken TOML": (3, ["solve", "broken.toml"], "broken.toml"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_refusal_says_why_in_one_line_and_writes_no_more_than_its_picture(inputs, monkeypatch, capsys, what):
    code, words, says = REFUSED[what]
    monkeypatch.chdir(inputs)
    before = contents(inputs)
    quiet = ["--quiet"] if words[0] == "measure" else []
    assert cli.main([*words, "--out", "results", *quiet]) == code
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("digitize: ") and err.count("\n") == 1
    assert says in err
    picture = [Path("results/refused.png")] if words[0] == "measure" and code in (4, 5, 6) else []
    after = contents(inputs)
    assert sorted(set(after) - set(before)) == picture
    assert {name: after[name] for name in before} == before


def test_a_folder_with_files_of_others_is_left_alone(inputs, monkeypatch, capsys):
    monkeypatch.chdir(inputs)
    (inputs / "results").mkdir()
    (inputs / "results" / "result.json").write_text('{"mine": 1}')
    before = contents(inputs)
    assert cli.main(["measure", "rocket.jpg", "--scale", "tube=33.2mm", "--out", "results", "--quiet"]) == 2
    assert "was not written by this tool" in capsys.readouterr().err
    assert contents(inputs) == before


def contents(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


# --- geometry without a photo -----------------------------------------------------------------------------

ROCKET_C = """
name = "rocket C"
[[piece]]
shape = "cone"
length_mm = 113.42564
diameter_mm = 40
[[piece]]
shape = "tube"
length_mm = 286.57436
[[fins]]
count = 4
outline_mm = [[360, 20], [360, 60], [400, 60], [400, 20]]
"""


def solved(capsys, path):
    assert cli.main(["solve", str(path), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_rocket_a_by_hand(capsys):
    """By NARAM-8's formulas: slope 18.410256 per radian at 248.54225 mm (computed, regression)."""
    result = solved(capsys, SAMPLES / "rocket-a.toml")
    assert result["cp"]["x_mm"]["value"] == pytest.approx(248.54225, abs=1e-4)
    assert result["cp"]["cn_alpha_per_rad"]["value"] == pytest.approx(18.410256, abs=1e-6)


def test_rocket_c_by_hand(capsys, tmp_path):
    """In diameters of 40 mm: slope 10.836556 at 7.891714, side area at 6.393754 (computed, regression)."""
    (tmp_path / "c.toml").write_text(ROCKET_C)
    result = solved(capsys, tmp_path / "c.toml")
    assert result["cp"]["x_mm"]["value"] / 40 == pytest.approx(7.891714, abs=1e-5)
    assert result["cp"]["cn_alpha_per_rad"]["value"] == pytest.approx(10.836556, abs=1e-5)
    assert result["cutout"]["centroid_mm"]["value"] / 40 == pytest.approx(6.393754, abs=1e-5)
