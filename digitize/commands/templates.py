"""`digitize templates`: the cut-out and the fins at true size, to print and cut."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from digitize.commands.option_types import ResultFolder, UnitsOption, refusing_in_units

PDF = "templates.pdf"


@refusing_in_units
def templates(
    folder: ResultFolder,
    paper: Annotated[
        str, typer.Option(metavar="PAPER", help="Say which paper is in the printer: a4 or letter.")
    ] = "a4",
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Say where to write them; into the results folder otherwise.")
    ] = None,
    units: UnitsOption = None,
) -> None:
    """Draws cut-out and fins at true size, to print and cut.

    They come as PDF on sheets of paper and as SVG, with sizes in millimetres and inches.
    """
    from digitize.files import check_folder
    from digitize.printed.patterns import pieces_of
    from digitize.request.parsers import PAPERS, parse_choice, parse_units
    from digitize.result.from_json import read_saved
    from digitize.units.shown_units import shown_in

    paper = parse_choice(paper, "--paper", PAPERS)
    saved = read_saved(folder).shown_in(parse_units(units))
    found = pieces_of(saved)
    place = out or folder
    check_folder(place)
    place.mkdir(parents=True, exist_ok=True)
    with shown_in(saved.result.units):
        _write(place, found, paper, saved.result.cutout_centroid_mm.value)


def _write(place: Path, found, paper: str, balance_mm: float) -> None:
    from digitize.files import replace_own_file
    from digitize.printed.pattern_files import is_template, piece_svg, templates_pdf
    from digitize.printed.patterns import BAR_MM, sheets
    from digitize.units.rounding import both

    pages = tuple(sheet for piece in found for sheet in sheets(piece, paper))
    replace_own_file(place / PDF, templates_pdf(pages), is_template)
    lines = [f"{place / PDF}: {len(pages)} sheet(s) of {paper.upper() if paper == 'a4' else 'US Letter'}"]
    for piece in found:
        path = place / f"template-{piece.key}.svg"
        replace_own_file(path, piece_svg(piece).encode("utf-8"), is_template)
        lines.append(f"{path}: {piece.title}, {both(piece.area_mm2, 'mm²', 0)}")
    lines += [
        "",
        f"Print at 100 % (actual size) and check the bar with a ruler: {both(BAR_MM, 'mm')}.",
        f"The card should balance {both(balance_mm, 'mm', 1)} from the nose tip; where it does, tell measure:",
        "--hand cutout-balance=LENGTH",
    ]
    sys.stdout.write("\n".join(lines) + "\n")
