"""Every option of `measure`, once. The command line, the list of rockets, the page's form, the text kept in the result
and the reference are all made of this table; other commands take from it what they share.

To add an option: a row here, and a field of that name in `MeasureOptions` that somebody reads. Nothing here may
load numpy.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from digitize.option_records import FROM_NOSE, FROM_TAIL
from digitize.request import parsers
from digitize.units.quantities import GRAMS_PER_UNIT, MM_PER_UNIT, MPS_PER_UNIT, length_mm, mass_g, speed_mps
from digitize.units.shown_units import UNITS

PHOTO, ROCKET, FLIGHT, OUTPUT = "photo", "rocket", "flight", "output"
"""Who an option is about. A list of rockets may say those of a photo for each photo and those of a rocket for each
rocket; the page's form and the result hold all but those of the output, which name files or what is shown."""
LENGTHS, MASSES, SPEEDS = tuple(MM_PER_UNIT), tuple(GRAMS_PER_UNIT), tuple(MPS_PER_UNIT)


@dataclass(frozen=True)
class Field:
    """An option's place in the page's form. part: of the form; label: the question; topic: the option's name in a
    sentence, where its own would not be understood; units: to choose beside the number; choices, ends: to choose from,
    value to label, in place of typing and after it; lines: one value a line."""

    part: str
    label: str
    example: str = ""
    units: tuple[str, ...] = ()
    choices: dict[str, str] | None = None
    ends: dict[str, str] | None = None
    lines: bool = False
    hint: str = ""
    topic: str = ""


@dataclass(frozen=True)
class Option:
    """name: as in the result and on the page, with hyphens on the command line; about: one of the four above.

    field: of `MeasureOptions`, "" where two options make one; read: (text, the option as typed) to the value, None:
    taken as it comes; write: the value to text that reads back as the same. kind: the value's type on the command line.
    repeated: may be given several times. whole: in a list of rockets a bare whole number will do. fits: the photo is
    fitted anew where it changes. more: what the reference adds to the help.
    """

    name: str
    metavar: str | None
    help: str
    about: str
    field: str
    read: Callable[[Any, str], Any] | None = None
    write: Callable[[Any], Any] = str
    kind: type = str
    default: Any = None
    least: int | None = None
    repeated: bool = False
    whole: bool = False
    fits: bool = False
    page: Field | None = None
    more: str = ""

    @property
    def flag(self) -> str:
        """As on the command line."""
        return "--" + self.key

    @property
    def key(self) -> str:
        """As in a list of rockets."""
        return self.name.replace("_", "-")

    def value(self, typed: Any) -> Any:
        """What was typed, read. Raises UsageRefusal."""
        if self.repeated:
            return tuple(self._one(text) for text in typed)
        return self._one(typed)

    def _one(self, text: Any) -> Any:
        return self.kind(text) if self.read is None else self.read(text, self.flag)

    def text(self, value: Any) -> Any:
        """The value as text, or a list of texts; None if nothing was said."""
        if value is None or value == ():
            return None
        return [self.write(one) for one in value] if self.repeated else self.write(value)


