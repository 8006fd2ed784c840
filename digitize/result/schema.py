"""result.json, described once: every key in the file's order, the field of `Result` it holds, what may stand there.

Lengths in millimetres from the nose tip along the axis, angles in degrees, masses in grams, pixels of the upright
full-size photo, whatever "units" says: that is only what a person is shown them in. A key may be added; none is
renamed or taken away under one schema number. `RESULT` writes a Result and reads it back; `json_schema` publishes it.
"""

from typing import Any

from digitize.margin.stability import LEVELS
from digitize.option_records import FEWEST_FINS, MOST_FINS
from digitize.records import (
    BY_CUTOUT,
    BY_PARTS,
    UNKNOWN,
    BalanceState,
    Deciding,
    MethodReading,
    PartLoad,
    ProfilePiece,
    Quantity,
    Warn,
)
from digitize.result.description import (
    Constant,
    Curve,
    Flag,
    Free,
    Inner,
    List,
    Maybe,
    Number,
    Point,
    Points,
    Row,
    Table,
    Text,
    Whole,
    Wrong,
)
from digitize.result_records import (
    TO_DO_KINDS,
    AngleCurve,
    BandShare,
    Drawing,
    DrawnReference,
    FinResult,
    HandCheck,
    MethodView,
    NextMeasurement,
    PhotoAlone,
    PhotoFacts,
    Result,
    Station,
    ToDo,
)
from digitize.units.shown_units import UNITS

SCHEMA = 1
_MOST_PX = 1_000_000

NUMBER, POSITIVE, TEXT = Number(), Number(above=0), Text()
PM95 = Row("pm95", Number(least=0), about="half the 95 % band")
QUANTITY = Table(Quantity, (Row("value", NUMBER), PM95), "quantity")
SIZE = Table(Quantity, (Row("value", POSITIVE), PM95), "size")
TEXTS = List(TEXT)

FIN = Table(
    FinResult,
    (
        Row("count", Whole(FEWEST_FINS, MOST_FINS), about="fins in the group"),
        Row("root_chord_mm", SIZE),
        Row("tip_chord_mm", QUANTITY, optional=True, missing=UNKNOWN),
        Row("span_mm", SIZE, about="outside the body"),
        Row("sweep_mm", QUANTITY, optional=True, missing=UNKNOWN, about="from the root's leading edge to the tip's"),
        Row("area_mm2", SIZE, about="of one fin, true size, outside the body"),
        Row("outline_mm", Points(), about="x from the nose tip, y from the axis; root leading to root trailing edge"),
    ),
    "fin_group",
)
PART = Table(PartLoad, (Row("part", TEXT), Row("cn_alpha_per_rad", NUMBER), Row("x_mm", NUMBER)), "part")
READING = Table(
    MethodReading,
    (
        Row("name", TEXT),
        Row("cp_x_mm", NUMBER),
        Row("cn_alpha_per_rad", NUMBER),
        Row("difference_mm", NUMBER, about="aft of the headline's centre of pressure at low speed"),
        Row("difference_calibers", NUMBER),
    ),
    "method",
)
METHODS = Table(
    MethodView,
    (
        Row("at_mach_0", List(READING), "readings", about="the headline's method first"),
        Row("words", TEXTS),
        Row("mach", NUMBER, optional=True),
        Row("at_mach", List(READING), optional=True),
    ),
    "methods",
)
CROSSWIND = Inner(
    "crosswind",
    (
        Row("wind_mps", NUMBER),
        Row("rod_speed_mps", NUMBER),
        Row("alpha_deg", NUMBER, "wind_deg"),
        Row("cp_x_mm", NUMBER, "wind_cp_x_mm"),
        Row("forward_calibers", NUMBER, "wind_forward_calibers"),
        Row("margin_calibers", NUMBER, "wind_margin_calibers", optional=True),
    ),
)


def _of_one_length(curve: AngleCurve, where: str) -> None:
    lengths = {len(curve.alpha_deg), len(curve.cp_x_mm), len(curve.normal_force)}
    if len(lengths) > 1 or 0 in lengths:
        raise Wrong(where, "made of lists of one length")


