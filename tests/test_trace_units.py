"""The page in inches: a switch that is remembered, every number and sentence in it, what is saved stays metric.

In a real browser, as tests/test_trace_browser.py. An inch is 25.4 mm, an ounce 28.349523125 g (1959).
"""

import json

import pytest
from test_units import METRIC, MM_PER, sizes
from trace_page import Served, needs_chromium, told, until
from trace_scene import drawn_session

from digitize.records import Quantity
from digitize.trace.session import Session
from digitize.units.rounding import MOST_DECIMALS, with_band
from digitize.units.shown_units import shown_in

pytestmark = needs_chromium
VALUES = (0.0, 0.8912, 1.66, 33.202, 445.149, -12.34, 2125.4, 19218.0)
BANDS = (0.0, 0.0003, 0.093, 0.1809, 0.994, 9.8, 79.6, 123.4)


def test_the_page_rounds_inches_as_the_report_does(page, tmp_path):
    cases = [(v, b, unit) for v in VALUES for b in BANDS for unit in ("mm", "mm²", "g", "calibers")]
    with Served(Session(tmp_path / "rocket")) as served:
        page.goto(served.url)
        shown = page.evaluate(
            """async (cases) => {
                const { showUnits, withBand } = await import("./static/numbers.js");
                showUnits("in");
                return cases.map(([value, pm95, unit]) => withBand({ value, pm95 }, unit));
            }""",
            cases,
        )
    with shown_in("in"):
        ours = [with_band(Quantity(*case[:2]), case[2]) for case in cases]
    assert [(c, o, t) for c, o, t in zip(cases, ours, shown, strict=True) if o != t] == []
    assert {"in", "in²", "oz"} <= set(MOST_DECIMALS)


def test_the_switch_shows_inches_and_is_remembered(page, tmp_path):
    session = drawn_session(tmp_path)
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        told(page, mass="6 1/2")
        page.locator("#field-mass + select").select_option("oz")
        page.fill("#field-balance", "9 1/2")
        page.locator("#field-balance + select").select_option("in")
        page.click("#tell")
        until(lambda: session.full.mass_g == pytest.approx(6.5 * MM_PER["oz"], rel=1e-12))
        assert session.full.balance_mm.value == pytest.approx(241.3, rel=1e-12)
        page.wait_for_selector("#weighed")
        metric = page.inner_text("#numbers")
        page.select_option("#units", "in")
        page.wait_for_function("() => document.querySelector('label[for=grams]')?.textContent.includes('ounces')")
        page.fill("#grams", "2")
        assert "0.07 oz, its centre" in page.inner_text("#weighed")  # 2 / 28.35 = 0.0706
        for where in ("#numbers", "#changes", "#more", "#weight"):
            assert not METRIC.search(page.inner_text(where)), page.inner_text(where)
        inches = page.inner_text("#numbers")
        pairs = list(zip(sizes(metric, "mm"), sizes(inches, "in"), strict=True))
        assert len(pairs) >= 5
        for (value, _, half), (other, _, other_half) in pairs:
            assert abs(value - 25.4 * other) <= (half + 25.4 * other_half) * (1 + 1e-6)
        page.select_option("#weight-fill", "at")
        page.fill("#weight-at", "2")
        page.keyboard.press("Tab")
        page.wait_for_function("() => document.querySelector('#weighed').innerText.includes('centre 2 in')")
        page.reload()
        page.wait_for_selector("[data-number='cp']")
        assert page.input_value("#units") == "in"
        page.click("#save")
        until(lambda: (session.folder / "result.json").is_file())
        until(lambda: session.history.saved_at == session.at)
        saved = json.loads((session.folder / "result.json").read_text())
        assert saved["units"] == "in" and saved["mass_g"] == pytest.approx(184.27190, abs=1e-4)
        page.wait_for_selector("#weight-answer:not([aria-busy])")
    fresh = Session(tmp_path / "another")  # the browser remembers, nobody else has said
    with Served(fresh) as served:
        assert Session(session.folder).units == "in" and fresh.units is None
        page.goto(served.url)
        until(lambda: fresh.units == "in")
        page.wait_for_function("() => document.querySelector('#field-balance + select').value === 'in'")
