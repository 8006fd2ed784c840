"""The page in a real browser: Chromium from the system, driven by Playwright. Skipped where there is none."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from trace_page import Served, drag, needs_chromium, number, on_screen, step, told, until
from trace_scene import FOCAL_PX, HEIGHT, SEDGE, WIDTH, drawn_session, fin_px, photo_file, rim, seen

from digitize import cli
from digitize.aero.components import centre_of_pressure
from digitize.geometry.toml import read_geometry
from digitize.photo.calibration import CameraFile, write_camera
from digitize.trace.reopened import open_folder
from digitize.trace.session import Session
from digitize.trace.weight import nose_weight

pytestmark = needs_chromium


def draw_body(page):
    """Click the rocket's body together by hand."""
    step(page, "answer")
    page.click("#by-hand")
    profile = SEDGE.profile_mm[1:]
    for point in (seen(0.0, 0.0), rim(), *seen(profile[:, 0], profile[:, 1])):
        page.mouse.click(*on_screen(page, point))
    page.click("#done")
    page.wait_for_selector("#unfinished")


@pytest.fixture
def session(tmp_path):
    return drawn_session(tmp_path)


def test_drag_a_fin_corner_undo_save_reopen(page, session):
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        before = number(page, "cp")
        corner = seen(380.0, 55.0)
        drag(page, corner, seen(380.0, 75.0))
        until(lambda: number(page, "cp") > before + 3)  # it follows before the button is let go
        assert session.at == 1 and page.is_visible("#loupe")
        page.mouse.up()
        until(lambda: session.at == 2)
        page.wait_for_selector("#undo:enabled")
        outline = SEDGE.fins[0].outline_mm.copy()
        outline[1] = session.traced.measured.solid.geometry.fins[0].outline_mm[1]
        assert outline[1] == pytest.approx([380.0, 75.0], abs=0.5)
        from dataclasses import replace

        truth = replace(SEDGE, fins=(replace(SEDGE.fins[0], outline_mm=outline),))
        moved = centre_of_pressure(truth).x_mm - centre_of_pressure(SEDGE).x_mm
        until(lambda: abs(number(page, "cp") - before - moved) < 0.1)
        page.click("#undo")
        until(lambda: number(page, "cp") == before)
        page.click("#redo")
        until(lambda: number(page, "cp") > before + 3)
        page.click("#save")
        page.wait_for_selector("text=Saved in results")
    data = json.loads((session.folder / "result.json").read_text())
    assert data["cp"]["x_mm"]["value"] == pytest.approx(before + moved, abs=0.1)
    again, begin = open_folder(session.folder)
    with Served(again) as served:
        again.begin_in_background(**begin)
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        assert number(page, "cp") == data["cp"]["x_mm"]["value"]
        page.wait_for_selector("#undo:enabled")


def test_a_rocket_drawn_wholly_by_hand_from_an_upload(page, tmp_path):
    session = Session(tmp_path / "rocket")
    with Served(session) as served:
        page.goto(served.url)
        page.set_input_files("#file", photo_file(tmp_path))
        page.wait_for_selector("#field-reference")
        told(page, scale_tube="30", fins="4", balance="250")
        draw_body(page)
        for point in fin_px():
            page.mouse.click(*on_screen(page, point))
        page.click("#done")
        page.wait_for_selector("[data-number='span-0']")
        truth = centre_of_pressure(SEDGE).x_mm
        assert number(page, "cp") == pytest.approx(truth, abs=3.0)  # clicks fall on whole pixels of the screen
        assert abs(number(page, "cp") - truth) < session.full.cp_x_mm.pm95
        page.click("#save")
        page.wait_for_selector("text=Saved in rocket")
    geometry = read_geometry(tmp_path / "rocket" / "geometry.toml")
    assert centre_of_pressure(geometry).x_mm == pytest.approx(session.full.cp_x_mm.value, abs=1e-6)


