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
        help="A motor it may fly with, repeatable: NAME,LOADED,EMPTY,LENGTH[,OVERHANG], a name of your own, its mass "
        "before and after burning, its length and how far it sticks out aft: large,24g,12g,70mm,5mm.",
    ),
]
BalancedWithOption = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="Which motor was in when it was balanced and weighed, or none. The heaviest if absent.",
    ),
]
AddOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="NAME,MASS,PLACE",
        help="Something it flies with that was not in when it was balanced, repeatable, its place from the nose "
        "tip: parachute,12g,180mm. A negative mass was in and stays out: -12g.",
    ),
]
UnitsOption = Annotated[
    str | None,
    typer.Option(
        metavar="UNITS",
        help="Units of summary, report, pages, templates and cards: mm, or in (inches, ounces, pounds). Millimetres if "
        "absent, or what the results folder was made with; result.json and geometry.toml are always metric.",
    ),
]
ResultFolder = Annotated[
    Path, typer.Argument(metavar="RESULT_DIR", help="A results folder of measure or solve --out.")
]
MassIfMissing = Annotated[
    str | None, typer.Option(metavar="MASS", help="Lift-off mass, if the result does not hold it: 180g.")
]
BalanceIfMissing = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH[,END]",
        help="Balance point from the nose tip, if the result does not hold it: 250mm; or 163mm,from-tail.",
    ),
]
BalanceAtOption = Annotated[
    str | None,
    typer.Option(
        metavar="X,Y",
        help="The balance point as a pixel of the upright photo, where the string or a strip of tape is: 1520,830. "
        "In place of --balance.",
    ),
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
