"""What the user asks, checked before any work begins. One record for the command line, the page and Python.

Every parser takes the text as typed and raises UsageRefusal naming the option and the valid forms.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from digitize.errors import UsageRefusal
from digitize.geometry.toml import FEWEST_FINS, MOST_FINS
from digitize.margin.balance import Loading
from digitize.records import BalancePoint, Flight, Mass, Motor
from digitize.request.balance_options import (
    balance_of,
    check_loading,
    parse_added,
    parse_balance,
    parse_balance_at,
    parse_balanced_with,
    parse_motor,
)
from digitize.sizes import PAPERS_MM
from digitize.units.quantities import length_mm, mass_g, refuse_torn, speed_mps
from digitize.units.shown_units import MM, UNITS

SIZED_SCALES = ("tube", "length", "ruler")  # KIND=LENGTH
BARE_SCALES = ("card", "a4", "letter", "sheet")  # KIND alone
SCALE_KINDS = (*SIZED_SCALES, *BARE_SCALES, "checker", "points")
PAPERS = tuple(PAPERS_MM)
POSES = ("in-plane", "diagonal", "resting")
NOSE_DIRECTIONS = ("left", "right", "up", "down")
HAND_NAMES = ("length", "tube", "nose", "root", "tip", "span", "cutout-balance")
_MOST_GROUPS = 6
MOST_SHOWN_MACH = 0.7
"""Above it the rule for fins alone points the wrong way: J. C. Ferris, NASA TN D-4013 (1967), figures 7(b), 7(c), has a
sounding rocket's centre of pressure 0.3 to 0.6 calibers farther forward at Mach 0.8 than at 0.6."""
FEWEST_SQUARES = 4
"""Across and down: the board is known by its inner corners, and the search for them takes 3 x 3 at least."""


@dataclass(frozen=True)
class ScaleClaim:
    """One --scale as given.

    kind: one of SCALE_KINDS. length_mm: of tube, length, ruler and points; one square's side for checker.
    points_px: x1, y1, x2, y2 in the upright full-size photo. squares: across, down. text: as typed.
    """

    kind: str
    length_mm: float | None = None
    points_px: tuple[float, float, float, float] | None = None
    squares: tuple[int, int] | None = None
    text: str = ""


@dataclass(frozen=True)
class Pose:
    """How the fins stand. kind: 'in-plane', 'diagonal', 'resting', 'angle' (with angle_deg), or 'unsaid'; where nobody
    said it and no picture shows it, fins are drawn in the plane."""

    kind: str = "unsaid"
    angle_deg: float | None = None

    def roll_deg(self, count: int) -> float:
        """The angle of fin 1 from the photo's plane, for a group of `count` fins, degrees, 0 to 360 / count.

        diagonal: turned half a fin gap from in-plane; resting: the camera looks down on a rocket lying on two
        neighbouring fins, which stand evenly about straight away from it, at -90.
        """
        gap = 360 / count
        if self.angle_deg is not None:
            return self.angle_deg % gap
        return {"unsaid": 0.0, "in-plane": 0.0, "diagonal": gap / 2, "resting": (-90 + gap / 2) % gap}[self.kind]


@dataclass(frozen=True)
class MeasureOptions:
    """What `measure` was asked. Lengths in millimetres, mass in grams; None: not said."""

    photo: tuple[Path, ...] = ()
    scales: tuple[ScaleClaim, ...] = ()
    behind_mm: float | None = None
    distance_mm: float | None = None
    fins: tuple[int, ...] | None = None
    pose: Pose = Pose()
    nose: str | None = None
    balance: BalancePoint | None = None
    mass_g: float | None = None
    hand: tuple[tuple[str, float], ...] = ()
    out: Path | None = None
    json: bool = False
    quiet: bool = False
    thickness_mm: tuple[float, ...] = ()
    sheet_bar_mm: float | None = None
    camera: Path | None = None
    shots: Path | None = None
    name: str | None = None
    seed: int = 1
    flight: Flight = field(default_factory=Flight)
    motors: tuple[Motor, ...] = ()
    balanced_with: str | None = None  # as typed
    added: tuple[Mass, ...] = ()
    balance_at_px: tuple[float, float] | None = None
    pdf_paper: str | None = None  # the report as PDF too, on this paper
    units: str = MM  # of what is shown, "mm" or "in"

    @property
    def balance_mm(self) -> float | None:
        """The balance point's distance from the end it was measured from."""
        return None if self.balance is None else self.balance.distance_mm

    def loading(self) -> Loading:
        """How the rocket was balanced and what it flies with. Raises UsageRefusal for an unknown motor's name."""
        return Loading(
            **balance_of(self.balance),
            mass_g=self.mass_g,
            motors=self.motors,
            balanced_with=parse_balanced_with(self.balanced_with, self.motors),
            added=self.added,
        )