def test_by_keys_alone(page, session):
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        before = number(page, "cp")
        heights = [float(pair.split(",")[1]) for pair in page.get_attribute(".plot .cp", "d")[1:].split("L")]
        assert heights[-1] < heights[0]  # the nose is up: broadside the air acts farther forward
        page.focus("#sheet")
        for _ in range(30):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.dataset.key") == "fin-0-0-1":
                break
        label = page.evaluate("document.activeElement.getAttribute('aria-label')")
        assert "fin group 1, corner 2" in label and "arrow keys" in label
        page.keyboard.press("Shift+ArrowUp")
        page.keyboard.press("ArrowUp")
        until(lambda: session.at == 2 and number(page, "cp") > before)
        assert page.evaluate("document.activeElement.dataset.key") == "fin-0-0-1"
        page.keyboard.press("Control+z")
        until(lambda: number(page, "cp") == before)


def settled_weight(page) -> str:
    page.wait_for_selector("#weight-answer:not([aria-busy]) #weight-needed")
    return page.inner_text("#weight-needed")


def test_nose_weight_on_the_page_is_the_command_s(page, session, capsys):
    """Told where it goes, moved along the curve, asked again once a corner is let go, and after saving as printed."""
    with Served(session) as served:
        page.goto(served.url)
        page.fill("#weight-margin", "5")
        page.select_option("#weight-fill", "at")
        page.fill("#weight-at", "25")
        page.press("#weight-at", "Tab")
        until(lambda: "at 25 mm from the nose tip" in settled_weight(page))
        before = settled_weight(page)
        plan = nose_weight(session.folder, *session.shown(), {"margin": "5", "at": "25mm"})["plan"]
        assert page.input_value("#grams") == f"{plan['weight']['mass_g']:g}"
        page.focus("#grams")
        page.keyboard.press("Home")
        until(lambda: "No weight" in page.inner_text("#weighed"))
        shown = re.search(r"margin ([\d.]+) ± ([\d.]+)", page.inner_text("#weighed"))
        margin = session.full.margin_calibers
        assert [float(v) for v in shown.groups()] == pytest.approx([margin.value, margin.pm95], abs=0.01)
        drag(page, seen(380.0, 55.0), seen(380.0, 45.0))
        page.wait_for_selector("#weight-answer[aria-busy]")  # while dragging, the old answer is marked as such
        page.mouse.up()
        until(lambda: session.at == 2 and settled_weight(page) != before)
        page.click("#save")
        page.wait_for_selector("text=Saved in results")
        now = settled_weight(page)
    assert cli.main(["ballast", str(session.folder), "--margin", "5", "--at", "25mm"]) == 0
    assert now in " ".join(capsys.readouterr().out.split())


def test_nose_weight_names_the_field_to_fill_in(page, session):
    session.change({"do": "ask", "words": {"mass": ""}})
    with Served(session) as served:
        page.goto(served.url)
        page.click("[data-missing='mass']")
        assert page.evaluate("document.activeElement.id") == "field-mass"
        page.keyboard.type("150")
        page.click("#tell")
        page.wait_for_selector(".verdict")
        assert "No nose weight is needed" in settled_weight(page)


def test_a_calibration_from_the_form_is_used_and_stays(page, tmp_path):
    good, bad = tmp_path / "lens.toml", tmp_path / "bad.toml"
    write_camera(good, CameraFile(float(FOCAL_PX), 0.0, WIDTH, HEIGHT, 0.003, 0.005, 8, 0.2))
    bad.write_text("focal_px = 3\n")
    session = Session(tmp_path / "rocket")
    session.load_photo(photo_file(tmp_path))
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector("#field-reference")
        told(page, scale_tube="30")
        page.click("text=More about the scale and the camera")
        page.set_input_files("#camera-file", bad)
        page.wait_for_selector("text=The file is no camera calibration")
        page.faults.clear()  # the browser reports the refusal's status as a fault of its own
        assert page.input_value("#field-camera") == "" and page.input_value("#field-scale-tube") == "30"
        page.set_input_files("#camera-file", good)
        until(lambda: page.input_value("#field-camera") == "camera.toml")
        assert not page.is_visible("text=The file is no camera calibration")
        page.reload()
        page.wait_for_selector("#field-reference")
        assert page.input_value("#field-camera") == "camera.toml"
        told(page, scale_tube="30")
        draw_body(page)
        assert "camera.toml" in session.base.prior.source and page.input_value("#field-camera") == "camera.toml"


