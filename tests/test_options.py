"""Numbers with units, and the options as typed: what is understood, and what is refused by name."""

import doctest
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitize import options, quantities, sizes
from digitize.errors import UsageRefusal
from digitize.options import ScaleClaim, measure_options, parse_fins, parse_hand, parse_pose, parse_scale

PHOTO = [Path("a.jpg")]


def refused(call, *args, **kwargs):
    with pytest.raises(UsageRefusal) as caught:
        call(*args, **kwargs)
    assert caught.value.exit_code == 2 and "\n" not in caught.value.line()
    return caught.value.line()


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("41.6mm", 41.6),
        (" 2 CM ", 20),
        ("1.8 m", 1800),
        (".5m", 500),
        ("3e2mm", 300),
        # One inch is 25.4 mm and one foot 12 inches, exactly (international yard, 1959).
        ("2in", 50.8),
        ("1.5 ft", 457.2),
    ],
)
def test_lengths(text, mm):
    assert quantities.length_mm(text, "--balance") == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(
    # One pound is 453.59237 g and sixteen ounces, exactly (international pound, 1959).
    ("text", "grams"),
    [("180g", 180), ("0.18 kg", 180), ("16oz", 453.59237), ("1 lb", 453.59237)],
)
def test_masses(text, grams):
    assert quantities.mass_g(text, "--mass") == pytest.approx(grams, rel=1e-12)


NO_LENGTHS = ("41.6", "", "mm", "nan mm", "nanmm", "inf mm", "1,5mm", "12 parsec", "1e999mm", "1e9m", "--5mm")


@pytest.mark.parametrize("text", [*NO_LENGTHS, "0mm", "-3mm", "12g", "4 1 mm", "٣mm3"])
def test_what_is_not_a_length_is_refused_with_the_units(text):
    line = refused(quantities.length_mm, text, "--distance")
    assert line.startswith("--distance")
    assert "mm, cm, m, in, ft" in line or "believable" in line or "above zero" in line


@given(st.text())
def test_no_text_is_more_than_refused(text):
    """Any text at all gives a value or a refusal, never another exception."""
    for parse in (parse_scale, parse_fins, parse_pose, parse_hand, options.parse_thickness):
        for typed in (text, f"points={text}", f"checker={text}", f"span={text}"):
            try:
                parse(typed)
            except UsageRefusal as refusal:
                assert refusal.what and refusal.remedy


def test_signed_lengths():
    assert quantities.length_mm("-20mm", "--behind", signed=True) == -20
    assert quantities.length_mm("0mm", "--behind", signed=True) == 0


@pytest.mark.parametrize(
    ("text", "claim"),
    [
        ("tube=41.6mm", ScaleClaim("tube", 41.6)),
        ("length=42.5cm", ScaleClaim("length", 425.0)),
        ("ruler=300mm", ScaleClaim("ruler", 300.0)),
        ("Card", ScaleClaim("card")),
        ("a4", ScaleClaim("a4")),
        ("letter", ScaleClaim("letter")),
        ("sheet", ScaleClaim("sheet")),
        ("checker=7x5x15mm", ScaleClaim("checker", 15.0, squares=(7, 5))),
        ("points=1,2.5,300,-4,300mm", ScaleClaim("points", 300.0, points_px=(1, 2.5, 300, -4))),
    ],
)
def test_scales(text, claim):
    got = parse_scale(text)
    assert got.text == text
    assert (got.kind, got.points_px, got.squares) == (claim.kind, claim.points_px, claim.squares)
    assert got.length_mm == (None if claim.length_mm is None else pytest.approx(claim.length_mm))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("coin=24mm", "tube, length, ruler, card"),
        ("", "is not a kind"),
        ("card=85mm", "takes no size"),
        ("a4=", "takes no size"),
        ("tube", "--scale tube=300mm"),
        ("tube=", "needs its size"),
        ("tube=41.6", "no unit"),
        ("tube=-3mm", "above zero"),
        ("checker=1x1x15mm", "too few"),
        ("checker=8x3x10mm", "4 x 4 squares or more"),
        ("checker=3x8x10mm", "4 x 4 squares or more"),
        ("checker=7x5", "7x5x15mm"),
        ("checker=7x5x15", "no unit"),
        ("points=1,2,3,300mm", "two pixels"),
        ("points=1,2,3,4,5,300mm", "two pixels"),
        ("points=a,b,c,d,300mm", "two pixels"),
        ("points=nan,2,3,4,300mm", "no pixel"),
        ("points=5,5,5,5,300mm", "the same"),
        ("points=1,2,300,4,300", "no unit"),
    ],
)
def test_scales_that_are_refused(text, says):
    assert says in refused(parse_scale, text)


