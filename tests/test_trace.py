"""The page's insides: a rocket drawn by hand, changes by hand, their numbers, and the file they are kept in."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from trace_scene import ASKED, FOCAL_PX, HEIGHT, SEDGE, WIDTH, drawn, fin_px, photo_file, seen

from digitize.aero.components import centre_of_pressure
from digitize.errors import GeometryRefusal, Refusal, UnreadableRefusal, UsageRefusal
from digitize.geometry.toml import read_geometry
from digitize.margin.warning_codes import doubt_of
from digitize.photo.calibration import CameraFile, write_camera
from digitize.photo.read import read_photo
from digitize.pipeline import points_reference, silhouette_of
from digitize.records import ReferencePoints
from digitize.request.option_table import texts
from digitize.request.options import measure_options
from digitize.result.to_json import to_dict
from digitize.solid.adjust import adjust_near
from digitize.trace import edits, resolve
from digitize.trace.form_texts import checked_texts
from digitize.trace.history import HISTORY
from digitize.trace.pull import pulls_of
from digitize.trace.reference_ends import ends_of, partly_read, set_by_hand
from digitize.trace.reopened import open_folder
from digitize.trace.resolve import sketch_of, solve_briefly, trace
from digitize.trace.session import Session
from digitize.trace.sketch import from_json, to_json
from digitize.trace.weight import nose_weight

SAMPLES = Path(__file__).parents[1] / "samples"
DRAW_FIN = {"do": "draw-fin", "points": None, "count": 4, "roll_deg": 0.0}


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """A session on the drawn rocket; tests that change it go back to its second state."""
    folder = tmp_path_factory.mktemp("trace")
    session = Session(folder / "results")
    session.load_photo(photo_file(folder))
    session.begin(ASKED, drawn())
    session.change({**DRAW_FIN, "points": fin_px().tolist()})
    return session


@pytest.fixture
def session(begun):
    begun.go(1)
    begun.history = replace(begun.history, states=begun.states[:2])
    yield begun
    begun.go(1)


def test_a_rocket_drawn_by_hand_gets_the_right_centre_of_pressure(session):
    """Truth: the geometry itself, projected by the tests' own pinhole."""
    truth = centre_of_pressure(SEDGE).x_mm
    result = session.result()
    assert result.cp_x_mm.value == pytest.approx(truth, abs=0.15)
    assert 0.6 < result.cp_x_mm.pm95 < 20
    assert result.length_mm.value == pytest.approx(420.0, abs=0.2)
    assert result.max_diameter_mm.value == pytest.approx(30.0, abs=0.02)
    assert result.fins[0].span_mm.value == pytest.approx(40.0, abs=0.1)
    assert result.changed_by_hand == ("The whole outline was drawn by hand.",)


def test_a_dragged_corner_moves_the_centre_of_pressure_by_what_the_geometry_says(session):
    before = session.full.cp_x_mm.value
    session.change({"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": seen(380.0, 75.0).tolist()})
    outline = SEDGE.fins[0].outline_mm.copy()
    outline[1, 1] = 75.0
    truth = replace(SEDGE, fins=(replace(SEDGE.fins[0], outline_mm=outline),))
    moved = centre_of_pressure(truth).x_mm - centre_of_pressure(SEDGE).x_mm
    assert abs(moved) > 3
    assert session.full.cp_x_mm.value - before == pytest.approx(moved, abs=0.1)


def test_what_a_drag_shows_is_what_is_kept(session):
    change = {"do": "move-body", "point": 1, "to": seen(90.0, 17.0).tolist()}
    traced, brief = session.preview(change)
    session.change(change)
    assert brief.cp_x_mm.value == pytest.approx(session.full.cp_x_mm.value, abs=1e-9)
    assert brief.cp_x_mm.pm95 == pytest.approx(session.full.cp_x_mm.pm95, rel=0.25)
    assert brief.verdict_level == session.full.verdict_level
    assert solve_briefly(traced, session.full).margin_calibers.value == session.full.margin_calibers.value


def test_a_change_of_scale_leaves_the_picture_and_moves_all_lengths(session):
    before = session.full.length_mm.value
    session.change({"do": "ask", "words": {"scale": ["tube=60mm"]}})
    assert session.full.length_mm.value == pytest.approx(2 * before, rel=2e-3)
    assert to_json(session.states[-1])["body_px"] == to_json(session.states[1])["body_px"]


