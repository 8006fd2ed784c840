"""What a hand has set, held against the edge that the photo itself shows.

Where an edge is seen on the line that was set, the hand is right and decides. Where none is, but the found outline, or
a straight edge beside the line, shows it elsewhere, the two disagree: that is named, and the sketch with the photo's
edge in place of the hand's goes beside, so that the bands reach to both. Where the photo shows no edge at all the hand
decides, as well as a hand can without one.
"""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from digitize.records import Photo, Silhouette, Warn
from digitize.result.from_photo import HAND_OFF
from digitize.solid.measure import Solid
from digitize.solid.pose import Pose
from digitize.trace.edge_seen import SEEN_SHARE, Ribbon, ribbon_of, straight_edge_beside
from digitize.trace.held_fins import APART_PX, MOST_REACH_PX, TIP_PX, Case, fin_held, normal_of, outside_words
from digitize.trace.sketch import Sketch


@dataclass(frozen=True)
class Held:
    """off: what stands off the photo's edge, a sentence each; as_shown: the sketch with that put back to what the photo
    shows, None if nothing is off; unseen: names of what has no edge in the photo; unseen_fins: those of the groups."""

    off: tuple[str, ...] = ()
    as_shown: Sketch | None = None
    unseen: tuple[str, ...] = ()
    unseen_fins: frozenset[int] = frozenset()


def hold(photo: Photo, pose: Pose, found: Solid | None, start: Sketch, sketch: Sketch) -> Held:
    """pose: as the sketch has it, in pixels of the full-size photo; found: the solid the program found, None where all
    was drawn by hand; start: its sketch."""
    case = Case(photo, pose, found, start)
    shown, off, unseen, unseen_fins = sketch, [], [], set()
    for k, fin in enumerate(sketch.fins):
        words, put_back, blind = fin_held(case, fin, k)
        off += words
        if put_back is not None:
            shown = shown.with_fin(k, put_back)
        if blind:
            unseen.append(f"fin group {k + 1}")
            unseen_fins.add(k)
    for part in (_axis, _ends, _body):
        words, shown = part(case, sketch, shown)
        off += words
    return Held(tuple(off), shown if off else None, tuple(unseen), frozenset(unseen_fins))


def off_warning(words: str) -> Warn:
    """One thing that stands off the photo's edge."""
    return Warn(
        HAND_OFF,
        words,
        "Look at that place in the photo and put it on the edge, or undo; the bands reach to both",
    )


def unseen_warning(names: tuple[str, ...]) -> Warn:
    """What has no edge in the photo: the hand decides there."""
    return Warn(
        "HAND_UNSEEN",
        f"{' and '.join(names)}: the photo shows no edge along part of what was set by hand, so it is only as good as "
        "the hand that set it",
        "Measure root, tip and span with a ruler and give them as hand measurements, --hand",
    )


def pulled_off(photo: Photo, before: Silhouette, after: Silhouette, pixel_mm: float) -> tuple[str, ...]:
    """Where the found outline was pulled off the photo's edge, a sentence each. pixel_mm: of the working picture."""
    moved_px = np.hypot(*(after.outline_px - before.outline_px).T) * photo.shrink
    off = moved_px > APART_PX
    if not off.any():
        return ()
    start = int(np.flatnonzero(~off)[0]) if not off.all() else 0  # no stretch goes on over the list's end
    order = np.roll(np.arange(len(off)), -start)
    ends = np.flatnonzero(np.diff(np.r_[0, off[order].astype(int), 0]))
    found, shape = [], shapely.make_valid(shapely.Polygon(before.outline_px))
    for a, b in zip(ends[::2], ends[1::2], strict=True):
        run = order[a:b]
        ribbon = ribbon_of(photo, photo.to_full_px(after.outline_px[run])) if len(run) > 2 else None
        if ribbon is not None and ribbon.seen().mean() < SEEN_SHARE:
            worst = run[moved_px[run].argmax()]
            sign = -1 if shape.contains(shapely.Point(after.outline_px[worst])) else 1
            away_mm = sign * moved_px[worst] / photo.shrink * pixel_mm
            found.append(f"the outline pulled by hand stands {outside_words(away_mm)}")
    return tuple(found)


# --- axis, ends and body ----------------------------------------------------------------------------------