def measure_options(
    photos: Sequence[Path],
    *,
    scale: Sequence[str] = (),
    behind: str | None = None,
    distance: str | None = None,
    fins: str | None = None,
    pose: str | None = None,
    nose: str | None = None,
    balance: str | None = None,
    mass: str | None = None,
    hand: Sequence[str] = (),
    out: Path | None = None,
    json: bool = False,
    quiet: bool = False,
    thickness: str | None = None,
    sheet_bar: str | None = None,
    camera: Path | None = None,
    shots: Path | None = None,
    name: str | None = None,
    seed: int = 1,
    mach: str | None = None,
    wind: str | None = None,
    rod_speed: str | None = None,
    motor: Sequence[str] = (),
    balanced_with: str | None = None,
    add: Sequence[str] = (),
    balance_at: str | None = None,
    pdf: bool = False,
    paper: str | None = None,
    units: str | None = None,
) -> MeasureOptions:
    """The options as typed, parsed and checked against each other. Raises UsageRefusal."""
    if bool(photos) == (shots is not None):
        raise UsageRefusal(
            "no photo was given" if not photos else "photos and --shots were both given",
            "give the photos, or one --shots file that names them",
        )

    def length(text: str | None, option: str, signed: bool = False) -> float | None:
        return None if text is None else length_mm(text, option, signed=signed)

    options = MeasureOptions(
        photo=tuple(Path(photo) for photo in photos),
        scales=tuple(parse_scale(text) for text in scale),
        behind_mm=length(behind, "--behind", signed=True),
        distance_mm=length(distance, "--distance"),
        fins=None if fins is None else parse_fins(fins),
        pose=Pose() if pose is None else parse_pose(pose),
        nose=None if nose is None else parse_choice(nose, "--nose", NOSE_DIRECTIONS),
        balance=None if balance is None else parse_balance(balance),
        mass_g=None if mass is None else mass_g(mass, "--mass"),
        hand=tuple(parse_hand(text) for text in hand),
        out=out,
        json=json,
        quiet=quiet,
        thickness_mm=() if thickness is None else parse_thickness(thickness),
        sheet_bar_mm=length(sheet_bar, "--sheet-bar"),
        camera=camera,
        shots=shots,
        name=name,
        seed=seed,
        flight=parse_flight(mach, wind, rod_speed),
        pdf_paper=parse_pdf(pdf, paper),
        units=parse_units(units) or MM,
        motors=tuple(parse_motor(text) for text in motor),
        balanced_with=balanced_with,
        added=tuple(parse_added(text) for text in add),
        balance_at_px=None if balance_at is None else parse_balance_at(balance_at),
    )  # fmt: skip
    if shots is None:  # else the file may hold the rest
        check_together(options)
    return options


