"""Nose weight: the cavity against closed forms, the weight against hand-worked statics, and what is refused."""

import json
import shutil
from dataclasses import asdict, replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from rockets import SMALL_FINS, rocket_toml

from digitize import cli
from digitize.aero.components import centre_of_pressure
from digitize.errors import GeometryRefusal
from digitize.geometry.nose_shapes import nose_profile
from digitize.geometry.toml import read_geometry
from digitize.plans.nose_cavity import Cavity, filling, nose_cavity, nose_length_mm
from digitize.plans.nose_weight import (
    MATERIALS,
    State,
    Weight,
    added_fins,
    at_place,
    into_cavity,
    low_end,
    lower,
    needed,
    state_of,
    stretched,
    with_weight,
)
from digitize.records import Quantity
from digitize.result.from_json import read_saved
from digitize.units.quantities import density_g_cm3

CONE = np.array([[0.0, 0.0], [60.0, 12.0], [300.0, 12.0]])
D = 24.0
INSIDE = nose_cavity(CONE, 1.5)


def state(mass=60.0, at=220.0, cp=248.54, bands=True):
    """One state of rocket A; bands: with those of careful weighing."""
    balance = Quantity(at, 2.0 * bands)
    margin = Quantity((cp - at) / D, float(np.hypot(2.0, 3.0)) / D * bands)
    return state_of("ready to fly", Quantity(mass, 1.2 * bands), balance, margin, D)


# --- the cavity -------------------------------------------------------------------------------------------


def test_cavity_of_a_cone():
    """A wall t square to a cone's skin leaves the same cone, moved aft by t / sin(half angle): with tan = 12 / 60,
    1.5 sqrt(26) = 7.6485 mm. Solid geometry: its radius at 60 is (60 - 7.6485) / 5."""
    cavity = nose_cavity(CONE, 1.5)
    assert nose_length_mm(CONE) == pytest.approx(60.0, abs=0.5)
    assert cavity.x_mm[0] == pytest.approx(1.5 * 26**0.5, abs=1e-6) and cavity.r_mm[0] == 0
    assert np.interp(55.0, cavity.x_mm, cavity.r_mm) == pytest.approx((55 - 1.5 * 26**0.5) / 5, abs=1e-6)


@given(depth=st.floats(0.5, 50), density=st.floats(0.5, 12))
@settings(max_examples=40, deadline=None)
def test_filling_a_cone_is_the_closed_form(depth, density):
    """Solid geometry: V = pi h (h / 5)^2 / 3, centre 3/4 h from the apex."""
    cavity = INSIDE
    grams, x = filling(cavity, depth, density)
    assert grams == pytest.approx(density * np.pi * depth**3 / 75 / 1000, rel=1e-6)
    assert x == pytest.approx(cavity.x_mm[0] + 0.75 * depth, abs=1e-5)


def test_filling_a_half_ellipsoid():
    """V = 2/3 pi a b^2, centre of a half ellipsoid 5/8 of its length from the tip (any mechanics handbook)."""
    x, r = nose_profile("ellipsoid", 80.0, 20.0, points=2001).T
    grams, centre = filling(Cavity(x, r), 80.0, 1.0)
    assert grams == pytest.approx(2 / 3 * np.pi * 80 * 400 / 1000, rel=1e-5)
    assert centre == pytest.approx(50.0, abs=1e-3)


def test_wall_of_a_blunt_nose_is_the_same_all_over():
    """Every point of the inside is the wall's thickness from the skin, by shapely's own distance."""
    profile = np.concatenate([nose_profile("ellipsoid", 60, 12), [[300, 12]]])
    cavity = nose_cavity(profile, 2.0)
    skin = shapely.LineString(np.concatenate([profile[::-1] * [1, -1], profile]))
    inside = [shapely.Point(*p) for p in np.stack([cavity.x_mm, cavity.r_mm], -1)[1:]]
    assert [p.distance(skin) for p in inside] == pytest.approx([2.0] * len(inside), abs=1e-3)
    assert cavity.x_mm[0] == pytest.approx(2.0, abs=0.02)


