"""Fin groups in one place: a group counted twice is never flown, and a fin drawn over another replaces it."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from trace_page import Served, needs_chromium, number, on_screen, opened, until
from trace_scene import ASKED, SEDGE, drawn, drawn_session, fin_px, photo_file

from digitize import cli
from digitize.aero.components import centre_of_pressure
from digitize.errors import GeometryRefusal
from digitize.geometry.toml import overlapping, to_toml
from digitize.plans.nose_weight import stretched
from digitize.records import FinGroup
from digitize.result.from_geometry import solve
from digitize.trace.edits import on_fin
from digitize.trace.session import Session

LARGE = SEDGE.fins[0]
SMALL = FinGroup(4, np.array([[350.0, 15.0], [360.0, 25.0], [380.0, 25.0], [380.0, 15.0]]), 2.0)


def with_fins(*groups):
    return replace(SEDGE, fins=groups)


def moved(group, by_mm):
    return replace(group, outline_mm=group.outline_mm + [by_mm, 0.0])


@pytest.mark.parametrize(
    "groups",
    [(LARGE, LARGE), (moved(LARGE, -30.0), LARGE), (LARGE, SMALL), (SMALL, LARGE), (moved(SMALL, -15.0), LARGE)],
)
def test_one_place_is_look_again_where_one_of_them_alone_would_fly(groups):
    rocket = with_fins(*groups)
    assert len(overlapping(rocket)) == 1 and overlapping(rocket)[0].groups == (0, 1)
    balance = centre_of_pressure(rocket).x_mm - 45.0  # 1.5 calibers ahead of it
    result = solve(rocket, balance_mm=balance)
    assert result.margin_calibers.value == pytest.approx(1.5, abs=0.01)
    assert result.verdict_level == "look again"
    assert "fin groups 1 and 2 stand in one place" in result.verdict_text
    assert [w.code for w in result.warnings].count("FINS_OVERLAP") == 1


@pytest.mark.parametrize("gap_mm", [-0.9, 0.0, 40.0])
def test_one_behind_another_is_none(gap_mm):
    """A millimetre is what measuring leaves between groups that touch."""
    fore = moved(SMALL, 340.0 - 380.0 - gap_mm)
    rocket = with_fins(fore, LARGE)
    assert overlapping(rocket) == ()
    result = solve(rocket, balance_mm=centre_of_pressure(rocket).x_mm - 45.0)
    assert "FINS_OVERLAP" not in {w.code for w in result.warnings}


def test_a_fin_swept_over_the_next_one_covers_it_though_their_roots_are_apart():
    fore = FinGroup(4, np.array([[280.0, 15.0], [370.0, 55.0], [410.0, 55.0], [330.0, 15.0]]), 2.0)
    (found,) = overlapping(with_fins(fore, LARGE))
    assert found.root_mm == 0.0


@given(st.floats(-75.0, 75.0), st.floats(0.3, 3.0))
def test_it_does_not_depend_on_order_or_scale(shift_mm, times):
    """Down to the millimetre to which a root is known."""
    pair = (moved(SMALL, shift_mm), LARGE)
    shared = min(380.0 + shift_mm, 415.0) - max(350.0 + shift_mm, 340.0)
    if abs(shared - 1.5) < 2.0 / min(times, 1.0):
        return
    there = bool(overlapping(with_fins(*pair)))
    assert there == (shared > 1.5)
    assert bool(overlapping(with_fins(*pair[::-1]))) == there
    scaled = [replace(group, outline_mm=group.outline_mm * times) for group in pair]
    assert bool(overlapping(with_fins(*scaled))) == there


def test_the_command_says_it(tmp_path, capsys):
    path = tmp_path / "twice.toml"
    path.write_text(to_toml(with_fins(LARGE, LARGE)))
    assert cli.main(["solve", str(path), "--balance", "300mm"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.startswith("sedge: LOOK AGAIN") and "take one of them out" in said


def test_larger_fins_do_not_grow_over_the_group_ahead():
    rocket = with_fins(moved(SMALL, -60.0), LARGE)  # ends at 320, the large root begins at 340
    assert overlapping(stretched(rocket, 1.2, 1.2)) == ()
    with pytest.raises(GeometryRefusal, match="over the group ahead"):
        stretched(rocket, 1.6, 1.6)


# --- on the page ------------------------------------------------------------------------------------------


@pytest.fixture
def session(tmp_path):
    return drawn_session(tmp_path)


def test_a_fin_drawn_over_a_group_takes_its_place(session):
    before = session.full
    session.change({"do": "set-fin", "group": 0, "count": 3})
    session.change({"do": "set-fin", "group": 0, "thickness_mm": 3.2})
    session.change({"do": "draw-fin", "points": fin_px().tolist()})
    (fin,) = session.history.now.fins
    assert (fin.count, fin.thickness_mm, fin.drawn) == (3, 3.2, True)  # as the group it replaces
    session.change({"do": "draw-fin", "points": fin_px().tolist(), "count": 4})
    assert session.full.cp_x_mm.value == pytest.approx(before.cp_x_mm.value, abs=0.05)
    assert session.full.verdict_level == before.verdict_level


def test_both_only_when_said_and_then_it_is_look_again(session):
    alone = session.full.margin_calibers.value
    session.change({"do": "draw-fin", "points": fin_px().tolist(), "count": 4, "beside": True})
    assert len(session.history.now.fins) == 2
    assert session.full.margin_calibers.value > alone + 0.2  # what it would wrongly gain
    assert session.full.verdict_level == "look again"


def test_a_group_elsewhere_is_added(session):
    ahead = fin_px() + (fin_px()[0] - fin_px()[-1]) * [1.5, 0.0]
    session.change({"do": "draw-fin", "points": ahead.tolist(), "count": 4})
    assert len(session.history.now.fins) == 2
    assert "FINS_OVERLAP" not in {w.code for w in session.full.warnings}


def test_a_turned_group_is_replaced_as_it_stood(session):
    """The fin that lies flattest on the side where it was drawn, at the angle it had."""
    session.change({"do": "set-fin", "group": 0, "roll_deg": 30.0})
    turned = session.history.now.fins[0]
    pose = session.traced.pose
    seen = on_fin(turned, pose, turned.roll_rad)
    span = session.full.fins[0].span_mm.value
    session.change({"do": "draw-fin", "points": seen.tolist()})
    assert session.full.fins[0].span_mm.value == pytest.approx(span, abs=0.1)
    assert session.full.cutout_rolls_deg[0] % 90 == pytest.approx(30.0, abs=0.01)


@pytest.mark.parametrize(("kind", "angle"), [("diagonal", 45.0), ("30deg", 30.0), ("in-plane", 0.0)])
def test_a_first_group_stands_as_the_pose_was_told(tmp_path, kind, angle):
    session = Session(tmp_path / "results")
    session.load_photo(photo_file(tmp_path))
    session.begin({**ASKED, "pose": kind}, drawn())
    session.change({"do": "draw-fin", "points": fin_px().tolist(), "count": 4})
    assert session.full.cutout_rolls_deg[0] % 90 == pytest.approx(angle, abs=0.01)


@needs_chromium
@pytest.mark.parametrize(("size", "answer", "groups"), [((1400, 900), "replace", 1), ((390, 800), "beside", 2)])
def test_it_is_asked_on_the_spot(browser, session, size, answer, groups):
    with Served(session) as served, opened(browser, viewport={"width": size[0], "height": size[1]}) as page:
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        alone = number(page, "margin")
        page.click("#draw-fin")
        for point in fin_px() + [1.0, -2.0]:
            page.mouse.click(*on_screen(page, point))
        page.click("#done")
        page.wait_for_selector("#replace:focus")
        assert session.at == 1
        assert re.search(
            r"(?s)Here stands fin group 1 already.*Replace fin group 1 \(4 fins\)", page.inner_text("#hint")
        )
        if answer == "replace":
            page.keyboard.press("Enter")
        else:
            page.click(f"#{answer}")
        until(lambda: session.at == 2)
        until(lambda: page.inner_text("#hint") == "")
        assert len(session.history.now.fins) == groups
        if groups == 1:
            until(lambda: abs(number(page, "margin") - alone) < 0.3)
        else:
            page.wait_for_selector(".level-look-again")
