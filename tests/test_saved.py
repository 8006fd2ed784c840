"""A results folder read back: what it gives, and that nothing strange in it gets through or breaks the tool."""

import json
import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from report_sample import sample_geometry, sample_result

from digitize.errors import GeometryRefusal, Refusal, UnreadableRefusal, UsageRefusal
from digitize.geometry.toml import read_geometry, to_toml
from digitize.margin.balance import Loading
from digitize.option_records import Motor
from digitize.plans.to_do import with_to_do
from digitize.records import Quantity
from digitize.report.page import report_html
from digitize.report.svg import outline_svg
from digitize.result.from_geometry import solve
from digitize.result.from_json import PAGE_MARK, put, read_saved
from digitize.result.to_json import dumps, to_dict

DATA = to_dict(sample_result())


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "result.json").write_text(dumps(DATA))
    (tmp_path / "geometry.toml").write_text(to_toml(sample_geometry()))
    return tmp_path


def rewrite(folder, data):
    (folder / "result.json").write_text(json.dumps(data))


def test_it_gives_back_what_was_written(folder):
    saved = read_saved(folder)
    assert to_dict(saved.result) == DATA and saved.result.name == "campion" and saved.folder == folder
    assert (saved.geometry.profile_mm == sample_geometry().profile_mm).all()


def test_a_solved_geometry_needs_no_photo(folder):
    rewrite(folder, to_dict(solve(read_geometry(folder / "geometry.toml"), balance_mm=200.0)))
    assert read_saved(folder).result.balance_mm == Quantity(200.0, 2.0)


@pytest.mark.parametrize(
    ("name", "says", "kind"),
    [
        ("none", "there is no folder", UsageRefusal),
        ("result.json", "is not a folder", UsageRefusal),
        ("empty", "holds no result.json", UsageRefusal),
        ("nul\0byte", "there is no folder", UsageRefusal),
    ],
)
def test_what_is_no_results_folder(folder, name, says, kind):
    (folder / "empty").mkdir()
    with pytest.raises(kind, match=says) as refused:
        read_saved(folder / name)
    assert "\n" not in refused.value.line()


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "null", "[" * 100_000, "\x00", '{"schema": 1}', '{"schema": NaN, "cp": 1}', "\ud800",
     '{"schema": 2, "cp": {}}', '{"schema": true, "cp": {}}', '{"schema": 1, "cp": {}}'],
)  # fmt: skip
def test_what_is_no_result(folder, text):
    (folder / "result.json").write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(UnreadableRefusal, match=r"result\.json") as refused:
        read_saved(folder)
    assert "\n" not in refused.value.line()


def places(value, path=()):
    """The path of every table entry and list item."""
    items = value.items() if isinstance(value, dict) else enumerate(value[:3]) if isinstance(value, list) else ()
    for key, item in items:
        yield (*path, key)
        yield from places(item, (*path, key))


# what may be absent or null, and free words and tables that no command relies on
FREE = (
    "likely_slip",
    "rolls_deg",
    "tool_version",
    "units",
    "changed_by_hand",
    *("methods", "angle_of_attack", "photo", "photos", "as_balanced_mm", "balance_states", "mass_g", "balance_mm"),
    *("deciding_margin", "headline"),
    *("cutout_margin_calibers", "margin_calibers", "pieces", "assumptions", "shares", "next_measurement", "drawing"),
    *("tip_chord_mm", "sweep_mm", "to_do", "scale", "mm_per_px_at_axis"),
)
PLACES = list(places(DATA))


def at(data, path):
    for key in path:
        data = data[key]
    return data


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    path=st.sampled_from(PLACES),
    value=st.sampled_from([None, True, [], {}, "x", -1, 10**400, 1e300, [[1, 2, 3]], [None], math.nan, math.inf]),
)
def test_anything_anywhere_is_taken_or_refused_in_one_line(folder, path, value):
    """Every place of the file in turn holds something else: no traceback, and no NaN gets through."""
    data = json.loads(json.dumps(DATA))
    at(data, path[:-1])[path[-1]] = value
    rewrite(folder, data)
    try:
        saved = read_saved(folder)
    except Refusal as refusal:
        assert "\n" not in refusal.line() and len(refusal.line()) < 600
    else:
        data = to_dict(saved.result)
        for fin in data["fins"]:
            del fin["tip_chord_mm"], fin["sweep_mm"]  # a file need not hold them, and then they are unknown
        assert "NaN" not in json.dumps(data) and "Infinity" not in json.dumps(data)


@pytest.mark.parametrize("path", [p for p in PLACES if isinstance(p[-1], str) and not set(p) & set(FREE)], ids=str)
def test_no_known_key_may_be_missing(folder, path):
    data = json.loads(json.dumps(DATA))
    del at(data, path[:-1])[path[-1]]
    rewrite(folder, data)
    with pytest.raises(Refusal) as refused:
        read_saved(folder)
    assert path[-1] in refused.value.what or path in (("schema",), ("cp",))


def test_whatever_is_taken_can_be_laid_out_as_a_report(folder):
    """Every place in turn empty or negative: refused, or the report is made of it all the same."""
    motors = (Motor("a", 20.0, 9.0, 60.0), Motor("b", 10.0, 9.0, 60.0))
    loaded = Loading(Quantity(222.0, 2.0), 90.0, motors, "a")
    heavy = with_to_do(solve(sample_geometry(), loading=loaded), sample_geometry())
    full = {**DATA, **{k: v for k, v in to_dict(heavy).items() if v}}
    assert full["to_do"]["kind"] == "nose weight"
    shown = 0
    for path in (path for path in places(full) if not set(path) & {1, 2}):  # the first of every list
        for value in ([], -1):
            data = json.loads(json.dumps(full))
            at(data, path[:-1])[path[-1]] = value
            rewrite(folder, data)
            try:
                saved = read_saved(folder)
            except Refusal:
                continue
            shown += 1
            outline = outline_svg(saved.result, saved.geometry.profile_mm)
            assert report_html(saved.result, None, "photo", outline).endswith("</html>\n"), path
    assert shown > 50


def test_geometry_missing_broken_or_changed_since(folder):
    path = folder / "geometry.toml"
    text = path.read_text()
    for wrong, says, kind in (
        (text.replace("[60.0, 12.0]", "[60.0, -12.0]"), "negative", GeometryRefusal),
        ("[[", "no geometry can be read from it", UnreadableRefusal),
        (text.replace("[280.0, 52.0]", "[280.0, 50.0]"), "was changed", UsageRefusal),
        (text.replace("count = 3", "count = 4"), "was changed", UsageRefusal),
        (text.replace("300.0", "330.0"), "was changed", UsageRefusal),
    ):
        assert wrong != text
        path.write_text(wrong)
        with pytest.raises(kind, match=says) as refused:
            read_saved(folder)
        assert "geometry.toml" in refused.value.what
    path.unlink()
    with pytest.raises(UnreadableRefusal, match=r"geometry\.toml: no geometry can be read from it \(No such file"):
        read_saved(folder)


def test_only_our_own_files_are_replaced(folder):
    page = f"<html><head>{PAGE_MARK}</head></html>"
    assert put(folder, "card.html", page).read_text() == page
    assert put(folder, "card.html", page + " ").read_text() == page + " "
    (folder / "swing.json").write_text("{}")
    with pytest.raises(UsageRefusal, match=r"swing\.json exists"):
        put(folder, "swing.json", '{"made_by": "digitize"}')
    assert (folder / "swing.json").read_text() == "{}"