def test_filling_grows_and_its_centre_moves_back():
    cavity = nose_cavity(np.concatenate([nose_profile("ogive", 100, 20), [[300, 20]]]), 1.5)
    grams, x = np.array([filling(cavity, h, 1.8) for h in np.linspace(1, cavity.depth_mm, 50)]).T
    assert (np.diff(grams) > 0).all() and (np.diff(x) > 0).all()
    weight = into_cavity(cavity, 1.8)(20.0)
    assert filling(cavity, weight.depth_mm, 1.8) == pytest.approx((20.0, weight.x_mm))


def test_nothing_hollow_is_left():
    with pytest.raises(GeometryRefusal, match="leaves nothing hollow"):
        nose_cavity(CONE, 12.5)


# --- the weight -------------------------------------------------------------------------------------------


def test_weight_at_a_place_by_hand():
    """60 g at 220, c.p. 248.54, d 24, no bands. For 1.5 calibers the balance point must come to 248.54 - 36 = 212.54:
    w = 60 (220 - 212.54) / (212.54 - 30) = 2.452 g at 30 mm; in half grams, and a little for the weight's own band."""
    found = needed((state(bands=False),), at_place(30.0), 1.5, D)
    exact = 60 * (220 - 212.54) / (212.54 - 30)
    assert exact == pytest.approx(2.452, abs=1e-3)
    assert found.kind == "needed" and found.weight in (Weight(2.5, 30.0), Weight(3.0, 30.0))
    placed = with_weight(state(bands=False), Weight(exact, 30.0), D)
    assert placed.margin_calibers.value == pytest.approx(1.5, abs=1e-9)
    assert placed.mass_g.value == pytest.approx(60 + exact)


def test_the_whole_band_counts():
    plain, banded = (needed((state(cp=246, bands=b),), at_place(30.0), 1.0, D) for b in (False, True))
    assert plain.kind == "none needed" and plain.weight.mass_g == 0  # 1.08 calibers
    assert banded.kind == "needed"
    less = with_weight(state(cp=246), Weight(banded.weight.mass_g - 0.6, 30.0), D)
    assert low_end(banded.states) >= 1.0 > low_end((less,))


def test_the_state_with_the_least_margin_decides():
    light, heavy = state(60.0, 210.0), state(84.0, 222.0)
    both = needed((light, heavy), at_place(30.0), 1.5, D)
    assert both.weight == needed((heavy,), at_place(30.0), 1.5, D).weight


def test_never_and_does_not_fit():
    """No weight at 180 brings the margin to (248.54 - 180) / 24 = 2.856 or more."""
    assert needed((state(bands=False),), at_place(180.0), 2.86, D).kind == "never"
    cavity = nose_cavity(CONE, 1.5)
    full = filling(cavity, cavity.depth_mm, 1.8)[0]
    found = needed((state(),), into_cavity(cavity, 1.8), 3.0, D, full)
    assert found.kind == "does not fit" and found.weight.mass_g == pytest.approx(full)
    assert found.weight.depth_mm == cavity.depth_mm


@given(place=st.floats(1, 150), mass=st.floats(20, 400), at=st.floats(200, 260), grams=st.floats(0.1, 100))
@settings(max_examples=60, deadline=None)
def test_more_weight_more_margin(place, mass, at, grams):
    """Monotone, as any weight ahead of the balance point moves it forward; the middle and the low end alike."""
    states = [with_weight(state(mass, at), Weight(g, place), D) for g in np.linspace(0, grams, 30)]
    assert (np.diff([s.margin_calibers.value for s in states]) > 0).all()
    assert (np.diff([s.margin_calibers.value - s.margin_calibers.pm95 for s in states]) > -1e-9).all()


