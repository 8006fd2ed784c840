"""What a hand sets is held against the photo's own edge: named where it stands off it, held by the bands, and no
verdict hangs on it; where the photo shows the edge, or none at all, the hand decides."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from trace_page import Served, drag, needs_chromium, number, opened, until
from trace_scene import DEPTH_MM, FOCAL_PX, HEIGHT, WIDTH, drawn_session, fin_px, limb, rim, seen

from digitize.records import Photo
from digitize.trace.edge_seen import ribbon_of, straight_edge_beside
from digitize.trace.edits import corners
from digitize.trace.held import hold
from digitize.trace.reopened import open_folder
from digitize.trace.resolve import full_pose
from digitize.trace.session import Session

SAMPLES = Path(__file__).parents[1] / "samples"
THISTLE = {
    "scale": ["ruler=300mm"], "behind": "0mm", "fins": "3", "nose": "left", "balance": "284mm", "mass": "240g",
}  # fmt: skip
MM_PER_PX = DEPTH_MM / FOCAL_PX


def off_words(result):
    return [w.text for w in result.warnings if w.code == "HAND_OFF"]


def codes(result):
    return {w.code for w in result.warnings}


def told_mm(words):
    return float(re.search(r"([\d.]+) (?:mm|degrees)", words)[1])


# --- an edge along a line ---------------------------------------------------------------------------------


def picture(dark, noise=0.0):
    """(300, 400) grey, darker where `dark` (x, y) -> bool says so."""
    x, y = np.meshgrid(np.arange(400), np.arange(300))
    grey = np.where(dark(x, y), 90.0, 190.0) + np.random.default_rng(3).normal(0, noise, x.shape)
    return Photo(Path("p"), np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, 2))


@pytest.mark.parametrize("noise", [0.0, 12.0])
@pytest.mark.parametrize("off", [0.0, 2.0, 20.0, -35.0])
@pytest.mark.parametrize("slope", [0.0, 0.2])
def test_a_straight_edge_is_seen_on_the_line_or_beside_it(noise, off, slope):
    """The edge is at y = 150.5 + slope (x - 200) by the picture's making, between two rows; the line `off` above it."""
    photo = picture(lambda x, y: y > 150 + slope * (x - 200), noise)
    line = np.array([[100.0, 150.5 - off - 100 * slope], [300.0, 150.5 - off + 100 * slope]])
    ribbon = ribbon_of(photo, line, 60.0)
    assert (ribbon.seen().mean() > 0.9) == (abs(off) < 3)
    if abs(off) > 3:
        # to the left of a way along x, with y down, is up
        expected = -off / np.hypot(1, slope)
        assert straight_edge_beside(ribbon) == pytest.approx((expected, expected), abs=1.0)


def test_a_line_that_runs_away_from_its_edge_is_told_at_both_ends():
    photo = picture(lambda x, y: y > 150)
    ribbon = ribbon_of(photo, np.array([[100.0, 150.5], [300.0, 100.5]]), 80.0)
    assert ribbon.seen().mean() < 0.3
    start, end = straight_edge_beside(ribbon)
    assert abs(start) < 2 and end == pytest.approx(-50 * np.hypot(1, 0.25), abs=2)


@pytest.mark.parametrize("noise", [0.0, 12.0])
def test_a_plain_or_noisy_ground_shows_no_edge(noise):
    ribbon = ribbon_of(picture(lambda x, y: x < 0, noise), np.array([[100.0, 150.0], [300.0, 150.0]]), 60.0)
    assert ribbon.seen().mean() < 0.2 and straight_edge_beside(ribbon) is None


def test_a_line_outside_the_photo_is_none():
    assert ribbon_of(picture(lambda x, y: y > 150), np.array([[500.0, 150.0], [700.0, 150.0]])) is None


# --- a rocket drawn by hand -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    return drawn_session(tmp_path_factory.mktemp("edges"))


@pytest.fixture
def session(begun):
    yield begun
    begun.go(1)


def test_a_careful_hand_is_off_nowhere(session):
    assert not {"HAND_OFF", "HAND_UNSEEN"} & codes(session.full)


