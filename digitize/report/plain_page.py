"""The shell of the pages beside the report, and their small tables. Self-contained: no script, nothing fetched."""

from collections.abc import Sequence
from html import escape

from digitize.report.style import STYLE
from digitize.result.from_json import PAGE_MARK


def page(title: str, heading: str, below: str, sections: Sequence[str], style: str = "") -> str:
    """A whole HTML5 page in the report's style. sections: HTML, empty ones are left out; style: more CSS."""
    body = "\n".join(section for section in sections if section)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n{PAGE_MARK}\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{STYLE}{style}</style>\n</head>\n<body>\n<main>\n"
        f"<header>\n<h1>{escape(heading)}</h1>\n<p>{escape(below)}</p>\n</header>\n{body}\n</main>\n</body>\n</html>\n"
    )


def section(title: str, inside: str) -> str:
    """A titled section; nothing when there is nothing inside."""
    return f"<section>\n<h2>{escape(title)}</h2>\n{inside}\n</section>" if inside else ""


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], chief: int | None = None) -> str:
    """A table of texts; every column but the first is set right. chief: the row to stress."""
    top = "".join(f'<th scope="col" class="{"num" if i else "words"}">{escape(h)}</th>' for i, h in enumerate(heads))
    body = "\n".join(
        f'<tr class="{"chief" if k == chief else "other"}"><th scope="row">{escape(row[0])}</th>'
        + "".join(f'<td class="num">{escape(cell)}</td>' for cell in row[1:])
        + "</tr>"
        for k, row in enumerate(rows)
    )
    return f"<table>\n<thead><tr>{top}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>\n"


def paragraphs(*sentences: str) -> str:
    return "\n".join(f"<p>{escape(words)}</p>" for words in sentences if words)


def bullets(sentences: Sequence[str]) -> str:
    return "<ul>\n" + "\n".join(f"<li>{escape(words)}</li>" for words in sentences) + "\n</ul>"


def steps(sentences: Sequence[str]) -> str:
    return "<ol>\n" + "\n".join(f"<li>{escape(words)}</li>" for words in sentences) + "\n</ol>"
