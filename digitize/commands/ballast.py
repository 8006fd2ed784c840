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
        float, typer.Option(metavar="CALIBERS", help="Margin wanted at the low end of the band, in calibers.")
    ] = 1.0,
    at: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Where the weight goes, from the nose tip to its middle: 30mm.")
    ] = None,
    fill: Annotated[
        str | None,
        typer.Option(
            metavar="MATERIAL",
            help="What a hollow nose is filled with from its tip backward: clay, epoxy, steel-shot or lead-shot (shot "
            "set in epoxy). Clay if neither this nor --at is given.",
        ),
    ] = None,
    density: Annotated[
        str | None, typer.Option(metavar="DENSITY", help="The filling's density, if you know it better: 1.8g/cm3.")
    ] = None,
    wall: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="The hollow nose's wall: 1.5mm, which is taken if absent.")
    ] = None,
    depth: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="How far from the nose tip the filling may reach: 80mm; to the nose's base if absent.",
        ),
    ] = None,
    mass: MassIfMissing = None,
    balance: BalanceIfMissing = None,
    fin_density: Annotated[
        str | None,
        typer.Option(metavar="DENSITY", help="Density of the fins' material: 0.6g/cm3 (light plywood) if absent."),
    ] = None,
    units: UnitsOption = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print ballast.json on standard output, and nothing else there.")
    ] = False,
) -> None:
    """Nose weight needed for a wanted margin, with the curve of margin against grams; and the other remedy, fins."""
    from digitize.plans.ballast_plan import asked_of, plan_ballast
    from digitize.report.ballast_page import ballast_html, summary
    from digitize.request.options import parse_units
    from digitize.result.from_json import check_put, put, read_saved
    from digitize.result.to_json import dumps

    shown_units = parse_units(units)
    saved = read_saved(folder).shown_in(shown_units)
    check_put(folder, PAGE, NUMBERS)
    asked = asked_of(margin, at, fill, density, wall, depth, mass, balance, fin_density)
    plan = plan_ballast(saved, asked)
    path = put(folder, PAGE, ballast_html(plan))
    put(folder, NUMBERS, dumps(plan))
    sys.stdout.write(dumps(plan) if json else summary(plan, path))
