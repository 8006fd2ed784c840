"""The balance point in each state of flight: hand-worked statics, bands by sampling, and what is refused.

Source of the statics: a body's centre of gravity is the mean of its parts' places weighted by their masses, as in any
mechanics text. The working stands beside each example.
"""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rockets import LARGE_FINS, loading_of, rocket_toml

from digitize import cli
from digitize.errors import GeometryRefusal, UsageRefusal
from digitize.geometry.toml import check_geometry, read_geometry, rounded, to_toml
from digitize.margin.balance import Loading, moved, states, worst
from digitize.option_records import Mass, Motor
from digitize.records import Geometry, Quantity
from digitize.request.options import measure_options
from digitize.request.parsers import parse_added, parse_balance_at, parse_motor
from digitize.request.photo_list import read_shots

LARGE = Motor("large", 24.0, 12.0, 70.0, 5.0)
SMALL = Motor("small", 16.0, 9.0, 44.0)
LENGTH = 300.0


def no_margin(place, share):
    return Quantity(-place.value, place.pm95)  # the further aft, the worse


def balanced(with_motor, mass_g=60.0, at_mm=200.0, added=(), motors=(LARGE, SMALL)):
    said = Loading(Quantity(at_mm, 2.0), mass_g, tuple(motors), with_motor, tuple(added))
    return states(said, LENGTH, no_margin)


def test_balanced_empty_motors_put_in():
    """60 g at 200 without a motor. Their middles: large 300 + 5 - 35 = 270, small 300 - 22 = 278.

    lift-off large  (60 200 + 24 270) / 84 = 18480 / 84 = 220.0    burn-out  (12000 + 12 270) / 72 = 211.667
    lift-off small  (60 200 + 16 278) / 76 = 16448 / 76 = 216.421  burn-out  (12000 +  9 278) / 69 = 210.174
    """
    got = [(s.state, s.motor, s.mass_g.value, s.balance_mm.value) for s in balanced(None)]
    assert [row[:3] for row in got] == [
        ("lift-off", "large", 84.0),
        ("burn-out", "large", 72.0),
        ("lift-off", "small", 76.0),
        ("burn-out", "small", 69.0),
    ]
    assert [row[3] for row in got] == pytest.approx([220.0, 211.6667, 216.4211, 210.1739], abs=1e-4)
    assert worst(balanced(None)).motor == "large" and worst(balanced(None)).state == "lift-off"


def test_balanced_ready_to_fly_comes_to_the_same():
    """84 g at 220 with the large motor in is the rocket above: the same states, lift-off as it was measured."""
    got, before = balanced("large", 84.0, 220.0), balanced(None)
    assert [s.balance_mm.value for s in got] == pytest.approx([s.balance_mm.value for s in before])
    assert got[0].balance_mm == Quantity(220.0, 2.0) and got[0].share == 1.0
    assert all(s.balance_mm.pm95 > 2.0 for s in got[1:])


def test_parachute_and_wadding_put_in_and_something_taken_out():
    """(60 200 + 12 100 - 10 50) / (60 + 12 - 10) = (12000 + 1200 - 500) / 62 = 204.839."""
    (state,) = balanced(None, added=[Mass("parachute", 12.0, 100.0), Mass("lead", -10.0, 50.0)], motors=())
    assert (state.state, state.motor, state.mass_g.value) == ("ready to fly", None, 62.0)
    assert state.balance_mm.value == pytest.approx(12700 / 62)


def test_nothing_changed_is_as_balanced_and_needs_no_mass():
    (state,) = states(Loading(Quantity(200.0, 2.0)), LENGTH, no_margin)
    assert (state.balance_mm, state.mass_g, state.share) == (Quantity(200.0, 2.0), None, 1.0)
    assert states(Loading(), LENGTH, no_margin) == ()


def test_bands_against_sampling():
    """Half the middle 95 % of rockets whose every mass and place errs on its own, drawn as normal."""
    rng = np.random.default_rng(3)
    parts = [
        (Quantity(60, 1.2), Quantity(200, 2)),
        (Quantity(24, 1), Quantity(270, 7.3)),
        (Quantity(-10, 1), Quantity(50, 2)),
    ]
    mass, place = moved(*parts[0], parts[1:])
    drawn = [[q.value + q.pm95 / 1.96 * rng.standard_normal(200_000) for q in part] for part in parts]
    total = sum(m for m, _ in drawn)
    x = sum(m * p for m, p in drawn) / total
    for got, sampled in ((mass, total), (place, x)):
        low, high = np.quantile(sampled, [0.025, 0.975])
        assert got.value == pytest.approx(sampled.mean(), abs=0.02)
        assert got.pm95 == pytest.approx((high - low) / 2, rel=0.02)


