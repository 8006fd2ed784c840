"""Options as typer takes them: those of the table, and what several other commands share."""

import functools
import inspect
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from digitize.errors import Refusal
from digitize.request.option_table import OPTIONS, Option
from digitize.units.sentences import in_words
from digitize.units.shown_units import shown_in

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


def _info(option: Option) -> Any:
    flags = [option.flag] if option.kind is bool else []  # else typer makes a --no-... of it
    return typer.Option(*flags, metavar=option.metavar, help=option.help, min=option.least)


UnitsOption = Annotated[str | None, _info(OPTIONS["units"])]
OutOption = Annotated[Path | None, _info(OPTIONS["out"])]


def with_options(*names: str) -> Callable[[Callable], Callable]:
    """Gives a command these options in this order, in place of its **typed. A name that is a parameter of the command
    is that one, any other an option of the table; the command's parameters that are not named come first."""

    def fitted(command: Callable) -> Callable:
        parameters = inspect.signature(command, eval_str=True).parameters.values()
        own = {parameter.name: parameter for parameter in parameters if parameter.kind != parameter.VAR_KEYWORD}
        first = [parameter for name, parameter in own.items() if name not in names]
        named = [own[name] if name in own else _parameter(OPTIONS[name]) for name in names]

        @functools.wraps(command)
        def run(**said: Any) -> Any:
            return command(**said)

        run.__signature__ = inspect.Signature([*first, *(p.replace(kind=p.KEYWORD_ONLY) for p in named)])  # type: ignore[attr-defined]
        return run

    return fitted


def _parameter(option: Option) -> inspect.Parameter:
    kind: Any = list[option.kind] if option.repeated else option.kind  # type: ignore[name-defined]
    hint: Any = Annotated[kind if option.default is not None else kind | None, _info(option)]
    return inspect.Parameter(option.name, inspect.Parameter.KEYWORD_ONLY, default=option.default, annotation=hint)


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
