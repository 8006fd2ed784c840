"""`digitize ballast`: nose weight for a wanted margin, or larger fins."""

import sys
from typing import Annotated

import typer

from digitize.commands.option_types import (
    BalanceIfMissing,
    MassIfMissing,
    ResultFolder,
    UnitsOption,
    refusing_in_units,
)

PAGE, NUMBERS = "ballast.html", "ballast.json"


@refusing_in_units
def ballast(
    folder: ResultFolder,
    margin: Annotated[
        float,
        typer.Option(metavar="CALIBERS", help="Say how many calibers of margin you want at the low end of the band."),
    ] = 1.0,
    at: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help="Say where the weight goes, from the nose tip to its middle: 30mm."),
    ] = None,
    fill: Annotated[
        str | None,
        typer.Option(
            metavar="MATERIAL",
            help="Say what a hollow nose is filled with from its tip backward: clay (taken otherwise), epoxy, "
            "steel-shot or lead-shot, the shot set in epoxy.",
        ),
    ] = None,
    density: Annotated[
        str | None, typer.Option(metavar="DENSITY", help="Give the filling's density, if you know it better: 1.8g/cm3.")
    ] = None,
    wall: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH", help="Say how thick the hollow nose's wall is: 1.5mm, which is taken otherwise."
        ),
    ] = None,
    depth: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="Say how far from the nose tip the filling may reach: 80mm; to the nose's base otherwise.",
        ),
    ] = None,
    mass: MassIfMissing = None,
    balance: BalanceIfMissing = None,
    fin_density: Annotated[
        str | None,
        typer.Option(
            metavar="DENSITY", help="Say how dense the fins' material is: 0.6g/cm3 (light plywood) otherwise."
        ),
    ] = None,
    units: UnitsOption = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print ballast.json on standard output, and nothing else there.")
    ] = False,
) -> None:
    """Works out how much weight the nose needs.

    It also says how much larger the fins would have to be instead, and writes ballast.html into the results folder.
    """
    from digitize.plans.ballast_plan import ballast_options, plan_ballast
    from digitize.report.ballast_page import ballast_html, summary
    from digitize.request.parsers import parse_units
    from digitize.result.from_json import check_put, put, read_saved
    from digitize.result.to_json import dumps

    shown_units = parse_units(units)
    saved = read_saved(folder).shown_in(shown_units)
    check_put(folder, PAGE, NUMBERS)
    options = ballast_options(margin, at, fill, density, wall, depth, mass, balance, fin_density)
    plan = plan_ballast(saved, options)
    path = put(folder, PAGE, ballast_html(plan))
    put(folder, NUMBERS, dumps(plan))
    sys.stdout.write(dumps(plan) if json else summary(plan, path))