def _axis(case: Case, sketch: Sketch, shown: Sketch) -> tuple[list[str], Sketch]:
    """An axis turned by hand is right where the body's edges are seen on both of its sides."""
    start = case.start
    if case.found is None or not sketch.axis_manual:
        return [], shown
    way = normal_of(start.aft_px - start.tip_px)
    moved = sketch.tip_px - start.tip_px, sketch.aft_px - start.aft_px
    beside = [abs(float(by @ way)) for by in moved]
    s, side, _ = case.pose.limb(sketch.body_px)
    limbs = [ribbon_of(case.photo, case.pose.limb_px(s, sign * np.abs(side))) for sign in (1.0, -1.0)]
    if max(beside) <= APART_PX or _both_seen(limbs):
        return [], shown
    end = "nose tip" if beside[0] >= beside[1] else "aft end"
    words = f"the axis lies at the {end} {max(beside) * case.pixel_mm:.1f} mm beside what the photo shows"
    back = {name: getattr(start, name) for name in ("tip_px", "aft_px", "body_px", "manual", "axis_manual")}
    return [words], replace(shown, **back, tip_manual=start.tip_manual, aft_manual=start.aft_manual)


def _both_seen(limbs: list[Ribbon | None]) -> bool:
    seen = [ribbon.seen().mean() for ribbon in limbs if ribbon is not None]
    return bool(seen) and float(np.mean(seen)) >= SEEN_SHARE


def _ends(case: Case, sketch: Sketch, shown: Sketch) -> tuple[list[str], Sketch]:
    """Nose tip and aft end along the axis: the edge across it."""
    words = []
    way = (sketch.aft_px - sketch.tip_px) / max(float(np.hypot(*(sketch.aft_px - sketch.tip_px))), 1e-9)
    across = normal_of(way)
    radius_px = float(np.abs(case.pose.limb(sketch.body_px[-1:])[1][0])) / case.pixel_mm
    sigmas = (0.0, 0.0) if case.found is None else (case.found.tip_sigma_px, case.found.base_sigma_px)
    for name, px, was, manual, half_px, sigma, outward in (
        ("nose tip", sketch.tip_px, case.start.tip_px, sketch.tip_manual, TIP_PX, sigmas[0], -1.0),
        ("aft end", sketch.aft_px, case.start.aft_px, sketch.aft_manual, max(0.5 * radius_px, 3.0), sigmas[1], 1.0),
    ):
        if not manual:
            continue
        # a pointed tip set a little beside the axis has its edge as little beside it, but far behind
        aside = (0.0, -APART_PX, APART_PX) if name == "nose tip" else (0.0,)
        lines = (px + by * across + np.outer([-half_px, half_px], across) for by in aside)
        ribbons = [r for line in lines if (r := ribbon_of(case.photo, line, MOST_REACH_PX)) is not None]
        if any(ribbon.seen().mean() >= SEEN_SHARE for ribbon in ribbons):
            continue
        if case.found is None:
            beside = [b for ribbon in ribbons if (b := straight_edge_beside(_filled(ribbon))) is not None]
            if not beside:
                continue
            was = px + float(np.mean(beside[0])) * ribbons[0].normal[0]
        away_px = float((px - was) @ way)
        if abs(away_px) <= APART_PX + 3 * sigma * case.photo.shrink:
            continue
        words.append(f"the {name} stands {outside_words(outward * away_px * case.pixel_mm)}")
        shown = replace(shown, tip_px=was) if name == "nose tip" else _aft_back(case, replace(shown, aft_px=was), was)
    return words, shown


def _filled(ribbon: Ribbon) -> Ribbon:
    """A short line's ribbon with as many places as a straight edge wants."""
    rows = np.linspace(0, len(ribbon.at_px) - 1, 12).round().astype(int)
    return replace(ribbon, at_px=ribbon.at_px[rows], normal=ribbon.normal[rows], step=ribbon.step[rows])


def _aft_back(case: Case, shown: Sketch, aft_px: np.ndarray) -> Sketch:
    """The last point of the body goes along with the aft end."""
    s, side, _ = case.pose.limb(shown.body_px)
    s[-1] = case.pose.in_fin_plane(aft_px[None], 0.0)[0, 0]
    keep = np.r_[s[:-1] < s[-1], True]
    body = shown.body_px.copy()
    body[-1] = case.pose.limb_px(s[-1:], np.abs(side[-1:]))[0]
    return replace(shown, body_px=body[keep], manual=shown.manual[keep])


