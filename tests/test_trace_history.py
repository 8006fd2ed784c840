"""Undo and redo over marked regions, pulls and other words: the history itself, and the session that goes by it."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trace_scene import ASKED, drawn, drawn_session, fin_px, seen

from digitize.trace import history as history_module
from digitize.trace import photo_cache
from digitize.trace import session as session_module
from digitize.trace.history import HISTORY, Beginning, History, history_json, history_of
from digitize.trace.reopened import open_folder
from digitize.trace.session import Session
from digitize.trace.sketch import Sketch, to_json

SAMPLES = Path(__file__).parents[1] / "samples"
BRAMBLE = {"scale": ["ruler=300mm", "tube=33.2mm"], "behind": "0mm", "fins": "4", "balance": "390mm"}
EMPTY = Sketch(np.zeros(2), np.ones(2), np.ones((1, 2)), np.zeros(1, bool))


def sketch(words: str) -> Sketch:
    return replace(EMPTY, texts={"name": words})


# --- the history itself -----------------------------------------------------------------------------------


def test_what_begins_anew_keeps_what_was_before():
    first, marked = Beginning({}), Beginning({}, regions=({"rocket": False, "points": []},))
    history = History().begun(first, sketch("found")).changed(sketch("moved")).begun(marked, sketch("found again"))
    history = history.changed(replace(history.now, texts={"name": "moved again"}))
    assert [s.texts["name"] for s in history.states] == ["found", "moved", "found again", "moved again"]
    assert [s.beginning for s in history.states] == [0, 0, 1, 1]
    assert history.beginning is marked and history.found_at == 0
    back = replace(history, at=1)
    assert back.beginning is first
    other = back.changed(sketch("otherwise"))
    assert len(other.states) == 3 and other.beginnings == (first,)
    again = replace(history, at=2).begun(first, sketch("without")).begun(marked, sketch("within"))
    assert again.beginnings == (first, marked, first, marked) and again.found_at == 3


@settings(max_examples=200, deadline=None)
@given(steps=st.lists(st.sampled_from(["begin", "change", "back", "forth", "save"]), max_size=40))
def test_however_long_it_grows_each_outline_s_first_sketch_stays(steps):
    most, history_module.MOST_STATES = history_module.MOST_STATES, 6
    try:
        history, saved = History().begun(Beginning({}), sketch("found 0")), None
        for count, step in enumerate(steps, 1):
            if step == "begin":
                history = history.begun(Beginning({"name": str(count)}), sketch(f"found {count}"))
            elif step == "change":
                history = history.changed(replace(history.now, texts={"name": str(count)}))
            elif step == "save":
                history = replace(history, saved_at=history.at)
                saved = history.now
            else:
                to = history.at + (1 if step == "forth" else -1)
                history = replace(history, at=min(max(to, 0), len(history.states) - 1))
            number = [state.beginning for state in history.states]
            assert number == sorted(number) and number[-1] < len(history.beginnings)
            assert len(number) <= 6 and 0 <= history.at < len(number)
            firsts = [history.states[number.index(n)].texts["name"] for n in set(number)]
            assert all(name.startswith("found") for name in firsts)
            assert history.saved_at is None or history.states[history.saved_at] is saved
    finally:
        history_module.MOST_STATES = most


def test_the_file_holds_all_of_it_and_an_older_file_is_still_read(tmp_path):
    pulls = ({"from": [1, 2], "to": [3, 4], "reach": 9.0},)
    history = History().begun(Beginning({"fins": "4"}), EMPTY).begun(Beginning({}, pulls=pulls), EMPTY)
    history = replace(history, at=0, saved_at=1)
    data = json.loads(json.dumps(history_json(history, tmp_path / "a.jpg")))
    again = history_of(data)
    assert replace(again, states=()) == replace(history, states=())
    assert [to_json(s) for s in again.states] == [to_json(s) for s in history.states]
    state = to_json(EMPTY)
    del state["beginning"]
    as_before = {"asked": {"fins": "4"}, "pulls": list(pulls), "states": [state, state], "at": 1, "saved_at": None}
    old = history_of(as_before)
    assert old.beginnings == (Beginning({"fins": "4"}, pulls=pulls),) and old.at == 1 and len(old.states) == 2


@pytest.mark.parametrize(
    "change", [{"at": 2}, {"at": -1}, {"at": "x"}, {"saved_at": "1"}, {"states": [{}]}, {"states": 1}]
)
def test_damaged_states_leave_how_the_outline_was_found(tmp_path, change):
    history = History().begun(Beginning({"fins": "4"}), EMPTY)
    damaged = history_of({**history_json(history, tmp_path), **change})
    assert damaged == History((Beginning({"fins": "4"}),))
    odd = history_json(history, tmp_path)
    odd["states"][0]["beginning"] = 1
    assert history_of(odd).states == ()


# --- the session ------------------------------------------------------------------------------------------


@pytest.fixture
def session(tmp_path):
    """Drawn, changed, then measured under another scale, and changed again."""
    session = drawn_session(tmp_path)
    session.begin({**ASKED, "scale": ["tube=60mm"], "balance": "500mm"}, drawn(), go_on=True)
    session.change({"do": "draw-fin", "points": fin_px().tolist(), "count": 4})
    return session


def none_is_searched(monkeypatch):
    def search(*_, **__):
        raise AssertionError("an outline was found again")

    for name in ("measure_drawn", "fit_photo", "fit_pulled"):
        monkeypatch.setattr(session_module, name, search)


def shown(session) -> tuple:
    return session.at, session.full.cp_x_mm, session.texts, session.result().changed_by_hand


def test_undo_leads_back_over_other_words_without_looking_again(session, monkeypatch):
    end = shown(session)
    small = session.full.length_mm.value / 2
    none_is_searched(monkeypatch)
    session.go(1)
    assert session.full.length_mm.value == pytest.approx(small, rel=2e-3)
    assert session.texts["scale"] == ["tube=30mm"] and len(session.full.fins) == 1
    session.go(0)
    assert session.full.fins == ()
    session.go(3)
    assert shown(session) == end
    session.go(1)
    session.change({"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": seen(380.0, 60.0).tolist()})
    assert len(session.states) == 3 and len(session.history.beginnings) == 1


@pytest.mark.parametrize("at", [0, 1, 2, 3])
def test_a_folder_opened_again_shows_and_undoes_what_was_there(session, at):
    """As after a crash: nothing was said to the session before."""
    every = []
    for k in range(4):
        session.go(k)
        every.append(shown(session))
    session.go(3)
    session.save()
    session.go(at)
    again, begin = open_folder(session.folder)
    again.begin(**begin)
    assert shown(again) == every[at] and again.history.saved_at == 3
    for k in (3, 0, 2, 1):
        again.go(k)
        assert shown(again) == every[k]
    assert json.loads((session.folder / HISTORY).read_text())["at"] == 1


def test_outlines_that_are_no_longer_at_hand_are_found_again(session, monkeypatch):
    monkeypatch.setattr(session_module, "MOST_HELD", 1)
    session.go(3)
    end = shown(session)
    session.go(1)
    assert list(session.found) == [0]
    session.go(3)
    assert list(session.found) == [1] and shown(session) == end


@pytest.mark.slow
def test_regions_and_pulls_are_undone_and_redone_on_a_photo(tmp_path, monkeypatch):
    """The outline comes back to the last digit, and nothing is searched for it; a pull brings no search either."""
    session = Session(tmp_path / "results")
    session.load_photo(SAMPLES / "bramble-white-ruler.jpg")
    session.begin(BRAMBLE)
    session.change({"do": "ask", "words": {"mass": "200g"}})
    outline = session.full.outline_px
    nose = outline[np.argmax(outline[:, 0])]
    with monkeypatch.context() as patch:
        patch.setattr(photo_cache, "silhouette_of", None)
        pull = {"from": nose.tolist(), "to": (nose + [30, 0]).tolist(), "reach": 40.0}
        session.begin({**BRAMBLE, "mass": "200g"}, pulls=(pull,), go_on=True)
    x, y = outline[np.argmin(outline[:, 1])]
    region = {"rocket": False, "points": [[x + dx, y + dy] for dx, dy in ((-70, -30), (70, -30), (70, 25), (-70, 25))]}
    session.begin({**BRAMBLE, "mass": "200g"}, regions=(region,), pulls=(pull,), go_on=True)
    assert session.at == 3 and session.history.found_at == 0
    every = {}
    with monkeypatch.context() as patch:
        none_is_searched(patch)
        for k in (3, 2, 1, 0, 3, 0, 2, 1):
            session.go(k)
            now = (*shown(session), session.full.outline_px.tobytes(), session.beginning)
            assert every.setdefault(k, now) == now
    assert every[1][4] == outline.tobytes() and len({now[4] for now in every.values()}) == 3
    assert "2 place" not in str(every[2][3]) and "pulled in 1 place(s)" in str(every[2][3])
    assert "1 region(s)" in str(every[3][3]) and "region" not in str(every[2][3])
    session.go(2)
    session.save()
    saved = json.loads((session.folder / "result.json").read_text())
    assert saved["cp"]["x_mm"]["value"] == every[2][1].value and saved["changed_by_hand"] == list(every[2][3])
    session.go(3)
    again, begin = open_folder(session.folder)
    again.begin(**begin)
    for k in (3, 2, 1, 0):
        again.go(k)
        assert (*shown(again), again.full.outline_px.tobytes(), again.beginning) == every[k]