def check_together(options: MeasureOptions) -> None:
    """Refuse what can't be true of one rocket and one photo."""
    said = [claim.kind for claim in options.scales if claim.kind != "points"]
    _no_twice(said, "--scale", "give each kind of scale once (points may be repeated)")
    _no_twice([name for name, _ in options.hand], "--hand", "give each hand measurement once")
    size = {claim.kind: claim.length_mm for claim in options.scales if claim.length_mm is not None}
    if "tube" in size and "length" in size and size["tube"] >= size["length"]:
        raise UsageRefusal(
            f"--scale: the tube ({size['tube']:g} mm) is not smaller than the length ({size['length']:g} mm)",
            "check the two numbers and their units",
        )
    if options.balance_mm is not None and options.balance_mm >= size.get("length", float("inf")):
        raise UsageRefusal(
            f"--balance: {options.balance_mm:g} mm is beyond the body's length of {size['length']:g} mm",
            "check the number and its unit; it is measured along the body, from the nose tip",
        )
    if options.balance_mm is not None and options.balance_at_px is not None:
        raise UsageRefusal(
            "--balance and --balance-at were both given", "give the balance point one way, by length or by pixel"
        )
    check_loading(options.loading(), options.balanced_with is not None)
    if options.behind_mm is not None and options.distance_mm is not None and options.behind_mm <= -options.distance_mm:
        raise UsageRefusal("--behind: the reference would be behind the camera", "check --behind and --distance")
    if options.fins and options.thickness_mm and len(options.thickness_mm) not in (1, len(options.fins)):
        raise UsageRefusal(
            f"--thickness: {len(options.thickness_mm)} were given for {len(options.fins)} fin groups",
            "give one for all, or one for each group from nose to tail",
        )
    if options.sheet_bar_mm is not None and "sheet" not in said:
        raise UsageRefusal("--sheet-bar was given without the sheet", "add --scale sheet")


def parse_pdf(pdf: bool, paper: str | None) -> str | None:
    """The paper of the report as PDF, None if it was not asked for. Raises UsageRefusal."""
    if paper is None:
        return PAPERS[0] if pdf else None
    if not pdf:
        raise UsageRefusal("--paper was given without --pdf", "add --pdf, or leave --paper out")
    return parse_choice(paper, "--paper", PAPERS)


def parse_units(units: str | None) -> str | None:
    """The units to show lengths, masses, areas and forces in; None if nothing was said. Raises UsageRefusal."""
    return None if units is None else parse_choice(units, "--units", UNITS)


def parse_flight(mach: str | None, wind: str | None, rod_speed: str | None) -> Flight:
    """The flight's options as typed; what was not said keeps its example value."""
    said = {}
    if mach is not None:
        try:
            said["mach"] = float(mach)
        except ValueError:
            raise UsageRefusal(f"--mach: {mach!r} is not a number", "write it as 0.6") from None
        if not 0 <= said["mach"] <= MOST_SHOWN_MACH:
            raise UsageRefusal(
                f"--mach: {mach} is outside what the methods hold for, 0 to {MOST_SHOWN_MACH:g}",
                "above that the centre of pressure moved forward in a wind tunnel where the methods move it aft: leave "
                "the answer to wind tunnels",
            )
    if wind is not None:
        said["wind_mps"] = speed_mps(wind, "--wind")
    if rod_speed is not None:
        said["rod_speed_mps"] = speed_mps(rod_speed, "--rod-speed")
    return Flight(**said)


def parse_scale(text: str) -> ScaleClaim:
    """'tube=41.6mm', 'card', 'checker=7x5x15mm', 'points=X1,Y1,X2,Y2,300mm' and so on."""
    kind, equals, value = (part.strip() for part in text.partition("="))
    kind = kind.lower()
    if kind not in SCALE_KINDS:
        raise UsageRefusal(f"--scale: {kind or text!r} is not a kind of scale", f"use one of {', '.join(SCALE_KINDS)}")
    if kind in BARE_SCALES:
        if equals:
            raise UsageRefusal(f"--scale {kind} takes no size, but {value!r} was given", f"write --scale {kind}")
        return ScaleClaim(kind, text=text)
    if not value:
        example = {"checker": "7x5x15mm", "points": "120,80,1820,95,300mm"}.get(kind, "300mm")
        raise UsageRefusal(f"--scale {kind} needs its size", f"write --scale {kind}={example}")
    if kind == "checker":
        return _parse_checker(value, text)
    if kind == "points":
        return _parse_points(value, text)
    return ScaleClaim(kind, length_mm(value, f"--scale {kind}"), text=text)


