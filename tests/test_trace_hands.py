"""Drawing by hand on the page, in a real browser: a wrong click is taken back, the next point is told, and half a
drawing has no verdict."""

import pytest
from trace_page import Served, in_sight, needs_chromium, on_screen, opened, step, told, until
from trace_scene import fin_px, photo_file, rim, seen

from digitize.aero.components import centre_of_pressure
from digitize.trace.session import Session
from digitize.trace.view import view

pytestmark = needs_chromium
DESK = {"viewport": {"width": 1400, "height": 900}}
POCKET = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
BODY = [seen(0.0, 0.0), rim(), *(seen(x, y) for x, y in ((40.0, 9.0), (90.0, 15.0), (420.0, 15.0)))]


@pytest.fixture(params=[DESK, POCKET], ids=["desk", "pocket"])
def sized(request, browser):
    with opened(browser, **request.param) as page:
        yield page


@pytest.fixture
def session(tmp_path):
    session = Session(tmp_path / "rocket")
    session.load_photo(photo_file(tmp_path))
    return session


def begun(page, served):
    page.goto(served.url)
    page.wait_for_selector("#field-reference")
    told(page, scale_tube="30", fins="4", balance="250")
    step(page, "answer")
    page.click("#by-hand")


def put(page, points):
    for point in points:
        page.mouse.click(*on_screen(page, point))


def dots(page) -> int:
    return page.locator("#sheet circle.handle.hand").count()


def test_a_wrong_click_is_taken_back_by_keys_and_by_a_button(sized, session):
    with Served(session) as served:
        begun(sized, served)
        put(sized, [*BODY[:3], seen(200.0, 40.0)])
        assert dots(sized) == 4
        sized.keyboard.press("Backspace")
        assert dots(sized) == 3 and sized.inner_text("#hint").startswith("Point 4.")
        put(sized, [seen(200.0, 40.0)])
        sized.evaluate("document.getElementById('panel').focus({ preventScroll: true })")  # wherever the focus is
        sized.keyboard.press("Control+z")
        assert dots(sized) == 3
        put(sized, [seen(200.0, 40.0)])
        sized.click("#take-back")
        assert dots(sized) == 3
        for _ in range(5):
            sized.keyboard.press("Backspace")
        assert dots(sized) == 0 and sized.inner_text("#hint").startswith("Point 1.")
        assert sized.locator("#take-back").count() == 0 and session.traced is None
        sized.click("#leave-it")
        assert not sized.is_visible("#hint")


def test_the_next_point_is_told_in_words_and_by_a_drawing(sized, session):
    with Served(session) as served:
        begun(sized, served)
        wanted = ("nose tip", "tail end of the body", "one edge of the body", "one edge of the body")
        for k, (words, point) in enumerate(zip(wanted, BODY, strict=False)):
            hint = sized.locator("#hint")
            assert f"Point {k + 1}." in hint.inner_text() and words in hint.inner_text()
            assert hint.locator("svg .click").is_visible() and in_sight(sized, sized.locator("#leave-it"))
            box = sized.locator("#photo").bounding_box()
            assert box["y"] >= 0 and box["y"] + box["height"] <= sized.viewport_size["height"] + 1  # all of it in sight
            assert sized.locator("#done").count() == (k > 2)
            put(sized, [point])
        sized.mouse.move(*on_screen(sized, seen(300.0, 15.0)))
        until(lambda: sized.get_attribute("#sheet .draft.next", "d"))  # the line that the next click would draw
        assert sized.is_visible("#loupe")


def test_no_verdict_before_body_and_fins_are_there(sized, session):
    with Served(session) as served:
        begun(sized, served)
        put(sized, BODY)
        sized.click("#done")
        sized.wait_for_selector("text=The fin that lies flattest")  # it goes on by itself
        shown = view(session)
        assert shown["unfinished"] and shown["result"]["verdict"] is None and shown["answer"] is None
        assert shown["result"]["margin_calibers"] is None and shown["result"]["deciding_margin"] is None
        assert sized.locator(".verdict").count() == 0 and sized.locator("#save").count() == 0
        sized.click("#leave-it")
        assert sized.is_visible("#unfinished") and in_sight(sized, sized.locator("#draw-fin-next"))
        assert sized.locator("[data-number]").count() == 0 and sized.locator("#sheet .pointer").count() == 0
        assert sized.get_attribute("#steps [data-step='answer']", "data-done") == "false"
        sized.click("#draw-fin-next")
        put(sized, fin_px())
        sized.click("#done")
        sized.wait_for_selector(".verdict")
        fin = view(session)["sketch"]["fins"][0]
        assert fin["count"] == 4 and sized.locator("#sheet .pointer.cp").count() == 1
        truth = centre_of_pressure(session.traced.measured.solid.geometry).x_mm
        assert session.full.cp_x_mm.value == pytest.approx(truth, abs=0.01)
        step(sized, "answer")
        sized.click("#fin-details summary")
        sized.click("text=Take this group out")  # and back to half a rocket
        sized.wait_for_selector("#unfinished")
        assert sized.locator(".verdict").count() == 0


def test_by_keys_alone(page, session):
    """Arrow keys bring the place under the cross, Space sets a point there."""
    with Served(session) as served:
        begun(page, served)
        page.focus("#sheet")

        def place():
            return page.evaluate("(() => { const b = document.getElementById('sheet').viewBox.baseVal; "
                                 "return [b.x + b.width / 2, b.y + b.height / 2]; })()")  # fmt: skip

        page.keyboard.press("ArrowLeft")
        page.keyboard.press("Shift+ArrowUp")
        at = place()
        page.keyboard.press("Space")
        assert dots(page) == 1 and "Point 2." in page.inner_text("#hint")
        dot = page.locator("#sheet circle.handle.hand").first
        where = [float(dot.get_attribute(name)) for name in ("cx", "cy")]
        assert where == pytest.approx(at, abs=0.01)
        page.keyboard.press("Backspace")
        assert dots(page) == 0
        page.keyboard.press("Escape")
        assert not page.is_visible("#hint")
