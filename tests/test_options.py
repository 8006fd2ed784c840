"""Numbers with units, and the options as typed: what is understood, and what is refused by name."""

import dataclasses
import doctest
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitize import sizes
from digitize.errors import UsageRefusal
from digitize.option_records import ScaleOption
from digitize.request import parsers
from digitize.request.option_table import OPTIONS
from digitize.request.options import MeasureOptions, measure_options
from digitize.request.parsers import parse_fins, parse_hand, parse_pose, parse_scale
from digitize.units import quantities

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
    [("180g", 180), ("0.18 kg", 180), ("16oz", 453.59237), ("1 lb", 453.59237), ("1/2 lb", 226.796185)]
    + [("1 1/2oz", 1.5 * 28.349523125), ("24,5g", 24.5)],
)
def test_masses(text, grams):
    assert quantities.mass_g(text, "--mass") == pytest.approx(grams, rel=1e-12)


NO_LENGTHS = ("41.6", "", "mm", "nan mm", "nanmm", "inf mm", "12 parsec", "1e999mm", "1e9m", "--5mm")


@pytest.mark.parametrize("text", [*NO_LENGTHS, "0mm", "-3mm", "12g", "4 1 mm", "٣mm3"])
def test_what_is_not_a_length_is_refused_with_the_units(text):
    line = refused(quantities.length_mm, text, "--distance")
    assert line.startswith("--distance")
    assert "mm, cm, m, in, ft" in line or "believable" in line or "above zero" in line


@given(st.text())
def test_no_text_is_more_than_refused(text):
    """Any text at all gives a value or a refusal, never another exception."""
    for parse in (parse_scale, parse_fins, parse_pose, parse_hand, parsers.parse_thickness):
        for typed in (text, f"points={text}", f"checker={text}", f"span={text}"):
            try:
                parse(typed)
            except UsageRefusal as refusal:
                assert refusal.what and refusal.remedy


@pytest.mark.parametrize(
    # Sixty-fourths of an inch of 25.4 mm (1959), as tables of drill sizes print them, to 0.0005 mm.
    ("text", "table_mm"),
    [
        ("5/8in", 15.875),
        ("1 5/8in", 41.275),
        ("1-5/8in", 41.275),
        ("1 5 / 8 in", 41.275),
        ('1 5/8"', 41.275),
        ("1 5/8\u2033", 41.275),
        ("1\u215din", 41.275),
        ("\u00bd in", 12.7),
        ("1/64in", 0.396875),
        ("11/16in", 17.4625),
        ("63/64 in", 25.003125),
        ("1/2ft", 152.4),
        ("41,6mm", 41.6),
        ("0,625in", 15.875),
        ("1,8 m", 1800),
        (",5in", 12.7),
    ],
)
def test_fractions_and_a_decimal_comma(text, table_mm):
    assert quantities.length_mm(text, "--distance") == pytest.approx(table_mm, rel=1e-12)


@given(st.integers(0, 40), st.integers(1, 6), st.data())
def test_any_fraction_of_a_ruler_is_exact(whole, power, data):
    bottom = 2**power
    top = data.draw(st.integers(1, bottom - 1))
    mm = (whole + top / bottom) * 25.4
    for text in (f"{whole} {top}/{bottom}in", f"{whole}-{top}/{bottom} in"):
        assert quantities.length_mm(text, "--distance") == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "1,625in",  # a comma between thousands, or a decimal one
        "41,625mm",
        "13/8in",  # 1 3/8 with its space lost, or thirteen eighths
        "1 9/8in",
        "8/8in",
        "1/0in",
        "1.5 5/8in",
        "1 - 5/8in",
        "1 -5/8in",
        "1/2/3in",
        "1.234,5mm",
        "1,234,5mm",
        "1 5/8",
        "1'6\"",
        "5'",
    ],
)
def test_what_can_be_read_two_ways_is_refused(text):
    assert repr(text) in refused(quantities.length_mm, text, "--distance")


def test_signed_fractions():
    assert quantities.length_mm("-1 5/8in", "--behind", signed=True) == pytest.approx(-41.275, rel=1e-12)
    assert "above zero" in refused(quantities.length_mm, "-5/8in", "--distance")


