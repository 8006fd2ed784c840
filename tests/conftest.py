"""What every test stands on: one thread each, the samples' common place, a browser and a page in it for the tests of
the page of `digitize trace`; and no test fails by its time."""

import os

import pytest
from hypothesis import settings

from digitize.threads import one_thread_for_blas, usable_cores

one_thread_for_blas()  # before anything loads numpy, and inherited by every worker and every program that a test starts

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


@pytest.fixture(scope="session", autouse=True)
def shared_cores():
    """OpenCV's threads of all workers together are as many as there are cores: more would wait for one another."""
    import cv2

    cv2.setNumThreads(max(1, usable_cores() // int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1"))))


@pytest.fixture(scope="session", autouse=True)
def shared_samples(tmp_path_factory):
    """A sample that one worker has measured no other measures again."""
    import sample_runs

    own = tmp_path_factory.getbasetemp()
    sample_runs.place = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "samples"


@pytest.fixture(scope="session")
def browser():
    from playwright.sync_api import sync_playwright
    from trace_page import CHROMIUM, FLAGS

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def page(browser):
    from trace_page import opened

    with opened(browser, viewport={"width": 1300, "height": 850}) as page:
        yield page


@pytest.fixture
def touched(browser):
    """A page on a screen for fingers."""
    from trace_page import opened

    with opened(browser, viewport={"width": 820, "height": 1000}, has_touch=True) as page:
        yield page
