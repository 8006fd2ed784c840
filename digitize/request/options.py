"""What the user asks, checked before any work begins. One record for the command line, the page and Python."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from digitize.errors import UsageRefusal
from digitize.margin.balance import Loading
from digitize.option_records import UNSAID, BalancePoint, Flight, Mass, Motor, Pose, ScaleOption
from digitize.request.balance_options import balance_of, check_balance_known, check_loading, parse_balanced_with
from digitize.request.option_table import OPTIONS, values
from digitize.request.parsers import parse_pdf
from digitize.units.shown_units import MM


@dataclass(frozen=True)
class MeasureOptions:
    """What `measure` was asked. Lengths in millimetres, mass in grams; None: not said."""

    photo: tuple[Path, ...] = ()
    scales: tuple[ScaleOption, ...] = ()
    behind_mm: float | None = None
    distance_mm: float | None = None
    fins: tuple[int, ...] | None = None
    pose: Pose = UNSAID
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
    jobs: int | None = None  # rockets measured at once
    name: str | None = None
    seed: int = 1
    mach: float | None = None
    wind_mps: float = Flight.wind_mps
    rod_speed_mps: float = Flight.rod_speed_mps
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

    @property
    def flight(self) -> Flight:
        return Flight(self.mach, self.wind_mps, self.rod_speed_mps)

    def loading(self) -> Loading:
        """How the rocket was balanced and what it flies with. Raises UsageRefusal for an unknown motor's name."""
        return Loading(
            **balance_of(self.balance),
            mass_g=self.mass_g,
            motors=self.motors,
            balanced_with=parse_balanced_with(self.balanced_with, self.motors),
            added=self.added,
        )


def measure_options(photos: Sequence[Path | str], **typed: Any) -> MeasureOptions:
    """The options of OPTIONS as typed, None or left out: not said; read and checked against each other.

    Raises UsageRefusal, TypeError for what is no option.
    """
    if bool(photos) == (typed.get("shots") is not None):
        raise UsageRefusal(
            "no photo was given" if not photos else "photos and --shots were both given",
            "give the photos, or one --shots file that names them",
        )
    options = replace(_read(typed), photo=tuple(Path(photo) for photo in photos))
    if options.shots is None:  # else the file may hold the rest
        check_together(options)
    return options


def geometry_options(**typed: Any) -> MeasureOptions:
    """The same where there is no photo: of how it was balanced all must be there. Raises UsageRefusal."""
    options = _read(typed)
    loading = options.loading()
    check_loading(loading, options.balanced_with is not None)
    if not loading.known():
        check_balance_known(loading)
    return options


def _read(typed: dict[str, Any]) -> MeasureOptions:
    if unknown := set(typed) - set(OPTIONS):
        raise TypeError(f"no option is called {', '.join(sorted(unknown))}")
    pdf_paper = parse_pdf(bool(typed.get("pdf")), typed.get("paper"))
    return MeasureOptions(**values(typed), pdf_paper=pdf_paper)


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


def _no_twice(names: Sequence[str], option: str, remedy: str) -> None:
    for name in names:
        if names.count(name) > 1:
            raise UsageRefusal(f"{option} {name} was given twice", remedy)