@pytest.mark.parametrize(
    ("parse", "text"),
    [
        (parsers.parse_motor, "large,24,5g,12g,70mm"),
        (parsers.parse_motor, "large,24g,12,5g,70mm"),
        (parsers.parse_motor, "large,24g,12g,70,5mm"),  # a length of 70.5 mm, or 70 and sticking out by 5 mm
        (parsers.parse_motor, "24,15g,12g,70mm"),  # no name, or the name 24
        (parsers.parse_added, "parachute,12,5g,180mm"),
        (parsers.parse_added, "parachute,12g,180,5mm"),
        (parsers.parse_added, "parachute,-12,5g,180mm"),
        (parsers.parse_thickness, "2,4mm"),
        (parsers.parse_thickness, "2,4mm,1,6mm"),
        (parse_scale, "points=120,80,1820,95,300,5mm"),
        (parsers.parse_balance_at, "1520,5,830"),
    ],
)
def test_a_decimal_comma_between_other_commas_is_refused(parse, text):
    """24,5g is one number to its writer and two values of the list: no wrong number may come of it in silence."""
    line = refused(parse, text)
    assert "one number or two" in line or "not a pixel" in line or "decimals with a point" in line


def test_values_between_commas_with_fractions():
    assert parse_scale('points=120,80,1820,95,11 7/8"').length_mm == pytest.approx(301.625, rel=1e-12)
    assert parse_scale("checker=7x5x15,5mm").length_mm == 15.5
    assert parse_scale("checker=7x5x5/8in").length_mm == 15.875
    assert parsers.parse_thickness("1/16in,3/32in") == pytest.approx((1.5875, 2.38125), rel=1e-12)
    assert parse_hand("span=2 1/16in") == ("span", pytest.approx(52.3875, rel=1e-12))
    motor = parsers.parse_motor("large,24.5g,12g,2 3/4in,3/16in")
    assert (motor.length_mm, motor.overhang_mm) == pytest.approx((69.85, 4.7625), rel=1e-12)


@pytest.mark.parametrize(
    ("text", "mm", "end"),
    [
        ("262,5mm", 262.5, None),
        ("262,5mm,from-nose", 262.5, "from-nose"),
        ("10 3/8in,from-tail", 263.525, "from-tail"),
        ("250mm, from nose", 250, "from-nose"),
    ],
)
def test_balance_with_a_decimal_comma(text, mm, end):
    point = parsers.parse_balance(text)
    assert (point.distance_mm, point.end) == (pytest.approx(mm, rel=1e-12), end)


@pytest.mark.parametrize("text", ["262,5", "262mm,5mm", "1,250mm", "1,250mm,from-nose", "262mm,", "262mm,from-top"])
def test_a_balance_point_that_is_not_clear_is_refused(text):
    assert "--balance" in refused(parsers.parse_balance, text)


def test_signed_lengths():
    assert quantities.length_mm("-20mm", "--behind", signed=True) == -20
    assert quantities.length_mm("0mm", "--behind", signed=True) == 0


@pytest.mark.parametrize(
    ("text", "claim"),
    [
        ("tube=41.6mm", ScaleOption("tube", 41.6)),
        ("length=42.5cm", ScaleOption("length", 425.0)),
        ("ruler=300mm", ScaleOption("ruler", 300.0)),
        ("Card", ScaleOption("card")),
        ("a4", ScaleOption("a4")),
        ("letter", ScaleOption("letter")),
        ("sheet", ScaleOption("sheet")),
        ("checker=7x5x15mm", ScaleOption("checker", 15.0, squares=(7, 5))),
        ("points=1,2.5,300,-4,300mm", ScaleOption("points", 300.0, points_px=(1, 2.5, 300, -4))),
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
    assert sizes.CARD_MM == (85.60, 53.98)
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
    assert parsers.parse_mach("0.7") == 0.7
    for text in ("0.71", "0.8", "2", "-0.1", "nan"):
        assert "0 to 0.7" in refused(parsers.parse_mach, text)
    assert "not a number" in refused(parsers.parse_mach, "fast")


def test_the_table_and_the_record_hold_the_same_options():
    """Each row is read into a field of the record, and the record holds nothing that no row tells."""
    fields = {field.name for field in dataclasses.fields(MeasureOptions)}
    told = {option.field for option in OPTIONS.values()} - {""}
    assert told == fields - {"photo", "pdf_paper"}
    assert [name for name, option in OPTIONS.items() if not option.field] == ["pdf", "paper"]
    with pytest.raises(TypeError, match="colour"):
        measure_options(PHOTO, colour="red")
