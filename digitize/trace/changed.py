"""What was changed by hand, in words."""

import numpy as np

from digitize.trace.history import Beginning
from digitize.trace.sketch import Sketch


def changed_by_hand(beginning: Beginning, start: Sketch, sketch: Sketch) -> tuple[str, ...]:
    """What differs from the automatic result, in words, one line each. start: the sketch as the beginning made it."""
    lines = [f"{len(beginning.regions)} region(s) were marked as rocket or not."] if beginning.regions else []
    if beginning.pulls:
        lines.append(f"The found outline was pulled in {len(beginning.pulls)} place(s).")
    return (*lines, *_changed_points(start, sketch, bool(beginning.drawn)))


def _changed_points(start: Sketch, sketch: Sketch, drawn: bool) -> tuple[str, ...]:
    scales = tuple(
        f"The {'ends' if len(ends.points_px) == 2 else 'corners'} of the reference ({ends.label}) were set by hand."
        for ends in sketch.ends
        if ends.manual
    )
    if drawn:
        whole = "The whole outline was drawn by hand."
        if not start.checked:
            whole = "Measuring refused the photo; the outline was begun from what was seen, " + (
                "and checked by hand." if sketch.checked else "and is not checked yet."
            )
        return (whole, *scales)
    lines = [*scales]
    if sketch.axis_manual:
        lines.append("The axis was turned by hand.")
    for moved, name in ((sketch.tip_manual, "nose tip"), (sketch.aft_manual, "aft end")):
        if moved:
            lines.append(f"The {name} was set by hand.")
    if not np.array_equal(sketch.body_px, start.body_px):
        lines.append(f"Body profile: {int(sketch.manual.sum())} point(s) set by hand, {_count_words(start, sketch)}.")
    automatic = sum(not fin.drawn for fin in sketch.fins)
    if automatic < len(start.fins):
        lines.append(f"{len(start.fins) - automatic} fin group(s) found were taken out.")
    for k, fin in enumerate(sketch.fins, 1):
        if fin.drawn:
            lines.append(f"Fin group {k} was drawn by hand.")
        elif fin.manual.any():
            lines.append(f"Fin group {k}: {int(fin.manual.sum())} of {len(fin.manual)} outline points set by hand.")
        was = start.fins[k - 1] if len(start.fins) == len(sketch.fins) else None
        if was is not None and not fin.drawn and fin.count != was.count:
            lines.append(f"Fin group {k}: number of fins set to {fin.count}, was {was.count}.")
    for name in sorted(sketch.texts.keys() | start.texts.keys()):
        now, then = sketch.texts.get(name), start.texts.get(name)
        if now != then:
            lines.append(f"Told on the page: {name.replace('_', ' ')} {_words(now)}, was {_words(then)}.")
    return tuple(lines)


def _count_words(start: Sketch, sketch: Sketch) -> str:
    return f"{len(sketch.body_px)} in all, {len(start.body_px)} were found"


def _words(value) -> str:
    if value in (None, []):
        return "not said"
    return ", ".join(value) if isinstance(value, list) else str(value)
