"""The swing test: its physics against hand-worked examples, the card, and a record that nothing loses."""

import json
import re
import shutil

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rockets import LARGE_FINS, rocket_toml

from digitize import cli
from digitize.plans.swing_test import (
    LONGEST_M,
    MOST_HIDDEN_CALIBERS,
    MOST_PULL_N,
    MOST_SPREAD_DEG,
    SHORTEST_M,
    Swung,
    hidden_calibers,
    nose_out_deg,
    plan_swing,
    string_for,
)
from digitize.report.folder import rewrite_report
from digitize.report.swing_card import reading
from digitize.result.from_json import read_saved
from digitize.result.swing_record import OUTCOMES, read_swing

# a nose of slope 2 at 40 mm and fins of slope 16 at 275 mm on a 24 mm body of 300 mm, 90 g, balanced at 215
ROCKET = Swung(90.0, 300.0, 24.0, 215.0, ((2.0, 40.0), (16.0, 275.0)))

# --- physics: Newton's and the component method's, worked by hand; no outside source ----------------------


def test_nose_out_by_hand():
    """sum C l = 2 (-175) + 16 60 = 610; sum C l^2 = 2 30625 + 16 3600 = 118850; 118850 / 610 = 194.8 mm, on 2.5 m
    0.07793 rad = 4.465 degrees."""
    assert ROCKET.moment_mm == pytest.approx(610)
    assert nose_out_deg(ROCKET, 2.5) == pytest.approx(4.465, abs=1e-3)


def test_nose_out_is_where_the_moments_vanish():
    """Summed over the parts, each at its own angle b - l / R, by brute force over b."""
    b = np.radians(np.linspace(0, 20, 200_001))
    moment = sum(slope * (x - 215) * (b - (x - 215) / 2500) for slope, x in ROCKET.parts)
    assert np.degrees(b[np.argmin(np.abs(moment))]) == pytest.approx(nose_out_deg(ROCKET, 2.5), abs=1e-3)


def test_an_unstable_rocket_has_no_steady_angle():
    assert nose_out_deg(Swung(90.0, 300.0, 24.0, 260.0, ROCKET.parts), 2.5) is None
    assert plan_swing(Swung(90.0, 300.0, 24.0, 260.0, ROCKET.parts)).nose_out_deg is None


def test_turning_holds_as_by_the_energy_of_the_rod():
    """The rod's elements in the rotating frame, nose up by a: the energy's second derivative at 0 is w^2 I, by finite
    differences; against rho v^2 / 2 S C l that is l = 2 I / (rho S C R^2)."""
    radius, turn, mass = 2.5, 4.0, 0.09
    s = (np.arange(3000) + 0.5) / 3000 * 0.3 - 0.15

    def energy(up):
        return -(turn**2) / 2 * mass * np.mean(radius**2 + (s * np.cos(up)) ** 2)

    stiffness = (energy(1e-3) - 2 * energy(0) + energy(-1e-3)) / 1e-6
    assert stiffness == pytest.approx(turn**2 * ROCKET.inertia_kg_m2, rel=1e-4)
    pressure = 1.2 / 2 * (turn * radius) ** 2
    area = np.pi / 4 * 0.024**2
    assert hidden_calibers(ROCKET, radius) == pytest.approx(stiffness / (pressure * area * 18.0) / 0.024, rel=1e-3)


def test_in_the_circle_s_plane_turning_does_nothing():
    """The same energy does not change with the nose in or out (first moment nought): the docstring's claim."""
    s = np.linspace(-0.15, 0.15, 3001)
    energies = [np.mean((2.5 + s * np.sin(b)) ** 2 + (s * np.cos(b)) ** 2) for b in (0.0, 0.2, 0.5)]
    assert np.ptp(energies) < 1e-12