def test_the_same_words_about_another_outline_are_solved_anew(session):
    """Two photos one after the other, the same told of both: the second is not scaled by the first."""
    base, asked = session.base, {**ASKED, "scale": ["tube=60mm"]}
    tubes = base.solid.adjusted.problem.tubes
    middle = np.mean([tube.points_px.mean(0) for tube in tubes], axis=0)
    wider = tuple(replace(tube, points_px=middle + (tube.points_px - middle) * [1.0, 1.25]) for tube in tubes)
    adjusted = base.solid.adjusted
    other = replace(adjusted, problem=replace(adjusted.problem, tubes=wider))
    depth_mm = []
    for found in (base, replace(base, solid=replace(base.solid, adjusted=other))):
        start = sketch_of(found, ASKED)
        for settled in (False, True):
            depth_mm.append(float(trace(found, start, replace(start, texts=asked), settled).pose.depth_mm))
    assert depth_mm[0] == pytest.approx(depth_mm[1], rel=1e-4) and depth_mm[2] == pytest.approx(depth_mm[3], rel=1e-4)
    assert depth_mm[3] == pytest.approx(depth_mm[1] / 1.25, rel=5e-3)


def test_a_dragged_scale_shows_what_is_kept(session, monkeypatch):
    """While dragging it is solved less finely, but far within the band; what is kept does not depend on the drag."""
    monkeypatch.setattr(resolve, "adjust_near", lambda *args: quick.append(1) or adjust_near(*args))
    quick, a, b = [], seen(100.0, -40.0), seen(300.0, -40.0)
    words = f"points={a[0]},{a[1]},{b[0]},{b[1]},200mm"
    session.change({"do": "ask", "words": {"scale": ["tube=30mm", words], "behind": "0mm"}})
    for move in ({"do": "move-reference", "reference": 1, "end": 1}, {"do": "move-end", "end": "tip", "snap": 0}):
        at = session.traced.sketch.tip_px if "snap" in move else b
        kept = []
        for dragged in (True, False):
            for step in range(6 * dragged):
                session.preview({**move, "to": (at + [0.3 * step, 0.5 * step]).tolist()})
            change = {**move, "to": (at + [1.5, 2.5]).tolist()}
            brief = session.preview(change)[1] if dragged else None
            session.change(change)
            kept.append(session.full)
            for name in ("cp_x_mm", "length_mm", "max_diameter_mm"):
                shown, full = getattr(brief or session.full, name), getattr(session.full, name)
                assert abs(shown.value - full.value) < 0.02 * full.pm95
            session.go(session.at - 1)
            for found in session.found.values():
                found.solutions.clear()
        assert to_dict(kept[0]) == to_dict(kept[1])
    assert len(quick) == 12  # all but the first of each, which is where it was


def test_two_points_of_known_distance_scale_it(session):
    a, b = seen(100.0, -40.0), seen(300.0, -40.0)
    words = f"points={a[0]},{a[1]},{b[0]},{b[1]},200mm"
    session.change({"do": "ask", "words": {"scale": [words], "behind": "0mm"}})
    assert session.full.length_mm.value == pytest.approx(420.0, rel=6e-3)
    session.change({"do": "move-reference", "reference": 0, "end": 1, "to": seen(200.0, -40.0).tolist()})
    assert session.full.length_mm.value == pytest.approx(840.0, rel=1.5e-2)


def test_ends_points_and_groups(session):
    length = session.full.length_mm.value
    session.change({"do": "move-end", "end": "tip", "to": seen(10.0, 0.4).tolist(), "snap": 5})
    assert session.full.length_mm.value == pytest.approx(length - 10, abs=0.1)
    session.change({"do": "move-end", "end": "aft", "to": seen(430.0, 0.0).tolist(), "snap": 5})
    assert session.full.length_mm.value == pytest.approx(length, abs=0.6)
    session.change({"do": "add-body", "to": seen(200.0, -16.0).tolist()})
    assert len(session.traced.measured.solid.geometry.profile_mm) == 5
    session.change({"do": "remove-body", "point": 2})
    session.change({"do": "add-fin-point", "group": 0, "fin": 0, "after": 1, "to": seen(400.0, 60.0).tolist()})
    assert session.full.fins[0].span_mm.value == pytest.approx(45.0, abs=0.5)
    session.change({"do": "remove-fin-point", "group": 0, "point": 2})
    session.change({"do": "move-root", "group": 0, "fin": 0, "to": seen(370.0, 15.0).tolist()})
    assert session.full.fins[0].root_chord_mm.value == pytest.approx(75.0, abs=0.6)
    session.change({"do": "set-fin", "group": 0, "count": 3, "thickness_mm": 1.5})
    assert session.full.fins[0].count == 3
    session.change({"do": "remove-fin", "group": 0})
    assert session.full.fins == () and "NO_FINS" in [w.code for w in session.full.warnings]


