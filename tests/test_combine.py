"""Several photos to one result: the numbers alone, then drawn photos of one rocket through the command."""

import csv
import json
from dataclasses import replace

import numpy as np
import pytest
from drawing import Camera, DrawnFins, Paint, Pose, Rocket, Scene, draw, save
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from digitize import cli
from digitize.aero.method_view import method_view
from digitize.records import FinGroup, Geometry, Quantity
from digitize.result.from_geometry import solve
from digitize.result.from_photos import Size, combine_quantity, shared_values

ROCKET = Geometry(
    "bracken",
    np.array([[0, 0], [60, 12], [300, 12]], float),
    (FinGroup(3, np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float), 2.0),),
)
BANDS = st.floats(0.01, 10)


def together(values, bands, own=None):
    return combine_quantity([Quantity(v, b) for v, b in zip(values, bands, strict=True)], own or bands)


def test_without_anything_common_it_is_the_weighted_mean_of_a_general_library():
    # scipy's curve_fit with relative sigmas multiplies the standard error by the Birge ratio
    values, bands = np.array([10.0, 12.0, 9.0, 15.0]), np.array([1.0, 2.0, 1.5, 3.0])
    mean, variance = curve_fit(lambda x, a: a + 0 * x, np.zeros(4), values, sigma=bands, absolute_sigma=False)
    found = together(values, bands).quantity
    assert found.value == pytest.approx(mean[0])
    assert found.pm95 == pytest.approx(1.96 * np.sqrt(variance[0, 0]), rel=1e-6)


def test_photos_that_agree_shrink_the_band_by_the_root_of_their_number():
    assert together([5.0] * 4, [2.0] * 4).quantity == Quantity(5.0, pytest.approx(1.0))


def test_what_is_common_to_all_is_not_averaged_down():
    found = together([5.0, 5.0], [5.0, 5.0], own=[3.0, 3.0]).quantity  # own 3, common 4
    assert found.pm95 == pytest.approx(np.hypot(3 / np.sqrt(2), 4))
    assert together([5.0] * 9, [2.0] * 9, own=[0.0] * 9).quantity.pm95 == pytest.approx(2.0)


@given(st.lists(st.tuples(st.floats(-100, 100), BANDS, st.floats(0, 1)), min_size=2, max_size=6))
def test_never_surer_than_the_best_over_root_n_nor_than_what_all_share(photos):
    values, bands, shares = (list(column) for column in zip(*photos, strict=True))
    own = [band * share for band, share in zip(bands, shares, strict=True)]
    found = together(values, bands, own).quantity
    common = min(np.sqrt(np.maximum(np.square(bands) - np.square(own), 0)))
    assert found.pm95 >= max(min(bands) / np.sqrt(len(bands)), common) * (1 - 1e-6)
    assert min(values) - 1e-9 <= found.value <= max(values) + 1e-9


@given(st.lists(st.tuples(st.floats(-100, 100), BANDS), min_size=2, max_size=5), st.floats(-50, 50))
def test_shifting_every_photo_shifts_the_result(photos, shift):
    values, bands = (list(column) for column in zip(*photos, strict=True))
    here, there = together(values, bands), together([v + shift for v in values], bands)
    assert there.quantity.value == pytest.approx(here.quantity.value + shift, abs=1e-6)
    assert there.quantity.pm95 == pytest.approx(here.quantity.pm95, rel=1e-6)


def test_two_photos_far_apart_are_named_and_their_band_reaches_both():
    found = together([10.0, 20.0, 10.1], [0.5, 0.5, 0.5])
    assert found.apart == (0, 1)
    pair = together([10.0, 20.0], [0.5, 0.5])
    assert pair.quantity.value - pair.quantity.pm95 < 10 and pair.quantity.value + pair.quantity.pm95 > 20


def test_a_common_error_of_another_size_in_each_is_no_disagreement():
    # the same caliper slip moves the nearer and the farther photo's length alike, but not by the same band
    assert together([100.0, 104.0], [6.0, 3.0], own=[0.1, 0.1]).apart is None
    assert together([100.0, 104.0], [3.0, 3.0], own=[0.1, 0.1]).apart == (0, 1)


