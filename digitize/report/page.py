"""The report: one page that holds everything, for screen and paper. Laid out from what result.json holds."""

import base64
import re
from html import escape
from pathlib import Path

from digitize import __version__
from digitize.report import angle_plot, answer, range_page, swing_card, tables
from digitize.report.beside import NOTHING, Beside, after_swing
from digitize.report.style import STYLE
from digitize.result_records import Result
from digitize.units.sentences import in_its_units

NARROW = "screen and (max-width: 40rem)"
_JPEG = "data:image/jpeg;base64,"
OFFICER = "The range safety officer decides."


@in_its_units
def report_html(
    result: Result,
    overlay_png: bytes | None,
    photo_name: str,
    outline_svg: str = "",
    cautions: tuple[str, ...] = (),
    found: Beside = NOTHING,
    tall_jpg: bytes | None = None,
) -> str:
    """A self-contained HTML5 page: no script, nothing fetched. Arguments as for `sections`."""
    name = result.name or "rocket"
    first, details = sections(result, overlay_png, photo_name, outline_svg, cautions, found, tall_jpg)
    tool = f'<p class="tool">{escape(foot(result))}</p>'
    fold = '<details class="more">\n<summary>All numbers, and how they were found</summary>'
    body = "\n".join([*first, fold, *details, "</details>", tool])
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(name)}: centre of pressure from a photo</title>\n<style>\n{STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


@in_its_units
def sections(
    result: Result,
    overlay_png: bytes | None,
    photo_name: str,
    outline_svg: str = "",
    cautions: tuple[str, ...] = (),
    found: Beside = NOTHING,
    tall_jpg: bytes | None = None,
) -> tuple[list[str], list[str]]:
    """(the page to show at the range, the details behind it), each a list of HTML.

    overlay_png: the dimensioned picture, None when there was no photo; photo_name: the photo's (or the geometry's) file
    name as shown; outline_svg: the text of outline.svg, drawn into the page; cautions: what every user should know, one
    sentence each; found: what lies in the folder beside the result; tall_jpg: the picture once more, upright, for
    narrow screens.
    """
    name = result.name or "rocket"
    first = [
        _header(name, photo_name, overlay_png is not None),
        _verdict(after_swing(result, found), found.folder),
        _picture(result, name, overlay_png, outline_svg, tall_jpg),
        range_page.cross_checks(result, found),
        tables.warnings(result),
        tables.bullet_list("Changed by hand", result.changed_by_hand),
        tables.balance_states(result),
        range_page.nose_weight(found.ballast),
        tables.bullet_list("Cautions", cautions),
    ]
    details = [
        tables.numbers(result),
        swing_card.swing_section(found.outcomes, result.verdict_level),
        tables.photos(result),
        tables.hand_checks(result),
        tables.fins(result),
        tables.components(result),
        tables.methods(result),
        angle_plot.section(result),
        tables.scale(result),
        tables.band_sources(result),
        _outline(outline_svg) if overlay_png is not None else "",
        tables.bullet_list("What was assumed", result.assumptions),
    ]
    return [section for section in first if section], [section for section in details if section]


def foot(result: Result) -> str:
    """What made the report, for its foot."""
    name = result.name or "rocket"
    return f"{name}, digitize {result.tool_version or __version__}. {OFFICER}"


def _header(name: str, photo_name: str, from_photo: bool) -> str:
    origin = "from the photo" if from_photo else "from the geometry file"
    return f"<header>\n<h1>{escape(name)}</h1>\n<p>{origin} {escape(photo_name)}</p>\n</header>"


def _verdict(result: Result, folder: Path | None) -> str:
    warning_count, headline = len(result.warnings), result.headline
    slug = "".join(c if c.isalnum() else "-" for c in result.verdict_level.lower())
    shown = headline[:1].upper() + headline[1:]
    more = {0: "", 1: "Read the warning below. "}.get(warning_count, f"Read the {warning_count} warnings below. ")
    return (
        f'<section class="verdict level-{slug}" aria-label="Verdict">\n<p class="level">{escape(shown)}</p>\n'
        f"{_meaning(result.verdict_level)}{_to_do(result, folder)}"
        f'<p>{escape(result.verdict_text)}</p>\n<p class="officer">{more}{OFFICER}</p>\n</section>'
    )


def _meaning(level: str) -> str:
    words = answer.meaning(level)
    return f"<p>{escape(words[:1].upper() + words[1:])}.</p>\n" if words else ""


def _to_do(result: Result, folder: Path | None) -> str:
    """What to do about the margin, and the command for it."""
    words, command = answer.to_do_words(result), answer.next_command(result, folder)
    if not words:
        return ""
    then = f'<p class="command">How, and where it goes: <code>{escape(command)}</code></p>\n' if command else ""
    return f'<p class="to-do"><strong>What to do: {escape(words)}</strong></p>\n{then}'


def tall_jpg_of(page: str) -> bytes | None:
    """The picture for narrow screens out of a page made before; None where it has none."""
    found = re.search(rf'<source media="{re.escape(NARROW)}" srcset="{_JPEG}([A-Za-z0-9+/=]+)"', page)
    return base64.b64decode(found[1]) if found else None


def _picture(result: Result, name: str, overlay_png: bytes | None, outline_svg: str, tall_jpg: bytes | None) -> str:
    if overlay_png is None:
        return _figure(outline_svg, "The outline the numbers stand on.") if outline_svg else ""
    data = base64.b64encode(overlay_png).decode("ascii")
    what = f"Side photo of {name} with its outline, axis and fin roots drawn on it; {tables.spoken(result)}"
    tall = "" if tall_jpg is None else (
        f'<source media="{NARROW}" srcset="{_JPEG}{base64.b64encode(tall_jpg).decode("ascii")}">'
    )  # fmt: skip
    return (
        f'<figure>\n<picture>{tall}<img alt="{escape(what)}" src="data:image/png;base64,{data}"></picture>\n'
        "<figcaption>In full colour: what was taken for the rocket. "
        "Look whether the line follows it everywhere, fins and all.</figcaption>\n</figure>"
    )


def _outline(outline_svg: str) -> str:
    if not outline_svg:
        return ""
    return (
        "<section>\n<h2>The outline</h2>\n"
        + _figure(outline_svg, "Fins are drawn flat in the paper. True size in outline.svg.")
        + "\n</section>"
    )


def _figure(outline_svg: str, words: str) -> str:
    return f"<figure>\n{outline_svg.strip()}\n<figcaption>{escape(words)}</figcaption>\n</figure>"
