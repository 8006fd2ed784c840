"""What `measure` and `solve` print: a short summary in aligned plain text, 80 columns."""

import textwrap
from pathlib import Path

from digitize.records import BY_CUTOUT, Quantity
from digitize.report.answer import FOLDER, meaning, next_command, to_do_words
from digitize.report.beside import NOTHING, Beside, after_swing
from digitize.result_records import HandCheck, Result
from digitize.units.rounding import counted, fixed, scale_with_band, signed, sized, with_band
from digitize.units.sentences import in_its_units

_WIDTH = 80
_LABEL = 20
BAND = "± is half a 95 % band: the truth lies inside it 19 times in 20."


@in_its_units
def summary_text(result: Result, report_path: Path | str | None = None, found: Beside = NOTHING) -> str:
    """The summary of a result; report_path: where the report is, if one was written; found: what lies beside it."""
    result = after_swing(result, found)
    lines = textwrap.wrap(
        f"{result.name or 'rocket'}: {result.headline.upper()} ({meaning(result.verdict_level)})",
        _WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    lines += _to_do(result, None if report_path is None else Path(report_path).parent)
    lines += _indented(result.verdict_text)
    lines.append("")
    for label, value in summary_rows(result, found):
        lines += _row(label, value)
    for photo in result.photos:
        lines += _row(photo.file, f"{_from_nose(photo.cp_x_mm)}, by this photo alone")
    for check in result.hand_checks:
        lines += _row(*hand_check_row(check))
    for warning in result.warnings:
        lines.append("")
        lines += _row("warning", sentence(warning.text))
        lines += _row("what to do", sentence(warning.remedy))
    if report_path is not None:
        lines.append("")
        # a path is never wrapped: it is there to be copied
        lines.append(f"{'report':<{_LABEL}}{report_path}")
    lines += ["", BAND, "The range safety officer decides."]
    return "\n".join(lines) + "\n"


def _indented(words: str) -> list[str]:
    return textwrap.wrap(words, _WIDTH - 2, initial_indent="  ", subsequent_indent="  ")


def _to_do(result: Result, folder: Path | None) -> list[str]:
    """What to do about the margin, and the command for it, which is never wrapped."""
    words, command = to_do_words(result), next_command(result, folder)
    if not words:
        return []
    lines = _indented(f"To do: {words}")
    if command and folder is None:
        lines += _indented(f"Add --out {FOLDER} to this command, then:")
    return [*lines, *([f"  {command}"] if command else []), ""]


@in_its_units
def line(result: Result, report_path) -> str:
    """One rocket of several in a line."""
    return (
        f"{result.name or 'rocket'}: {result.headline.upper()}, centre of pressure "
        f"{with_band(result.cp_x_mm, 'mm')}"
        + (f", margin {margin_words(result)}" if result.decides else "")
        + f", {counted(len(result.warnings), 'warning')}, {report_path}"
    )


def margin_words(result: Result) -> str:
    """The margin that decides, for a place that has room for one; by what it is, where that is not as usual. Empty
    without a balance point."""
    decides = result.decides
    if decides is None:
        return ""
    return with_band(decides.margin, "calibers") + (" by the cut-out" if by_cutout(result) else "")


def by_cutout(result: Result) -> bool:
    """Whether the cut-out's margin is the one that decides."""
    return result.decides is not None and result.decides.by == BY_CUTOUT


def summary_rows(result: Result, found: Beside = NOTHING) -> list[tuple[str, str]]:
    """(label, value) of the chief numbers, as the summary and the report's table have them."""
    rows = [
        (
            "centre of pressure",
            _from_nose(result.cp_x_mm) + in_calibers(result),
        ),
        *other_methods_row(result),
        ("cut-out balance", _from_nose(result.cutout_centroid_mm)),
    ]
    if result.balance_mm is not None:
        rows.append(("balance point", _from_nose(result.balance_mm)))
    rows += state_rows(result)
    if result.margin_calibers is not None:
        margin = with_band(result.margin_calibers, "calibers")
        rows.append(("margin", f"{margin}, by its parts; it does not decide here" if by_cutout(result) else margin))
    if result.cutout_margin_calibers is not None:
        aside = with_band(result.cutout_margin_calibers, "calibers")
        rows.append(("margin by cut-out", f"{aside}, {cutout_note(result)}"))
    rows += [
        ("length", with_band(result.length_mm, "mm")),
        ("largest diameter", f"{with_band(result.max_diameter_mm, 'mm')}, which is one caliber"),
        ("base diameter", with_band(result.base_diameter_mm, "mm")),
    ]
    rows += fin_rows(result)
    for item in found.outcomes[-1:]:
        rows.append(("swing test", f"{item['outcome']} ({item['date']})"))
    if result.scale_kind is not None:
        rows.append(("scale", scale_words(result)))
    return rows


def cutout_note(result: Result) -> str:
    """What the cut-out's margin is worth, beside it."""
    if by_cutout(result):
        return "for air from the side; it decides here"
    margin = result.cutout_margin_calibers
    passes = margin is not None and margin.low >= 1
    return "for air from the side" if passes else "for air from the side; most good rockets fail it"


def other_methods_row(result: Result) -> list[tuple[str, str]]:
    """How far the other methods put the centre of pressure from the headline; none without fins."""
    others = () if result.methods is None else result.methods.readings[1:]
    apart = [reading.difference_mm for reading in others]
    if not apart:
        return []
    calibers = [reading.difference_calibers for reading in others]
    return [
        (
            "by other methods",
            f"{sized(min(apart), 'mm', 1, sign=True, bare=True)} to {sized(max(apart), 'mm', 1, sign=True)} from that "
            f"({signed(min(calibers), 2)} to "
            f"{signed(max(calibers), 2)} calibers; negative is ahead)",
        )
    ]


def state_rows(result: Result) -> list[tuple[str, str]]:
    """One row for each state of flight, when there are several."""
    if len(result.balance_states) < 2:
        return []
    return [
        (
            f"{state.state}, {state.motor}",
            f"{with_band(state.balance_mm, 'mm')}, {with_band(state.mass_g, 'g')}, "
            f"margin {with_band(state.margin_calibers, 'calibers')}",
        )
        for state in result.balance_states
    ]


def scale_words(result: Result) -> str:
    """How the photo was scaled and what came of it."""
    return f"{result.scale_kind}, {scale_with_band(result.mm_per_px_at_axis)} at the axis"


def sentence(text: str) -> str:
    """The text with a capital, unless it starts with something else than a word, and a full stop."""
    text = text.strip()
    first = text.split(" ", 1)[0].rstrip(",;:")
    if first.isalpha():
        text = text[0].upper() + text[1:]
    return text if not text or text[-1] in ".!?" else text + "."


def _from_nose(quantity: Quantity) -> str:
    return f"{with_band(quantity, 'mm')} from the nose tip"


def in_calibers(result: Result) -> str:
    """ " (10.36 calibers)": the centre of pressure in largest diameters, or nothing."""
    diameter = result.max_diameter_mm.value
    return f" ({fixed(result.cp_x_mm.value / diameter, 2)} calibers)" if diameter > 0 else ""


def fin_rows(result: Result) -> list[tuple[str, str]]:
    """One row for each fin group, nose to tail."""
    several = len(result.fins) > 1
    rows = []
    for i, fin in enumerate(result.fins, start=1):
        label = f"fins, group {i}" if several else "fins"
        root, span = with_band(fin.root_chord_mm, "mm"), with_band(fin.span_mm, "mm")
        rows.append(
            (
                label,
                f"{fin.count}, root {root}, span {span}, area {with_band(fin.area_mm2, 'mm²')} each",
            )
        )
    return rows


def hand_check_row(check: HandCheck) -> tuple[str, str]:
    """(label, value): a hand measurement beside the photo's."""
    verdict = "agrees" if check.agrees else "DISAGREES"
    by_photo = with_band(check.by_photo_mm, "mm")
    slip = f" (a likely slip: {check.likely_slip})" if check.likely_slip else ""
    label = f"{check.name.split('-')[0]} by hand"
    return (label, f"{sized(check.by_hand_mm, 'mm')}, by photo {by_photo}: {verdict}{slip}")


def _row(label: str, value: str) -> list[str]:
    label = label if len(label) < _LABEL else f"{label[: _LABEL - 2]}…"
    return textwrap.wrap(
        value,
        _WIDTH,
        initial_indent=f"{label:<{_LABEL}}",
        subsequent_indent=" " * _LABEL,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [label]
