"""The page where measuring was refused: it shows what was seen, and a person may begin from it."""

import json
from pathlib import Path

import numpy as np
import pytest
from trace_page import Served, needs_chromium, step, until
from trace_scene import ASKED, SEDGE, drawn, photo_file, seen

from digitize.aero.components import centre_of_pressure
from digitize.errors import Refusal, UsageRefusal
from digitize.records import Photo
from digitize.refused import Findings
from digitize.trace.begun import start_of
from digitize.trace.reopened import open_folder
from digitize.trace.session import Session
from digitize.trace.view import view

AT_ODDS = {**ASKED, "scale": ["tube=30mm", "length=290mm"]}
"""The rocket is 420 mm long."""


def waited(session) -> dict:
    """The page once the work is done."""
    until(lambda: not session.working)
    return view(session)


@pytest.fixture(scope="module")
def refused(tmp_path_factory):
    folder = tmp_path_factory.mktemp("seen")
    session = Session(folder / "results")
    session.load_photo(photo_file(folder))
    session.begin_in_background(AT_ODDS)
    return session, waited(session)


def begun(refused, folder, words=ASKED):
    """A session of its own that begins from what was seen."""
    session = Session(folder / "results")
    session.load_photo(refused[0].photo.path)
    session.seen, session.start = refused[0].seen, refused[0].start
    session.begin_seen(words)
    return session


@pytest.mark.slow
def test_the_page_tells_why_and_shows_what_was_seen(refused):
    _, told = refused
    assert told["phase"] == "start" and "scale" in told["refused"]["what"]
    outline = np.array(told["seen"]["outline"])
    length = np.ptp(outline[:, 0])
    assert length == pytest.approx(np.ptp(seen(SEDGE.profile_mm[:, 0], 0.0)[:, 0]), rel=0.01)
    assert told["seen"]["start"] and not told["seen"]["rockets"]
    json.dumps(told, allow_nan=False)


@pytest.mark.slow
def test_what_was_seen_is_near_what_a_careful_hand_draws(refused):
    start, true = refused[0].start, drawn()
    caliber_px = 2 * (seen(0.0, 0.0) - seen(0.0, 15.0))[1]
    for key in ("tip_px", "aft_px"):
        assert np.hypot(*np.subtract(start.drawn[key], true[key])) < 0.2 * caliber_px
    assert len(start.fins) == 1
    fin = np.array(start.fins[0])
    x, y = SEDGE.fins[0].outline_mm.T
    for corner in seen(x, y if fin[:, 1].mean() < seen(0.0, 0.0)[1] else -y):
        assert np.hypot(*(fin - corner).T).min() < 0.2 * caliber_px


@pytest.mark.slow
def test_begun_from_what_was_seen_it_is_look_again_until_a_person_has_checked_it(refused, tmp_path):
    """The centre of pressure is that of the rocket drawn (by the headline's own method, from its exact shape)."""
    session = begun(refused, tmp_path)
    assert len(session.full.fins) == 1 and session.full.fins[0].count == 4
    assert session.full.verdict_level == "look again"
    assert [w.code for w in session.full.warnings].count("NOT_CHECKED") == 1
    assert "not checked yet" in session.result().changed_by_hand[0]
    true = centre_of_pressure(SEDGE).x_mm
    assert 0 < abs(session.full.cp_x_mm.value - true) < 0.35 * 30
    assert view(session)["checked"] is False and view(session)["seen"] is None

    session.change({"do": "check"})
    assert "NOT_CHECKED" not in [w.code for w in session.full.warnings]
    assert "checked by hand" in session.result().changed_by_hand[0] and view(session)["checked"] is True
    session.go(session.at - 1)
    assert session.full.verdict_level == "look again"


@pytest.mark.slow
def test_a_folder_opened_again_is_still_not_checked(refused, tmp_path):
    session = begun(refused, tmp_path)
    session.save()
    assert json.loads((session.folder / "result.json").read_text())["verdict"]["level"] == "look again"
    again, begin = open_folder(session.folder)
    again.begin(**begin)
    assert not again.history.now.checked and again.full.verdict_level == "look again"
    assert again.full.cp_x_mm == session.full.cp_x_mm
    again.change({"do": "check"})
    third, begin = open_folder(session.folder)
    third.begin(**begin)
    assert third.history.now.checked