def perpendicular_mm(point, a, b):
    way = (b - a) / np.hypot(*(b - a))
    return abs(float((point - a) @ [way[1], -way[0]])) * MM_PER_PX


F = fin_px()


@pytest.mark.parametrize(
    ("change", "names", "truth_mm", "within"),
    [
        ({"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": F[1] + [0, -72]},
         r"fin group 1: its leading edge stands .* outside", perpendicular_mm(F[1] + [0, -72], F[0], F[1]), 4.0),
        ({"do": "move-fin-point", "group": 0, "fin": 0, "point": 2, "to": F[2] + [72, 0]},
         r"fin group 1: its trailing edge stands .* outside", perpendicular_mm(F[2] + [72, 0], F[3], F[2]), 4.0),
        ({"do": "move-fin-point", "group": 0, "fin": 0, "point": 2, "to": F[2] + [-40, 0]},
         r"fin group 1: its trailing edge stands .* inside", perpendicular_mm(F[2] + [-40, 0], F[3], F[2]), 4.0),
        ({"do": "move-end", "end": "aft", "to": rim() + [40, 0], "snap": 6},
         r"the aft end stands .* outside", (rim() + [40, 0] - seen([420.0], [0.0])[0])[0] * MM_PER_PX, 2.0),
        ({"do": "move-end", "end": "tip", "to": seen([0.0], [0.0])[0] - [60, 0], "snap": 6},
         r"the nose tip stands .* outside", 60 * MM_PER_PX, 2.5),
        ({"do": "move-end", "end": "tip", "to": seen([0.0], [0.0])[0] + [40, 0], "snap": 6},
         r"the nose tip stands .* inside", 40 * MM_PER_PX, 2.5),
    ],
)  # fmt: skip
def test_what_stands_off_the_photo_s_edge_is_named_and_held(session, change, names, truth_mm, within):
    """Truth: the scene's own pinhole."""
    before = session.full
    session.change({**change, "to": np.asarray(change["to"]).tolist()})
    words = next((w for w in off_words(session.full) if re.search(names, w)), None)
    assert words is not None, off_words(session.full)
    assert told_mm(words) == pytest.approx(truth_mm, abs=within)
    apart = abs(session.full.cp_x_mm.value - before.cp_x_mm.value)
    assert session.full.cp_x_mm.pm95 > 0.95 * np.hypot(apart, 0.8 * before.cp_x_mm.pm95)
    assert session.full.cp_x_mm.pm95 < 1.5 * np.hypot(apart, before.cp_x_mm.pm95) + 2.0


def test_a_drag_says_it_as_it_will_be_kept(session):
    change = {"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": (F[1] + [0, -72]).tolist()}
    _, brief = session.preview(change)
    session.change(change)
    assert off_words(brief) == off_words(session.full) != []
    assert brief.verdict_level == session.full.verdict_level


def test_a_verdict_that_hangs_on_it_is_look_again(session):
    """Balanced so that the drawn rocket is marginal, and would fly with the fin 110 px larger."""
    balance = session.full.cp_x_mm.value - 1.45 * 30
    session.change({"do": "ask", "words": {"balance": f"{balance:.1f}mm", "mass": "150g", "distance": "900mm"}})
    honest = session.full
    assert honest.verdict_level == "marginal"
    session.change({"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": (F[1] + [0, -110]).tolist()})
    grown = session.full
    assert grown.margin_calibers.value > honest.margin_calibers.value + 0.5
    assert grown.verdict_level == "look again" and "outside what the photo shows" in grown.verdict_text
    assert grown.margin_calibers.value - grown.margin_calibers.pm95 < honest.margin_calibers.value
    session.change({"do": "ask", "words": {"balance": "280mm", "mass": "150g", "distance": "900mm"}})
    assert session.full.verdict_level == "fly" and off_words(session.full)  # with either it flies


def without_fins(folder):
    """The same rocket with fins as clear as the air."""
    path = folder / "sedge.jpg"
    with Image.open(path) as photo:
        pixels, exif = np.array(photo), photo.getexif()
    y = np.arange(HEIGHT)[:, None] + np.zeros((1, WIDTH))
    half = abs(HEIGHT / 2 - limb([420.0], [15.0])[0, 1]) + 3
    pixels[np.abs(y - (HEIGHT - 1) / 2) > half] = (205, 210, 214)
    Image.fromarray(pixels).save(path, quality=92, exif=exif)


