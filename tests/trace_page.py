"""The page of `digitize trace` for the tests in a real browser: a server for a session, and what a hand does there."""

import shutil
import threading
import time
from contextlib import contextmanager

import pytest
import uvicorn

from digitize.trace.serve import listen
from digitize.trace.server import application

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: apt-get install chromium")
FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
TOKEN = "browser"
PATIENCE_S = 300.0
"""For whatever has to come about: on a machine that is busy otherwise all takes many times as long."""
PAGES = []
"""The pages that are open. None outlives its server: what it asks of one that is gone would be a fault of the page."""


class Served:
    """A session behind a real server on a free port, in a thread."""

    def __init__(self, session):
        self.session, self.socket = session, listen(0)
        port = self.socket.getsockname()[1]
        self.url = f"http://127.0.0.1:{port}/{TOKEN}/"
        app = application(session, frozenset({f"127.0.0.1:{port}"}), TOKEN)
        self.server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="off", ws="none"))
        self.thread = threading.Thread(target=self.server.run, kwargs={"sockets": [self.socket]}, daemon=True)

    def __enter__(self):
        self.thread.start()
        return self

    def __exit__(self, *_):
        for page in PAGES:
            if page.url.startswith(self.url):
                page.goto("about:blank")
        self.server.should_exit = True
        self.thread.join(10)
        self.socket.close()


@contextmanager
def opened(browser, **options):
    """A new page; what went wrong in it fails the test."""
    page = browser.new_page(**options)
    page.set_default_timeout(1000 * PATIENCE_S)
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on("console", lambda message: message.type == "error" and page.faults.append(message.text))
    PAGES.append(page)
    yield page
    PAGES.remove(page)
    faults = page.faults
    page.close()
    assert faults == [], faults


def number(page, key) -> float:
    return float(page.get_attribute(f"[data-number='{key}']", "data-value"))


def until(condition):
    end = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.02)


def on_screen(page, point_px):
    """Where a pixel of the photo is on the screen."""
    words = "p => { const m = document.getElementById('sheet').getScreenCTM(); \
return [m.a * p[0] + m.e, m.d * p[1] + m.f]; }"
    return page.evaluate(words, list(map(float, point_px)))


def drag(page, from_px, to_px):
    page.mouse.move(*on_screen(page, from_px))
    page.mouse.down()
    page.mouse.move(*on_screen(page, [(a + b) / 2 for a, b in zip(from_px, to_px, strict=True)]))
    page.mouse.move(*on_screen(page, to_px))


def step(page, name):
    """To that step: photo, scale, fins, answer."""
    page.click(f"#steps [data-step='{name}']")


def told(page, **values):
    """Fields of the form filled in by their names, folds opened on the way; the step is the last one's."""
    for name, text in values.items():
        field = page.locator(f"#field-{name.replace('_', '-') if name.startswith('scale_') else name}")
        step(page, field.evaluate("node => node.closest('[data-panel]').dataset.panel"))
        field.evaluate("node => { const fold = node.closest('details'); if (fold) fold.open = true; }")
        field.fill(text)


def in_sight(page, locator) -> bool:
    """Whether its middle is on the screen and nothing lies over it."""
    return locator.evaluate(
        """node => {
          const b = node.getBoundingClientRect();
          const top = document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2);
          return Boolean(top) && (node.contains(top) || top.contains(node));
        }"""
    )