def test_too_little_to_begin_from(tmp_path):
    session = Session(tmp_path / "results")
    session.load_photo(photo_file(tmp_path))
    with pytest.raises(UsageRefusal, match="too little was seen"):
        session.begin_seen(ASKED)
    session.begin_seen_in_background(ASKED)
    told = waited(session)
    assert "too little was seen" in told["refused"]["what"] and told["phase"] == "start"


PHOTO = Photo(Path("x.png"), np.zeros((300, 600, 3), np.uint8))
SMALL = np.array([[10.0, 10], [20, 10], [20, 20], [10, 20]])
BAR = np.array([[10.0, 10], [500, 10], [500, 40], [10, 40]])
LINE = np.column_stack([np.linspace(10, 500, 30), np.full(30, 50.0)])


@pytest.mark.parametrize(
    ("body", "outline"),
    [
        (None, LINE),
        (LINE, None),
        (LINE, LINE),
        (LINE[:2], LINE[:2]),
        (SMALL, SMALL),
        (BAR[[0, 2, 1, 3]], BAR),
    ],
)
def test_odd_shapes_give_a_start_or_none_and_no_defect(body, outline):
    start = start_of(Findings(PHOTO, (), (), body, None, outline))
    if start is not None:
        assert np.isfinite(np.array(start.drawn["body_px"])).all()


@pytest.mark.parametrize("turn_deg", [0, 37, 90, 180, 251])
def test_it_follows_the_rocket_whichever_way_it_points(turn_deg):
    """A slim body with one square fin, turned: the same start, turned (computed)."""
    turn = np.radians(turn_deg)
    matrix = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    body = np.array([[0.0, 0.0], [60, -10], [400, -10], [400, 10], [60, 10]])
    fin = np.array([[330.0, -10], [330, -60], [390, -60], [390, -10]])
    outline = np.vstack([body[:2], fin, body[2:]])
    nose = np.array([20.0, 0.0])
    place = [points @ matrix + 300 for points in (body, outline, nose)]
    start = start_of(Findings(PHOTO, (), (), place[0], place[2], place[1]))
    tip, aft = (np.array([[0.0, 0], [400, 0]])) @ matrix + 300
    assert np.hypot(*(start.drawn["tip_px"] - tip)) < 4 and np.hypot(*(start.drawn["aft_px"] - aft)) < 6
    assert len(start.fins) == 1
    for corner in fin @ matrix + 300:
        assert np.hypot(*(np.array(start.fins[0]) - corner).T).min() < 4


def test_a_refusal_without_a_picture_leaves_nothing_of_an_earlier_one(tmp_path):
    session = Session(tmp_path / "results")
    session.load_photo(photo_file(tmp_path))
    session.seen = Findings(session.photo, outline_px=LINE)
    with pytest.raises(Refusal):
        session.begin({**ASKED, "scale": ["tube=30"]})
    session.load_photo(session.photo_path)
    assert view(session)["seen"] is None


@needs_chromium
@pytest.mark.slow
def test_on_the_page_a_refusal_shows_what_was_seen_and_a_click_begins_from_it(page, tmp_path):
    session = Session(tmp_path / "results")
    session.load_photo(photo_file(tmp_path))
    session.texts = dict(AT_ODDS)
    with Served(session) as served:
        page.goto(served.url)
        step(page, "fins")
        page.click("#go")
        page.wait_for_selector(".refused")
        assert "scale" in page.inner_text(".refused")
        shown = page.evaluate("() => document.querySelector('path.found').getBBox().width")
        assert shown == pytest.approx(np.ptp(seen(SEDGE.profile_mm[:, 0], 0.0)[:, 0]), rel=0.01)
        session.texts = dict(ASKED)
        page.reload()
        page.click("#from-seen")
        page.wait_for_selector("[data-number='cp']")
        page.wait_for_selector("#check")
        assert page.inner_text(".verdict .level").lower() == "look again"
        assert page.locator("g.spot").count() > 8
        page.click("#check")
        page.wait_for_selector("#check", state="detached")
        assert session.history.now.checked