def test_where_the_photo_shows_no_edge_the_hand_decides_and_the_band_says_so(tmp_path):
    session = drawn_session(tmp_path)
    shown = session.full
    without_fins(tmp_path)
    clear = Session(tmp_path / "clear")
    clear.load_photo(tmp_path / "sedge.jpg")
    clear.begin(session.texts, session.beginning.drawn)
    clear.change({"do": "draw-fin", "points": F.tolist(), "count": 4})
    assert "HAND_UNSEEN" in codes(clear.full) and off_words(clear.full) == []
    assert clear.full.verdict_level == shown.verdict_level
    assert clear.full.cp_x_mm.value == pytest.approx(shown.cp_x_mm.value, abs=0.01)
    assert 1.2 < clear.full.fins[0].area_mm2.pm95 / shown.fins[0].area_mm2.pm95 < 8


# --- a rocket that was found ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    session = Session(tmp_path_factory.mktemp("thistle") / "results")
    session.load_photo(SAMPLES / "thistle-steel-ruler.jpg")
    session.begin(THISTLE)
    return session


@pytest.fixture
def thistle(found):
    yield found
    found.go(0)


def fin_corner(session, which):
    fin = session.history.now.fins[0]
    number = corners(fin.points_px)[which]
    middle = fin.points_px[[0, -1]].mean(axis=0)
    out = (fin.points_px[number] - middle) / np.hypot(*(fin.points_px[number] - middle))
    return number, fin.points_px[number], out


@pytest.mark.slow
@pytest.mark.parametrize("which", [1, -2])
@pytest.mark.parametrize(("by_px", "off"), [(2.0, False), (72.0, True), (-40.0, True)])
def test_a_corner_dragged_off_the_found_edge(thistle, which, by_px, off):
    before = thistle.full
    number, at, out = fin_corner(thistle, which)
    thistle.change(
        {"do": "move-fin-point", "group": 0, "fin": 0, "point": int(number), "to": (at + by_px * out).tolist()}
    )
    words = off_words(thistle.full)
    assert bool(words) == off
    if not off:
        assert thistle.full.verdict_level == before.verdict_level == "marginal"
        return
    assert all(("outside" if by_px > 0 else "inside") in each for each in words)
    pixel_mm = before.mm_per_px_at_axis.value
    # outside, the corner's own way; inside, to the nearer of the two edges that meet there
    share = max(map(told_mm, words)) / (abs(by_px) * pixel_mm)
    assert (0.8 < share < 1.2) if by_px > 0 else (0.5 < share < 1.0)
    assert thistle.full.cp_x_mm.pm95 > before.cp_x_mm.pm95
    if by_px > 0:  # alone it would be fly
        assert thistle.full.verdict_level == "look again"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("what", "names", "truth"),
    [
        ("body", r"the body's edge \d+ mm from the nose tip stands", None),
        ("tip", "the nose tip stands .* outside", 60.0),
        ("across", "the axis lies at the nose tip .* beside", 30.0),
        ("aft", "the aft end stands .* outside", 40.0),
        ("roll", "fin group 1 is turned 29 degrees|fin group 1 is turned 31 degrees", None),
        ("root", "fin group 1: its leading edge stands .* outside", None),
    ],
)
def test_the_other_things_a_hand_can_set(thistle, what, names, truth):
    before, sketch = thistle.full, thistle.history.now
    k = len(sketch.body_px) // 2
    fin = sketch.fins[0]
    change = {
        "body": {"do": "move-body", "point": k, "to": sketch.body_px[k] - [0, 25]},
        "tip": {"do": "move-end", "end": "tip", "to": sketch.tip_px - [60, 0], "snap": 6},
        "across": {"do": "move-end", "end": "tip", "to": sketch.tip_px - [0, 30], "snap": 6},
        "aft": {"do": "move-end", "end": "aft", "to": sketch.aft_px + [40, 0], "snap": 6},
        "roll": {"do": "set-fin", "group": 0, "roll_deg": round(thistle.full.cutout_rolls_deg[0] + 30, 1)},
        "root": {"do": "move-root", "group": 0, "fin": 0, "to": fin.points_px[[0, -1]].mean(0) - [80, 0]},
    }[what]
    change = {name: value.tolist() if isinstance(value, np.ndarray) else value for name, value in change.items()}
    thistle.change(change)
    words = [w for w in off_words(thistle.full) if re.search(names.replace("29", "30").split("|")[0], w)]
    assert words, off_words(thistle.full)
    if truth is not None:
        assert told_mm(words[0]) == pytest.approx(truth * before.mm_per_px_at_axis.value, rel=0.06)
    apart = abs(thistle.full.cp_x_mm.value - before.cp_x_mm.value)
    assert thistle.full.cp_x_mm.pm95 > 0.99 * apart