def test_curve_is_monotone_and_units_of_density():
    cavity = nose_cavity(CONE, 1.5)
    curve = needed((state(),), into_cavity(cavity, MATERIALS["lead-shot"]), 1.5, D, 30.0).curve
    assert (np.diff(curve[:, 1]) > 0).all() and (np.diff(curve[:, 2]) > 0).all() and curve[0, 0] == 0
    assert density_g_cm3("1800kg/m3", "") == pytest.approx(1.8)
    assert density_g_cm3("1 oz/in3", "") == pytest.approx(28.349523125 / 16.387064)  # 1 in3 = 16.387064 cm3


# --- larger fins ------------------------------------------------------------------------------------------

GEOMETRY = rocket_toml("sorrel", SMALL_FINS)


@pytest.fixture
def rocket(tmp_path):
    path = tmp_path / "sorrel.toml"
    path.write_text(GEOMETRY)
    return read_geometry(path)


def test_fins_stretched_in_span_keep_root_and_sweep(rocket):
    """Twice the span on the same root: twice the area, each point twice as far from the body."""
    wider = stretched(rocket, 1.0, 2.0).fins[0]
    assert wider.outline_mm.tolist() == [[250, 12], [280, 62], [305, 62], [300, 12]]
    grams, x = added_fins(rocket, stretched(rocket, 1.0, 2.0), 0.6)
    area = (50 + 25) / 2 * 25  # trapezoid
    assert grams == pytest.approx(3 * area * 2.0 / 1000 * 0.6)
    assert 250 < x < 305
    assert centre_of_pressure(stretched(rocket, 1.0, 2.0)).x_mm > centre_of_pressure(rocket).x_mm


def test_fins_larger_all_over_keep_their_trailing_edge(rocket):
    larger = stretched(rocket, 1.5, 1.5).fins[0].outline_mm
    assert larger[-1].tolist() == [300, 12] and larger[0].tolist() == [225, 12]
    assert larger[1].tolist() == [270, 49.5]
    with pytest.raises(GeometryRefusal):
        stretched(rocket, 7.0, 7.0)


# --- the command ------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def solved(tmp_path_factory):
    """A results folder for the options, each solved only once."""
    done = {}

    def make(words):
        if words not in done:
            folder = tmp_path_factory.mktemp("solved")
            (folder / "sorrel.toml").write_text(GEOMETRY)
            assert cli.main(["solve", str(folder / "sorrel.toml"), *words, "--out", str(folder / "r")]) == 0
            done[words] = folder / "r"
        return done[words]

    return make


@pytest.fixture
def results(tmp_path, capsys, solved):
    def make(*words):
        shutil.copytree(solved(words), tmp_path / "r", dirs_exist_ok=True)
        capsys.readouterr()
        return tmp_path / "r"

    return make


def run(capsys, *words):
    code = cli.main(["ballast", *map(str, words)])
    return code, *capsys.readouterr()


def test_end_to_end_and_the_weight_does_what_it_promises(results, capsys):
    """Solved again with the weight as an added mass, the low end of the band comes to what was wanted."""
    said = ("--balance", "225mm", "--mass", "90g")
    folder = results(*said)
    code, out, err = run(capsys, folder, "--at", "30mm", "--json")
    plan = json.loads(out)
    assert (code, err) == (0, "") and plan == json.loads((folder / "ballast.json").read_text())
    assert plan["outcome"] == "needed"
    grams = plan["weight"]["mass_g"]
    again = results(*said, "--add", f"weight,{grams}g,30mm")
    margin = read_saved(again).result.margin_calibers
    assert margin.low == pytest.approx(1.0, abs=0.03)
    assert margin.value == pytest.approx(plan["after"][0]["margin_calibers"]["value"], abs=1e-6)
    page = (folder / "ballast.html").read_text()
    assert "<svg" in page and "http://" not in page.replace("http://www.w3.org/2000/svg", "") and "<script" not in page
    assert f"{grams:g} g at 30 mm" in page


