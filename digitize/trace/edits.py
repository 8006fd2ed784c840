"""One change by hand: a pure function from sketch to sketch.

A change is a dictionary from the page: `do` says what, the rest where. Anything it may not hold is refused with
UsageRefusal. Points are pixels of the upright full-size photo.
"""

from dataclasses import replace

import numpy as np

from digitize.errors import UsageRefusal
from digitize.geometry.polygons import points_needed
from digitize.geometry.toml import overlapping
from digitize.option_records import FEWEST_FINS, MOST_FINS
from digitize.records import FinGroup, Geometry
from digitize.request.option_table import KEPT, OPTIONS
from digitize.request.parsers import parse_pose
from digitize.solid.pose import Pose
from digitize.trace.form_texts import checked_texts
from digitize.trace.sketch import MOST_GROUPS, MOST_POINTS, Sketch, SketchFin, point, points

CORNER_SHARE = 0.03
"""A fin's point is a corner when leaving it out moves the outline by more than this share of the fin's diagonal."""
EDITABLE = tuple(name for name in KEPT if not OPTIONS[name].fits)
"""What can be told anew without looking at the photo again."""


def apply(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """The sketch after the change. pose: in pixels of the full-size photo, as it is before the change."""
    try:
        return _CHANGES[change["do"]](sketch, change, pose)
    except (KeyError, TypeError, ValueError, IndexError, OverflowError) as error:
        raise UsageRefusal(f"this change is not understood ({error})", "reload the page") from None


def corners(points_px: np.ndarray) -> list[int]:
    """Numbers of the points of an open outline (m, 2) that are its corners, both ends among them (Douglas-Peucker)."""
    tolerance = CORNER_SHARE * float(np.hypot(*np.ptp(points_px, axis=0)))

    def away(a: int, b: int) -> np.ndarray:
        along = points_px[b] - points_px[a]
        off = points_px[a + 1 : b] - points_px[a]
        size = np.hypot(*along)
        return np.abs(along[0] * off[:, 1] - along[1] * off[:, 0]) / size if size > 0 else np.hypot(*off.T)

    return _pruned(points_needed(len(points_px), away, tolerance), points_px, tolerance)


def _pruned(keep: list[int], points_px: np.ndarray, tolerance: float) -> list[int]:
    """Without those that lie on the line of their neighbours after all; a split point may."""
    k = 1
    while k < len(keep) - 1:
        a, b, c = (points_px[i] for i in keep[k - 1 : k + 2])
        size = np.hypot(*(c - a))
        away = abs((c - a)[0] * (b - a)[1] - (c - a)[1] * (b - a)[0]) / size if size > 0 else np.inf
        if away <= tolerance:
            keep = keep[:k] + keep[k + 1 :]
        else:
            k += 1
    return keep


def lead_angle(fin: SketchFin, number: int) -> float:
    """Angle of the fin of that number, rad."""
    return fin.roll_rad + 2 * np.pi * (number % fin.count) / fin.count


def on_fin(fin: SketchFin, pose: Pose, angle_rad: float) -> np.ndarray:
    """(m, 2) where the outline's points would be seen on the group's fin at that angle."""
    plane = pose.in_fin_plane(fin.points_px, fin.angle_rad, fin.offset_mm)
    return pose.project_fin(plane, angle_rad)


def _move_fin(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """A corner takes the points between it and its neighbours along; any other point moves alone."""
    k, i = _index(change["group"], sketch.fins), change["point"]
    fin = sketch.fins[k]
    angle = lead_angle(fin, int(change.get("fin", 0)))
    seen = on_fin(fin, pose, angle)
    i = _index(i, seen)
    shift = point(change["to"]) - seen[i]
    weight = np.zeros(len(seen))
    weight[i] = 1.0
    found = corners(seen)
    if i in found:
        where = found.index(i)
        for other in found[max(where - 1, 0) : where + 2]:
            _spread(weight, seen, i, other)
    return sketch.with_fin(k, _set_points(fin, seen, shift, weight, angle))


def _spread(weight: np.ndarray, seen: np.ndarray, corner: int, other: int) -> None:
    """Fill in weights falling from 1 at the corner to 0 at the other, by length along the outline."""
    if other == corner:
        return
    way = np.arange(corner, other + np.sign(other - corner), np.sign(other - corner))
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(seen[way], axis=0).T))])
    weight[way] = 1 - run / max(run[-1], 1e-9)