@pytest.mark.slow
def test_a_pull_off_the_edge_is_named_and_one_put_back_is_seen(thistle, tmp_path):
    _, at, out = fin_corner(thistle, 1)
    pull = {"from": at.tolist(), "to": (at + 60 * out).tolist(), "reach": 80.0}
    session = Session(tmp_path / "results")
    session.load_photo(SAMPLES / "thistle-steel-ruler.jpg")
    session.state = replace(session.state, cache=thistle.state.cache)
    session.begin(THISTLE, None, (), (pull,))
    pulled = session.full
    assert [w for w in off_words(pulled) if w.startswith("the outline pulled by hand stands")]
    apart = abs(pulled.cp_x_mm.value - thistle.full.cp_x_mm.value)
    assert apart > 2 and pulled.cp_x_mm.pm95 > apart
    folder = session.save()
    again, begin = open_folder(folder)
    again.begin(**begin)
    assert off_words(again.full) == off_words(pulled)
    assert json.loads((folder / "result.json").read_text())["verdict"]["level"] == again.full.verdict_level


@pytest.mark.slow
def test_a_found_outline_that_missed_the_edge_is_mended_by_hand(thistle):
    """The finder's sketch made wrong: a hand that sets the corner on the photo's edge is right, whatever was found."""
    _, at, out = fin_corner(thistle, 1)
    sketch = thistle.history.now
    fin = sketch.fins[0]
    wrong = replace(fin, points_px=np.where((fin.points_px == at).all(1)[:, None], at - 60 * out, fin.points_px))
    right = replace(fin, manual=(fin.points_px == at).all(1))
    pose = full_pose(thistle.base.solid.adjusted.pose(), thistle.photo)
    held = hold(thistle.photo, pose, thistle.base.solid, sketch.with_fin(0, wrong), sketch.with_fin(0, right))
    assert held.off == () and held.as_shown is None
    held = hold(
        thistle.photo, pose, thistle.base.solid, sketch, sketch.with_fin(0, replace(wrong, manual=right.manual))
    )
    assert held.off and held.as_shown is not None


# --- on the page ------------------------------------------------------------------------------------------


@needs_chromium
@pytest.mark.parametrize("size", [(1400, 900), (390, 800)])
def test_the_page_names_it_and_shows_one_margin(browser, session, size):
    """While the corner is dragged and after: the margin in the verdict's words is the one in the table."""

    def margins():
        both = "[document.querySelector('.verdict'), document.querySelector(`[data-number='margin']`)]"
        words, table = page.evaluate(f"() => {both}.map((node) => node.innerText)")  # at one moment
        said = re.findall(r"(-?\d+\.\d+ ± \d+\.\d+) calibers", words)
        return said, table

    with Served(session) as served, opened(browser, viewport={"width": size[0], "height": size[1]}) as page:
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        before = number(page, "cp")
        drag(page, F[1], F[1] + [0, -72])
        until(lambda: number(page, "cp") > before + 3)
        page.wait_for_selector("text=outside what the photo shows")
        said, table = margins()
        assert said and all(each in table for each in said)
        page.mouse.up()
        until(lambda: session.at == 2)
        page.wait_for_selector("#undo:enabled")
        page.wait_for_selector("text=outside what the photo shows")
        said, table = margins()
        assert said and all(each in table for each in said)
        page.click("#undo")
        until(lambda: number(page, "cp") == before)
        assert page.locator("text=outside what the photo shows").count() == 0