def test_turning_the_axis_keeps_the_body_s_radius(session):
    session.change({"do": "move-end", "end": "tip", "to": (seen(0.0, 0.0) + [0, 12]).tolist(), "snap": 1})
    assert session.states[-1].axis_manual
    assert session.full.max_diameter_mm.value == pytest.approx(30.0, abs=0.1)


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"do": "fly"},
        {"do": "move-fin-point", "group": 9, "point": 0, "to": [1, 2]},
        {"do": "move-fin-point", "group": 0, "point": True, "to": [1, 2]},
        {"do": "move-body", "point": 0, "to": [float("nan"), 2]},
        {"do": "move-body", "point": 0, "to": [1e9, 2]},
        {"do": "move-body", "point": 0, "to": "here"},
        {"do": "move-end", "end": "tip", "to": [1590.0, 500.0]},
        {"do": "remove-fin-point", "group": 0, "point": 0},
        {"do": "remove-body", "point": 2},
        {"do": "draw-fin", "points": [[1, 2]], "count": 3},
        {"do": "draw-fin", "points": [[1, 2], [3, 4], [5, 9]], "count": 99},
        {"do": "ask", "words": {"camera": "/etc/passwd"}},
        {"do": "ask", "words": {"scale": ["ruler=300mm"]}},
        {"do": "ask", "words": {"scale": []}},
        {"do": "ask", "words": {"balance": "250"}},
        {"do": "set-fin", "group": 0, "roll_deg": "x"},
        {"do": "move-fin-point", "group": 0, "fin": 0, "point": 2, "to": [700.0, 480.0]},
    ],
)
def test_what_can_t_be_is_refused_and_nothing_changes(session, change):
    before = to_json(session.states[session.at])
    with pytest.raises(Refusal) as caught:
        session.change(change)
    assert caught.value.what and caught.value.remedy
    assert to_json(session.states[session.at]) == before and len(session.states) == 2


def test_corners_of_a_rounded_fin():
    turn = np.radians([180, 150, 120, 90])
    rounded = np.column_stack([10 + 5 * np.cos(turn), 45 - 5 * np.sin(turn) + 0])
    outline = np.vstack([[0, 0], rounded, [60, 40], [50, 0]])
    assert edits.corners(outline)[0] == 0 and edits.corners(outline)[-1] == len(outline) - 1
    assert 4 <= len(edits.corners(outline)) <= 5


def test_undo_save_and_reopen(session, tmp_path):
    session.change({"do": "move-fin-point", "group": 0, "fin": 0, "point": 1, "to": seen(380.0, 75.0).tolist()})
    session.go(1)
    session.go(2)
    session.save()
    saved = json.loads((session.folder / "result.json").read_text())
    assert saved["changed_by_hand"] == ["The whole outline was drawn by hand."]
    assert "drawn by hand" in (session.folder / "report.html").read_text()
    geometry = read_geometry(session.folder / "geometry.toml")
    assert centre_of_pressure(geometry).x_mm == pytest.approx(saved["cp"]["x_mm"]["value"], abs=1e-9)
    again, begin = open_folder(session.folder)
    again.begin(**begin)
    assert (again.at, len(again.states)) == (session.at, len(session.states))
    assert again.full.cp_x_mm == session.full.cp_x_mm
    assert to_json(again.states[1]) == to_json(session.states[1])


def test_a_photo_that_moved_is_said_in_one_line(session, tmp_path):
    history = json.loads((session.folder / HISTORY).read_text())
    other = tmp_path / "r"
    other.mkdir()
    (other / HISTORY).write_text(json.dumps({**history, "photo": str(tmp_path / "gone" / "sedge.jpg")}))
    with pytest.raises(UnreadableRefusal, match=r"sedge\.jpg is no longer where it was"):
        open_folder(other)
    photo_file(other)
    assert open_folder(other)[0].photo_path == other / "sedge.jpg"


