"""`digitize swing`: the plan of a swing test as a card to print, and the record of what came of it."""

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

CARD = "swing-card.html"
_SPEEDS = (3.0, 40.0)
_STRINGS_M = (1.0, 8.0)


@refusing_in_units
def swing(
    folder: ResultFolder,
    string: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Say how long a string you have: 2.5m; it is chosen otherwise.")
    ] = None,
    speed: Annotated[
        str | None, typer.Option(metavar="SPEED", help="Say how fast to swing it: 12m/s; it is chosen otherwise.")
    ] = None,
    mass: MassIfMissing = None,
    balance: BalanceIfMissing = None,
    outcome: Annotated[
        str | None, typer.Option(metavar="OUTCOME", help="Record what came of it: pass, fail or unclear.")
    ] = None,
    note: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Add a note to the outcome, such as the wind.")
    ] = None,
    units: UnitsOption = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print swing.json on standard output, and nothing else there.")
    ] = False,
) -> None:
    """Plans a swing test and keeps what came of it.

    The plan is a card to print: how long the string, how fast the swing, how strong the knot.
    """
    from digitize.errors import UsageRefusal
    from digitize.plans.swing_plan import SwingOptions, outcome_of, plan_of
    from digitize.report.folder import rewrite_report
    from digitize.report.swing_card import card_html, swing_summary
    from digitize.request.parsers import parse_balance, parse_choice, parse_units
    from digitize.result.from_json import check_put, put, read_saved
    from digitize.result.swing_record import OUTCOMES, RECORD, new_record, read_swing
    from digitize.result.to_json import dumps
    from digitize.units.quantities import length_mm, mass_g, speed_mps

    if note is not None and outcome is None:
        raise UsageRefusal("--note was given without an outcome", "give --outcome too")
    came = None if outcome is None else parse_choice(outcome, "--outcome", OUTCOMES)
    options = SwingOptions(
        string_m=_within(None if string is None else length_mm(string, "--string") / 1000, _STRINGS_M, "--string", "m"),
        speed_mps=_within(None if speed is None else speed_mps(speed, "--speed"), _SPEEDS, "--speed", "m/s"),
        mass_g=None if mass is None else mass_g(mass, "--mass"),
        balance=None if balance is None else parse_balance(balance),
    )
    shown_units = parse_units(units)
    folder_as_it_is = read_saved(folder)
    saved = folder_as_it_is.shown_in(shown_units)
    before = read_swing(folder)
    check_put(folder, CARD, RECORD)
    plan = plan_of(saved, options, needed=came is None)
    record = new_record(plan, before, None if came is None else outcome_of(saved, came, note or ""))
    paths = []
    if plan is not None:
        paths.append(("card to print", put(folder, CARD, card_html(plan))))
    paths.append(("record", put(folder, RECORD, dumps(record))))
    if record["outcomes"]:
        paths.append(("report", rewrite_report(folder_as_it_is)))
    sys.stdout.write(dumps(record) if json else swing_summary(plan, record, paths))


def _within(value: float | None, ends: tuple[float, float], option: str, unit: str) -> float | None:
    from digitize.errors import UsageRefusal

    if value is not None and not ends[0] <= value <= ends[1]:
        raise UsageRefusal(
            f"{option}: {value:g} {unit} can't be swung by hand", f"give {ends[0]:g} to {ends[1]:g} {unit}"
        )
    return value
