"""The page under axe-core's rules, all and of any weight, in each state and at both sizes, in a real browser."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from trace_page import Served, needs_chromium, on_screen, opened, step, told
from trace_scene import drawn_session, photo_file, seen

from digitize.trace.session import Session

pytestmark = needs_chromium
DESK = {"viewport": {"width": 1400, "height": 900}}
POCKET = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


@pytest.fixture(params=[DESK, POCKET], ids=["desk", "pocket"])
def sized(request, browser):
    with opened(browser, **request.param) as page:
        yield page


def faults(page) -> list[str]:
    answer = Axe().run(page).response
    assert len(answer["passes"]) > 15  # it has looked
    return [f"{v['id']} ({v['impact']}): {n['html'][:160]}" for v in answer["violations"] for n in v["nodes"]]


def unfolded(page):
    page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")


def test_the_rules_find_what_is_wrong(page, tmp_path):
    with Served(Session(tmp_path / "rocket")) as served:
        page.goto(served.url)
        page.wait_for_selector("#choose")
        page.evaluate("document.getElementById('choose').replaceChildren()")
        assert any(fault.startswith("button-name (critical)") for fault in faults(page))


def test_before_there_is_an_answer(sized, tmp_path):
    drawn_session(tmp_path).save()
    session = Session(tmp_path / "rocket-digitized")
    with Served(session) as served:
        sized.goto(served.url)
        sized.wait_for_selector("#earlier button")
        assert faults(sized) == []
        sized.set_input_files("#file", photo_file(tmp_path))
        sized.wait_for_selector("#field-reference")
        sized.select_option("#field-reference", "card")
        sized.check("[name=place][value=nearer]")
        unfolded(sized)
        assert faults(sized) == []
        step(sized, "fins")
        unfolded(sized)
        assert faults(sized) == []
        sized.click("#go")  # one field is lacking
        sized.wait_for_selector("#field-behind-fault:visible")
        assert faults(sized) == []
        step(sized, "photo")
        assert faults(sized) == []
        step(sized, "scale")
        sized.check("[name=place][value=level]")
        step(sized, "answer")
        assert faults(sized) == []
        sized.click("#go-now")
        sized.wait_for_selector(".refused")
        assert faults(sized) == []


def test_with_an_answer(sized, tmp_path):
    session = drawn_session(tmp_path)
    with Served(session) as served:
        sized.goto(served.url)
        sized.wait_for_selector("#weight-answer:not([aria-busy]) #weight-needed")
        unfolded(sized)
        assert faults(sized) == []
        sized.click("#save")
        sized.wait_for_selector("text=Saved in results")
        assert faults(sized) == []
        told(sized, mass="200")
        assert sized.is_visible("#stale") and faults(sized) == []
        sized.click("#untell")
        step(sized, "answer")
        sized.click("#draw-rocket")
        sized.mouse.click(*on_screen(sized, seen(0.0, 0.0)))
        assert sized.is_visible("#hint") and faults(sized) == []
        sized.click("#leave-it")
        session.working, session.stage = True, "looking for the rocket"
        sized.reload()
        sized.wait_for_selector("progress")
        assert faults(sized) == []
        session.working = False
