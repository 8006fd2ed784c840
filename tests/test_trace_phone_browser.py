"""The phone's page and the computer's, each in a browser of its own, over a network of this machine's addresses."""

import sys
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest
from trace_page import needs_chromium, number, on_screen, opened, until
from trace_phone import PHONE, Shared
from trace_scene import drawn_session, photo_file, seen

from digitize.trace.session import Session

pytestmark = [
    needs_chromium,
    pytest.mark.skipif(sys.platform != "linux", reason="only there all of 127.0.0.0/8 is this machine's"),
]
POCKET = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "device_scale_factor": 3}
SAMPLE = Path(__file__).parents[1] / "samples" / "bramble-white-ruler.jpg"
DESK = {"viewport": {"width": 1400, "height": 900}}


@pytest.fixture
def screens(browser):
    """Opens both pages of a session that is served to the network: (shared, phone, computer)."""
    with ExitStack() as ends:

        def open_both(session):
            shared = ends.enter_context(Shared(session))
            computer = ends.enter_context(opened(ends.enter_context(browser.new_context(**DESK))))
            computer.goto(shared.url)
            phone = ends.enter_context(opened(ends.enter_context(browser.new_context(**POCKET))))
            return shared, phone, computer

        yield open_both


@pytest.fixture
def drawn_rocket(tmp_path):
    return drawn_session(tmp_path)


def finger(page, kind, *points):
    if not hasattr(page, "touch"):  # one for all: a touch belongs to the session that began it
        page.touch = page.context.new_cdp_session(page)
    at = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(points)]
    page.touch.send("Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": at})


def drag_by_finger(page, from_px, to_px, lift=True):
    path = np.linspace(on_screen(page, from_px), on_screen(page, to_px), 6)
    finger(page, "Start", path[0])
    for point in path[1:]:
        finger(page, "Move", point)
    if lift:
        finger(page, "End")


def test_the_computer_shows_where_the_phone_finds_it_and_who_came(screens, tmp_path):
    shared, phone, computer = screens(Session(tmp_path / "results"))
    computer.wait_for_selector("#phone[open]")
    assert computer.inner_text("#phone-address") == shared.phone_url
    assert computer.evaluate("document.querySelector('#phone-code').naturalWidth") > 0
    words = computer.inner_text("#phone")
    assert "unencrypted" in words and "open to your local network" in words and "Nobody has opened it yet" in words
    code, begin = (computer.locator(name).bounding_box() for name in ("#phone > div", "#choose"))
    assert begin["x"] + begin["width"] < code["x"]  # beside what one begins with, not over it
    phone.goto(shared.phone_url)
    phone.wait_for_selector("#phone", state="attached")
    until(lambda: "Opened by 127.0.0.1" in computer.text_content("#phone-devices"))
    assert not computer.is_visible("#phone-code")  # it folds away once the phone is there
    assert phone.locator("#phone-code").count() == 0 and shared.phone.token not in phone.inner_text("body")
    assert "unencrypted" in phone.text_content("#phone") and "goes to your computer" in phone.inner_text("#empty")
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    computer.click("#phone summary")
    assert computer.is_visible("#phone-code")
    computer.keyboard.press("Escape")
    assert not computer.is_visible("#phone-code")


def test_where_a_rocket_is_there_already_the_code_waits_to_be_asked_for(screens, drawn_rocket):
    _, _, computer = screens(drawn_rocket)
    computer.wait_for_selector("#phone")
    assert not computer.is_visible("#phone-code")
    computer.click("#phone summary")
    assert computer.is_visible("#phone-code")


def test_without_the_option_nothing_of_it_is_there(browser, drawn_rocket):
    from trace_page import Served

    with Served(drawn_rocket) as served, opened(browser, **DESK) as page:
        asked = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        page.wait_for_timeout(2500)
        assert page.locator("#phone").count() == 0 and not [url for url in asked if "version" in url or "qr/" in url]