def _parse_checker(value: str, text: str) -> ScaleClaim:
    match = re.fullmatch(r"(\d{1,3})\s*[x×]\s*(\d{1,3})\s*[x×]\s*(.+)", value, re.IGNORECASE)
    if match is None:
        raise UsageRefusal(
            f"--scale checker: {value!r} is not squares across x down x size",
            "write --scale checker=7x5x15mm",
        )
    across, down = int(match[1]), int(match[2])
    if min(across, down) < FEWEST_SQUARES:
        raise UsageRefusal(
            f"--scale checker: {across}x{down} squares are too few",
            f"use a board of {FEWEST_SQUARES} x {FEWEST_SQUARES} squares or more",
        )
    return ScaleClaim("checker", length_mm(match[3], "--scale checker"), squares=(across, down), text=text)


def _parse_points(value: str, text: str) -> ScaleClaim:
    parts = [part.strip() for part in value.split(",")]
    try:
        x1, y1, x2, y2 = (float(part) for part in parts[:4])
    except ValueError:
        parts = []
    if len(parts) != 5:
        raise UsageRefusal(
            f"--scale points: {value!r} is not two pixels and their distance",
            "write --scale points=X1,Y1,X2,Y2,300mm in pixels of the upright photo, decimals with a point",
        )
    if not all(abs(number) < 1e6 for number in (x1, y1, x2, y2)):
        raise UsageRefusal(f"--scale points: {value!r} holds a number that is no pixel", "give pixels of the photo")
    if max(abs(x1 - x2), abs(y1 - y2)) < 1:
        raise UsageRefusal("--scale points: the two points are the same", "give two points far apart")
    return ScaleClaim("points", length_mm(parts[4], "--scale points"), points_px=(x1, y1, x2, y2), text=text)


def parse_fins(text: str) -> tuple[int, ...]:
    """'4' or '3,4': fins in each group, nose to tail."""
    parts = [part.strip() for part in text.split(",")]
    if not all(re.fullmatch(r"\d{1,4}", part) for part in parts) or len(parts) > _MOST_GROUPS:
        raise UsageRefusal(
            f"--fins: {text!r} is not a number of fins for each group",
            "write --fins 4, or --fins 3,4 nose to tail",
        )
    counts = tuple(int(part) for part in parts)
    for count in counts:
        if not FEWEST_FINS <= count <= MOST_FINS:
            raise UsageRefusal(f"--fins: {count} fins can't be measured", f"give {FEWEST_FINS} to {MOST_FINS} a group")
    return counts


def parse_pose(text: str) -> Pose:
    """'in-plane', 'diagonal', 'resting', or an angle such as '30deg'."""
    kind = text.strip().lower()
    if kind in POSES:
        return Pose(kind)
    match = re.fullmatch(r"([+-]?(?:\d+\.?\d*|\.\d+))\s*deg", kind)
    if match is None:
        raise UsageRefusal(
            f"--pose: {text!r} is not a pose", f"use {', '.join(POSES)}, or an angle with its unit, as 30deg"
        )
    angle_deg = float(match[1])
    if abs(angle_deg) > 360:
        raise UsageRefusal(f"--pose: {text!r} is more than a turn", "give the angle of fin 1 from the photo's plane")
    return Pose("angle", angle_deg)


def parse_choice(text: str, option: str, choices: Sequence[str]) -> str:
    """One of the choices, in any case."""
    if text.strip().lower() not in choices:
        raise UsageRefusal(f"{option}: {text!r} is not one of them", f"use {', '.join(choices)}")
    return text.strip().lower()


def parse_hand(text: str) -> tuple[str, float]:
    """'span=52mm' as its name and millimetres."""
    name, equals, value = (part.strip() for part in text.partition("="))
    if not equals:
        raise UsageRefusal(f"--hand: {text!r} has no value", "write NAME=VALUE, as --hand span=52mm")
    return parse_choice(name, "--hand", HAND_NAMES), length_mm(value, f"--hand {name}")


def parse_thickness(text: str) -> tuple[float, ...]:
    """'2.4mm' or '2.4mm,1.6mm': fin thickness of all groups, or of each."""
    parts = text.split(",")
    refuse_torn(parts, "--thickness", "2.4mm, or 2.4mm,1.6mm for two groups")
    return tuple(length_mm(part, "--thickness") for part in parts)


def _no_twice(names: Sequence[str], option: str, remedy: str) -> None:
    for name in names:
        if names.count(name) > 1:
            raise UsageRefusal(f"{option} {name} was given twice", remedy)