@given(
    grams=st.floats(1, 200),
    x=st.floats(0, 300),
    mass=st.floats(20, 500),
    at=st.floats(10, 290),
    unit=st.floats(0.1, 10),
)
def test_adding_moves_toward_what_is_added_and_units_do_not_matter(grams, x, mass, at, unit):
    exact = lambda v: Quantity(v, 0.0)  # noqa: E731
    _, place = moved(exact(mass), exact(at), [(exact(grams), exact(x))])
    assert min(at, x) - 1e-9 <= place.value <= max(at, x) + 1e-9
    _, scaled = moved(exact(mass * unit), exact(at), [(exact(grams * unit), exact(x))])
    assert scaled.value == pytest.approx(place.value)
    _, back = moved(exact(mass + grams), place, [(exact(-grams), exact(x))])
    assert back.value == pytest.approx(at, abs=1e-6)


@pytest.mark.parametrize(
    ("said", "says"),
    [
        (lambda: balanced("large", 20.0), "nothing is left"),
        (lambda: balanced("large", 25.0, 100.0), "would balance at"),
        (lambda: balanced(None, at_mm=300.0), "beyond the body"),
        (lambda: balanced(None, added=[Mass("fin", 3.0, 400.0)]), "beyond the body's end"),
        (lambda: balanced(None, motors=[Motor("log", 24.0, 12.0, 700.0)]), "more than the body"),
    ],
)
def test_what_can_not_be_of_one_rocket(said, says):
    with pytest.raises(UsageRefusal, match=says) as refused:
        said()
    assert "\n" not in refused.value.line()


# --- as typed ---------------------------------------------------------------------------------------------


def test_units_of_masses_and_places():
    """1 oz is 28.349523125 g, 1 in 25.4 mm (international yard and pound agreement, 1959)."""
    motor = parse_motor("d, 1oz, 0.5oz, 2in, -0.1in")
    assert motor == Motor("d", 28.349523125, 14.1747615625, 50.8, pytest.approx(-2.54))
    assert parse_added("wadding,3g,0.1m") == Mass("wadding", 3.0, 100.0)
    assert parse_added("old, -3g, 4in") == Mass("old", -3.0, 101.6)
    assert parse_balance_at(" 1520.5 , 830") == (1520.5, 830.0)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"motor": ["large"]}, "NAME,LOADED,EMPTY,LENGTH"),
        ({"motor": ["large,24,12g,70mm"]}, "--motor: '24,12g' can be one number or two"),
        ({"motor": ["large,12g,24g,70mm"]}, "burnt out, more than"),
        ({"motor": ["large,24g,12g,70g"]}, "unit of '70g'"),
        ({"motor": ["large,24g,12g,70mm,80mm"]}, "sticks out"),
        ({"motor": ["none,24g,12g,70mm"]}, "is not NAME"),
        ({"motor": [",24g,12g,70mm"]}, "is not NAME"),
        ({"motor": ["a,24g,12g,70mm", "A,24g,12g,70mm"]}, "given twice"),
        ({"motor": [f"m{k},24g,12g,70mm" for k in range(21)]}, "20 at most"),
        ({"motor": ["a,60g,12g,70mm"]}, "alone is 60 g"),
        ({"motor": ["a,24g,12g,70mm"], "mass": None}, "no mass was given"),
        ({"motor": ["a,24g,12g,70mm"], "balance": None}, "Give --balance too"),
        ({"balanced_with": "none"}, "without motors"),
        ({"motor": ["a,24g,12g,70mm"], "balanced_with": "b"}, "Use none, a"),
        ({"add": ["parachute,12g"]}, "NAME,MASS,PLACE"),
        ({"add": ["parachute,12g,-3mm"]}, "not above zero"),
        ({"add": ["parachute,0g,3mm"]}, "not above zero"),
        ({"add": ["parachute,nan,3mm"]}, "not a mass"),
        ({"add": ["parachute,12g,30mm"], "mass": None}, "no mass was given"),
    ],
)
def test_hostile_options(typed, says):
    with pytest.raises(UsageRefusal) as refused:
        loading_of(**{"balance": "200mm", "mass": "60g", **typed})
    assert says in refused.value.line() and "\n" not in refused.value.line()


@pytest.mark.parametrize("text", ["", "1520", "-3,5", "a,b", "1,2,3", "1e3,5", "nan,1", "99999999,1"])
def test_hostile_pixels(text):
    with pytest.raises(UsageRefusal, match="is not a pixel"):
        parse_balance_at(text)


def test_two_ways_to_say_the_balance_point(tmp_path):
    with pytest.raises(UsageRefusal, match="--balance and --balance-at were both given"):
        measure_options(["a.jpg"], balance="200mm", balance_at="10,20")
    shots = tmp_path / "shots.toml"
    shots.write_text(
        '[[rocket]]\nmass = "60g"\nmotor = ["a,24g,12g,70mm"]\nbalanced-with = "none"\n'
        '[[rocket.photo]]\nfile = "1.jpg"\n[[rocket.photo]]\nfile = "2.jpg"\nbalance-at = "10,20"\n'
    )
    ((one, two),) = read_shots(measure_options([], shots=shots, add=["chute,5g,100mm"]))
    assert (one.balance_at_px, two.balance_at_px) == (None, (10.0, 20.0))
    assert one.loading().motors == two.loading().motors == (Motor("a", 24.0, 12.0, 70.0),)
    assert one.loading().balanced_with is None and one.added == (Mass("chute", 5.0, 100.0),)
    shots.write_text(shots.read_text().replace('balance-at = "10,20"', ""))
    with pytest.raises(UsageRefusal, match=r"rocket 1: --motor moves"):
        read_shots(measure_options([], shots=shots))