def test_larger_fins_do_what_they_promise(results, capsys):
    """The fins of the plan, drawn by hand and solved: the centre of pressure must move as the plan's margin says."""
    folder = results("--balance", "200mm", "--mass", "1400g")
    plan = json.loads(run(capsys, folder, "--at", "30mm", "--json")[1])
    span = plan["fins"]["span"]
    saved = read_saved(folder)
    wider = stretched(saved.geometry, 1.0, span["times"])
    assert span["span_mm"] == pytest.approx(25 * span["times"])
    forward = (200 * 1400 + span["added_g"] * added_fins(saved.geometry, wider, 0.6)[1]) / (1400 + span["added_g"])
    assert plan["fins"]["whole"]["times"] > span["times"]  # its root grows forward
    by_hand = (centre_of_pressure(wider).x_mm - forward) / D
    assert span["margin_calibers"]["value"] == pytest.approx(by_hand, abs=1e-6)
    assert by_hand - span["margin_calibers"]["pm95"] >= 1.0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--margin", "0", "--balance", "190mm"), "No nose weight is needed"),
        (("--margin", "8", "--at", "100mm"), "No weight there gets the margin"),
        (("--margin", "6"), "The nose can't hold enough"),
        (("--fill", "lead-shot", "--margin", "2"), "Lead is poisonous"),
        (("--margin", "1.5", "--mass", "1499g", "--at", "20mm"), "1500 g"),
        (("--margin", "1.5"), "five times its weight"),
        (("--margin", "1.5"), "larger parachute, and another delay"),
        (("--margin", "1.5", "--at", "20mm"), "of metal, such as washers or lead"),
        (("--margin", "1.5", "--at", "20mm"), "Lead is poisonous"),
        (("--margin", "1.5", "--fill", "steel-shot"), "Metal in the nose"),
    ],
)
def test_what_it_says(results, capsys, words, says):
    code, out, err = run(capsys, results("--balance", "225mm", "--mass", "90g"), *words)
    assert (code, err) == (0, "")
    assert says in " ".join(out.split()) and "The range safety officer decides." in out
    assert max(map(len, out.splitlines()[:6])) <= 80


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("--at", "30"), 2, "mm, cm, m, in, ft"),
        (("--at", "1m"), 2, "beyond the body's end"),
        (("--at", "30mm", "--fill", "clay"), 2, "both given"),
        (("--at", "30mm", "--wall", "1mm"), 2, "--wall"),
        (("--fill", "gold"), 2, "lead-shot"),
        (("--density", "1.8"), 2, "g/cm3"),
        (("--density", "1800g/cm3"), 2, "denser than any metal"),
        (("--density", "0g/cm3"), 2, "not above zero"),
        (("--wall", "12mm"), 6, "nothing hollow"),
        (("--depth", "2m"), 2, "beyond the body's end"),
        (("--depth", "1mm"), 6, "nothing hollow"),
        (("--margin", "nan"), 2, "--margin"),
        (("--margin", "-1"), 2, "--margin"),
        (("--margin", "x"), 2, "--margin"),
        (("--mass", "0g"), 2, "not above zero"),
        (("--balance", "400mm"), 2, "beyond the body"),
        (("--fin-density", "heavy"), 2, "--fin-density"),
    ],
)
def test_hostile_options(results, capsys, words, code, says):
    got, out, err = run(capsys, results("--balance", "225mm", "--mass", "90g"), *words)
    assert (got, out, err.count("\n")) == (code, "", 1)
    assert err.startswith("digitize: ") and says in err


def test_mass_and_balance_from_result_or_options(results, capsys):
    folder = results()
    assert "holds no balance point" in run(capsys, folder)[2]
    assert "holds no mass" in run(capsys, folder, "--balance", "225mm")[2]
    _, said, _ = run(capsys, folder, "--balance", "225mm", "--mass", "90g", "--json")
    folder = results("--balance", "225mm")
    assert "holds no mass" in run(capsys, folder)[2]
    _, half, _ = run(capsys, folder, "--mass", "90g", "--json")
    folder = results("--balance", "225mm", "--mass", "90g")
    _, kept, _ = run(capsys, folder, "--json")
    assert json.loads(kept)["weight"] == json.loads(said)["weight"] == json.loads(half)["weight"]
    folder = results("--balance", "225mm", "--mass", "90g", "--motor", "a,20g,9g,60mm", "--motor", "b,10g,9g,60mm")
    assert "several motors" in run(capsys, folder, "--mass", "80g")[2]
    assert len(json.loads(run(capsys, folder, "--json")[1])["after"]) == 4


