"""A new user's way on the page, from nothing to a saved answer, as one test: by mouse, and by keys alone. In a real
browser, on a sample photograph with known truth; what it took is printed (`pytest -s`)."""

import base64
import json
import time
from pathlib import Path

import pytest
from trace_page import Served, in_sight, needs_chromium, opened

from digitize.trace.session import Session

pytestmark = [needs_chromium, pytest.mark.slow]
SAMPLES = Path(__file__).parents[1] / "samples"
PHOTO = SAMPLES / "bramble-white-ruler.jpg"
DESK = {"viewport": {"width": 1400, "height": 900}}
POCKET = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


class Way:
    """Counts what a person does, and tells how long each step took."""

    def __init__(self, page, name):
        self.page, self.name, self.count, self.begun, self.laps = page, name, 0, time.monotonic(), []

    def lap(self, step):
        self.laps.append(f"{step} {time.monotonic() - self.begun:.1f} s, {self.count} steps")

    def click(self, selector):
        self.count += 1
        self.page.click(selector)

    def fill(self, selector, text):
        self.count += 1
        self.page.fill(selector, text)

    def choose(self, selector, value):
        self.count += 1
        self.page.select_option(selector, value)

    def press(self, *keys):
        for key in keys:
            self.count += 1
            self.page.keyboard.press(key)

    def tab_to(self, selector, most=40):
        """The Tab key until the focus is there."""
        for _ in range(most):
            if self.page.evaluate("s => document.activeElement.matches(s)", selector):
                return
            self.press("Tab")
        raise AssertionError(f"{selector} is not reached by {most} Tabs")

    def type(self, text):
        self.count += 1
        self.page.keyboard.type(text)


def settled(page, selector):
    """Waits until the page has drawn this for good: the first answer of the server draws the step anew, and a key
    pressed just then goes to a button that is no longer there."""
    while True:
        shown = page.wait_for_selector(selector)
        page.wait_for_timeout(700)
        if shown.evaluate("e => e.isConnected"):
            return


def drop(page, path):
    """A file dragged over the page and dropped on it."""
    words = """([name, content]) => {
      const data = new DataTransfer();
      data.items.add(new File([Uint8Array.from(atob(content), (letter) => letter.charCodeAt(0))], name));
      return data;
    }"""
    data = page.evaluate_handle(words, [path.name, base64.b64encode(path.read_bytes()).decode()])
    page.dispatch_event("#empty", "dragover", {"dataTransfer": data})
    assert page.is_visible("#drop")
    page.dispatch_event("#empty", "drop", {"dataTransfer": data})


def right(session):
    """The saved answer against the sample's exact truth: inside its band, and not beside it."""
    saved = json.loads((session.folder / "result.json").read_text())
    truth = json.loads(PHOTO.with_suffix(".json").read_text())
    cp = saved["cp"]["x_mm"]
    assert abs(cp["value"] - truth["cp_mm"]) < cp["pm95"] < 20.0
    assert saved["verdict"]["level"] == "fly" and (session.folder / "report.html").is_file()
    return saved


@pytest.mark.parametrize("size", [DESK, POCKET], ids=["desk", "pocket"])
def test_by_mouse(browser, tmp_path, size, capsys):
    session = Session(tmp_path / "rocket-digitized")
    with Served(session) as served, opened(browser, **size) as page:
        page.goto(served.url)
        page.wait_for_selector("#choose")
        way = Way(page, "by mouse")
        drop(page, PHOTO)
        way.count += 1
        page.wait_for_selector("#field-reference")
        way.lap("photo")
        way.choose("#field-reference", "ruler")
        way.fill("#field-scale-ruler", "300")
        way.click("[data-tiles='place'] .tile:first-child")
        way.fill("#field-scale-tube", "33.2")
        way.click("#next-scale")
        way.lap("scale")
        way.fill("#field-fins", "4")
        way.fill("#field-balance", "390")
        way.fill("#field-mass", "150")
        way.click("#go")
        way.lap("fins and balance")
        page.wait_for_selector(".verdict")
        assert in_sight(page, page.locator(".verdict .level"))
        assert page.evaluate("document.activeElement.id") == "pinned"
        assert page.inner_text(".verdict .level") == "Fly"
        way.lap("answer")
        way.click("#save")
        page.wait_for_selector("text=Saved in rocket-digitized")
        way.lap("saved")
        saved = right(session)
        assert saved["name"] == "bramble-white-ruler" and way.count <= 11
    with capsys.disabled():
        print(f"\n{way.name} at {size['viewport']['width']} px: {'; '.join(way.laps)}")


def test_by_keys_alone(browser, tmp_path, capsys):
    session = Session(tmp_path / "rocket-digitized")
    with Served(session) as served, opened(browser, **DESK) as page:
        page.goto(served.url)
        settled(page, "#choose")
        way = Way(page, "by keys")
        way.tab_to("#choose")
        with page.expect_file_chooser() as chooser:
            way.press("Enter")
        chooser.value.set_files(PHOTO)
        way.count += 1
        page.wait_for_selector("#field-reference")
        page.wait_for_function("() => document.activeElement.id === 'panel'")
        way.lap("photo")
        way.tab_to("#field-reference")
        way.type("a ruler")
        way.tab_to("#field-scale-ruler")
        way.type("300")
        way.tab_to("[name=place]")
        way.press("Space")
        assert page.is_checked("[name=place][value=level]")
        way.tab_to("#field-scale-tube")
        way.type("33.2")
        way.press("Enter")  # to the next step
        page.wait_for_function("() => document.body.dataset.step === 'fins'")
        way.lap("scale")
        way.tab_to("#field-fins")
        way.type("4")
        way.tab_to("#field-balance")
        way.type("390")
        way.tab_to("#field-mass")
        way.type("150")
        way.press("Enter")  # the answer
        way.lap("fins and balance")
        page.wait_for_selector(".verdict")
        page.wait_for_function("() => document.activeElement.id === 'pinned'")
        way.lap("answer")
        way.tab_to("#save", 3)
        way.press("Enter")
        page.wait_for_selector("text=Saved in rocket-digitized")
        way.lap("saved")
        right(session)
    with capsys.disabled():
        print(f"\n{way.name}: {'; '.join(way.laps)}")