def test_pull_speed_and_turns_by_hand():
    """90 g on 2.5 m at 10 m/s: 0.09 100 / 2.5 = 3.6 N across and 0.8826 N down, 3.7066 N; one turn in 2 pi 2.5 / 10
    = 1.5708 s, 38.197 a minute; droop atan(0.8826 / 3.6) = 13.78 degrees; spread 0.3 / 2.5 rad = 6.875 degrees."""
    plan = plan_swing(ROCKET, 2.5, 10.0)
    assert plan.pull_n == pytest.approx(3.7066, abs=1e-4)
    assert (plan.strength_n, plan.proof_kg) == pytest.approx((37.066, 2 * 3.7066 / 9.80665), abs=1e-3)
    assert plan.turns_per_min == pytest.approx(38.197, abs=1e-3)
    assert (plan.droop_deg, plan.spread_deg) == pytest.approx((13.78, 6.875), abs=5e-3)


def test_a_knot_off_the_balance_point_by_hand():
    """Across 3.6 N at 1 mm: 0.0036 N m, against the string's 3.6 0.012 = 0.0432 and the air's on one caliber 0.6 100
    4.5239e-4 18 0.024 = 0.011726 N m a radian: 0.06554 rad = 3.755 degrees."""
    assert plan_swing(ROCKET, 2.5, 10.0).knot_deg == pytest.approx(3.755, abs=1e-2)


@given(string=st.floats(1.5, 6), longer=st.floats(1.05, 2), speed=st.floats(5, 20), faster=st.floats(1.05, 2))
def test_a_longer_string_tells_more_and_a_faster_swing_does_not(string, longer, speed, faster):
    short, long, fast = (
        plan_swing(ROCKET, string, speed),
        plan_swing(ROCKET, string * longer, speed),
        plan_swing(ROCKET, string, speed * faster),
    )
    for name in ("spread_deg", "nose_out_deg", "hidden_calibers", "string_share", "knot_deg"):
        assert getattr(long, name) < getattr(short, name)
        assert getattr(fast, name) == pytest.approx(getattr(short, name))
    assert fast.pull_n > short.pull_n and fast.clear_m >= short.clear_m


def test_the_string_is_as_short_as_its_limits_allow():
    length = string_for(ROCKET)
    plan = plan_swing(ROCKET)
    assert SHORTEST_M <= length < LONGEST_M and plan.meaningful and plan.string_m == length
    shorter = plan_swing(ROCKET, length - 0.11)
    assert shorter.spread_deg > MOST_SPREAD_DEG or shorter.hidden_calibers > MOST_HIDDEN_CALIBERS
    big = Swung(900.0, 1200.0, 60.0, 800.0, ((2.0, 150.0), (14.0, 1100.0)))
    assert string_for(big) == LONGEST_M and not plan_swing(big).meaningful


# --- the command ------------------------------------------------------------------------------------------

GEOMETRY = rocket_toml("tansy", LARGE_FINS)


READY = ("--balance", "200mm", "--mass", "90g")


@pytest.fixture(scope="module")
def ready(tmp_path_factory):
    """A results folder ready to swing, solved only once."""
    folder = tmp_path_factory.mktemp("solved")
    (folder / "tansy.toml").write_text(GEOMETRY)
    assert cli.main(["solve", str(folder / "tansy.toml"), *READY, "--out", str(folder / "r")]) == 0
    return folder / "r"


@pytest.fixture
def copied(ready, tmp_path, capsys):
    capsys.readouterr()
    return shutil.copytree(ready, tmp_path / "r")


@pytest.fixture
def results(tmp_path, capsys):
    def make(*words):
        path = tmp_path / "tansy.toml"
        path.write_text(GEOMETRY)
        assert cli.main(["solve", str(path), *words, "--out", str(tmp_path / "r")]) == 0
        return tmp_path / "r", capsys.readouterr().out

    return make


def run(capsys, *words):
    code = cli.main(["swing", *map(str, words)])
    return code, *capsys.readouterr()


def test_plan_and_card(copied, capsys):
    folder = copied
    code, out, err = run(capsys, folder)
    assert (code, err) == (0, "") and "200 mm from the nose tip" in out and str(folder / "swing-card.html") in out
    plan = json.loads((folder / "swing.json").read_text())["plan"]
    page = (folder / "swing-card.html").read_text()
    for words in ("tansy", "Eye protection", "nobody in the circle", "No igniter", "From memory"):
        assert words in page
    assert f"{plan['string_m']:.1f} m" in page
    assert "<script" not in page and not re.search(r'(?:src|href)="', page)
    # by hand from the part list: the worst margin is the one state's, so it is tied where it balances
    assert plan["balance_mm"] == 200.0 and plan["mass_g"] == 90.0