def _body(case: Case, sketch: Sketch, shown: Sketch) -> tuple[list[str], Sketch]:
    """The body's edge between its points, on both limbs."""
    if sketch.axis_manual and case.found is not None:
        return [], shown
    if case.found is None:
        return _drawn_body(case, sketch, shown)
    if np.array_equal(sketch.body_px, case.start.body_px):
        return [], shown
    pose, worst = case.pose, (0.0, 0.0)
    (s, side), (then_s, then_side) = (pose.limb(px)[:2] for px in (sketch.body_px, case.start.body_px))
    side, then_side = np.abs(side), np.abs(then_side)
    hidden = np.r_[case.found.hidden_knots[1:]] if len(case.found.hidden_knots) == len(then_s) + 1 else None
    for a, b in zip(range(len(s) - 1), range(1, len(s)), strict=True):
        at = np.linspace(s[a], s[b], max(int((s[b] - s[a]) / case.pixel_mm / 2), 8))
        now, then = np.interp(at, s, side), np.interp(at, then_s, then_side)
        off = np.abs(now - then) > APART_PX * case.pixel_mm
        if hidden is not None:  # where fins hide the body the found edge is only carried through
            off &= np.interp(at, then_s, hidden.astype(float)) < 0.5
        if off.mean() < 0.1:
            continue
        limbs = [ribbon_of(case.photo, pose.limb_px(at[off], sign * now[off])) for sign in (1.0, -1.0)]
        if _both_seen(limbs):
            continue
        k = int(np.argmax(np.where(off, np.abs(now - then), 0.0)))
        if abs(now[k] - then[k]) > abs(worst[0]):
            worst = float(now[k] - then[k]), float(at[k])
    if not worst[0]:
        return [], shown
    tip_s = float(pose.in_fin_plane(sketch.tip_px[None], 0.0)[0, 0])
    words = f"the body's edge {worst[1] - tip_s:.0f} mm from the nose tip stands {outside_words(worst[0])}"
    return [words], replace(shown, body_px=case.start.body_px, manual=case.start.manual)


def _drawn_body(case: Case, sketch: Sketch, shown: Sketch) -> tuple[list[str], Sketch]:
    """Each point of a body drawn by hand, by a short piece of edge through it on either limb."""
    pose, words = case.pose, []
    s, side, _ = pose.limb(sketch.body_px)
    side, radius_px = np.abs(side), float(np.abs(side).max()) / case.pixel_mm
    half_mm = 8 * case.pixel_mm
    body, worst = shown.body_px.copy(), (0.0, 0.0)
    tip_s = float(pose.in_fin_plane(sketch.tip_px[None], 0.0)[0, 0])
    slopes = np.gradient(np.r_[0.0, side], np.maximum.accumulate(np.r_[tip_s, s]) + 1e-6 * np.arange(len(s) + 1))[1:]
    run = np.linspace(-half_mm, half_mm, 12)
    at, out = s[:-1, None] + run, np.maximum(side[:-1, None] + slopes[:-1, None] * run, 0.0)
    lines = pose.limb_px(np.r_[at, at].ravel(), np.r_[out, -out].ravel()).reshape(2, len(at), len(run), 2)
    for k in range(len(s) - 1):  # the last is the aft end's
        offsets = []
        for line in lines[:, k]:
            ribbon = ribbon_of(case.photo, line, min(MOST_REACH_PX, 2 * radius_px))
            if ribbon is None or ribbon.seen().mean() >= SEEN_SHARE:
                continue
            beside = straight_edge_beside(_filled(ribbon))
            if beside is not None:
                middle = line[len(line) // 2] + float(np.mean(beside)) * ribbon.normal[0]
                offsets.append(float(np.abs(pose.limb(middle[None])[1][0])) - side[k])
        # the same on both sides of the axis, else it is another thing's edge
        if len(offsets) == 2 and abs(offsets[0] - offsets[1]) < 2 * APART_PX * case.pixel_mm:
            change = float(np.mean(offsets))
            if abs(change) > APART_PX * case.pixel_mm:
                body[k] = pose.limb_px(s[k : k + 1], np.array([max(side[k] + change, case.pixel_mm)]))[0]
                worst = max(worst, (-change, float(s[k])), key=lambda pair: abs(pair[0]))
    if worst[0]:
        words = [f"the body's edge {worst[1] - tip_s:.0f} mm from the nose tip stands {outside_words(worst[0])}"]
        shown = replace(shown, body_px=body)
    return words, shown