def test_a_photo_from_the_phone_shows_on_the_computer(screens, tmp_path):
    shared, phone, computer = screens(Session(tmp_path / "results"))
    phone.goto(shared.phone_url)
    phone.wait_for_selector("#file", state="attached")
    assert phone.get_attribute("#file", "accept").startswith("image/*")
    assert phone.get_attribute("#file", "capture") is None  # a photo that is there already may be chosen
    assert phone.get_attribute("#camera-shot", "capture") == "environment"
    assert phone.locator("label[for='camera-shot']").bounding_box()["height"] >= 44
    assert computer.locator("#camera-shot").count() == 0
    phone.set_input_files("#camera-shot", photo_file(tmp_path))
    until(lambda: shared.session.photo is not None)
    for page in (computer, phone):
        until(lambda page=page: page.evaluate("document.querySelector('#sheet image').getAttribute('width')") == "1600")
    assert shared.session.photo_path == tmp_path / "results" / "photo.jpg"


def test_each_follows_what_the_other_does(screens, drawn_rocket):
    shared, phone, computer = screens(drawn_rocket)
    phone.goto(shared.phone_url)
    for page in (phone, computer):
        page.wait_for_selector("[data-number='cp']", state="attached")
    before = number(computer, "cp")
    drag_by_finger(phone, seen(380.0, 55.0), seen(380.0, 75.0))
    until(lambda: shared.session.at == 2)
    until(lambda: number(computer, "cp") > before + 3)
    until(lambda: number(phone, "cp") == number(computer, "cp"))
    computer.click("#undo")
    until(lambda: number(phone, "cp") == before)
    assert shared.session.at == 1


def test_the_end_of_the_page_comes_above_what_is_pinned(screens, drawn_rocket):
    shared, phone, _ = screens(drawn_rocket)
    phone.goto(shared.phone_url)
    phone.wait_for_selector("[data-number='cp']", state="attached")
    phone.evaluate("document.getElementById('phone').open = true")
    phone.evaluate("window.scrollTo(0, document.documentElement.scrollHeight)")
    edges = "['phone', 'pinned'].map((id) => document.getElementById(id).getBoundingClientRect())"
    until(lambda: phone.evaluate(f"(() => {{ const [last, dock] = {edges}; return last.bottom <= dock.top; }})()"))


def test_what_is_typed_on_one_stays_when_the_other_tells_something_else(screens, drawn_rocket):
    shared, phone, computer = screens(drawn_rocket)
    told = lambda: shared.session.history.now.texts  # noqa: E731
    phone.goto(shared.phone_url)
    for page in (phone, computer):
        page.wait_for_selector("[data-number='cp']", state="attached")
    computer.click("[data-step='fins']")
    computer.fill("#field-mass", "181")
    phone.tap("[data-step='fins']")
    phone.fill("#field-balance", "262")
    phone.tap("#go")
    until(lambda: told()["balance"] == "262mm")
    until(lambda: computer.input_value("#field-balance") == "262")  # once ten seconds have passed without a key
    assert computer.input_value("#field-mass") == "181" and told()["mass"] == "150g"
    computer.click("#go")
    until(lambda: told()["mass"] == "181g" and told()["balance"] == "262mm")
    until(lambda: phone.input_value("#field-mass") == "181")


def test_an_edit_on_what_has_changed_is_refused_and_the_page_shows_what_is_there(screens, drawn_rocket):
    """The finger holds a corner while the computer changes another."""
    shared, phone, computer = screens(drawn_rocket)
    phone.goto(shared.phone_url)
    phone.wait_for_selector("[data-number='cp']", state="attached")
    before = number(phone, "cp")
    drag_by_finger(phone, seen(380.0, 55.0), seen(380.0, 60.0), lift=False)
    shared.session.change({"do": "move-fin-point", "group": 0, "fin": 0, "point": 2, "to": seen(420.0, 80.0).tolist()})
    now = shared.session.full.cp_x_mm.value
    until(lambda: number(computer, "cp") == now)
    phone.wait_for_selector("text=/changed on (the other|another) screen/")
    finger(phone, "End")
    phone.wait_for_selector("text=The rocket was changed on another screen meanwhile, so this was not done.")
    until(lambda: number(phone, "cp") == now and now != before)
    assert shared.session.at == 2 and len(shared.session.states) == 3
    phone.faults[:] = [fault for fault in phone.faults if "412" not in fault]  # the browser's word for the refusal
    drag_by_finger(phone, seen(380.0, 55.0), seen(380.0, 60.0))
    until(lambda: shared.session.at == 3)