def test_a_rocket_that_must_not_fly_is_not_swung_first(results, capsys):
    folder, _ = results("--balance", "250mm", "--mass", "90g")
    _, out, _ = run(capsys, folder)
    said = " ".join(out.split())
    assert "put that right before you swing it" in said and "has no steady angle" in said
    assert "put that right" in (folder / "swing-card.html").read_text()


LONG = """
name = "yarrow"
[body]
profile_mm = [[0, 0], [100, 22], [1400, 22]]
[[fins]]
count = 4
outline_mm = [[1250, 22], [1330, 110], [1400, 110], [1400, 22]]
thickness_mm = 3.0
"""


@pytest.fixture
def long(tmp_path, capsys):
    (tmp_path / "yarrow.toml").write_text(LONG)

    def make(mass):
        words = ["solve", str(tmp_path / "yarrow.toml"), "--balance", "1150mm", "--mass", mass]
        assert cli.main([*words, "--out", str(tmp_path / mass)]) == 0
        capsys.readouterr()
        return tmp_path / mass

    return make


def test_what_the_string_is_too_short_for_is_said_first(long, copied, capsys):
    folder = long("800g")
    _, out, _ = run(capsys, folder)
    assert "too long or too heavy for this string" in " ".join(out.split("swing test on")[0].split())
    page = (folder / "swing-card.html").read_text()
    assert page.index("too long or too heavy") < page.index("tie at")
    assert "too long or too heavy" not in run(capsys, copied)[1]


@pytest.mark.parametrize(("mass", "code"), [("995g", 0), ("1005g", 6), ("1450g", 6), ("1600g", 6)])
def test_a_pull_that_no_arm_should_hold_is_no_plan(long, capsys, mass, code):
    """By hand: at v^2 = 5 g R the pull is m g sqrt(26), so 50 N are 50 / (9.80665 sqrt(26)) kg = 999.9 g."""
    folder = long(mass)
    got, out, err = run(capsys, folder)
    assert got == code and MOST_PULL_N / (9.80665 * np.sqrt(26)) == pytest.approx(0.9999, abs=1e-4)
    if got:
        assert out == "" and err.count("\n") == 1 and "too heavy to be swung" in err
        assert not (folder / "swing-card.html").exists()
        assert run(capsys, folder, "--outcome", "fail")[0] == 0  # what came of it is kept all the same


def test_a_speed_that_pulls_too_hard_names_the_speed(long, capsys):
    folder = long("800g")
    code, out, err = run(capsys, folder, "--speed", "25m/s")
    assert (code, out, err.count("\n")) == (2, "", 1) and "--speed" in err and "slower" in err
    assert run(capsys, folder, "--speed", "12m/s")[0] == 0


def test_the_state_with_the_least_margin_is_swung(results, capsys):
    folder, _ = results(*READY, "--balanced-with", "none", "--motor", "large,24g,12g,70mm")
    plan = json.loads(run(capsys, folder, "--json")[1])["plan"]
    assert plan["state"] == "lift-off with large" and plan["mass_g"] == 114.0


