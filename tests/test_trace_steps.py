"""The four steps of the page in a real browser, on a desk and on a phone: what is in sight, where the eye is led, and
that no answer is shown for what the form no longer says."""

import re
import time
from pathlib import Path

import pytest
from trace_page import Served, drag, in_sight, needs_chromium, number, opened, step, told, until
from trace_scene import ASKED, drawn_session, photo_file, seen

from digitize.trace.session import Session
from digitize.trace.stopped import STAGES, progress
from digitize.trace.view import view

pytestmark = needs_chromium
ROOT = Path(__file__).parents[1]
DESK = {"viewport": {"width": 1400, "height": 900}}
POCKET = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


@pytest.fixture(params=[DESK, POCKET], ids=["desk", "pocket"])
def sized(request, browser):
    with opened(browser, **request.param) as page:
        yield page


def no_sideways(page):
    width = page.viewport_size["width"]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    out = page.evaluate(
        """width => [...document.querySelectorAll("button, input, select, textarea, summary, a")]
          .filter((e) => e.checkVisibility() && !e.closest(".skip, #photo") && !e.matches(".skip, .unseen"))
          .filter((e) => { const b = e.getBoundingClientRect(); return b.left < -0.5 || b.right > width + 0.5; })
          .map((e) => e.outerHTML.slice(0, 120))""",
        width,
    )
    assert out == []


def test_four_numbered_steps_and_the_photo_s_tips_are_in_sight_at_once(sized, tmp_path):
    with Served(Session(tmp_path / "rocket")) as served:
        sized.goto(served.url)
        sized.wait_for_selector("#choose")
        steps = sized.locator("#steps button")
        assert steps.count() == 4 and all(in_sight(sized, each) for each in steps.all())
        assert [each.inner_text().split() for each in steps.all()] == [
            ["1", "Photo"], ["2", "Scale"], ["3", "Fins", "and", "balance"], ["4", "Answer"],
        ]  # fmt: skip
        assert [each.is_enabled() for each in steps.all()] == [True, False, False, False]
        assert sized.get_attribute("#steps [data-step='photo']", "aria-current") == "step"
        assert in_sight(sized, sized.locator("#choose"))
        tips = sized.locator(".tips li")
        assert tips.count() == 6 and all(tip.locator("svg").is_visible() for tip in tips.all())
        assert sized.locator("#cautions li").count() >= 7 and sized.is_visible("#cautions")
        no_sideways(sized)


def test_few_fields_at_first_and_drawings_to_choose_from(sized, tmp_path):
    session = Session(tmp_path / "rocket")
    session.load_photo(photo_file(tmp_path))
    with Served(session) as served:
        sized.goto(served.url)
        sized.wait_for_selector("#field-reference")
        named = "[...document.querySelectorAll('#form [data-name], #field-reference')]"
        names = f"{named}.filter((e) => e.checkVisibility()).map((e) => e.dataset.name || 'reference')"
        assert sized.evaluate(names) == ["reference", "scale:tube"]
        sized.select_option("#field-reference", "ruler")
        assert sized.evaluate(names) == ["reference", "scale:ruler", "scale:tube"]
        places = sized.locator("[data-tiles='place'] .tile")
        assert places.count() == 3 and all(tile.locator("svg").is_visible() for tile in places.all())
        no_sideways(sized)
        sized.click("#next-scale")
        assert sized.evaluate("document.activeElement.id") == "panel"
        assert sized.evaluate(names) == ["fins", "balance", "mass"]
        poses = sized.locator("[data-tiles='lies'] .tile:has(input:not([value='']))")
        assert poses.count() == 3 and all(tile.locator("svg").is_visible() for tile in poses.all())
        no_sideways(sized)
        for fold in sized.locator("#fin-fields .fold summary").all():
            fold.click()
        assert {"motor", "hand", "wind", "seed", "pose", "name"} <= set(sized.evaluate(names))
        no_sideways(sized)


@pytest.mark.parametrize(
    ("place", "size", "wanted"),
    [("level", None, "0mm"), ("farther", "45", "45mm"), ("nearer", "12", "-12mm"), ("farther", None, None)],
)
def test_where_the_reference_lies_is_told_by_a_drawing(page, tmp_path, place, size, wanted):
    session = Session(tmp_path / "rocket")
    session.load_photo(photo_file(tmp_path))
    with Served(session) as served:
        page.goto(served.url)
        page.select_option("#field-reference", "card")
        page.check(f"[name=place][value={place}]")
        assert page.is_visible("#field-behind") == (place != "level")
        if size:
            page.fill("#field-behind", size)
        step(page, "fins")
        page.check("[name=lies][value=resting]")
        page.fill("#field-fins", "3")
        sent = []
        page.on("request", lambda request: "measure" in request.url and sent.append(request.post_data_json["words"]))
        page.click("#go")
        page.wait_for_selector(".refused")  # there is no card, so nothing else is looked for
        assert sent[0].get("behind") == wanted and sent[0]["scale"] == ["card"]
        assert (sent[0]["fins"], sent[0]["pose"]) == ("3", "resting")


