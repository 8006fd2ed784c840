"""A club's rockets on one page: verdict, margin and the way to each report."""

from html import escape
from urllib.parse import quote

from digitize.report.answer import MEANINGS
from digitize.report.style import STYLE
from digitize.report.text import margin_words
from digitize.result.from_json import PAGE_MARK
from digitize.result_records import Result
from digitize.units.rounding import counted, with_band
from digitize.units.sentences import in_its_units

_HEADS = ("rocket", "verdict", "margin", "centre of pressure", "warnings")
_ORDER = {"not measured": 0, "do not fly": 1, "look again": 2, "marginal": 3, "fly": 4}


def overview_html(results: list[Result | None], rows: list[dict]) -> str:
    """A self-contained page. results: None where there is none; rows: of the table, which say why.

    The rockets that need a hand come first.
    """
    pairs = sorted(zip(results, rows, strict=True), key=lambda pair: _ORDER.get(pair[1]["verdict"], 0))
    body = "\n".join(_refused_row(row) if result is None else _row(result, row) for result, row in pairs)
    levels = [row["verdict"] for row in rows]
    counts = ", ".join(f"{levels.count(level)} {level}" for level in _ORDER if level in levels)
    meanings = "".join(
        f"<p><strong>{level}</strong>: {words}.</p>" for level, words in MEANINGS.items() if level in levels
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n{PAGE_MARK}\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{len(rows)} rockets</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n"
        f"<header><h1>{len(rows)} rockets</h1><p>{escape(counts)}</p></header>\n"
        "<table>\n<thead><tr>" + "".join(f'<th scope="col">{head}</th>' for head in _HEADS) + "</tr>"
        f"</thead>\n<tbody>\n{body}\n</tbody>\n</table>\n"
        f"{meanings}\n<p>The range safety officer decides whether a rocket flies, not this table. Margins are in "
        "calibers (largest body diameters). ± is half a 95 % band. The same numbers, in millimetres, are in "
        "table.csv.</p>\n</main>\n</body>\n</html>\n"
    )


def _refused_row(row: dict) -> str:
    return (
        f'<tr><th scope="row">{escape(row["name"])}</th><td><strong>not measured</strong></td>'
        f'<td colspan="3">{escape(row["words"])}</td></tr>'
    )


@in_its_units
def _row(result: Result, row: dict) -> str:
    link = f'<a href="{quote(row["report"])}">{escape(row["name"])}</a>'
    notes = counted(len(result.warnings), "warning") if result.warnings else "none"
    return (
        f'<tr><th scope="row">{link}</th><td><strong>{escape(result.headline)}</strong></td>'
        f"<td>{escape(margin_words(result)) if result.decides else 'no balance point'}</td>"
        f"<td>{with_band(result.cp_x_mm, 'mm')}</td><td>{notes}</td></tr>"
    )