def test_outcomes_are_kept_shown_and_outlive_a_new_measurement(results, capsys):
    folder, _ = results(*READY)
    assert run(capsys, folder, "--outcome", "unclear")[0] == 0
    code, out, err = run(capsys, folder, "--outcome", "Fail", "--note", "gusts <b>\n tail first")
    assert (code, err) == (0, "") and "recorded: fail" in out
    kept = read_swing(folder)
    assert [item["outcome"] for item in kept["outcomes"]] == ["unclear", "fail"]
    assert kept["outcomes"][1]["note"] == "gusts <b> tail first" and kept["outcomes"][1]["verdict"] == "fly"
    for _ in range(2):  # as the command left the report, and as a new run makes it
        report = (folder / "report.html").read_text()
        assert "Swing test" in report and "Gusts &lt;b&gt; tail first." in report
        assert ">Look again</p>" in report and "The swing test failed" in report
        _, said = results(*READY)
    assert read_swing(folder) == kept
    assert said.startswith("tansy: LOOK AGAIN") and re.search(r"swing test +fail \(\d{4}-\d\d-\d\d\)", said)
    assert json.loads((folder / "result.json").read_text())["verdict"]["level"] == "fly"  # by its numbers, as before
    assert run(capsys, folder, "--string", "3m")[0] == 0 and read_swing(folder)["outcomes"] == kept["outcomes"]
    assert run(capsys, folder, "--outcome", "pass")[0] == 0
    assert "The swing test failed" not in (folder / "report.html").read_text()


def test_what_someone_wrote_into_the_record_breaks_nothing(results, capsys):
    folder, _ = results()
    for plan in ('"plan": {"name": []}, ', ""):
        (folder / "swing.json").write_text('{"made_by": "digitize", ' + plan + '"outcomes": []}')
        code, out, err = run(capsys, folder, "--outcome", "pass")
        assert (code, err) == (0, "") and "recorded: pass" in out


def test_an_outcome_needs_no_plan(results, capsys):
    folder, _ = results()
    assert run(capsys, folder)[0] == 2
    code, out, _ = run(capsys, folder, "--outcome", "pass", "--json")
    assert code == 0 and json.loads(out)["plan"] is None
    assert not (folder / "swing-card.html").exists()
    assert run(capsys, folder, *READY)[0] == 0 and (folder / "swing-card.html").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--string", "2.5"), "mm, cm, m, in, ft"),
        (("--string", "20m"), "can't be swung by hand"),
        (("--string", "100mm"), "can't be swung by hand"),
        (("--speed", "12"), "m/s"),
        (("--speed", "300m/s"), "can't be swung by hand"),
        (("--outcome", "great"), "pass, fail, unclear"),
        (("--note", "hello"), "--outcome"),
        (("--mass", "-3g"), "not above zero"),
        (("--balance", "400mm"), "beyond the body"),
        (("--balance", "nan"), "--balance"),
    ],
)
def test_hostile_options(copied, capsys, words, says):
    folder = copied
    code, out, err = run(capsys, folder, *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("digitize: ") and says in err
    assert not (folder / "swing.json").exists()


@pytest.mark.parametrize(
    "text",
    ["", "{}", "[]", "[" * 100_000, "null", '{"made_by": "digitize"}', '{"made_by": "digitize", "outcomes": [1]}',
     '{"made_by": "digitize", "plan": 3, "outcomes": []}', '{"outcomes": [], "plan": null}',
     '{"made_by": "digitize", "outcomes": [{"outcome": "pass", "note": 1, "date": "", "verdict": "", "margin": ""}]}',
     '{"made_by": "digitize", "outcomes": [{"outcome": "win", "note": "", "date": "", "verdict": "", "margin": ""}]}'],
)  # fmt: skip
def test_a_strange_record_is_left_alone(copied, capsys, text):
    folder = copied
    (folder / "swing.json").write_text(text)
    for words in ((), ("--outcome", "pass")):
        code, out, err = run(capsys, folder, *words)
        assert (code, out, err.count("\n")) == (3, "", 1) and "swing.json" in err
    rewrite_report(read_saved(folder))
    assert (folder / "swing.json").read_text() == text


def test_a_card_that_is_not_ours_stays(copied, capsys):
    folder = copied
    (folder / "swing-card.html").write_text("mine")
    assert run(capsys, folder)[0] == 2
    assert (folder / "swing-card.html").read_text() == "mine"


@pytest.mark.parametrize("verdict", ["marginal", "do not fly", "look again"])
def test_a_pass_never_makes_up_for_the_margin(verdict):
    assert "does not make up for it" in reading("pass", verdict)
    assert "agree" in reading("pass", "fly") and "do not fly" in reading("fail", "fly")
    assert all(reading(outcome, verdict) for outcome in OUTCOMES)