def test_progress_of_what_the_phone_began_shows_on_both(screens, drawn_rocket, monkeypatch):
    shared, phone, computer = screens(drawn_rocket)
    phone.goto(shared.phone_url)
    phone.wait_for_selector("[data-number='cp']", state="attached")
    drawn_rocket.working, drawn_rocket.stage = True, "looking for the rocket"
    for page in (phone, computer):
        page.wait_for_selector("text=/looking for the rocket/i")
    drawn_rocket.working = False
    for page in (phone, computer):
        page.wait_for_selector("text=/looking for the rocket/i", state="hidden")


def test_a_phone_that_vanishes_in_a_drag_harms_nothing(screens, drawn_rocket):
    shared, phone, computer = screens(drawn_rocket)
    phone.goto(shared.phone_url)
    phone.wait_for_selector("[data-number='cp']", state="attached")
    before = number(computer, "cp")
    drag_by_finger(phone, seen(380.0, 55.0), seen(380.0, 75.0), lift=False)
    phone.context.set_offline(True)
    phone.wait_for_selector("text=The computer does not answer")
    phone.faults.clear()
    phone.context.set_offline(False)
    finger(phone, "Cancel")
    phone.wait_for_selector("#following", state="hidden")
    phone.faults.clear()
    assert shared.session.at == 1 and number(computer, "cp") == before
    shared.session.change({"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": seen(380.0, 75.0).tolist()})
    for page in (phone, computer):
        until(lambda page=page: number(page, "cp") > before + 3)
    assert PHONE not in shared.phone.devices  # the browser's own address here


@pytest.mark.slow
def test_from_the_photo_on_the_phone_to_the_answer_on_both(screens, tmp_path):
    """By finger alone but for the keyboard; the computer shows the photo, the progress and the same answer."""
    shared, phone, computer = screens(Session(tmp_path / "results"))
    phone.goto(shared.phone_url)
    stages = set()
    computer.expose_function("said", lambda words: stages.add(words))
    computer.evaluate(
        "new MutationObserver(() => { const at = document.querySelector('.stage'); if (at) said(at.textContent); })"
        ".observe(document.getElementById('pinned'), { childList: true, subtree: true, characterData: true })"
    )
    phone.set_input_files("#file", SAMPLE)
    phone.wait_for_selector("#field-reference")
    phone.select_option("#field-reference", "ruler")
    phone.tap("label:has([value='level'])")
    for name, text in (("scale-ruler", "300"), ("scale-tube", "33.2")):
        phone.tap(f"#field-{name}")
        phone.fill(f"#field-{name}", text)
    phone.tap("#next-scale")
    for name, text in (("fins", "4"), ("balance", "390")):
        phone.tap(f"#field-{name}")
        phone.fill(f"#field-{name}", text)
    phone.tap("#go")
    for page in (phone, computer):
        page.wait_for_selector(".verdict")
    until(lambda: number(phone, "cp") == number(computer, "cp") == shared.session.full.cp_x_mm.value)
    verdict = phone.inner_text(".verdict .level")
    assert verdict == computer.inner_text(".verdict .level") != ""
    assert any("of 5" in stage for stage in stages)
    before = number(computer, "cp")
    tip = shared.session.history.now.fins[0].points_px[1]
    drag_by_finger(phone, tip, tip - [40.0, 0.0])
    until(lambda: number(computer, "cp") != before and number(computer, "cp") == number(phone, "cp"))
    phone.tap("#undo")
    until(lambda: number(computer, "cp") == before == number(phone, "cp"))
    phone.tap("#save")
    computer.wait_for_selector("#save:has-text('Saved')")
    assert (tmp_path / "results" / "report.html").is_file()
