"""A browser and a page in it, for the tests of the page of `digitize trace`; and no test fails by its time."""

import pytest
from hypothesis import settings
from trace_page import CHROMIUM, FLAGS, opened

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def page(browser):
    with opened(browser, viewport={"width": 1300, "height": 850}) as page:
        yield page


@pytest.fixture
def touched(browser):
    """A page on a screen for fingers."""
    with opened(browser, viewport={"width": 820, "height": 1000}, has_touch=True) as page:
        yield page