def test_a_history_that_was_damaged_is_not_trusted(session, tmp_path):
    state = to_json(session.states[1])
    for change in ({"body_px": [[1]]}, {"hand": []}, {"fins": [{}]}, {"tip_px": [0, "x"]}, {"asked": 3}):
        with pytest.raises(UsageRefusal):
            from_json({**state, **change})
    (tmp_path / HISTORY).write_text("[" * 100_000)
    with pytest.raises(UsageRefusal, match="not a results folder"):
        open_folder(tmp_path)


def test_a_file_of_somebody_else_is_never_replaced(session, tmp_path):
    (tmp_path / HISTORY).write_text("mine")
    other = Session(tmp_path)
    other.load_photo(session.photo_path)
    with pytest.raises(UsageRefusal, match="not written by this tool"):
        other.begin(ASKED, drawn())
    assert (tmp_path / HISTORY).read_text() == "mine"


def test_the_words_of_the_options_come_back_as_they_were(tmp_path):
    options = measure_options(
        [tmp_path / "a.jpg"], scale=["tube=41.6mm", "points=1,2,300,4,12in", "card"], behind="-3cm", distance="1.8m",
        fins="3,4", pose="30deg", nose="left", balance="250mm", mass="0.4lb", hand=["span=52mm"], thickness="2mm,1.5mm",
        name="sedge", seed=7, mach="0.3", wind="3m/s", rod_speed="50km/h", motor=["large,24g,12g,70mm,5mm"],
        balanced_with="large", add=["parachute,-12g,180mm"],
    )  # fmt: skip
    again = measure_options([tmp_path / "a.jpg"], **texts(options))
    assert again == options


@pytest.mark.slow
def test_a_measured_photo_stays_as_it_was_until_it_is_changed(tmp_path):
    """A sample photo: the sketch says again what was measured; regions and pulls are heeded, and named."""
    asked = {"scale": ["ruler=300mm", "tube=33.2mm"], "behind": "0mm", "fins": "4", "balance": "390mm"}
    session = Session(tmp_path / "results")
    session.load_photo(SAMPLES / "bramble-white-ruler.jpg")
    session.begin(asked)
    found, cp = session.base.solid.geometry, session.full.cp_x_mm
    session.change({"do": "ask", "words": {"name": "bramble"}})
    again = session.traced.measured.solid.geometry
    assert np.array_equal(again.profile_mm, found.profile_mm)
    assert np.array_equal(again.fins[0].outline_mm, found.fins[0].outline_mm)
    assert session.full.cp_x_mm == cp
    fin = edits.on_fin(session.states[0].fins[0], session.traced.pose, session.states[0].fins[0].roll_rad)
    tip = edits.corners(fin)[1]
    session.change({"do": "move-fin-point", "group": 0, "point": tip, "to": (fin[tip] + [0, -30]).tolist()})
    moved = replace(found, fins=session.traced.measured.solid.geometry.fins)
    assert session.full.cp_x_mm.value == pytest.approx(centre_of_pressure(moved).x_mm, abs=1e-9)
    assert session.full.cp_x_mm.value > cp.value + 2
    assert "Fin group 1" in session.result().changed_by_hand[0]

    session.go(0)
    ends, length = session.states[0].ends[0].points_px, session.full.length_mm.value
    session.change({"do": "move-ends", "reference": 0, "end": 0, "to": ends[0].tolist()})
    assert session.full.length_mm.value == pytest.approx(length, rel=2e-3)  # the same ends, without what lies between
    session.change({"do": "ask", "words": {"scale": ["ruler=300mm"]}})
    length = session.full.length_mm.value
    session.change({"do": "move-ends", "reference": 0, "end": 1, "to": (1.1 * ends[1] - 0.1 * ends[0]).tolist()})
    assert session.full.length_mm.value == pytest.approx(length / 1.1, rel=2e-3)
    assert session.result().changed_by_hand[0].startswith("The ends of the reference (ruler, 300 mm)")
    assert np.array_equal(from_json(to_json(session.states[3])).ends[0].points_px, session.states[3].ends[0].points_px)
    session.go(0)
    assert session.full.cp_x_mm == cp

    outline = session.full.outline_px
    nose = outline[np.argmax(outline[:, 0])]
    pull = {"from": nose.tolist(), "to": (nose + [30, 0]).tolist(), "reach": 40.0}
    session.begin(asked, pulls=(pull,))
    # a spike on the nose: the tip is fitted to what lies behind it too, so it follows, but not wholly
    grown = session.full.length_mm.value - found.profile_mm[-1, 0]
    assert 0.3 < grown / (30 * session.full.mm_per_px_at_axis.value) < 1.02
    assert session.result().changed_by_hand == ("The found outline was pulled in 1 place(s).",)
    left, right = float(outline[:, 0].min()) - 50, float(nose[0])
    top, bottom = float(outline[:, 1].min()), float(outline[:, 1].max())
    strips = [[(left, y - 45), (right, y - 45), (right, y + 45), (left, y + 45)] for y in (top - 5, bottom + 5)]
    session.begin(asked, regions=tuple({"rocket": False, "points": strip} for strip in strips))
    # half of each strip lies on a fin's tip, 40 px; the edge is then sought again near by
    assert session.full.outline_px[:, 1].min() > top + 20 and session.full.outline_px[:, 1].max() < bottom - 20
    assert session.result().changed_by_hand == ("2 region(s) were marked as rocket or not.",)


