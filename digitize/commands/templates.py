"""`digitize templates`: the cut-out and the fins at true size, to print and cut."""

import sys
from pathlib import Path
from typing import Annotated

import typer

PDF = "templates.pdf"


def templates(
    folder: Annotated[Path, typer.Argument(metavar="RESULT_DIR", help="A results folder of measure or solve --out.")],
    paper: Annotated[str, typer.Option(metavar="PAPER", help="Paper in the printer: a4 or letter.")] = "a4",
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Where to write them; the results folder if absent.")
    ] = None,
) -> None:
    """The cut-out and one fin of each group at true size, as PDF on sheets of paper and as SVG."""
    from digitize.files import check_folder, replace_own_file
    from digitize.options import PAPERS, parse_choice
    from digitize.saved import read_saved
    from digitize.template_files import is_template, piece_svg, templates_pdf
    from digitize.templates import pieces_of, sheets

    paper = parse_choice(paper, "--paper", PAPERS)
    saved = read_saved(folder)
    found = pieces_of(saved)
    place = out or folder
    check_folder(place)
    place.mkdir(parents=True, exist_ok=True)
    pages = tuple(sheet for piece in found for sheet in sheets(piece, paper))
    replace_own_file(place / PDF, templates_pdf(pages), is_template)
    lines = [f"{place / PDF}: {len(pages)} sheet(s) of {paper.upper() if paper == 'a4' else 'US Letter'}"]
    for piece in found:
        path = place / f"template-{piece.key}.svg"
        replace_own_file(path, piece_svg(piece).encode("utf-8"), is_template)
        lines.append(f"{path}: {piece.title}, {piece.area_mm2:.0f} mm²")
    x = saved.data["cutout"]["centroid_mm"]["value"]
    lines += [
        "",
        "Print at 100 % (actual size) and check the 100 mm bar with a ruler.",
        f"The card should balance {x:.1f} mm from the nose tip; where it does, tell measure:",
        "--hand cutout-balance=LENGTH",
    ]
    sys.stdout.write("\n".join(lines) + "\n")