def test_a_phone_sized_window(browser, session):
    page = browser.new_page(viewport={"width": 390, "height": 780}, has_touch=True)
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        stage, verdict = page.locator("#sheet").bounding_box(), page.locator(".verdict").bounding_box()
        assert stage["width"] == 390 and stage["height"] > 300 and verdict["y"] < 780
        dots = page.locator(".spot[tabindex='0'] .grab").all()
        assert all(dot.bounding_box()["width"] >= 24 for dot in dots)  # WCAG 2.2, target size (minimum): 24 px
        page.touchscreen.tap(*on_screen(page, seen(380.0, 55.0)))
        assert session.at == 1
    page.close()


@pytest.mark.slow
def test_undo_and_redo_over_a_pull_and_a_region(page, tmp_path):
    session = Session(tmp_path / "results")
    session.load_photo(Path(__file__).parents[1] / "samples" / "bramble-white-ruler.jpg")
    session.begin({"scale": ["ruler=300mm", "tube=33.2mm"], "behind": "0mm", "fins": "4"})
    outline = session.full.outline_px
    nose, tip = outline[np.argmax(outline[:, 0])], outline[np.argmin(outline[:, 1])]
    line = "#sheet .found"
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        lengths, lines = [number(page, "length")], [page.get_attribute(line, "d")]

        def settled(at):
            until(lambda: session.at == at and not session.working)
            page.wait_for_selector("#undo" if at == 0 else "#undo:enabled")
            until(lambda: number(page, "length") == session.full.length_mm.value)

        page.click("[data-tool='pull']")
        drag(page, nose, nose + [30, 0])
        page.mouse.up()
        settled(1)
        lengths, lines = [*lengths, number(page, "length")], [*lines, page.get_attribute(line, "d")]
        assert lengths[1] > lengths[0] + 3
        page.click("#not-rocket")
        for off in ([-70, -30], [70, -30], [70, 25], [-70, 25]):
            page.mouse.click(*on_screen(page, tip + off))
        page.click("#done")
        settled(2)
        page.wait_for_selector("text=1 region(s) were marked")
        page.click("#undo")
        settled(1)
        assert page.locator("#sheet .region").count() == 0 and page.is_visible("text=pulled in 1 place(s)")
        page.focus("#sheet")
        page.keyboard.press("Control+z")
        settled(0)
        assert page.is_visible("text=Nothing is changed by hand") and page.get_attribute(line, "d") == lines[0]
        page.click("#redo")
        settled(1)
        assert number(page, "length") == lengths[1] and page.get_attribute(line, "d") == lines[1]
        page.click("#redo")
        settled(2)
        page.click("#as-found")
        settled(0)
    again, begin = open_folder(session.folder)  # another program: the outlines gone back to are found again
    with Served(again) as served:
        again.begin_in_background(**begin)
        page.goto(served.url)
        page.wait_for_selector("#redo:enabled")
        assert number(page, "length") == lengths[0]
        page.click("#redo")
        until(lambda: again.at == 1 and not again.working)
        until(lambda: number(page, "length") == lengths[1])
        assert page.get_attribute(line, "d") == lines[1]


@pytest.mark.slow
def test_drag_an_end_of_a_found_ruler(page, tmp_path):
    """A tenth farther apart, the same 300 mm: all lengths shrink by a tenth; undone, they are as before."""
    session = Session(tmp_path / "results")
    session.load_photo(Path(__file__).parents[1] / "samples" / "bramble-white-ruler.jpg")
    session.begin({"scale": ["ruler=300mm"], "behind": "0mm", "fins": "4"})
    with Served(session) as served:
        page.goto(served.url)
        page.wait_for_selector("[data-number='cp']")
        page.click("#whole")
        before = number(page, "length")
        assert "end 2 of the reference, ruler" in page.get_attribute("[data-key='ends-0-1']", "aria-label")
        first, last = session.states[0].ends[0].points_px
        drag(page, last, last + 0.1 * (last - first))
        page.mouse.up()
        until(lambda: session.at == 1)
        until(lambda: abs(number(page, "length") / before - 1 / 1.1) < 0.004)  # a pixel of the screen is 0.2 % of it
        assert page.is_visible("text=The ends of the reference")
        page.click("#undo")
        until(lambda: number(page, "length") == before)
