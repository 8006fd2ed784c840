"""Options that several commands share, each with its help."""

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from digitize.errors import Refusal
from digitize.units.sentences import in_words
from digitize.units.shown_units import shown_in

MotorOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="MOTOR",
        help="Describe a motor it may fly with: a name of your own, what it weighs before and after burning, how long "
        "it "
        "is, and how far it sticks out aft: large,24g,12g,70mm,5mm. You may give several.",
    ),
]
BalancedWithOption = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="Say which motor was in when it was balanced and weighed, or none; the heaviest is taken otherwise.",
    ),
]
AddOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="NAME,MASS,PLACE",
        help="Add something it flies with that was not in when it was balanced, with its place from the nose tip: "
        "parachute,12g,180mm. A negative mass was in and stays out: -12g. You may give several.",
    ),
]
UnitsOption = Annotated[
    str | None,
    typer.Option(
        metavar="UNITS",
        help="Choose the units of summary, report, pages, templates and cards: mm, or in for inches, ounces and "
        "pounds. "
        "Otherwise they are those the results folder was made with, or millimetres. The files result.json, "
        "geometry.toml "
        "and table.csv are always metric.",
    ),
]
ResultFolder = Annotated[
    Path, typer.Argument(metavar="RESULT_DIR", help="Give the results folder of measure or solve --out.")
]
MassIfMissing = Annotated[
    str | None,
    typer.Option(metavar="MASS", help="Say what it weighs ready to fly, if the result does not hold it: 180g."),
]
BalanceIfMissing = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH[,END]",
        help="Say where it balances, if the result does not hold it: 250mm from the nose tip; or 163mm,from-tail.",
    ),
]
BalanceAtOption = Annotated[
    str | None,
    typer.Option(
        metavar="X,Y",
        help="Give the balance point as a pixel of the upright photo, where the string or a strip of tape is: "
        "1520,830. "
        "This is in place of --balance.",
    ),
]
BalanceOption = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH[,END]",
        help="Say where it balances, ready to fly, with the heaviest motor in. Measure from the nose tip: 250mm. You "
        "may "
        "add the end you measured from: 250mm,from-nose or 163mm,from-tail.",
    ),
]
MassOption = Annotated[
    str | None,
    typer.Option(
        metavar="MASS",
        help="Say what it weighs ready to fly: 180g. With --balanced-with, say what it weighed as it was balanced.",
    ),
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print result.json on standard output, and nothing else there.")
]
NameOption = Annotated[str | None, typer.Option(metavar="TEXT", help="Give the rocket a name for the results.")]
PoseOption = Annotated[
    str | None,
    typer.Option(
        metavar="POSE",
        help="Say how the (aft) fins stand in the photo, if you know; it is found otherwise. in-plane: one lies flat "
        "in "
        "the photo. diagonal: turned from that by half the gap between fins. resting: the rocket lies on two fin tips "
        "and "
        "is seen from above. Or give the angle of one fin from the photo's plane: 30deg.",
    ),
]
MachOption = Annotated[
    str | None,
    typer.Option(metavar="M", help="Show the centre of pressure at this Mach number too, from 0 to 0.7: 0.6."),
]
WindOption = Annotated[
    str | None,
    typer.Option(
        metavar="SPEED", help="Say how much crosswind to reckon with at the launch rod: 4m/s, which is taken otherwise."
    ),
]
RodSpeedOption = Annotated[
    str | None,
    typer.Option(metavar="SPEED", help="Say how fast the rocket leaves the rod: 15m/s, which is taken otherwise."),
]
PdfOption = Annotated[bool, typer.Option("--pdf", help="Write the report as PDF too.")]
PaperOption = Annotated[
    str | None, typer.Option(metavar="PAPER", help="Choose the PDF's paper: a4, which is taken otherwise, or letter.")
]


def refusing_in_units(command: Callable) -> Callable:
    """The command, its refusals worded in the units asked for with --units."""

    @functools.wraps(command)
    def run(*args, **kwargs):
        try:
            return command(*args, **kwargs)
        except Refusal as refusal:
            with shown_in(kwargs.get("units")):
                raise refusal.worded(in_words(refusal.what), in_words(refusal.remedy)) from None

    return run