def test_two_points_on_the_rocket_hide_nothing_of_it():
    """A distance across both fins' tips, or along the body, is no object before the rocket."""
    photo = read_photo(SAMPLES / "bramble-white-ruler.jpg")
    outline = silhouette_of(photo, (), print).outline_px
    fins = outline[outline[:, 0] < outline[:, 0].min() + 0.1 * np.ptp(outline[:, 0])]
    top, bottom = fins[np.argmin(fins[:, 1])], fins[np.argmax(fins[:, 1])]
    words = ",".join(f"{v:.1f}" for v in photo.to_full_px(np.array([top + [40, 12], bottom + [40, -12]])).ravel())
    (claim,) = measure_options([photo.path], scale=[f"points={words},100mm"]).scales
    again = silhouette_of(photo, (points_reference(photo, claim),), print)
    assert np.array_equal(again.outline_px, outline)


@pytest.mark.parametrize("pulls", [[{}], [{"from": [1, 2], "to": [1, 2], "reach": 0}], [3], [{"from": [1], "to": 2}]])
def test_pulls_that_are_none_are_refused(session, pulls):
    with pytest.raises(UsageRefusal, match="pulls"):
        pulls_of(session.photo, pulls)


def test_fins_that_were_not_said_are_those_drawn(tmp_path):
    session = Session(tmp_path / "results")
    session.load_photo(photo_file(tmp_path))
    session.begin({"scale": ["tube=30mm"]}, drawn())
    session.change({**DRAW_FIN, "points": fin_px().tolist()})
    assert [fin.count for fin in session.full.fins] == [4]
    assert "FINS_NOT_SAID" not in [w.code for w in session.full.warnings]


def test_a_result_of_several_photos_is_not_opened_as_one(tmp_path):
    (tmp_path / "result.json").write_text(json.dumps({"photos": [{}, {}], "photo": {"path": "a.jpg", "asked": {}}}))
    with pytest.raises(UsageRefusal, match="several photos"):
        open_folder(tmp_path)