def test_over_many_pairs_the_truth_is_inside_and_few_are_called_apart():
    """Own error of sigma 1, common error of 2: a 95 % band holds 95 %, by the ratio a little more."""
    rng = np.random.default_rng(3)
    bands, own = [1.96 * np.sqrt(5)] * 2, [1.96] * 2
    inside = apart = 0
    widths = []
    for _ in range(4000):
        found = together(rng.normal(0, 1, 2) + rng.normal(0, 2), bands, own)
        inside += abs(found.quantity.value) <= found.quantity.pm95
        apart += found.apart is not None
        widths.append(found.quantity.pm95)
    assert 0.94 < inside / 4000 < 0.985
    assert 0.001 < apart / 4000 < 0.007  # 2.94 standard deviations: 0.33 %
    assert np.mean(widths) < 1.15 * 1.96 * np.sqrt(1 / 2 + 4)


# Rocket A of the check values: cone nose 60, diameter 24, tube to 300, three fins; all millimetres.
PROFILE_MM = np.array([[0.0, 0.0], [60.0, 12.0], [300.0, 12.0]])
FIN_MM = np.array([[250.0, 12.0], [280.0, 52.0], [310.0, 52.0], [300.0, 12.0]])
CP_MM = 248.54225  # by the component method of Barrowman 1966; computed (regression)


def photograph(path, roll_deg, distance_mm, heading_deg, fin_mm=FIN_MM, seed=0):
    """Rocket A from the side."""
    size = (1350, 900)
    rocket = Rocket(PROFILE_MM, (DrawnFins(3, fin_mm, 2.0, roll_deg),))
    camera = Camera(size, Camera.focal_px_of(28, size), (0.0, 0.0, -distance_mm))
    paint = Paint(body=(190, 40, 40), fins=(40, 42, 84), gloss=0.1)
    scene = Scene(rocket, camera, Pose(heading_deg=heading_deg), paint, background="sheet", seed=seed)
    save(draw(replace(scene, strings_mm=())), path)
    return str(path)


@pytest.mark.parametrize("method_pm95_mm", [0.0, 30.0])
def test_the_methods_band_is_no_excuse_for_photos_that_differ(method_pm95_mm):
    """Two photos 10 mm apart, each measured to 1 mm: they differ, however badly the method is known."""

    def photo(x_mm):
        view = replace(method_view(ROCKET, 1.0), method_pm95_mm=method_pm95_mm)
        return replace(solve(ROCKET), methods=view, cp_x_mm=Quantity(x_mm, float(np.hypot(1.0, method_pm95_mm))))

    values = [shared_values(photo(x_mm))[Size("cp_x_mm")] for x_mm in (240.0, 250.0)]
    combination = combine_quantity(values, [0.9, 0.9])
    assert combination.apart == (0, 1)
    assert combination.quantity.pm95 < 20  # widened to reach both, not by the method
    close = combine_quantity([shared_values(photo(x_mm))[Size("cp_x_mm")] for x_mm in (240.0, 240.5)], [0.9, 0.9])
    assert close.apart is None


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photos")
    return (
        photograph(folder / "one.jpg", 0.0, 430.0, 180.0, seed=1),
        photograph(folder / "two.jpg", 180.0, 520.0, 0.0, seed=2),
        photograph(folder / "other.jpg", 0.0, 430.0, 180.0, FIN_MM * [1, 1.3] - [0, 3.6], seed=3),
    )


def measure(capsys, *argv):
    code = cli.main(["measure", *argv, "--scale", "tube=24mm", "--fins", "3", "--json", "--quiet"])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    return json.loads(out)


