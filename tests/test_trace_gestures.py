"""What is done on the page with fingers, a dropped file, marks on the photo, a pulled outline and arrow keys: the page
in a real browser, on sample photos that were measured."""

import base64
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import shapely
from trace_page import Served, drag, needs_chromium, number, on_screen, step, until
from trace_scene import photo_file

from digitize.trace.session import Session

pytestmark = [needs_chromium, pytest.mark.slow]
SAMPLES = Path(__file__).parents[1] / "samples"
BRAMBLE = {"scale": ["ruler=300mm", "tube=33.2mm"], "behind": "0mm", "fins": "4"}
THISTLE = {"scale": ["ruler=300mm"], "behind": "0mm", "fins": "3", "nose": "left", "balance": "250mm"}
TEASEL = {"scale": ["card"], "behind": "9mm", "fins": "6", "nose": "right"}


@contextmanager
def measured(folder: Path, photo: str, asked: dict):
    session = Session(folder / "results")
    session.load_photo(SAMPLES / photo)
    session.begin(asked)
    with Served(session) as served:
        served.found = session.full
        yield served


@pytest.fixture(scope="module")
def bramble(tmp_path_factory):
    with measured(tmp_path_factory.mktemp("bramble"), "bramble-white-ruler.jpg", BRAMBLE) as served:
        yield served


@pytest.fixture(scope="module")
def thistle(tmp_path_factory):
    with measured(tmp_path_factory.mktemp("thistle"), "thistle-steel-ruler.jpg", THISTLE) as served:
        yield served


@pytest.fixture(scope="module")
def teasel(tmp_path_factory):
    with measured(tmp_path_factory.mktemp("teasel"), "teasel-card-on-table.jpg", TEASEL) as served:
        yield served


def shown(page, served):
    """The page of a session as it was found, whatever was done to it before."""
    session = served.session
    if session.beginning.regions or session.beginning.pulls:
        session.begin(session.texts)
    session.go(0)
    page.goto(served.url)
    page.wait_for_selector("[data-number='cp']")
    return session


def touch(page, kind: str, *points):
    """One event of the touch screen. points: (x, y) of each finger on it, none when the last is lifted."""
    if not hasattr(page, "fingers"):
        page.fingers = page.context.new_cdp_session(page)
    points = [{"x": float(x), "y": float(y), "id": k} for k, (x, y) in enumerate(points)]
    page.fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def on_photo(page, point):
    """Which pixel of the photo lies there on the screen."""
    words = "p => { const m = document.getElementById('sheet').getScreenCTM(); \
return [(p[0] - m.e) / m.a, (p[1] - m.f) / m.d]; }"
    return np.array(page.evaluate(words, list(map(float, point))))


def rest(page):
    """Let the page draw what it was told."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def fin_tip(session) -> int:
    """Number of the fin's point farthest from the body."""
    return int(np.argmax(session.full.fins[0].outline_mm[:, 1]))


def test_two_fingers_keep_the_photo_under_them(touched, bramble):
    page, session = touched, shown(touched, bramble)
    box = page.locator("#sheet").bounding_box()
    middle = np.array([box["x"] + box["width"] / 2, box["y"] + box["height"] / 2])
    before = [middle + [-60, 20], middle + [60, -20]]
    held = [on_photo(page, p) for p in before]
    touch(page, "touchStart", before[0])
    touch(page, "touchStart", *before)
    for share in (0.25, 0.5, 0.75, 1.0):  # twice as far apart, and shifted
        now = [p + share * (p - middle + [30, 15]) for p in before]
        touch(page, "touchMove", *now)
    rest(page)
    assert [on_photo(page, p) for p in now] == [pytest.approx(p, abs=2.0) for p in held]
    touch(page, "touchMove", *before)
    rest(page)
    assert [on_photo(page, p) for p in before] == [pytest.approx(p, abs=2.0) for p in held]
    touch(page, "touchEnd", before[0])
    touch(page, "touchMove", before[0] + [50, 50])  # the one that is left moves nothing until it is set down anew
    rest(page)
    assert on_photo(page, before[0]) == pytest.approx(held[0], abs=2.0)
    touch(page, "touchEnd")
    touch(page, "touchStart", before[0])
    touch(page, "touchMove", before[0] + [50, 30])
    touch(page, "touchEnd")
    rest(page)
    assert on_photo(page, before[0] + [50, 30]) == pytest.approx(held[0], abs=2.0)
    assert session.at == 0 and len(session.states) == 1