@settings(max_examples=12, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    which=st.sampled_from(["body", "fin", "end", "root"]),
    point=st.integers(0, 3),
    to=st.tuples(st.floats(-3000, 5000), st.floats(-3000, 5000)),
)
def test_a_point_dragged_anywhere_gives_numbers_or_a_refusal(session, which, point, to):
    change = {
        "body": {"do": "move-body", "point": min(point, 2), "to": list(to)},
        "fin": {"do": "move-fin-point", "group": 0, "point": point, "fin": point, "to": list(to)},
        "end": {"do": "move-end", "end": ("tip", "aft")[point % 2], "to": list(to), "snap": 40 * (point // 2)},
        "root": {"do": "move-root", "group": 0, "to": list(to)},
    }[which]
    try:
        _, result = session.preview(change)
    except Refusal as refusal:
        assert refusal.what and refusal.remedy
    else:
        json.dumps(to_dict(result), allow_nan=False)


def test_a_calibrated_camera_is_used_and_kept(tmp_path):
    """The true camera told by a file instead of by EXIF: the same rocket, and its name among the assumptions."""
    path = tmp_path / "camera.toml"
    write_camera(path, CameraFile(float(FOCAL_PX), 0.0, WIDTH, HEIGHT, 0.003, 0.005, 8, 0.2))
    session = Session(tmp_path / "r")
    session.choose_camera(path)
    session.load_photo(photo_file(tmp_path))
    session.begin({**ASKED, "camera": "camera.toml"}, drawn())
    assert session.texts["camera"] == str(path)
    assert "camera.toml" in session.base.prior.source


def test_masses_put_in_are_saved_with_the_geometry(session):
    begun = session.states[0].texts
    session.begin({**begun, "add": ["parachute,12g,180mm"]}, drawn())
    session.save()
    assert [m.mass_g for m in read_geometry(session.folder / "geometry.toml").masses] == [12.0]
    session.begin(begun, drawn())
    session.change({**DRAW_FIN, "points": fin_px().tolist()})


def test_the_weight_s_band_is_that_of_the_statics(session):
    """At one place the law of the lever gives the grams for any balance point: (M x + w p) / (M + w) = wanted."""
    result, geometry = session.shown()
    told = nose_weight(session.folder, result, geometry, {"margin": "5", "at": "30mm"})
    cp, diameter = result.cp_x_mm.value, result.max_diameter_mm.value
    wanted_mm = cp - 5 * diameter
    by_lever = 150.0 * (250.0 - wanted_mm) / (wanted_mm - 30.0)
    need = told["need"]
    assert need["middle_g"] == pytest.approx(by_lever, rel=2e-3)  # the curve is read between its points
    assert need["least_g"] < need["middle_g"] < need["most_g"]
    # the command rounds up to the next half gram
    assert 0 <= told["plan"]["weight"]["mass_g"] - need["most_g"] < 0.6


def test_a_reference_is_set_by_its_corners(tmp_path):
    """A checkerboard keeps its own places at the corners; what no such object can look like is refused."""
    photo = read_photo(photo_file(tmp_path))
    grid = np.array([[x, y] for y in range(4) for x in range(6)], float) * 15
    found = ReferencePoints("checker", "checkerboard", grid * 2 + [300, 400], grid, 0.1, 2e-3, np.zeros((4, 2)))
    ends = ends_of(photo, found)
    moved = replace(ends, points_px=ends.points_px + [[0, 0], [30, 0], [30, 0], [0, 0]], manual=True)
    again = set_by_hand(photo, found, moved, None)
    assert again.points_mm.tolist() == [[0, 0], [75, 0], [75, 45], [0, 45]]
    assert again.points_px.tolist() == [[300, 400], [480, 400], [480, 490], [300, 490]]
    for corners in (ends.points_px[[0, 2, 1, 3]], ends.points_px[::-1], ends.points_px[[0, 0, 2, 3]]):
        with pytest.raises(GeometryRefusal):
            set_by_hand(photo, found, replace(ends, points_px=corners, manual=True), None)
    with pytest.raises(UsageRefusal):
        set_by_hand(photo, replace(found, kind="a4"), moved, None)


def test_a_ruler_that_was_partly_read_needs_both_of_its_ends(tmp_path):
    """The length that was told does not lie between an end and the place where the reading stopped."""
    photo = read_photo(photo_file(tmp_path))
    marks = np.column_stack([np.arange(1.0, 300.0), np.zeros(299)])
    found = ReferencePoints("ruler", "ruler, 300 mm", marks * 3 + [200, 700], marks, 0.1, 5e-4, np.zeros((4, 2)))
    ends = ends_of(photo, found)
    part = partly_read(photo, found, ends, 300.0)
    assert (part.read_mm, part.told_mm, part.unset) == (298.0, 300.0, (0, 1))
    assert partly_read(photo, found, ends, 298.0) is None
    for k in (0, 1):
        one = replace(ends, points_px=ends.points_px + np.eye(2)[[k]].T * [[3, 0]] * (2 * k - 1), manual=True)
        assert partly_read(photo, found, one, 300.0).unset == (1 - k,)
        (warning,) = set_by_hand(photo, found, one, 300.0).warnings
        assert warning.code == "RULER_ONE_END" and "298 mm" in warning.text and doubt_of([warning])
        assert set_by_hand(photo, found, one, 298.0).warnings == ()
    both = replace(ends, points_px=ends.points_px + [[-3, 0], [3, 0]], manual=True)
    assert partly_read(photo, found, both, 300.0).unset == () and set_by_hand(photo, found, both, 300.0).warnings == ()


def test_the_seed_is_told_in_the_form():
    assert checked_texts(checked_texts({"seed": " 7 "})) == {"seed": 7}
    for text in ("-1", "1.5", "x", "9" * 30):
        with pytest.raises(UsageRefusal, match="seed"):
            checked_texts({"seed": text})