# --- the geometry's own masses ----------------------------------------------------------------------------

PARACHUTE = """
[[mass]]
name = "parachute"
mass_g = 12
x_mm = 100
"""
GEOMETRY = rocket_toml("sorrel", LARGE_FINS, more=PARACHUTE)


@pytest.fixture
def geometry(tmp_path):
    path = tmp_path / "sorrel.toml"
    path.write_text(GEOMETRY)
    return path


def test_masses_are_kept_when_written_and_read(tmp_path, geometry):
    rocket = read_geometry(geometry)
    assert rocket.masses == (Mass("parachute", 12.0, 100.0),)
    (tmp_path / "again.toml").write_text(to_toml(rounded(rocket)))
    assert read_geometry(tmp_path / "again.toml").masses == rocket.masses


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("mass_g = 12", "mass_g = nan", "mass_g is nan"),
        ("mass_g = 12", "mass_g = '12g'", "mass_g is"),
        ("mass_g = 12", "", "mass_g is None"),
        ("mass_g = 12", "mass_g = 0", "weighs nothing"),
        ("x_mm = 100", "x_mm = 400", "off the body"),
        ("x_mm = 100", "", "x_mm is missing"),
        ("x_mm = 100", "place = 3", "unknown key"),
        ('name = "parachute"', "name = 3", "name is not text"),
        ("[[mass]]", "[mass]", "double brackets"),
    ],
)
def test_masses_refused(geometry, old, new, says):
    geometry.write_text(GEOMETRY.replace(old, new))
    with pytest.raises(GeometryRefusal) as refused:
        read_geometry(geometry)
    assert says in refused.value.line()


def test_masses_are_checked_when_they_come_from_the_command_line():
    with pytest.raises(GeometryRefusal, match="off the body"):
        check_geometry(Geometry("x", np.array([[0.0, 0.0], [300.0, 12.0]]), masses=(Mass("m", 1.0, 301.0),)))


def solved(capsys, *words):
    code = cli.main(["solve", *map(str, words), "--json"])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    return json.loads(out)


def test_end_to_end_the_worst_state_decides(capsys, geometry, tmp_path):
    """With the parachute (12 g at 100): lift-off large (12000 + 6480 + 1200) / 96 = 205.0; the margin by hand from
    rocket A's centre of pressure, 248.54225 (regression): (248.54225 - 205) / 24 = 1.81426."""
    words = ["--balance", "200mm", "--mass", "60g", "--balanced-with", "none", "--motor", "large,24g,12g,70mm,5mm"]
    data = solved(capsys, geometry, *words, "--out", tmp_path / "r")
    assert [s["state"] for s in data["balance_states"]] == ["lift-off", "burn-out"]
    assert data["balance_mm"] == data["balance_states"][0]["balance_mm"]
    assert data["balance_mm"]["value"] == pytest.approx(205.0)
    assert data["margin_calibers"]["value"] == pytest.approx(1.81426, abs=1e-4)
    assert data["as_balanced_mm"] == {"value": 200.0, "pm95": 2.0}
    assert data["mass_g"] == 96.0 and "lift-off with large" in data["verdict"]["text"]
    report = (tmp_path / "r" / "report.html").read_text()
    assert "Balance in each state" in report and "burn-out" in report
    again = solved(capsys, tmp_path / "r" / "geometry.toml", *words)
    assert again["balance_states"] == data["balance_states"]


def test_masses_said_at_solving_go_into_the_geometry(capsys, geometry, tmp_path):
    words = ["--balance", "200mm", "--mass", "60g"]
    data = solved(capsys, geometry, *words, "--add", "wadding,3g,150mm", "--out", tmp_path / "r")
    assert [m.name for m in read_geometry(tmp_path / "r" / "geometry.toml").masses] == ["parachute", "wadding"]
    assert data["balance_mm"]["value"] == pytest.approx((60 * 200 + 12 * 100 + 3 * 150) / 75)


def test_masses_without_a_mass_to_move_are_said_to_be_unused(capsys, geometry):
    data = solved(capsys, geometry, "--balance", "200mm")
    assert [w["code"] for w in data["warnings"]] == ["MASSES_UNUSED"]
    assert data["balance_mm"]["value"] == 200.0 and data["mass_g"] is None


def test_a_refused_mass_is_one_line_and_exit_2(capsys, geometry):
    code = cli.main(["solve", str(geometry), "--balance", "200mm", "--mass", "20g", "--motor", "a,24g,12g,70mm"])
    out, err = capsys.readouterr()
    assert (code, out, err.count("\n")) == (2, "", 1) and "alone is 24 g" in err