def test_a_second_finger_gives_up_what_the_first_began(touched, bramble):
    page, session = touched, shown(touched, bramble)
    found, tip = number(page, "cp"), fin_tip(session)
    corner = np.array(page.locator(f"[data-key='fin-0-0-{tip}'] .handle").evaluate(
        "node => { const b = node.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; }"
    ))  # fmt: skip
    box = page.locator("#sheet").bounding_box()
    other = np.array([box["x"] + box["width"] / 2, box["y"] + box["height"] / 4])
    touch(page, "touchStart", corner)
    touch(page, "touchMove", corner + [0, -20])
    until(lambda: abs(number(page, "cp") - found) > 0.1)
    touch(page, "touchStart", corner + [0, -20], other)
    touch(page, "touchMove", corner + [0, -40], other + [0, 10])
    touch(page, "touchEnd")
    until(lambda: number(page, "cp") == found)
    assert page.locator(f"[data-key='fin-0-0-{tip}'].spot").count() == 1 and not page.is_visible("#loupe")
    line = page.locator("#sheet .found").get_attribute("d")
    page.click("[data-tool='pull']")
    at = np.array(on_screen(page, session.full.outline_px[0]))
    touch(page, "touchStart", at)
    touch(page, "touchMove", at + [0, -15])
    until(lambda: page.locator("#sheet .found").get_attribute("d") != line)
    touch(page, "touchStart", at + [0, -15], other)
    until(lambda: page.locator("#sheet .found").get_attribute("d") == line)
    touch(page, "touchEnd")
    assert session.at == 0 and not session.working and session.beginning.pulls == ()


def test_moves_between_two_frames_are_one_and_the_newest_is_asked_for(page, bramble):
    """Whatever rate the pointer has: one question at a time, the last place wins, an answer is drawn in a frame."""
    session = shown(page, bramble)
    asked, under_way = [], []

    def slow(route):
        asked.append(route.request.post_data_json["to"])
        under_way.append(len(asked) - len(answers))
        page.wait_for_timeout(120)
        answers.append(route.fetch())
        route.fulfill(response=answers[-1])

    answers = []
    page.route("**/preview", slow)
    tip = np.array(on_screen(page, session.full.drawing.fins[0][fin_tip(session)]))
    page.mouse.move(*tip)
    page.mouse.down()
    page.evaluate(
        """([x, y]) => {
          window.drawn = [];
          const seen = new MutationObserver(() => window.drawn.push(window.inFrame));
          seen.observe(document.getElementById("numbers"), { childList: true });
          const frame = window.requestAnimationFrame;
          window.requestAnimationFrame = (work) => frame((now) => { window.inFrame = now; work(now); });
          const sheet = document.getElementById("sheet");
          const mouse = { pointerId: 1, pointerType: "mouse", bubbles: true };
          const move = (k) => sheet.dispatchEvent(
            new PointerEvent("pointermove", { ...mouse, clientX: x, clientY: y - k }));
          for (let k = 1; k <= 20; k += 1) move(k);
          setTimeout(() => { for (let k = 21; k <= 30; k += 1) move(k); }, 60);
          setTimeout(() => { for (let k = 31; k <= 40; k += 1) move(k); }, 100);
        }""",
        tip.tolist(),
    )
    until(lambda: page.wait_for_timeout(20) or len(answers) == 2)
    rest(page)
    start = np.array(session.full.drawing.fins[0][fin_tip(session)])
    px = 1 / page.evaluate("document.getElementById('sheet').getScreenCTM().a")
    assert [float(start[1] - to[1]) / px for to in asked] == pytest.approx([20, 40], abs=0.2)
    assert under_way == [1, 1]
    shown_cp = answers[-1].json()["result"]["cp"]["x_mm"]["value"]
    until(lambda: number(page, "cp") == shown_cp)
    drawn = page.evaluate("window.drawn")
    assert len(drawn) == len(set(drawn)) == 2 and None not in drawn
    page.mouse.up()
    until(lambda: session.at == 1)
    assert session.full.cp_x_mm.value == shown_cp


