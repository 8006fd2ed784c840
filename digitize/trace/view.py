"""What the page is told: the sketch with its handles, the numbers, what may be done next. Plain lists and numbers."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from digitize.margin.cautions import CAUTIONS
from digitize.report.answer import meaning, to_do_words
from digitize.result.to_json import to_dict
from digitize.trace import edits
from digitize.trace.reference_ends import partly_read, told_lengths
from digitize.trace.resolve import Traced
from digitize.trace.session import Session
from digitize.trace.stopped import progress
from digitize.units.sentences import in_shown_units, in_words
from digitize.units.shown_units import shown_in

FLATTEST = 0.6
"""A fin carries handles when it lies at least this flat in the picture (cosine of its angle)."""


def view(session: Session) -> dict:
    """Everything the page shows."""
    with session.lock, shown_in(session.units):
        ready = session.traced is not None
        return {
            "phase": "working" if session.working else "ready" if ready else "start",
            "progress": progress(session.stage) if session.working else None,
            "stopping": session.stopping,
            "refused": in_shown_units(session.refused),
            "units": session.units,
            "folder": session.folder.name,
            "photo": _photo(session),
            "asked": session.cameras.as_form(session.texts),
            "cameras": list(session.cameras),
            "chosen": session.cameras.chosen,
            "paper": session.paper,
            "quick": list(edits.EDITABLE),
            "cautions": list(CAUTIONS),
            **_ready(session),
            "seen": _seen(session) if session.working or not ready else None,
        }


UNFINISHED = "The body is there; the fins are not. There is no answer without them."
"""In place of a verdict: a body alone is half a drawing, and what is told of it is told of no rocket."""
SLOW_TO_CHANGE = ("angle_of_attack", "methods", "assumptions", "pieces", "shares", "photo", "cautions")
"""Of the result, what the page shows again only once a point is let go."""


def brief(session: Session, change: dict, traced: Traced, result) -> dict:
    """What follows a drag: as little as the page shows anew; over: numbers of the groups a drawn fin would replace."""
    seen = preview(session, traced, result)
    over: Sequence[int] = ()
    if change.get("do") == "draw-fin" and session.traced is not None:
        over = edits.drawn_over(session.history.now, change, session.traced.pose)
    return {**seen, "over": list(over), "result": {k: v for k, v in seen["result"].items() if k not in SLOW_TO_CHANGE}}


def preview(session: Session, traced: Traced, result) -> dict:
    """Sketch, numbers, what is changed."""
    with shown_in(session.units):
        return {
            "answer": {"meaning": meaning(result.verdict_level), "to_do": to_do_words(result)} if result.fins else None,
            "sketch": {**sketch_view(traced), "ends": _ends(session, traced)},
            "result": in_shown_units(_numbers(result)),
            "unfinished": UNFINISHED if not result.fins else None,
            "changed": [in_words(line) for line in session.changed(traced.sketch)],
        }


def _ready(session: Session) -> dict:
    """What there is to show of a photo that is measured; nothing before."""
    traced, full = session.traced, session.full
    if traced is None or full is None:
        return {}
    return {
        **preview(session, traced, full),
        "asked": session.cameras.as_form(traced.sketch.texts),
        "drawn": bool(session.beginning.drawn),
        "checked": traced.sketch.checked,
        "regions": list(session.beginning.regions),
        "pulls": list(session.beginning.pulls),
        "at": session.at,
        "states": len(session.states),
        "found_at": session.history.found_at,
        "saved": session.history.saved_at == session.at,
        "outline": np.round(full.outline_px, 1).tolist(),
    }


def _seen(session: Session) -> dict | None:
    """What was seen of a photo that is being measured or was refused; start: whether it is enough to begin from."""
    seen, photo = session.seen, session.photo
    if seen is None or photo is None:
        return None

    def px(points) -> list:
        return np.round(photo.to_full_px(points), 1).tolist()

    return {
        "outline": None if seen.outline_px is None else px(seen.outline_px),
        "rockets": [px(border) for border in seen.rockets_px],
        "references": [
            {"label": in_words(r.label), "points": px(r.outline_px)} for r in seen.references if r.kind != "points"
        ],
        "start": session.start is not None,
    }


def _photo(session: Session) -> dict | None:
    photo = session.photo
    if photo is None:
        return None
    height, width = photo.rgb.shape[:2]
    return {"name": photo.path.name, "width": width * photo.shrink, "height": height * photo.shrink}


OF_A_WHOLE_ROCKET = ("verdict", "margin_calibers", "cutout_margin_calibers", "deciding_margin", "to_do")
"""Of the result, what is said only once body and fins are there."""


def _numbers(result) -> dict:
    data = to_dict(replace(result, outline_px=np.zeros((0, 2))))
    data.pop("outline_px")
    return data if result.fins else {**data, **dict.fromkeys(OF_A_WHOLE_ROCKET)}


def sketch_view(traced: Traced) -> dict:
    """The handles and lines, in pixels of the full-size photo."""
    pose, measured, sketch = traced.pose, traced.measured, traced.sketch
    photo, solid = measured.photo, measured.solid
    upper, lower = photo.to_full_px(solid.knots_upper_px), photo.to_full_px(solid.knots_lower_px)
    handles = np.stack([sketch.body_px, _mirrored(pose, sketch.body_px)], 1)
    return {
        "tip": _px(sketch.tip_px),
        "aft": _px(sketch.aft_px),
        "upper": _px(upper),
        "lower": _px(lower),
        "body": _px(handles),
        "body_hand": sketch.manual.tolist(),
        "fins": [_fin(traced, k) for k in range(len(sketch.fins))],
        "scales": _scales(traced),
        "references": [
            {"label": r.label, "points": _px(photo.to_full_px(r.outline_px))}
            for r in measured.references
            if r.kind != "points"
        ],
    }


def _mirrored(pose, points_px):
    s, side, _ = pose.limb(points_px)
    return pose.limb_px(s, -side)


def _fin(traced: Traced, k: int) -> dict:
    pose, fin = traced.pose, traced.sketch.fins[k]
    group = traced.measured.solid.geometry.fins[k]
    tip_s = float(pose.in_fin_plane(traced.sketch.tip_px[None], 0.0)[0, 0])
    planform = group.outline_mm + [tip_s, 0.0]
    roll = np.degrees(fin.roll_rad - pose.roll_offset_rad())
    lines = []
    for number in range(fin.count):
        angle = edits.lead_angle(fin, number)
        lines.append(
            {
                "number": number,
                "points": _px(pose.project_fin(planform, angle)),
                "handles": bool(abs(np.cos(angle)) >= FLATTEST or fin.count == 1),
            }
        )
    if not any(line["handles"] for line in lines):
        flattest = max(range(fin.count), key=lambda j: abs(np.cos(edits.lead_angle(fin, j))))
        lines[flattest]["handles"] = True
    lead = next(line for line in lines if line["handles"])
    return {
        "count": fin.count,
        "thickness_mm": fin.thickness_mm,
        "roll_deg": round(float(roll % (360 / fin.count)), 2),
        "hand": fin.manual.tolist(),
        "drawn": fin.drawn,
        "lines": lines,
        "corners": edits.corners(np.array(lead["points"])),
    }


def _scales(traced: Traced) -> list[dict]:
    """Scales of two points: which of the words they are, and their ends."""
    return [
        {"reference": k, "points": [list(c.points_px[:2]), list(c.points_px[2:])], "mm": c.length_mm}
        for k, c in enumerate(traced.options.scales)
        if c.kind == "points" and c.points_px is not None
    ]


def _ends(session: Session, traced: Traced) -> list[dict]:
    """What can be dragged of the references in use; partly: how much of a ruler was read, if not all of it, and which
    of its ends lie yet where the reading stopped."""
    used, found = {claim.kind for claim in traced.options.scales}, session.base.references
    told, seen = told_lengths(found, traced.options.scales), []
    for k, ends in enumerate(traced.sketch.ends):
        if not len(ends.points_px) or ends.kind not in used:
            continue
        part = partly_read(traced.measured.photo, found[k], ends, told[k])
        partly = part and {"read_mm": round(part.read_mm, 1), "told_mm": part.told_mm, "unset": list(part.unset)}
        label = in_words(ends.label)
        seen.append(
            {"reference": k, "label": label, "points": _px(ends.points_px), "hand": ends.manual, "partly": partly}
        )
    return seen


def _px(points) -> list:
    return np.round(np.asarray(points, float), 2).tolist()