def test_sizes_of_reference_objects():
    """ISO/IEC 7810 ID-1; ISO 216 (A0 is a square metre, sides as 1 to the root of 2, halved, to the mm); 8.5
    x 11 in.
    """
    assert sizes.REFERENCE_SIZES_MM["card"] == (85.60, 53.98)
    long_mm = 1000 * 2**0.25 / 2**2
    assert (round(long_mm), round(long_mm / 2**0.5)) == sizes.A4_MM
    assert tuple(sizes.LETTER_MM) == pytest.approx((11 * 25.4, 8.5 * 25.4))


def test_fins_and_poses():
    assert parse_fins("4") == (4,) and parse_fins("3, 4") == (3, 4)
    for text in ("0", "1", "99", "3,1"):
        assert "2 to 12" in refused(parse_fins, text)
    for text in ("", "four", "3.5", "-3", "3,", "3;4", "99999", "3,3,3,3,3,3,3"):
        assert "--fins" in refused(parse_fins, text)
    assert [parse_pose(p).kind for p in ("in-plane", "Diagonal", "resting", "30deg", "-12.5 DEG")] == [
        "in-plane", "diagonal", "resting", "angle", "angle"]  # fmt: skip
    assert parse_pose("-12.5 deg").angle_deg == -12.5
    for text in ("30", "sideways", "nandeg", "400deg", ""):
        assert "--pose" in refused(parse_pose, text)


def test_roll_of_each_pose():
    """Four fins: diagonal and resting are 45 degrees. Three: the third points at the camera, at 90."""
    poses = ("in-plane", "diagonal", "resting", "100deg")
    roll = {(pose, n): parse_pose(pose).roll_deg(n) for pose in poses for n in (3, 4)}
    assert roll["in-plane", 3] == roll["in-plane", 4] == 0
    assert roll["diagonal", 4] == roll["resting", 4] == 45
    assert roll["diagonal", 3] == 60
    assert roll["resting", 3] == 90
    assert roll["100deg", 4] == pytest.approx(10)


def test_all_options_together():
    got = measure_options(
        PHOTO,
        scale=["tube=41.6mm", "card"],
        behind="-2cm",
        distance="1.8m",
        fins="3,4",
        pose="resting",
        nose="LEFT",
        balance="10in",
        mass="180g",
        hand=["span=52mm", "cutout-balance=26cm"],
        out=Path("r"),
        json=True,
        quiet=True,
        thickness="2.4mm,1.6mm",
        camera=Path("c.toml"),
        name="sorrel",
        seed=5,
    )
    assert got.photo == (Path("a.jpg"),) and [s.kind for s in got.scales] == ["tube", "card"]
    assert (got.behind_mm, got.distance_mm, got.fins, got.nose) == (-20, 1800, (3, 4), "left")
    assert (got.balance_mm, got.mass_g, got.thickness_mm) == (254, 180, (2.4, 1.6))
    assert got.hand == (("span", 52.0), ("cutout-balance", 260.0))
    assert (got.out, got.json, got.quiet, got.camera, got.name, got.seed) == (
        Path("r"), True, True, Path("c.toml"), "sorrel", 5)  # fmt: skip


@pytest.mark.parametrize(
    ("kwargs", "says"),
    [
        ({"scale": ["tube=40mm", "tube=41mm"]}, "given twice"),
        ({"scale": ["tube=40mm", "length=30mm"]}, "not smaller"),
        ({"scale": ["length=425mm"], "balance": "1m"}, "beyond the body"),
        ({"behind": "-2m", "distance": "1m"}, "behind the camera"),
        ({"behind": "20"}, "no unit"),
        ({"fins": "3,4", "thickness": "1mm,2mm,3mm"}, "2 fin groups"),
        ({"sheet_bar": "99mm"}, "--scale sheet"),
        ({"hand": ["span=5mm", "span=6mm"]}, "given twice"),
        ({"hand": ["chord=5mm"]}, "length, tube, nose, root, tip, span, cutout-balance"),
        ({"hand": ["span"]}, "NAME=VALUE"),
        ({"nose": "north"}, "left, right, up, down"),
        ({"mass": "-5g"}, "above zero"),
        ({"shots": Path("s.toml")}, "both given"),
    ],
)
def test_options_that_are_refused(kwargs, says):
    assert says in refused(measure_options, PHOTO, **kwargs)


def test_no_photo_is_refused():
    assert "no photo" in refused(measure_options, [])
    assert measure_options([], shots=Path("s.toml")).photo == ()


def test_docstring_numbers():
    assert doctest.testmod(quantities, raise_on_error=True).attempted >= 1


def test_no_mach_number_is_shown_where_the_methods_point_the_wrong_way():
    """Above 0.7: see tests/test_tunnel.py."""
    assert options.parse_flight("0.7", None, None).mach == 0.7
    for text in ("0.71", "0.8", "2", "-0.1", "nan"):
        assert "0 to 0.7" in refused(options.parse_flight, text, None, None)
    assert "not a number" in refused(options.parse_flight, "fast", None, None)