_TABLE = (
    Option(
        "scale", "KIND[=VALUE]",
        "Say what tells the size. You may give several: all are used together and must agree. tube=41.6mm: the "
        "largest body diameter, by caliper. length=425mm: from the nose tip to the body's aft end. ruler=300mm or "
        "ruler=12in: a ruler in the picture, by the length of its marks. a4, letter, card: paper or a bank card in the "
        "picture. checker=7x5x15mm: a checkerboard, by squares across, squares down, and a square's side. sheet: the "
        "printed scale sheet. points=X1,Y1,X2,Y2,300mm: two pixels of the upright photo and their true distance.",
        PHOTO, "scales", parsers.parse_scale, lambda claim: claim.text, repeated=True,
    ),
    Option(
        "behind", "LENGTH",
        "Say how far the ruler, card or paper lies behind the middle of the rocket, seen from the camera: 45mm. 0mm "
        "means level with it; a negative number means nearer to the camera.",
        PHOTO, "behind_mm", parsers.parse_signed_length, parsers.mm_text,
        more="Not said, it is taken as half of what the fins' reach allows, with a band to both ends.",
        page=Field("place", "By how much, along your line of sight?", "45", LENGTHS, topic="where the reference lies"),
    ),
    Option(
        "distance", "LENGTH", "Say how far the camera was from the rocket: 1.8m.",
        PHOTO, "distance_mm", length_mm, parsers.mm_text,
        page=Field("more about the scale", "From the camera to the rocket", "1.8", LENGTHS),
    ),
    Option(
        "fins", "N[,N]", "Say how many fins it has: 4. For several groups, count each from nose to tail: 3,4.",
        ROCKET, "fins", parsers.parse_fins, parsers.fins_text, whole=True, fits=True,
        more='Count them all round the rocket. Where another number fits the picture clearly better, it is named and '
        'the verdict is "look again"; what looks the same from the side, nobody can tell.',
        page=Field(
            "fins", "How many fins?", "3", hint="Two rows of fins: nose to tail, as 3,4.", topic="the number of fins"
        ),
    ),
    Option(
        "pose", "POSE",
        "Say how the (aft) fins stand in the photo, if you know; it is found otherwise. in-plane: one lies flat in the "
        "photo. diagonal: turned from that by half the gap between fins. resting: the rocket lies on two fin tips and "
        "is seen from above. Or give the angle of one fin from the photo's plane: 30deg.",
        PHOTO, "pose", parsers.parse_pose, parsers.pose_text, fits=True,
        more="It is taken as a strong hint. Of solve: how they stand in the cut-out, as the file has it otherwise.",
        page=Field(
            "more about the rocket", "If no drawing fits: the angle of fin 1", "30deg",
            hint="0deg is flat in the picture, 90deg points at you.", topic="how it lies",
        ),
    ),
    Option(
        "nose", "SIDE",
        "Say where the nose points in the upright photo: left, right, up or down. It is found otherwise.",
        PHOTO, "nose", partial(parsers.parse_choice, choices=parsers.NOSE_DIRECTIONS), fits=True,
        page=Field(
            "more about the rocket", "Where the nose points in the photo",
            choices={"": "find it", **{side: side for side in parsers.NOSE_DIRECTIONS}}, topic="the nose's side",
        ),
    ),
    Option(
        "balance", "LENGTH[,END]",
        "Say where it balances, ready to fly, with the heaviest motor in. Measure from the nose tip: 250mm. You may "
        "add the end you measured from: 250mm,from-nose or 163mm,from-tail.",
        ROCKET, "balance", parsers.parse_balance, parsers.balance_text,
        more="The tail is the body's aft end; motor and fin tips do not count. A margin above 4 calibers, one above "
        "2.5 that would be too little from the tail, or a balance point in the front quarter of the rocket, counts "
        "only once the end is said.",
        page=Field(
            "balance", "Where does it balance, ready to fly?", "250", LENGTHS,
            ends={"": "from the nose tip?", FROM_NOSE: "from the nose tip", FROM_TAIL: "from the tail end"},
            hint="With the heaviest motor in. Hang it on a string or lay it over a ruler's edge.",
            topic="the balance point",
        ),
    ),
    Option(
        "balance_at", "X,Y",
        "Give the balance point as a pixel of the upright photo, where the string or a strip of tape is: 1520,830. "
        "This is in place of --balance.",
        PHOTO, "balance_at_px", parsers.parse_balance_at, parsers.balance_at_text,
        page=Field(
            "more about the balance", "Balance point as a place in the photo: pixels x,y", "1520,830",
            topic="the balance point in the photo",
        ),
    ),
    Option(
        "mass", "MASS",
        "Say what it weighs ready to fly: 180g. With --balanced-with, say what it weighed as it was balanced.",
        ROCKET, "mass_g", mass_g, parsers.g_text,
        page=Field("balance", "What does it weigh, ready to fly?", "180", MASSES, topic="the mass"),
    ),
    Option(
        "motor", "MOTOR",
        "Describe a motor it may fly with: a name of your own, what it weighs before and after burning, how long it "
        "is, and how far it sticks out aft: large,24g,12g,70mm,5mm. You may give several.",
        ROCKET, "motors", parsers.parse_motor, parsers.motor_text, repeated=True,
        page=Field(
            "more about the balance",
            "Motors it may fly with, one a line: name, mass loaded, mass empty, length, how far it sticks out",
            parsers.MOTOR_EXAMPLE, lines=True,
        ),
    ),
    Option(
        "balanced_with", "NAME",
        "Say which motor was in when it was balanced and weighed, or none; the heaviest is taken otherwise.",
        ROCKET, "balanced_with",
        page=Field(
            "more about the balance", "The motor that was in when you balanced it: its name, or none", "large"
        ),
    ),
    Option(
        "add", "NAME,MASS,PLACE",
        "Add something it flies with that was not in when it was balanced, with its place from the nose tip: "
        "parachute,12g,180mm. A negative mass was in and stays out: -12g. You may give several.",
        ROCKET, "added", parsers.parse_added, parsers.added_text, repeated=True,
        page=Field(
            "more about the balance", "What was not in then, one a line: name, mass, place from the nose tip",
            "parachute,12g,180mm", lines=True, topic="what was not in",
        ),
    ),
    Option(
        "hand", "NAME=VALUE",
        "Give what you measured by hand, and it is compared: span=52mm. You may give several: length, tube, nose, "
        "root, tip, span, cutout-balance.",
        ROCKET, "hand", parsers.parse_hand, parsers.hand_text, repeated=True,
        more="One that disagrees is named with its likely slip (another unit, the radius for the diameter, along the "
        'sweep, from the wrong end); if the verdict would be another were the hand right, it is "look again".',
        page=Field(
            "checks",
            "Measured by hand to compare, one a line: length, tube, nose, root, tip, span or cutout-balance",
            "span=52mm", lines=True, topic="what was measured by hand",
        ),
    ),
    Option(
        "thickness", "LENGTH[,LENGTH]", "Say how thick the fins are: 2.4mm; or for each group: 2.4mm,1.6mm.",
        ROCKET, "thickness_mm", parsers.parse_thickness, parsers.thickness_text, fits=True,
        page=Field(
            "more about the rocket", "Thickness of the fins, with unit", "2.4mm",
            hint="One for all, or one for each row.",
        ),
    ),
    Option(
        "sheet_bar", "LENGTH",
        "Say how long your ruler finds the printed sheet's 100 mm bar: 99.2mm. That corrects the sheet's scale.",
        PHOTO, "sheet_bar_mm", length_mm, parsers.mm_text, fits=True,
        page=Field("more about the scale", "The printed sheet's 100 mm bar, by your ruler", "99.2", LENGTHS),
    ),
    Option(
        "camera", "FILE", "Give a calibration of the camera, if you have made one.",
        PHOTO, "camera", write=lambda path: str(path.resolve()), kind=Path, fits=True,
        page=Field("more about the scale", "A calibration of your camera, if you have made one", choices={"": "none"}),
    ),
    Option(
        "shots", "FILE", "Give a file that lists photos or rockets, each with options of its own, in place of photos.",
        OUTPUT, "shots", kind=Path, more="See below.",
    ),
    Option(
        "mach", "M", "Show the centre of pressure at this Mach number too, from 0 to 0.7: 0.6.",
        FLIGHT, "mach", parsers.parse_mach, repr,
        page=Field("checks", "Mach number to show the methods at, 0 to 0.7", "0.3"),
    ),
    Option(
        "wind", "SPEED",
        "Say how much crosswind to reckon with at the launch rod: 4m/s, which is taken otherwise.",
        FLIGHT, "wind_mps", speed_mps, parsers.mps_text, more="Speeds take m/s, km/h, ft/s, mph, kn.",
        page=Field("checks", "Wind across the launch rod", "4", SPEEDS),
    ),
    Option(
        "rod_speed", "SPEED", "Say how fast the rocket leaves the rod: 15m/s, which is taken otherwise.",
        FLIGHT, "rod_speed_mps", speed_mps, parsers.mps_text,
        page=Field("checks", "Speed as it leaves the rod", "15", SPEEDS, topic="the speed off the rod"),
    ),
    Option("pdf", None, "Write the report as PDF too.", OUTPUT, "", kind=bool, default=False),
    Option(
        "paper", "PAPER", "Choose the PDF's paper: a4, which is taken otherwise, or letter.", OUTPUT, ""
    ),
    Option(
        "jobs", "N",
        "Say how many rockets of --shots to measure at once; as many as there are cores otherwise.",
        OUTPUT, "jobs", kind=int, least=1,
    ),
    Option(
        "name", "TEXT", "Give the rocket a name for the results.", FLIGHT, "name",
        page=Field("more about the rocket", "Its name", "bramble"),
    ),
    Option(
        "units", "UNITS",
        "Choose the units of summary, report, pages, templates and cards: mm, or in for inches, ounces and pounds. "
        "Otherwise they are those the results folder was made with, or millimetres. The files result.json, "
        "geometry.toml and table.csv are always metric.",
        OUTPUT, "units", partial(parsers.parse_choice, choices=UNITS),
    ),
    Option(
        "seed", "N", "Begin the random draws behind the bands with this number; the same gives the same.",
        ROCKET, "seed", kind=int, default=1, least=0, write=int, whole=True,
        page=Field("checks", "Starting number of the random draws behind the bands", "1"),
    ),
    Option(
        "out", "DIR", "Say which folder the results go into; it is named after the photo otherwise.",
        OUTPUT, "out", kind=Path, more="Files of others are never overwritten.",
    ),
    Option(
        "json", None, "Print result.json on standard output, and nothing else there.",
        OUTPUT, "json", kind=bool, default=False,
    ),
    Option("quiet", None, "Say nothing of the progress.", OUTPUT, "quiet", kind=bool, default=False),
)  # fmt: skip
OPTIONS = {option.name: option for option in _TABLE}
"""By name, in the order in which --help lists them."""
KEPT = tuple(option.name for option in _TABLE if option.about != OUTPUT)
"""Those that the page's form and the result hold."""


def values(typed: dict[str, Any], names: Iterable[str] = OPTIONS) -> dict[str, Any]:
    """Of the options typed, by name, what was said: field of `MeasureOptions` to value. Raises UsageRefusal."""
    said = {name: typed[name] for name in names if typed.get(name) is not None}
    return {OPTIONS[name].field: OPTIONS[name].value(text) for name, text in said.items() if OPTIONS[name].field}


def texts(options: Any) -> dict[str, Any]:
    """What the result keeps of a `MeasureOptions`, so that it can be asked again: option to text, or list of texts."""
    found = {name: OPTIONS[name].text(getattr(options, OPTIONS[name].field)) for name in KEPT}
    return {name: text for name, text in found.items() if text is not None}