def test_two_photos_of_one_rocket(capsys, photos, tmp_path):
    result = measure(capsys, *photos[:2], "--out", str(tmp_path / "r"), "--balance", "210mm")
    cp, alone = result["cp"]["x_mm"], [photo["cp"]["x_mm"] for photo in result["photos"]]
    measured = result["cp"]["measured_pm95_mm"]
    assert [photo["file"] for photo in result["photos"]] == ["one.jpg", "two.jpg"]
    assert result["name"] == "one"
    assert abs(cp["value"] - CP_MM) <= measured and 0.1 < measured < 0.15 * 24
    assert cp["pm95"] == pytest.approx(np.hypot(measured, result["cp"]["method_pm95_mm"]))
    assert abs(result["length_mm"]["value"] - 300) <= result["length_mm"]["pm95"] < 5
    low, high = sorted(one["value"] for one in alone)
    assert low <= cp["value"] <= high
    own = result["cp"]["method_pm95_mm"]
    assert own > 0.5 and cp["pm95"] > own  # the method's band is common: no number of photos shrinks it
    assert measured < max(np.sqrt(one["pm95"] ** 2 - own**2) for one in alone)
    margin = result["margin_calibers"]
    assert margin["value"] == pytest.approx((cp["value"] - 210) / result["max_diameter_mm"]["value"])
    assert not [w for w in result["warnings"] if w["code"] == "PHOTOS_DISAGREE"]
    # each photo alone has its own folder, and the one above shows what they say together
    for k, one in enumerate(alone, 1):
        own = json.loads((tmp_path / "r" / f"photo-{k}" / "result.json").read_text())
        assert own["cp"]["x_mm"] == one and own["photos"] == []
    page = (tmp_path / "r" / "report.html").read_text("utf-8")
    assert "Each photo alone" in page and "two.jpg" in page


def test_of_several_photos_too_the_balance_point_may_be_from_the_tail(capsys, photos, tmp_path):
    """90 mm from the aft end of 300; and said without its end it is not believed: 158 mm are 6.6 calibers."""
    tail = measure(capsys, *photos[:2], "--out", str(tmp_path / "r"), "--balance", "90mm,from-tail")
    assert tail["balance_mm"]["value"] == pytest.approx(tail["length_mm"]["value"] - 90)
    assert tail["margin_calibers"]["value"] == pytest.approx((CP_MM - 210) / 24, abs=0.2)
    unsaid = measure(capsys, *photos[:2], "--out", str(tmp_path / "r"), "--balance", "90mm")
    assert unsaid["verdict"]["level"] == "look again"
    assert [w["code"] for w in unsaid["warnings"]].count("BALANCE_END") == 1


def test_another_rocket_among_them_is_named(capsys, photos, tmp_path):
    result = measure(capsys, photos[0], photos[2], "--out", str(tmp_path / "r"), "--balance", "210mm")
    warned = [w["text"] for w in result["warnings"] if w["code"] == "PHOTOS_DISAGREE"]
    assert len(warned) == 1 and "one.jpg and other.jpg" in warned[0] and "span" in warned[0]
    spans = [json.loads((tmp_path / "r" / f"photo-{k}" / "result.json").read_text())["fins"][0] for k in (1, 2)]
    span = result["fins"][0]["span_mm"]
    for one in spans:
        assert abs(one["span_mm"]["value"] - span["value"]) <= span["pm95"]
    assert result["verdict"]["level"] in ("look again", "do not fly")


def test_the_same_photo_twice_and_a_bad_one_among_them(capsys, photos, tmp_path):
    assert cli.main(["measure", photos[0], photos[0], "--scale", "tube=24mm"]) == 2
    assert "given twice" in capsys.readouterr().err
    (tmp_path / "empty.jpg").write_bytes(b"")
    argv = ["measure", str(tmp_path / "empty.jpg"), photos[0], "--scale", "tube=24mm", "--quiet"]
    assert cli.main([*argv, "--out", str(tmp_path / "r")]) == 3
    assert "empty.jpg" in capsys.readouterr().err and not (tmp_path / "r").exists()