def test_what_was_begun_and_not_said_is_asked_for_at_its_field(sized, tmp_path):
    session = Session(tmp_path / "rocket")
    session.load_photo(photo_file(tmp_path))
    with Served(session) as served:
        sized.goto(served.url)
        sized.select_option("#field-reference", "ruler")
        step(sized, "fins")
        sized.click("#go")
        fault = sized.locator("#field-scale-ruler-fault")
        assert "how long" in fault.inner_text() and in_sight(sized, fault)
        assert sized.evaluate("document.activeElement.id") == "field-scale-ruler"
        assert sized.get_attribute("#field-scale-ruler", "aria-invalid") == "true"
        assert "field-scale-ruler-fault" in sized.get_attribute("#field-scale-ruler", "aria-describedby")
        sized.fill("#field-scale-ruler", "300")
        assert not fault.is_visible() and not session.working
        sized.select_option("#field-reference", "card")
        sized.check("[name=place][value=nearer]")
        step(sized, "fins")
        sized.click("#go")
        assert sized.evaluate("document.activeElement.id") == "field-behind"
        assert "by how much" in sized.inner_text("#field-behind-fault") and not session.working


def test_the_verdict_is_pinned_in_sight_wherever_one_reads(sized, tmp_path):
    session = drawn_session(tmp_path)
    with Served(session) as served:
        sized.goto(served.url)
        sized.wait_for_selector(".verdict")
        level = sized.locator(".verdict .level")
        for where in ("photo", "scale", "fins", "answer"):
            step(sized, where)
            sized.evaluate("document.getElementById('cautions').scrollIntoView()")
            assert in_sight(sized, level)
        assert view(session)["result"]["verdict"]["headline"].lower() == level.inner_text().lower()
        assert "95 %" in sized.text_content("#numbers") and in_sight(sized, sized.locator("#save"))
        no_sideways(sized)


def test_a_changed_form_takes_the_old_verdict_away_until_it_is_measured_again(sized, tmp_path):
    session = drawn_session(tmp_path)
    with Served(session) as served:
        sized.goto(served.url)
        sized.wait_for_selector(".verdict")
        before = sized.inner_text(".verdict")
        step(sized, "fins")
        sized.fill("#field-balance", "100")
        assert sized.locator(".verdict").count() == 0 and sized.locator("#save").count() == 0
        assert "Your form has changed: measure again" in sized.inner_text("#stale")
        assert "the balance point" in sized.inner_text("#stale")
        step(sized, "answer")
        assert not sized.is_visible("#numbers") and not sized.is_visible("#weight")
        assert sized.locator(".plaque.balance").is_hidden()
        sized.click("#untell")
        assert sized.input_value("#field-balance") == "250" and sized.inner_text(".verdict") == before
        step(sized, "fins")
        sized.fill("#field-balance", "100")
        sized.click("#tell")
        until(lambda: session.full.balance_mm.value == pytest.approx(100.0))
        sized.wait_for_selector(".verdict")
        assert sized.inner_text(".verdict") != before
        assert sized.evaluate("document.activeElement.id") == "pinned"  # where the answer stands
        assert session.at == 2 and len(session.beginning.regions) == 0


def test_words_that_need_no_new_look_leave_the_points_where_they_are(page, tmp_path):
    """As a rocket that was begun with them: the same numbers, and what a hand has moved stays."""
    session = drawn_session(tmp_path)
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector(".verdict")
        told(page, hand="span=41mm", wind="6", motor="large,24g,12g,70mm,5mm", mass="160")
        page.click("#tell")
        page.wait_for_selector(".verdict")
    words = {**ASKED, "hand": ["span=41mm"], "wind": "6m/s", "motor": ["large,24g,12g,70mm,5mm"], "mass": "160g"}
    assert session.traced.sketch.texts == words
    again = drawn_session(tmp_path / "again", words)
    assert session.full.hand_checks == again.full.hand_checks
    assert session.full.balance_states == again.full.balance_states
    assert session.full.cp_x_mm == again.full.cp_x_mm
    assert view(session)["result"]["verdict"] == view(again)["result"]["verdict"]