def test_outside_the_method_the_cut_out_counts(tmp_path, capsys):
    """Body under five diameters: the margin to reach is from the cut-out's centroid, by hand from result.json."""
    path = tmp_path / "stub.toml"
    wide = GEOMETRY.replace("[60, 12], [300, 12]", "[60, 35], [300, 35]").replace(", 12]", ", 35]")
    path.write_text(wide.replace("37", "95"))
    assert cli.main(["solve", str(path), "--balance", "150mm", "--mass", "90g", "--out", str(tmp_path / "r")]) == 0
    capsys.readouterr()
    plan = json.loads(run(capsys, tmp_path / "r", "--at", "20mm", "--json")[1])
    by_hand = (read_saved(tmp_path / "r").result.cutout_centroid_mm.value - 150) / 70
    assert plan["before"][0]["margin_calibers"]["value"] == pytest.approx(by_hand)
    assert plan["reference_words"].startswith("By the lower of two margins") and plan["fins"] is None


STRAKED = rocket_toml("campion", "[[120, 12], [140, 24], [300, 24], [300, 12]]", count=4)


def test_where_the_cut_out_is_the_better_of_two_the_parts_count(tmp_path, capsys):
    """Long strakes: the cut-out's centroid lies aft of the centre of pressure, and alone would need no weight."""
    path = tmp_path / "strakes.toml"
    path.write_text(STRAKED)
    assert cli.main(["solve", str(path), "--balance", "150mm", "--mass", "90g", "--out", str(tmp_path / "r")]) == 0
    capsys.readouterr()
    result = read_saved(tmp_path / "r").result
    by_parts, by_cutout = result.margin_calibers, result.cutout_margin_calibers
    assert by_cutout.low > 1 > by_parts.low
    plan = json.loads(run(capsys, tmp_path / "r", "--at", "20mm", "--json")[1])
    assert plan["before"][0]["margin_calibers"] == pytest.approx(asdict(by_parts))
    assert plan["outcome"] != "none needed" and result.verdict_level == "do not fly"


def test_by_whichever_margin_is_lower_with_the_weight_in():
    """One margin's band comes from the balance point, which a weight makes surer; the other's does not."""
    unsure = State("", Quantity(100.0, 2.0), Quantity(200.0, 12.0), Quantity(1.0, 0.5), 0.0)
    sure = replace(unsure, margin_calibers=Quantity(0.9, 0.45), aero_pm95=0.45)
    both = with_weight(lower(unsure, sure), Weight(50.0, 20.0), D)
    each = [with_weight(state, Weight(50.0, 20.0), D) for state in (unsure, sure)]
    assert both.low_calibers == min(state.low_calibers for state in each)
    assert lower(unsure, sure).low_calibers == min(unsure.low_calibers, sure.low_calibers)


def test_clay_and_no_weight_at_all_bring_no_caution_on_metal(results, capsys):
    for at, words, needed_now in (("225mm", (), True), ("180mm", ("--at", "20mm"), False)):
        said = run(capsys, results("--balance", at, "--mass", "90g"), *words)[1]
        assert "metal" not in said and "poisonous" not in said
        assert ("parachute" in said) == needed_now == ("No nose weight is needed" not in said)


def test_only_its_own_page_is_replaced(results, capsys):
    folder = results("--balance", "225mm", "--mass", "90g")
    (folder / "ballast.html").write_text("mine")
    code, out, err = run(capsys, folder)
    assert (code, out) == (2, "") and "was not written by this tool" in err
    assert (folder / "ballast.html").read_text() == "mine"
    (folder / "ballast.html").unlink()
    assert run(capsys, folder)[0] == run(capsys, folder)[0] == 0


def test_no_results_folder(capsys, tmp_path):
    code, out, err = run(capsys, tmp_path / "none")
    assert (code, out, err.count("\n")) == (2, "", 1) and "there is no folder" in err
