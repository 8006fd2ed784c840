"""geometry.toml: what is read, what is refused, and that writing and reading gives the same result."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rockets import LARGE_FINS, rocket_toml

from digitize.aero.components import centre_of_pressure
from digitize.errors import GeometryRefusal, UnreadableRefusal
from digitize.geometry.side_area import cutout
from digitize.geometry.toml import check_geometry, read_geometry, rounded, standing, to_toml
from digitize.records import FinGroup, Geometry

EXAMPLE = rocket_toml("example", LARGE_FINS)
PIECES = """
[[piece]]
shape = "ogive"
length_mm = 100
diameter_mm = 40
[[piece]]
shape = "tube"
length_mm = 200
[[piece]]
shape = "frustum"
length_mm = 40
aft_diameter_mm = 30
[[piece]]
shape = "tube"
length_mm = 80
[[fins]]
count = 4
outline_mm = [[350, 15], [390, 50], [420, 50], [410, 15]]
"""


def read_text(tmp_path, text):
    path = tmp_path / "geometry.toml"
    path.write_text(text, encoding="utf-8")
    return read_geometry(path)


def test_the_documented_example(tmp_path):
    geometry = read_text(tmp_path, EXAMPLE)
    assert geometry.name == "example"
    assert geometry.profile_mm.tolist() == [[0, 0], [60, 12], [300, 12]]
    assert [(g.count, g.thickness_mm) for g in geometry.fins] == [(3, 2.0)]
    assert geometry.fins[0].outline_mm[1].tolist() == [280, 52]


def test_pieces_give_rocket_b(tmp_path):
    """Rocket B of the check values, with the ogive exact; a name is taken from the file if none is given."""
    geometry = read_text(tmp_path, PIECES)
    assert geometry.name == "geometry"
    cp = centre_of_pressure(geometry)
    assert cp.cn_alpha_per_rad == pytest.approx(7.806849, abs=1e-6)
    # The check value takes the ogive at the rounded 0.466 L; exact for 2.5 diameters is 0.4606 L (computed).
    assert cp.x_mm == pytest.approx(300.94393 - 2 * (46.6 - 46.06) / 7.806849, abs=2e-3)


@pytest.mark.parametrize(
    ("piece", "radius_mm"),
    [
        ('shape = "cone"', 10),
        ('shape = "ellipsoid"', 10 * 3**0.5),
        ('shape = "parabola"', 15),
        ('shape = "paraboloid"', 10 * 2**0.5),
        ('shape = "haack"', 10 * 2**0.5),
        # C = 1/3 at half the length: (pi / 2 + 1 / 3) / pi of the base area, by Haack's formula.
        ('shape = "haack"\nc = 0.3333333333333333', 20 * (0.5 + 1 / (3 * np.pi)) ** 0.5),
    ],
)
def test_radius_of_a_nose_at_half_its_length(tmp_path, piece, radius_mm):
    geometry = read_text(tmp_path, f"[[piece]]\n{piece}\nlength_mm = 90\ndiameter_mm = 40\n")
    assert np.interp(45, *geometry.profile_mm.T) == pytest.approx(radius_mm, abs=2e-3)
    assert geometry.profile_mm[-1].tolist() == [90, 20]


coordinate = st.floats(0.002, 40)


@given(
    steps=st.lists(st.tuples(coordinate, coordinate), min_size=2, max_size=20),
    tip=st.tuples(coordinate, coordinate),
    name=st.text(max_size=12),
)
@settings(max_examples=40, deadline=None)
def test_written_and_read_back_is_the_same_bit_for_bit(tmp_path_factory, steps, tip, name):
    body = np.array([[0, 0], *steps, [30, 12.34567]])
    body[:, 0] = np.cumsum(body[:, 0])
    end = body[-1, 0]
    fin = np.array([[end - 20, np.interp(end - 20, *body.T)], [end + tip[0], 60 + tip[1]], [end, 12.34567]])
    geometry = rounded(Geometry(name, body, (FinGroup(4, fin, 1.60004),)))
    path = tmp_path_factory.mktemp("g") / "geometry.toml"
    path.write_text(to_toml(geometry), encoding="utf-8")
    back = read_geometry(path)
    assert (back.name, back.fins[0].count) == (name, 4)
    assert np.array_equal(back.profile_mm, geometry.profile_mm)
    assert np.array_equal(back.fins[0].outline_mm, geometry.fins[0].outline_mm)
    assert back.fins[0].thickness_mm == geometry.fins[0].thickness_mm == 1.6
    assert centre_of_pressure(back) == centre_of_pressure(geometry)
    assert cutout(back, 30.0) == cutout(geometry, 30.0)
    assert np.abs(geometry.profile_mm - body).max() <= 0.0005 + 1e-12


def test_the_text_says_what_it_is_and_has_no_negative_nought(tmp_path):
    text = to_toml(read_text(tmp_path, EXAMPLE))
    assert text.startswith("#") and "-0.0" not in text


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("[60, 12]", "[60, -12]"), "negative"),
        (("[60, 12]", "[400, 12]"), "goes back"),
        (("[60, 12]", "[60, nan]"), "not a length"),
        (("[60, 12]", "[60, inf]"), "not a length"),
        (("[60, 12]", "[60]"), "pairs of numbers"),
        (("[60, 12]", "[60, 'x']"), "pairs of numbers"),
        (("[60, 12]", "[60, 1e9]"), "not a length"),
        (("[60, 12]", f"[60, {10**400}]"), "pairs of numbers"),
        (("[60, 12]", "[60, 0]"), "between nose and tail"),
        (("[0, 0]", "[5, 0]"), "starts at x = 5"),
        (("[300, 12]]", "[300, 12], [300, 0]]"), "closes its own base"),
        (("[[0, 0], [60, 12], [300, 12]]", "[[0, 0]]"), "has 1 points"),
        (("[[0, 0], [60, 12], [300, 12]]", "[[0, 0], [60, 0]]"), "no thickness"),
        (("[[0, 0], [60, 12], [300, 12]]", "[[0, 0], [0, 12]]"), "no length"),
        (("[[0, 0], [60, 12], [300, 12]]", "7"), "pairs of numbers"),
        (("count = 3", "count = 1"), "count is 1"),
        (("count = 3", "count = 99"), "count is 99"),
        (("count = 3", "count = 3.0"), "not a whole number"),
        (("count = 3", "count = true"), "not a whole number"),
        (("count = 3", ""), "count is 0"),
        (("thickness_mm = 2.0", "thickness_mm = -2"), "thickness_mm is -2"),
        (("thickness_mm = 2.0", "thickness_mm = nan"), "thickness_mm is nan"),
        (("[250, 12]", "[250, 22]"), "leading edge is 22"),
        (("[300, 12]]\nthick", "[300, 5]]\nthick"), "trailing edge is 5"),
        (("[300, 12]]\nthick", "[330, 12]]\nthick"), "off the body"),
        (("[280, 52], [310, 52]", "[310, 52], [280, 52], [230, 30]"), "crosses itself"),
        (("[280, 52], [310, 52]", "[280, 52], [310, -2]"), "crosses the axis"),
        (("[280, 52], [310, 52]", "[280, 52], [290, 3]"), "inside the body"),
        (("[280, 52], [310, 52]", "[280, 12], [290, 11.9]"), "does not stand out"),
        (("[280, 52], [310, 52], ", ""), "has 2 points"),
        (
            ("[250, 12], [280, 52], [310, 52], [300, 12]", "[300, 12], [310, 52], [280, 52], [250, 12]"),
            "not aft of",
        ),
        (("[[fins]]", "[[fin]]"), "unknown key 'fin'"),
        (("[[fins]]", "[fins]"), "not a list of groups"),
        (("thickness_mm", "thickness"), "unknown key 'thickness'"),
        (("[body]", "[body]\nlength = 3"), "unknown key 'length'"),
        (("[body]\nprofile_mm", "other"), "unknown key 'other'"),
        (('name = "example"', "name = 3"), "name is not text"),
        (('name = "example"', 'name = "example"\n[[piece]]\nshape = "tube"'), "the body once"),
    ],
)
def test_unusable_numbers_are_refused_by_name(tmp_path, change, says):
    assert change[0] in EXAMPLE
    with pytest.raises(GeometryRefusal, match=says) as refused:
        read_text(tmp_path, EXAMPLE.replace(*change))
    assert refused.value.exit_code == 6 and refused.value.remedy and "\n" not in refused.value.line()


def test_a_ring_or_pod_is_told_to_be_outside_the_method(tmp_path):
    for change in (("[[250, 12]", "[[250, 30]"), ("[300, 12]]\nthick", "[330, 12]]\nthick")):
        with pytest.raises(GeometryRefusal) as refused:
            read_text(tmp_path, EXAMPLE.replace(*change))
        assert "outside the method" in refused.value.remedy and "cut-out" in refused.value.remedy


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('"ogive"', '"spike"'), "shape is 'spike'"),
        (('"frustum"', '"cone"'), "diameter_mm"),
        (("length_mm = 100", ""), "length_mm is missing"),
        (("length_mm = 100", "length_mm = 0"), "length_mm is 0"),
        (("length_mm = 100", "length_mm = '100'"), "length_mm is '100'"),
        (("diameter_mm = 40", "diameter_mm = -40"), "diameter_mm is -40"),
        (("aft_diameter_mm = 30", "aft_diameter_mm = 30\nc = 1"), "unknown key 'c'"),
        (('"ogive"', '"haack"\nc = 5'), "c is 5"),
        (
            ('shape = "ogive"\nlength_mm = 100\ndiameter_mm = 40', 'shape = "tube"\nlength_mm = 9'),
            "is missing",
        ),
    ],
)
def test_unusable_pieces_are_refused_by_name(tmp_path, change, says):
    assert change[0] in PIECES
    with pytest.raises(GeometryRefusal, match=says):
        read_text(tmp_path, PIECES.replace(*change, 1))


def test_a_second_nose_is_refused(tmp_path):
    nose = '[[piece]]\nshape = "cone"\nlength_mm = 50\ndiameter_mm = 20\n'
    with pytest.raises(GeometryRefusal, match="piece 2: cone is a nose"):
        read_text(tmp_path, nose + nose)


@pytest.mark.parametrize("text", [b"", b"name = \n", b"\xff\xfe\x00", b"[body"])
def test_what_is_not_toml_is_unreadable(tmp_path, text):
    path = tmp_path / "geometry.toml"
    path.write_bytes(text)
    kind = GeometryRefusal if text == b"" else UnreadableRefusal
    with pytest.raises(kind) as refused:
        read_geometry(path)
    assert refused.value.exit_code == (6 if text == b"" else 3)


def test_missing_file_and_folder_are_unreadable(tmp_path):
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(UnreadableRefusal, match=str(path)):
            read_geometry(path)


def test_the_check_holds_for_what_the_photo_gives_too():
    with pytest.raises(GeometryRefusal, match="not a length"):
        check_geometry(Geometry("", np.array([[0, 0], [60, np.nan]])))
    assert "profile_mm" in to_toml(Geometry('a "quoted" \\ name\n', np.array([[0, 0], [60, 10]])))


# --- how the fins stand -----------------------------------------------------------------------------------


def test_a_roll_is_kept_and_may_be_left_out(tmp_path):
    flat = read_text(tmp_path, EXAMPLE)
    assert flat.fins[0].roll_deg is None and "roll_deg =" not in to_toml(flat)
    turned = standing(flat, [-31.23456])
    assert read_text(tmp_path, to_toml(turned)).fins[0].roll_deg == -31.235
    assert rounded(turned).fins[0].roll_deg == -31.235


@pytest.mark.parametrize("roll", ["true", '"flat"', "nan", "inf", "1e9", "[45]"])
def test_an_odd_roll_is_refused(tmp_path, roll):
    with pytest.raises(GeometryRefusal, match="fin group 1: roll_deg is"):
        read_text(tmp_path, f"{EXAMPLE}roll_deg = {roll}\n")