def test_a_fault_stands_beside_its_field_and_the_focus_goes_there(sized, tmp_path):
    session = drawn_session(tmp_path)
    with Served(session) as served:
        sized.goto(served.url)
        sized.wait_for_selector(".verdict")
        told(sized, balance="250 furlong")
        step(sized, "answer")
        sized.click("#tell")
        sized.wait_for_selector("#field-balance-fault:visible")
        sized.faults.clear()  # the browser notes the refusal of it
        assert "unit" in sized.inner_text("#field-balance-fault") and in_sight(sized, sized.locator("#field-balance"))
        assert sized.evaluate("document.activeElement.id") == "field-balance"
        assert sized.locator(".refused").count() == 1 and sized.locator(".verdict").count() == 0
        assert session.at == 1
        sized.fill("#field-balance", "250")
        assert sized.locator(".refused").count() == 0 and sized.is_visible(".verdict")


def test_progress_shows_its_stages_and_is_stopped(sized, tmp_path):
    session = drawn_session(tmp_path)
    states = len(session.states)

    def slowly():
        for said in (*STAGES, *STAGES):
            session._report_progress(said)
            time.sleep(0.6)

    with Served(session) as served:
        sized.goto(served.url)
        sized.wait_for_selector(".verdict")
        session._start(slowly)
        sized.reload()
        sized.wait_for_selector("progress")
        assert sized.locator(".verdict").count() == 0 and in_sight(sized, sized.locator("progress"))
        shown = set()
        until(lambda: shown.add(sized.inner_text(".stage")) or len(shown) >= 2)
        assert shown <= {f"{k + 1} of {len(STAGES)}: {words} …" for k, words in enumerate(STAGES.values())}
        assert float(sized.get_attribute("progress", "max")) == len(STAGES)
        sized.click("#stop")
        until(lambda: not session.working)
        sized.wait_for_selector(".verdict")  # what was there before
        assert len(session.states) == states and session.refused is None


def test_every_stage_the_work_names_has_words():
    files = ("trace/session.py", "trace/photo_cache.py", "outline/silhouette.py")
    told = "".join((ROOT / "digitize" / name).read_text() for name in files).replace("_report_progress", "progress")
    said = set(re.findall(r'\bprogress\("([^"]+)"\)', told))
    assert len(said) == 4 and said | {"starting"} == set(STAGES)
    assert progress("something new")["words"] == "something new"


def test_an_earlier_rocket_is_opened_and_another_begun(sized, tmp_path):
    other = drawn_session(tmp_path)
    other.change({"do": "ask", "words": {"name": "old sedge"}})
    other.save()
    (tmp_path / "notes").mkdir()
    (tmp_path / "notes" / "result.txt").write_text("of somebody else")
    session = Session(tmp_path / "rocket-digitized")
    with Served(session) as served:
        sized.goto(served.url)
        sized.wait_for_selector("#earlier button")
        assert sized.locator("#earlier button").count() == 1
        assert "old sedge" in sized.inner_text("#earlier button") and "fly" not in sized.inner_text("#earlier").lower()
        sized.click("#earlier button")
        sized.wait_for_selector("[data-number='cp']")
        assert number(sized, "cp") == pytest.approx(other.full.cp_x_mm.value)
        assert sized.inner_text("#title") == "old sedge" and sized.input_value("#field-balance") == "250"
        sized.click("#another")
        sized.wait_for_selector("#choose")
        assert sized.locator(".verdict").count() == 0 and sized.input_value("#field-balance") == ""
        sized.wait_for_selector("#earlier button")
        sized.set_input_files("#file", photo_file(tmp_path, "third.jpg"))
        sized.wait_for_selector("#field-reference")
        assert sized.input_value("#field-name") == "third"
    assert (tmp_path / "rocket-digitized" / "photo.jpg").is_file() and not list((tmp_path / "results").glob("photo*"))


def test_a_drag_shows_its_verdict_where_the_eye_is(sized, tmp_path):
    session = drawn_session(tmp_path)
    with Served(session) as served:
        sized.goto(served.url)
        sized.wait_for_selector("[data-number='cp']")
        before = sized.inner_text(".verdict .keys")
        drag(sized, seen(380.0, 55.0), seen(380.0, 75.0))
        until(lambda: sized.inner_text(".verdict .keys") != before)
        until(lambda: in_sight(sized, sized.locator(".verdict .keys")))
        sized.mouse.up()
        until(lambda: session.at == 2)
