"""`digitize sheet`: the scale sheet to print."""

import sys
from pathlib import Path
from typing import Annotated

import typer


def sheet(
    paper: Annotated[
        str, typer.Option(metavar="PAPER", help="Say which paper is in the printer: a4 or letter.")
    ] = "a4",
    sheets: Annotated[
        int,
        typer.Option(
            metavar="N",
            min=1,
            max=4,
            help="Say how many different sheets you want, a page each; all may lie in one photo.",
        ),
    ] = 1,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE.pdf", help="Name the file; it is scale-sheet-PAPER.pdf otherwise.")
    ] = None,
) -> None:
    """Makes a scale sheet to lay beside the rocket."""
    from digitize.printed.scale_sheet import write_sheet
    from digitize.request.parsers import PAPERS, parse_choice

    paper = parse_choice(paper, "--paper", PAPERS)
    path = out or Path(f"scale-sheet-{paper}.pdf")
    write_sheet(path, paper, sheets)
    sys.stdout.write(
        f"{path}\nPrint it at 100 % (actual size) and check both bars with a ruler: 100.0 mm (3.937 in).\n"
        "If they measure otherwise, tell measure: --sheet-bar 99.2mm, or 3.906in.\n"
    )