def dropped(page, name: str, content: bytes, on="#sheet"):
    """A file dragged over the page and dropped on that element of it."""
    words = """([name, content]) => {
      const bytes = Uint8Array.from(atob(content), (letter) => letter.charCodeAt(0));
      const data = new DataTransfer();
      data.items.add(new File([bytes], name));
      return data;
    }"""
    data = page.evaluate_handle(words, [name, base64.b64encode(content).decode()])
    page.dispatch_event(on, "dragenter", {"dataTransfer": data})
    page.dispatch_event(on, "dragover", {"dataTransfer": data})
    assert page.is_visible("#drop")
    return lambda kind="drop", **more: page.dispatch_event(on, kind, {"dataTransfer": data, **more})


def test_a_photo_is_dropped_on_the_page(page, tmp_path):
    content = photo_file(tmp_path, "first.jpg").read_bytes()
    session = Session(tmp_path / "rocket")
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector("#choose")
        dropped(page, "notes.txt", b"no picture")()
        page.wait_for_selector("text=not a picture this reads")
        page.faults.clear()  # the browser notes the refusal of it
        assert session.photo is None and not page.is_visible("#drop")
        dropped(page, "first.jpg", content)("dragleave")
        assert not page.is_visible("#drop") and session.photo is None
        dropped(page, "first.jpg", content, on="#panel")("dragleave")  # out of the window over the panel
        assert not page.is_visible("#drop") and session.photo is None
        dropped(page, "../first.jpg", content, on="#panel")()
        page.wait_for_selector("#field-reference")
        step(page, "answer")
        assert not page.is_visible("#drop") and page.locator("#tools button:enabled").count() > 3
        marked(page, "#not-rocket", [(100, 100), (300, 100), (300, 300)])  # no scale told: this is refused
        page.wait_for_selector("text=No scale was given")
        page.faults.clear()
        assert page.locator("#sheet .region").count() == 1
        page.click("#unmark")
        assert page.locator("#sheet .region").count() == 0 and page.locator("#unmark").count() == 0
    assert session.photo_path == tmp_path / "rocket" / "photo.jpg"
    assert session.photo_path.read_bytes() == content


def test_text_dragged_into_a_field_is_no_photo(page, tmp_path):
    with Served(Session(tmp_path / "rocket")) as served:
        page.goto(served.url)
        page.wait_for_selector("#choose")
        taken = page.evaluate("""() => {
          const data = new DataTransfer();
          data.setData("text/plain", "41.6");
          const event = new DragEvent("dragover", { dataTransfer: data, bubbles: true, cancelable: true });
          return !document.getElementById("field-scale-tube").dispatchEvent(event);
        }""")
        assert not taken and not page.is_visible("#drop")


def marked(page, button: str, corners):
    page.click(button)
    for corner in corners:
        page.mouse.click(*on_screen(page, corner))
    page.click("#done")