def _set_points(fin: SketchFin, seen, shift, weight, angle: float) -> SketchFin:
    moved = weight > 0
    place = np.where(moved[:, None], seen + weight[:, None] * shift, fin.points_px)
    return replace(
        fin,
        points_px=place,
        angle_rad=np.where(moved, angle, fin.angle_rad),
        offset_mm=np.where(moved, 0.0, fin.offset_mm),
        manual=fin.manual | moved,
    )


def _move_root(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """The root line by its middle: both its ends go along, as corners do."""
    k = _index(change["group"], sketch.fins)
    seen = on_fin(sketch.fins[k], pose, lead_angle(sketch.fins[k], int(change.get("fin", 0))))
    shift = point(change["to"]) - (seen[0] + seen[-1]) / 2
    for i in (0, len(seen) - 1):
        each = {**change, "point": i, "to": (seen[i] + shift).tolist()}
        sketch = _move_fin(sketch, each, pose)
    return sketch


def _add_fin_point(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """A new point on the outline after point `after`."""
    k = _index(change["group"], sketch.fins)
    fin = sketch.fins[k]
    after = _index(change["after"], fin.points_px[:-1])
    _room(fin.points_px)
    angle = lead_angle(fin, int(change.get("fin", 0)))
    at = after + 1
    new = replace(
        fin,
        points_px=np.insert(fin.points_px, at, point(change["to"]), 0),
        angle_rad=np.insert(fin.angle_rad, at, angle),
        offset_mm=np.insert(fin.offset_mm, at, 0.0),
        manual=np.insert(fin.manual, at, True),
    )
    return sketch.with_fin(k, new)


def _remove_fin_point(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    k = _index(change["group"], sketch.fins)
    fin = sketch.fins[k]
    i = _index(change["point"], fin.points_px)
    if len(fin.points_px) <= 3 or i in (0, len(fin.points_px) - 1):
        raise UsageRefusal("a fin needs both ends of its root and one more point", "take out another point, or the fin")
    kept = np.arange(len(fin.points_px)) != i
    manual = fin.manual.copy()
    manual[[i - 1, i + 1]] = True
    left = {name: getattr(fin, name)[kept] for name in ("points_px", "angle_rad", "offset_mm")}
    return sketch.with_fin(k, replace(fin, manual=manual[kept], **left))


def _draw_fin(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """A group drawn by hand on the fin standing at roll_deg from the photo's plane, put in order nose to tail.

    It takes the place of the groups that stand there already, with their number of fins, thickness and roll unless
    others are given; `beside`: it comes in addition to them.
    """
    over = () if change.get("beside") is True else drawn_over(sketch, change, pose)
    kept = tuple(fin for k, fin in enumerate(sketch.fins) if k not in over)
    if len(kept) >= MOST_GROUPS:
        raise UsageRefusal(f"there are {MOST_GROUPS} fin groups already", "take one out first")
    fin = _drawn(sketch, change, pose, sketch.fins[over[0]] if over else None)
    return replace(sketch, fins=tuple(sorted((*kept, fin), key=lambda f: _fore(f, pose))))


def drawn_over(sketch: Sketch, change: dict, pose: Pose) -> tuple[int, ...]:
    """Numbers of the groups that stand where a fin is drawn."""
    drawn = _in_plane(_drawn(sketch, {"count": FEWEST_FINS, **change}, pose, None), pose)
    pairs = (Geometry("", np.zeros((0, 2)), (_in_plane(fin, pose), drawn)) for fin in sketch.fins)
    return tuple(k for k, pair in enumerate(pairs) if overlapping(pair))


def _in_plane(fin: SketchFin, pose: Pose) -> FinGroup:
    return FinGroup(fin.count, pose.in_fin_plane(fin.points_px, fin.angle_rad, fin.offset_mm))


def _drawn(sketch: Sketch, change: dict, pose: Pose, instead: SketchFin | None) -> SketchFin:
    """A fin from its points in the picture; what is not said of it is as of the group it takes the place of, and its
    roll else as the words tell the pose."""
    found = points(change["points"], 3)
    count = _count(change["count"] if instead is None or "count" in change else instead.count)
    told = parse_pose(sketch.texts.get("pose") or "in-plane")
    roll = pose.roll_offset_rad()
    if "roll_deg" in change:
        roll += float(np.radians(float(change["roll_deg"])))
    elif instead is not None:
        roll = _flattest(found, instead.roll_rad, instead.count, pose)
    elif told.kind != "in-plane":
        roll = _flattest(found, roll + np.radians(told.roll_deg(count)), count, pose)
    s, y = pose.in_fin_plane(found, roll).T
    if y.mean() < 0:  # drawn on the far side of the axis from fin 1: the fin opposite to it
        roll += np.pi
        s, y = pose.in_fin_plane(found, roll).T
    if s[-1] < s[0]:
        found = found[::-1]
    size = len(found)
    thickness_mm = 2.0 if instead is None else instead.thickness_mm
    return SketchFin(count, thickness_mm, roll, found, np.full(size, roll), np.zeros(size), np.ones(size, bool), True)


def _flattest(seen_px: np.ndarray, roll_rad: float, count: int, pose: Pose) -> float:
    """Angle of that of `count` fins lying flattest, on the side of the axis where these points are."""
    offset = pose.roll_offset_rad()
    side = 1.0 if pose.in_fin_plane(seen_px, offset)[:, 1].mean() > 0 else -1.0
    angles = roll_rad + 2 * np.pi * np.arange(count) / count
    return float(angles[np.argmax(np.round(side * np.cos(angles - offset), 6))])


def _fore(fin: SketchFin, pose: Pose) -> float:
    return float(pose.in_fin_plane(fin.points_px[:1], fin.angle_rad[:1], fin.offset_mm[:1])[0, 0])


def _remove_fin(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    k = _index(change["group"], sketch.fins)
    return replace(sketch, fins=(*sketch.fins[:k], *sketch.fins[k + 1 :]))


def _set_fin(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """Number, thickness or roll of a group."""
    k = _index(change["group"], sketch.fins)
    fin = sketch.fins[k]
    if "count" in change:
        fin = replace(fin, count=_count(change["count"]))
    if "thickness_mm" in change:
        thickness = float(change["thickness_mm"])
        if not 0 <= thickness <= 100:
            raise UsageRefusal(f"a thickness of {thickness:g} mm is not believable", "give millimetres, as 2.4")
        fin = replace(fin, thickness_mm=thickness)
    if "roll_deg" in change:
        roll = float(np.radians(float(change["roll_deg"]))) + pose.roll_offset_rad()
        if not np.isfinite(roll):
            raise ValueError("roll")
        fin = replace(fin, roll_rad=roll, angle_rad=fin.angle_rad + (roll - fin.roll_rad), manual=fin.manual | True)
    return sketch.with_fin(k, fin)


def _move_body(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """A profile point; dragged on the lower side it moves its mirror image. The last one takes the aft end along."""
    i, to = _index(change["point"], sketch.body_px), _upper(point(change["to"]), pose)
    body, manual = sketch.body_px.copy(), sketch.manual.copy()
    before = pose.limb(body[i : i + 1])[0][0]
    body[i], manual[i] = to, True
    sketch = replace(sketch, body_px=body, manual=manual)
    if i == len(body) - 1:
        shift = pose.limb(to[None])[0][0] - before
        s = pose.in_fin_plane(sketch.aft_px[None], 0.0)[0, 0] + shift
        sketch = replace(sketch, aft_px=pose.project(np.array([[s, 0.0, 0.0]]))[0], aft_manual=True)
    return _in_order(sketch, pose)


def _upper(px: np.ndarray, pose: Pose) -> np.ndarray:
    s, side, _ = pose.limb(px[None])
    return pose.limb_px(s, np.abs(side))[0]


def _in_order(sketch: Sketch, pose: Pose) -> Sketch:
    order = np.argsort(pose.limb(sketch.body_px)[0], kind="stable")
    return replace(sketch, body_px=sketch.body_px[order], manual=sketch.manual[order])


def _add_body(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    _room(sketch.body_px)
    to = _upper(point(change["to"]), pose)
    s = pose.limb(np.vstack([to, sketch.body_px[-1]]))[0]
    if s[0] >= s[1]:
        raise UsageRefusal("this point is aft of the body's end", "drag the aft end there instead")
    added = replace(sketch, body_px=np.vstack([to, sketch.body_px]), manual=np.r_[True, sketch.manual])
    return _in_order(added, pose)


def _remove_body(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    i = _index(change["point"], sketch.body_px)
    if len(sketch.body_px) < 2 or i == len(sketch.body_px) - 1:
        raise UsageRefusal("the point at the aft end gives its diameter", "move it instead")
    kept = np.arange(len(sketch.body_px)) != i
    return replace(sketch, body_px=sketch.body_px[kept], manual=sketch.manual[kept])


def _move_end(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """The nose tip or the aft end; nearer to the axis than `snap` pixels it stays on it, else the axis turns."""
    to, which, before = point(change["to"]), change["end"], sketch
    s = pose.in_fin_plane(to[None], 0.0)[0, 0]
    on_axis = pose.project(np.array([[s, 0.0, 0.0]]))[0]
    if float(np.hypot(*(to - on_axis))) <= min(abs(float(change.get("snap", 0.0))), 40.0):
        to = on_axis
    else:
        sketch = replace(sketch, axis_manual=True)
    if which not in ("tip", "aft"):
        raise ValueError("end")
    sketch = (
        replace(sketch, tip_px=to, tip_manual=True) if which == "tip" else replace(sketch, aft_px=to, aft_manual=True)
    )
    return sketch if not sketch.axis_manual else replace(sketch, body_px=_carried(before, sketch))


def _carried(before: Sketch, after: Sketch) -> np.ndarray:
    """The body's points turned with the axis, about the end that stayed, so that the body keeps its radii."""
    old, new = before.aft_px - before.tip_px, after.aft_px - after.tip_px
    turn = np.arctan2(new[1], new[0]) - np.arctan2(old[1], old[0])
    fixed = before.aft_px if (before.aft_px == after.aft_px).all() else before.tip_px
    c, s = np.cos(turn), np.sin(turn)
    return (before.body_px - fixed) @ np.array([[c, s], [-s, c]]) + fixed


def _move_reference(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """One end of a scale of two points."""
    scales = list(sketch.texts.get("scale", ()))
    k = _index(change["reference"], scales)
    kind, _, value = scales[k].partition("=")
    parts = value.split(",")
    if kind.strip() != "points" or len(parts) != 5:
        raise ValueError("not a scale of two points")
    end = 2 * int(change["end"] == 1)
    parts[end : end + 2] = [f"{v:.2f}" for v in point(change["to"])]
    scales[k] = f"points={','.join(parts)}"
    return replace(sketch, texts={**sketch.texts, "scale": scales})


def _move_ends(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """An end of a found ruler, a corner of another found reference."""
    k = _index(change["reference"], sketch.ends)
    found = sketch.ends[k].points_px.copy()
    found[_index(change["end"], found)] = point(change["to"])
    ends = (*sketch.ends[:k], replace(sketch.ends[k], points_px=found, manual=True), *sketch.ends[k + 1 :])
    return replace(sketch, ends=ends)


def _ask(sketch: Sketch, change: dict, pose: Pose) -> Sketch:
    """Words of options: balance, mass and the like, or the list of scales. Empty words take them back."""
    words = change["words"]
    if unknown := set(words) - set(EDITABLE):
        raise ValueError(f"{min(unknown)} can't be changed here")
    kept = {name: said for name, said in sketch.texts.items() if name not in words}
    texts = {**kept, **checked_texts(words)}
    if "scale" in words:
        texts.setdefault("scale", [])
    return replace(sketch, texts=texts)


def _index(value, things) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < len(things):
        raise ValueError("no such point")
    return value


def _count(value) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not FEWEST_FINS <= value <= MOST_FINS:
        raise UsageRefusal(f"{value} fins can't be measured", f"give {FEWEST_FINS} to {MOST_FINS} in a group")
    return value


def _room(things) -> None:
    if len(things) >= MOST_POINTS:
        raise UsageRefusal(f"there are {MOST_POINTS} points already", "take one out first")


_CHANGES = {
    "move-fin-point": _move_fin,
    "move-root": _move_root,
    "add-fin-point": _add_fin_point,
    "remove-fin-point": _remove_fin_point,
    "draw-fin": _draw_fin,
    "remove-fin": _remove_fin,
    "set-fin": _set_fin,
    "move-body": _move_body,
    "add-body": _add_body,
    "remove-body": _remove_body,
    "move-end": _move_end,
    "move-reference": _move_reference,
    "move-ends": _move_ends,
    "ask": _ask,
    "check": lambda sketch, change, pose: replace(sketch, checked=True),
}
