"""What the page writes by itself: numbers rounded as everywhere else, and the end a balance point is measured from.

In a real browser, as tests/test_trace_browser.py.
"""

import pytest
from trace_page import Served, needs_chromium, told, until
from trace_scene import drawn_session

from digitize.records import Quantity
from digitize.trace.session import Session
from digitize.units.rounding import MOST_DECIMALS, with_band

pytestmark = needs_chromium
VALUES = (0.0, -0.004, 0.8912, 1.66, 33.202, 445.149, -12.34, 2125.4, 19218.0)
BANDS = (0.0, 0.0003, 0.093, 0.0987, 0.1809, 0.994, 1.04, 9.8, 12.3, 79.6, 123.4)


def test_the_page_rounds_as_the_report_does(page, tmp_path):
    cases = [(v, b, unit) for v in VALUES for b in BANDS for unit in ("mm", "mm²", "g", "calibers")]
    assert {unit for *_, unit in cases} <= set(MOST_DECIMALS)
    with Served(Session(tmp_path / "rocket")) as served:
        page.goto(served.url)
        shown = page.evaluate(
            """async (cases) => {
                const { withBand } = await import("./static/numbers.js");
                return cases.map(([value, pm95, unit]) => withBand({ value, pm95 }, unit));
            }""",
            cases,
        )
    wrong = [
        (case, ours, theirs)
        for case, theirs in zip(cases, shown, strict=True)
        if (ours := with_band(Quantity(*case[:2]), case[2])) != theirs
    ]
    assert not wrong


def test_the_end_of_the_balance_point_is_chosen_and_comes_back(page, tmp_path):
    session = drawn_session(tmp_path)
    length_mm = session.full.length_mm.value
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        end = page.locator("select[data-end]")
        for text, choice, at_mm in (("150", "from-tail", length_mm - 150), ("150", "from-nose", 150.0)):
            told(page, balance=text)
            end.select_option(choice)
            page.click("#tell")
            until(lambda at_mm=at_mm: session.full.balance_mm.value == pytest.approx(at_mm, abs=1e-6))
        assert session.traced.sketch.texts["balance"] == "150mm,from-nose"
        page.reload()
        page.wait_for_selector("[data-number='cp']")
        assert page.input_value("#field-balance") == "150" and end.input_value() == "from-nose"
