"""The answer in words a builder understands: what the verdict's level means, what to do, and the command for it."""

import os
import shlex
from pathlib import Path

from digitize.result_records import Result, ToDo
from digitize.units.rounding import sized, weight_needed
from digitize.units.shown_units import IN, now

MEANINGS = {
    "fly": "it is stable enough, by these numbers",
    "marginal": "it may be stable enough, but that is not sure",
    "do not fly": "it is not stable enough",
    "look again": "there is no answer yet, something has to be cleared up first",
}
"""Each level of the verdict explained, to stand beside it."""
FOLDER = "RESULT_DIR"
_NOTHING_G = 0.05  # less than anybody weighs


def meaning(level: str) -> str:
    """What a verdict's level means; nothing for one that is not known."""
    return MEANINGS.get(level, "")


def to_do_words(result: Result) -> str:
    """What to do about the margin, with grams where they are known; nothing where the verdict asks for nothing."""
    to_do = _to_do(result)
    return _WORDS[to_do.kind](to_do) if to_do else ""


def next_command(result: Result, folder: Path | str | None) -> str:
    """The command that goes on from there, as it is typed; folder: the results folder, None if there is none yet."""
    to_do = _to_do(result)
    if not to_do or to_do.kind in ("clear up first", "calm air"):
        return ""
    words = f"digitize ballast {FOLDER if folder is None else quoted(folder)}"
    if to_do.kind == "tell the mass":  # the dots are refused: no number of ours is taken for theirs
        words += f" --mass ...{'oz' if now() == IN else 'g'}"
    return words


def quoted(path: Path | str) -> str:
    """A path as it is typed in this system's shell."""
    text = str(path)
    if os.name == "nt":
        return f'"{text}"' if " " in text else text
    return shlex.quote(text)


def _to_do(result: Result) -> ToDo | None:
    """None where a failed swing test took the verdict away from which it follows."""
    return result.to_do if result.verdict_level in ("marginal", "do not fly") else None


def _weight(to_do: ToDo) -> str:
    assert to_do.nose_weight_g is not None  # what is to be done is said in grams
    least = to_do.nose_weight_least_g
    best = "none" if not least or least < _NOTHING_G else sized(least, "g", 1)
    return (
        f"{weight_needed(to_do.nose_weight_g)} of {to_do.filling} in the nose tip would do it, even at the worst "
        f"end of the 95 % band; at its best end {best}."
    )


def _more(to_do: ToDo) -> str:
    assert to_do.nose_weight_g is not None  # what the nose holds
    said = f"{sized(to_do.nose_weight_g, 'g', 0)} of {to_do.filling}, all that goes into the nose, is not enough."
    if to_do.fin_span_mm:
        return f"{said} Larger aft fins would do it: with a span of {sized(to_do.fin_span_mm, 'mm', 0)} each."
    return f"{said} Aft fins up to three times as wide are not enough either: use both, or move what is heavy forward."


_WORDS = {
    "nose weight": _weight,
    "more than nose weight": _more,
    "tell the mass": lambda _: "Weigh it ready to fly. Its mass known, digitize tells how much clay the nose needs.",
    "clear up first": lambda _: "Clear up the warning first. Until then nobody can say how much nose weight it needs.",
    "calm air": lambda _: "Wait for calm air, or use a longer launch rod. In calm air its margin is enough.",
    "work it out": lambda _: "Add weight to the nose, or larger fins. How much, the next command tells.",
}
