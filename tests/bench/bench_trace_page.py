"""Milliseconds from a pointer's move to the frame that shows the new centre of pressure, in a real browser:
`bench_trace_page.py [samples]`.

Points of a measured sample photo are dragged by a mouse in turn, a step at a time, so that whatever else the machine
does falls on all alike; printed are the median and the slowest tenth for each kind of drag. Clocked in the page: from
the move's own time stamp to after the frame in which the numbers were put into the page was drawn. At 60 frames a
second a wait for a frame is in it, 8 ms on average.
"""

import random
import sys
import tempfile
from pathlib import Path

import numpy as np
from bench_trace import ASKED

from digitize.trace.session import Session

sys.path.insert(0, str(Path(__file__).parents[1]))
from trace_page import CHROMIUM, FLAGS, Served, on_screen, opened

ROUNDS, STEPS = 6, 12
CLOCK = """() => {
  window.taken = [];
  let moved = null;
  document.getElementById("sheet").addEventListener("pointermove", (event) => { moved ??= event.timeStamp; }, true);
  const painted = new MessageChannel();
  painted.port1.onmessage = () => {
    if (moved !== null) window.taken.push(performance.now() - moved);
    moved = null;
  };
  new MutationObserver(() => painted.port2.postMessage(0)).observe(
    document.getElementById("numbers"), { childList: true });
}"""


def main(samples: Path) -> None:
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        session = measured(samples, Path(folder))
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        with Served(session) as served, opened(browser, viewport={"width": 1400, "height": 900}) as page:
            page.goto(served.url)
            page.wait_for_selector("[data-number='cp']")
            page.evaluate(CLOCK)
            taken = {name: [] for name in handles(session)}
            for _ in range(ROUNDS):
                for name, key in handles(session).items():
                    taken[name] += dragged(page, key)
            for name, each in taken.items():
                print(f"{name:12s} {np.median(each):5.0f} ms (worst 10 %: {np.quantile(each, 0.9):.0f})")
        browser.close()


def measured(samples: Path, folder: Path) -> Session:
    """With three scales: ruler, caliper, and two points as far apart as the ends of the rocket, beside it."""
    session = Session(folder / "results")
    session.load_photo(samples / "bramble-white-ruler.jpg")
    session.begin(ASKED)
    beside = np.array([0.0, -300.0])
    ends = np.concatenate([session.states[0].tip_px + beside, session.states[0].aft_px + beside])
    words = ",".join(f"{v:.1f}" for v in ends)
    length = f"{session.full.length_mm.value:.1f}mm"
    session.begin({**ASKED, "scale": [*ASKED["scale"], f"points={words},{length}"]})
    return session


def handles(session: Session) -> dict[str, str]:
    """Name -> key of the spot on the page. The last two fit scale and axis again."""
    outer = int(np.argmax(session.full.fins[0].outline_mm[:, 1]))
    return {
        "fin corner": f"fin-0-0-{outer}",
        "body edge": f"body-{len(session.states[0].body_px) - 2}-0",
        "axis end": "tip",
        "scale end": f"scale-{len(ASKED['scale'])}-1",
    }


def dragged(page, key: str) -> list[float]:
    """Milliseconds of each step of a drag; what was dragged is let go of without a change."""
    spot = page.locator(f"[data-key='{key}']").evaluate("node => node.spot.at")
    x, y = on_screen(page, spot)
    page.mouse.move(x, y)
    page.mouse.down()
    if page.evaluate("document.activeElement.dataset.key") != key:
        raise SystemExit(f"{key} lies under another spot")
    page.evaluate("window.taken = []")
    steps = random.Random(1)
    for k in range(STEPS):
        page.mouse.move(x + 12 + 0.4 * (k % 9), y - 10 - 0.5 * (k % 7))
        while page.evaluate("window.taken.length") <= k:
            page.wait_for_timeout(steps.uniform(80, 120))  # so that moves fall anywhere between two frames
    page.mouse.move(x, y)
    taken = page.evaluate("window.taken")
    page.evaluate("document.getElementById('sheet').dispatchEvent(new PointerEvent('pointercancel', { pointerId: 1 }))")
    page.mouse.up()
    page.wait_for_timeout(200)
    return taken[1:STEPS]


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "samples"))