def test_what_is_marked_not_rocket_is_left_out_and_rocket_taken_in(page, bramble):
    session = shown(page, bramble)
    found = bramble.found
    tip = session.full.drawing.fins[0][fin_tip(session)]
    corners = [tip + d for d in ([-70, -30], [70, -30], [70, 25], [-70, 25])]
    region = shapely.Polygon(corners)
    covered = lambda: shapely.Polygon(session.full.outline_px).intersection(region).area  # noqa: E731
    before = covered()
    assert before > 300
    marked(page, "#not-rocket", corners)
    until(lambda: len(session.beginning.regions) == 1 and not session.working)
    page.wait_for_selector("text=1 region(s) were marked")
    assert page.locator("#sheet .region:not(.rocket)").count() == 1
    assert covered() < 0.2 * before
    until(lambda: number(page, "cp") == session.full.cp_x_mm.value)
    page.click("#back-regions")
    until(lambda: not session.beginning.regions and not session.working)
    until(lambda: number(page, "cp") == found.cp_x_mm.value and number(page, "length") == found.length_mm.value)
    assert page.locator("#sheet .region").count() == 0
    beside = [tip + d for d in ([-30, -40], [30, -40], [30, 10], [-30, 10])]  # as if cloth hid a part of the fin
    added = shapely.Polygon(beside).difference(shapely.Polygon(session.full.outline_px))
    marked(page, "#rocket", beside)
    until(lambda: len(session.beginning.regions) == 1 and not session.working)
    page.wait_for_selector(".region.rocket", state="attached")
    until(lambda: number(page, "cp") == session.full.cp_x_mm.value)
    assert shapely.Polygon(session.full.outline_px).intersection(added).area > 0.5 * added.area


def test_the_outline_is_pulled(page, bramble):
    session = shown(page, bramble)
    at = session.full.outline_px[np.argmax(session.full.outline_px[:, 0])]  # the nose tip
    to = at + [30, 0]
    page.click("[data-tool='pull']")
    assert "Drag the thin yellow outline" in page.text_content("#hint")
    line = page.locator("#sheet .found").get_attribute("d")
    drag(page, at, to)
    until(lambda: page.locator("#sheet .found").get_attribute("d") != line)
    assert not session.working
    page.mouse.up()
    until(lambda: len(session.beginning.pulls) == 1 and not session.working)
    page.wait_for_selector("text=pulled in 1 place(s)")
    assert np.hypot(*(session.full.outline_px - to).T).min() < 2.0  # a pixel of the screen is nearly two of the photo
    until(lambda: number(page, "length") == session.full.length_mm.value)
    assert number(page, "length") > bramble.found.length_mm.value + 3
    page.click("#back-pulls")
    until(lambda: not session.beginning.pulls and not session.working)
    until(lambda: number(page, "cp") == bramble.found.cp_x_mm.value)


def test_arrow_keys_move_an_end_of_a_ruler(page, bramble):
    session = shown(page, bramble)
    before, place = number(page, "length"), session.states[0].ends[0].points_px[1]
    page.focus("#sheet")
    for _ in range(6):
        page.keyboard.press("+")  # the ends of the ruler are out of sight
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.key") == "ends-0-1":
            break
    label = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert "end 2 of the reference, ruler" in label and "arrow keys" in label
    dot, frame = page.locator("[data-key='ends-0-1'] .handle").bounding_box(), page.locator("#sheet").bounding_box()
    assert frame["x"] <= dot["x"] <= frame["x"] + frame["width"] - dot["width"]  # it came into sight
    assert frame["y"] <= dot["y"] <= frame["y"] + frame["height"] - dot["height"]
    for key in ("Shift+ArrowRight", "ArrowRight", "ArrowRight", "ArrowUp", "Alt+ArrowLeft"):
        page.keyboard.press(key)
    until(lambda: session.at == 1 and number(page, "length") == session.full.length_mm.value)
    assert session.states[1].ends[0].points_px[1] == pytest.approx(place + [11.8, -1.0], abs=0.006)
    assert number(page, "length") < before
    assert page.evaluate("document.activeElement.dataset.key") == "ends-0-1"