def test_a_table_of_others_is_left_alone(capsys, tmp_path):
    path = tmp_path / "shots.toml"
    path.write_text('scale = "card"\n' + '[[rocket]]\nphoto = [{ file = "none.jpg" }]\n' * 1)
    path.write_text(path.read_text() + '[[rocket]]\nphoto = [{ file = "nor.jpg" }]\n')
    (tmp_path / "all").mkdir()
    (tmp_path / "all" / "table.csv").write_text("mine")
    assert cli.main(["measure", "--shots", str(path), "--out", str(tmp_path / "all"), "--quiet"]) == 2
    assert "table.csv" in capsys.readouterr().err
    assert (tmp_path / "all" / "table.csv").read_text() == "mine"


def test_a_list_whose_folder_cannot_be_made_is_refused_before_any_work(capsys, tmp_path):
    path = tmp_path / "shots.toml"
    path.write_text('scale = "card"\n' + '[[rocket]]\nphoto = [{ file = "a.jpg" }]\n' * 1)
    path.write_text(path.read_text() + '[[rocket]]\nphoto = [{ file = "b.jpg" }]\n')
    (tmp_path / "taken").write_text("mine")
    for out in (tmp_path / "taken", tmp_path / "taken" / "below", tmp_path / ("x" * 300)):
        assert cli.main(["measure", "--shots", str(path), "--out", str(out), "--quiet"]) == 2
        said = capsys.readouterr()
        assert said.out == "" and said.err.count("\n") == 1 and "--out" in said.err
    assert (tmp_path / "taken").read_text() == "mine"


def test_several_rockets_in_a_list(capsys, photos, tmp_path):
    path = tmp_path / "shots.toml"
    path.write_text(
        f"""
        scale = "tube=24mm"
        [[rocket]]
        name = "Red Campion"
        fins = 3
        balance = "210mm"
        photo = [{{ file = "{photos[1]}", nose = "right" }}]
        [[rocket]]
        name = "nobody"
        photo = [{{ file = "none.jpg" }}]
        """
    )
    code = cli.main(["measure", "--shots", str(path), "--out", str(tmp_path / "all"), "--quiet"])
    lines = capsys.readouterr().out.splitlines()
    assert code == 3  # the worst of 0 and 3
    assert len(lines) == 3 and lines[0].startswith("Red Campion: ") and "centre of pressure" in lines[0]
    assert lines[1].startswith("nobody: NOT MEASURED (exit code 3)") and "none.jpg" in lines[1]
    assert lines[2] == f"table: {tmp_path / 'all' / 'index.html'}"
    assert (tmp_path / "all" / "red-campion" / "report.html").is_file()
    table = list(csv.DictReader((tmp_path / "all" / "table.csv").read_text("utf-8").splitlines()))
    assert [(row["name"], row["exit code"]) for row in table] == [("Red Campion", "0"), ("nobody", "3")]
    assert abs(float(table[0]["centre of pressure mm"]) - CP_MM) <= float(table[0]["its band mm"])
    page = (tmp_path / "all" / "index.html").read_text("utf-8")
    assert 'href="red-campion/report.html"' in page and "range safety officer" in page
    assert page.index("nobody") < page.index("Red Campion")  # what needs a hand comes first
    # one job gives the same as all cores, but for the order in which threads add
    argv = ["measure", "--shots", str(path), "--out", str(tmp_path / "one"), "--quiet", "--jobs", "1"]
    assert cli.main(argv) == 3
    capsys.readouterr()
    many, one = (json.loads((tmp_path / where / "red-campion" / "result.json").read_text()) for where in ("all", "one"))
    assert many["verdict"] == one["verdict"] and many["warnings"] == one["warnings"]
    for name in ("value", "pm95"):
        assert many["cp"]["x_mm"][name] == pytest.approx(one["cp"]["x_mm"][name], rel=1e-6)
    path.write_text(path.read_text().replace(photos[1], "nothing.jpg"))
    assert cli.main(["measure", "--shots", str(path), "--out", str(tmp_path / "all"), "--quiet", "--json"]) == 3
    found = json.loads(capsys.readouterr().out)
    assert [(one["name"], one["exit_code"]) for one in found] == [("Red Campion", 3), ("nobody", 3)]