ANGLE = Table(
    AngleCurve,
    (
        Row("alpha_deg", Curve()),
        Row("cp_x_mm", Curve()),
        Row("cn", Curve(), "normal_force", about="normal force on the reference area"),
        CROSSWIND,
    ),
    "angle_of_attack",
    _of_one_length,
)
HAND_CHECK = Table(
    HandCheck,
    (
        Row("name", TEXT),
        Row("by_hand_mm", NUMBER),
        Row("by_photo_mm", QUANTITY),
        Row("agrees", Flag()),
        Row("likely_slip", TEXT, optional=True),
    ),
    "hand_check",
)
WARNING = Table(Warn, (Row("code", TEXT), Row("text", TEXT), Row("remedy", TEXT)), "warning")
PIECE = Table(
    ProfilePiece,
    (
        Row("kind", TEXT),
        Row("from_mm", NUMBER),
        Row("to_mm", NUMBER),
        Row("fore_diameter_mm", NUMBER),
        Row("aft_diameter_mm", NUMBER),
        Row("misfit_mm", NUMBER, about="rms distance in radius"),
        Row("c", NUMBER, optional=True, left_out=True, about="a haack nose's constant"),
    ),
    "piece",
)
SHARE = Table(BandShare, (Row("source", TEXT), Row("share", NUMBER), Row("cp_pm95_mm", NUMBER)), "share")
STEP = Table(
    NextMeasurement,
    (Row("action", TEXT), Row("cp_pm95_calibers_now", NUMBER), Row("cp_pm95_calibers_then", NUMBER)),
    "next_measurement",
)
DRAWN_REFERENCE = Table(DrawnReference, (Row("label", TEXT), Row("outline", Points())))
STATION = Table(Station, (Row("words", TEXT), Row("x_mm", NUMBER), Row("point", Point())))
DRAWING = Table(
    Drawing,
    (
        Row("axis", Points(), about="nose tip, aft end of the body"),
        Row("profile_upper", Points()),
        Row("profile_lower", Points()),
        Row("fins", List(Points())),
        Row("roots", List(Points())),
        Row("cp", Maybe(Point())),
        Row("cp_band", Maybe(Points())),
        Row("balance", Maybe(Point())),
        Row("cutout", Maybe(Point())),
        Row("references", List(DRAWN_REFERENCE)),
        Row("mm_per_px", POSITIVE),
        Row("stations", List(STATION)),
    ),
    "drawing",
)
PHOTO = Table(
    PhotoFacts,
    (
        Row("file", TEXT, optional=True),
        Row("width_px", Whole(1, _MOST_PX), optional=True),
        Row("height_px", Whole(1, _MOST_PX), optional=True),
        Row("focal35_mm", NUMBER, optional=True),
        Row("notes", TEXTS, optional=True),
        Row("path", TEXT, optional=True),
        Row("asked", Free(), optional=True, about="each option as typed"),
    ),
    "photo",
)
PHOTO_ALONE = Table(
    PhotoAlone,
    (
        Row("file", TEXT),
        Row("length_mm", QUANTITY),
        Row("max_diameter_mm", QUANTITY),
        Inner("cp", (Row("x_mm", QUANTITY, "cp_x_mm"),)),
    ),
    "photo_alone",
)
STATE = Table(
    BalanceState,
    (
        Row("state", TEXT),
        Row("motor", Maybe(TEXT)),
        Row("mass_g", Maybe(SIZE)),
        Row("balance_mm", QUANTITY),
        Row("margin_calibers", QUANTITY),
    ),
    "balance_state",
)
DECIDING = Table(
    Deciding, (Row("calibers", QUANTITY, "margin"), Row("by", Text((BY_PARTS, BY_CUTOUT)))), "deciding_margin"
)


def _grams_are_there(to_do: ToDo, where: str) -> None:
    if to_do.kind in TO_DO_KINDS[:2]:
        for key in ("nose_weight_g", "filling"):
            if getattr(to_do, key) is None:
                raise Wrong(f"{where}.{key}", "there")