def test_no_key_is_lost_while_an_answer_is_on_its_way(page, bramble):
    """Steps as a person taps them, some of them while the program works on those before."""
    session = shown(page, bramble)
    place = session.states[0].ends[0].points_px[1]
    page.focus("[data-key='ends-0-1']")
    for pause in (300, 420, 80, 150, 220, 90, 360, 380, 70, 160, 0):
        page.keyboard.press("ArrowRight")
        page.wait_for_timeout(pause)
    wanted = pytest.approx(place + [11.0, 0.0], abs=0.006)
    until(lambda: session.states[-1].ends[0].points_px[1] == wanted)


def test_a_ruler_that_was_partly_read_asks_for_both_its_ends(page, thistle):
    session = shown(page, thistle)
    page.click("#whole")
    found, (first, last) = number(page, "length"), session.states[0].ends[0].points_px
    mm = (last - first) / 298  # its first and last millimetre are cut off by its own ends
    hint = page.locator(".to-set")
    assert hint.text_content() == "298 mm of 300 mm read: to use its ends, set both" and hint.is_visible()
    assert "298 mm of 300 mm read" in page.get_attribute("[data-key='ends-0-0']", "aria-label")
    for _ in range(4):
        page.click("#zoom-in")
    page.focus("[data-key='ends-0-1']")  # comes into sight
    drag(page, last, last + mm)
    page.mouse.up()
    until(lambda: session.at == 1)
    page.wait_for_selector("text=still is where the reading stopped")
    assert hint.text_content() == "298 mm of 300 mm read: set end 1 too"
    assert "look-again" in page.get_attribute(".verdict", "class")
    page.focus("[data-key='ends-0-0']")
    for key in ["ArrowLeft"] * round(float(mm[0])):
        page.keyboard.press(key)
    until(lambda: session.at == 2 and number(page, "length") == session.full.length_mm.value)
    assert hint.count() == 0 and page.locator("text=still is where the reading stopped").count() == 0
    assert number(page, "length") == pytest.approx(found, rel=0.0015)  # a pixel of either is 0.07 % of the ruler


def test_a_corner_of_a_card_is_dragged_and_moved_by_keys(page, teasel):
    session = shown(page, teasel)
    page.click("#whole")
    found, corners = number(page, "length"), session.states[0].ends[0].points_px
    assert "corner 2 of the reference, bank card" in page.get_attribute("[data-key='ends-0-1']", "aria-label")
    along = (corners[1] - corners[0]) / np.hypot(*(corners[1] - corners[0]))
    drag(page, corners[1], corners[1] + 20 * along)
    until(lambda: abs(number(page, "length") - found) > 0.5)  # it follows before the button is let go
    assert session.at == 0 and page.is_visible("#loupe")
    page.mouse.up()
    until(lambda: session.at == 1)
    until(lambda: number(page, "length") == session.full.length_mm.value)
    px = 1 / page.evaluate("document.getElementById('sheet').getScreenCTM().a")
    assert session.states[1].ends[0].points_px[1] == pytest.approx(corners[1] + 20 * along, abs=1.5 * px)
    assert session.states[1].ends[0].points_px[[0, 2, 3]] == pytest.approx(corners[[0, 2, 3]])
    assert page.is_visible("text=The corners of the reference (bank card) were set by hand")
    dragged = number(page, "length")
    assert dragged < found  # the card is larger in the picture, so a millimetre is
    page.focus("[data-key='ends-0-2']")
    for _ in range(2):
        page.keyboard.press("Shift+ArrowRight")
    until(lambda: session.at == 2 and number(page, "length") == session.full.length_mm.value)
    assert session.states[2].ends[0].points_px[2] == pytest.approx(corners[2] + [20, 0], abs=0.006)
    assert number(page, "length") < dragged
    page.click("#undo")
    until(lambda: number(page, "length") == dragged)
    page.click("#as-found")
    until(lambda: number(page, "length") == found)