TO_DO = Table(
    ToDo,
    (
        Row("kind", Text(TO_DO_KINDS)),
        Row("nose_weight_g", POSITIVE, optional=True, about="with which the low end of the margin's band is enough"),
        Row("nose_weight_least_g", NUMBER, optional=True, about="with which the high end is"),
        Row("filling", TEXT, optional=True),
        Row("fin_span_mm", POSITIVE, optional=True, about="of larger aft fins that would do it"),
    ),
    "to_do",
    _grams_are_there,
)
CUTOUT = Inner(
    "cutout",
    (
        Row("area_mm2", SIZE, "cutout_area_mm2"),
        Row("centroid_mm", QUANTITY, "cutout_centroid_mm"),
        Row("rolls_deg", List(NUMBER), "cutout_rolls_deg", optional=True, about="of each fin group, from its plane"),
    ),
    about="the silhouette as photographed, brought to the axis plane",
)
CP = Inner(
    "cp",
    (
        Row("x_mm", QUANTITY, "cp_x_mm"),
        Row("cn_alpha_per_rad", QUANTITY),
        Row("parts", List(PART)),
        Row("measured_pm95_mm", NUMBER, "methods.measured_pm95_mm", optional=True, left_out=True),
        Row("method_pm95_mm", NUMBER, "methods.method_pm95_mm", optional=True, left_out=True),
    ),
    about="centre of pressure: angle of attack to 0, Mach number to 0",
)
VERDICT = Inner(
    "verdict",
    (
        Row("level", Text(LEVELS), "verdict_level"),
        Row("text", TEXT, "verdict_text"),
        Row("headline", TEXT, "verdict_headline", optional=True, about="the level with what must not be missed"),
    ),
)
SCALE = Inner(
    "scale",
    (Row("kind", TEXT, "scale_kind"), Row("mm_per_px_at_axis", QUANTITY)),
    null=True,
    about="null without a photo",
)
RESULT = Table(
    Result,
    (
        Constant("schema", SCHEMA, about="the number of this description"),
        Row("tool_version", TEXT, optional=True),
        Row("units", Text(UNITS), optional=True, about="what it is shown in; the numbers are metric"),
        Row("name", TEXT),
        Row("length_mm", SIZE),
        Row("max_diameter_mm", SIZE),
        Row("base_diameter_mm", QUANTITY),
        Row("fins", List(FIN), about="groups from nose to tail"),
        CUTOUT,
        CP,
        Row("methods", METHODS, optional=True),
        Row("angle_of_attack", ANGLE, "angle", optional=True),
        Row("balance_mm", Maybe(QUANTITY)),
        Row("margin_calibers", Maybe(QUANTITY), about="by the centre of pressure"),
        Row("cutout_margin_calibers", QUANTITY, optional=True),
        Row("deciding_margin", DECIDING, "deciding", optional=True, about="the margin the verdict stands on"),
        VERDICT,
        Row("to_do", TO_DO, optional=True, about="where the verdict is 'marginal' or 'do not fly'"),
        SCALE,
        Row("outline_px", Points(), about="upright photo, centre of the top-left pixel at (0, 0)"),
        Row("hand_checks", List(HAND_CHECK)),
        Row("warnings", List(WARNING)),
        Row("pieces", List(PIECE), optional=True),
        Row("assumptions", TEXTS, optional=True),
        Row("shares", List(SHARE), optional=True, about="of the variance of the centre of pressure, by source"),
        Row("next_measurement", STEP, optional=True),
        Row("drawing", DRAWING, optional=True, about="what the overlay shows, in pixels of the upright photo"),
        Row("photo", PHOTO, optional=True, nothing={}),
        Row("changed_by_hand", TEXTS, optional=True),
        Row("photos", List(PHOTO_ALONE), optional=True, about="what each of several photos says by itself"),
        Row("mass_g", POSITIVE, optional=True, about="at lift-off"),
        Row("as_balanced_mm", QUANTITY, optional=True),
        Row("balance_states", List(STATE), optional=True),
    ),
)


def json_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of result.json; result/result.schema.json is this, kept."""
    defs: dict[str, Any] = {}
    found = RESULT.schema(defs)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "digitize: result.json",
        "description": "Millimetres from the nose tip along the axis, degrees, grams; pixels of the upright photo.",
        **found,
        "$defs": dict(sorted(defs.items())),
    }


if __name__ == "__main__":  # `python -m digitize.result.schema` prints it
    import json

    print(json.dumps(json_schema(), indent=1))
