"""A fin group that a hand has set, held against the edge that the photo shows; and what all such checks share."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely

from digitize.bands.resampling import HIDDEN_SHARE
from digitize.geometry.toml import overlapping
from digitize.records import FinGroup, Geometry, Photo
from digitize.solid.measure import Solid
from digitize.solid.pose import Pose
from digitize.trace.edge_seen import SEEN_SHARE, ribbon_of, straight_edge_beside
from digitize.trace.edits import corners
from digitize.trace.sketch import Sketch, SketchFin

APART_PX = 4.0
"""Beyond this an edge that was set lies off the found one: three deviations of both together."""
UNSEEN_SIGMA_PX = 3.0
"""How well a hand sets a point where no edge is seen (no source)."""
LEAST_OF_FOUND = 0.35
"""Of the found edge's own step of colour: fainter ones beside it are not the rocket's."""
MOST_REACH_PX = 150.0
TIP_PX = 1.5
"""Half the line across a nose tip: on a longer one a pointed nose shows no edge square to the axis."""
ROLL_OFF_DEG = 5.0


@dataclass(frozen=True)
class Case:
    """pose: in pixels of the full-size photo; found: what the program found, None where all was drawn by hand."""

    photo: Photo
    pose: Pose
    found: Solid | None
    start: Sketch

    @property
    def pixel_mm(self) -> float:
        return float(self.pose.depth_mm / self.pose.camera.focal_px)


def outside_words(mm: float) -> str:
    return f"{abs(mm):.1f} mm {'outside' if mm > 0 else 'inside'} what the photo shows"


def normal_of(way: np.ndarray) -> np.ndarray:
    return np.array([way[1], -way[0]]) / max(float(np.hypot(*way)), 1e-9)


def fin_held(case: Case, fin: SketchFin, k: int) -> tuple[list[str], SketchFin | None, bool]:
    """(what is off, the group as the photo shows it, whether the photo shows no edge there)."""
    if not fin.manual.any() and any(_same(fin, was) for was in case.start.fins):
        return [], None, False
    number = _began_as(case, fin)
    if number is None or case.found is None:
        return _drawn_fin(case, fin, k)
    was, trace = case.start.fins[number], case.found.fins[number]
    turned = _turned_deg(fin, was)
    if abs(turned) > max(ROLL_OFF_DEG, 3 * np.degrees(trace.roll_sigma_rad)):
        back = replace(was, count=fin.count, thickness_mm=fin.thickness_mm)
        return [f"fin group {k + 1} is turned {abs(turned):.0f} degrees from how the photo shows it"], back, False
    return _moved_fin(case, fin, was, k, max(trace.hidden_mm))


def _same(fin: SketchFin, was: SketchFin) -> bool:
    return fin.roll_rad == was.roll_rad and np.array_equal(fin.points_px, was.points_px)


def _began_as(case: Case, fin: SketchFin) -> int | None:
    """Number of the found group that this one was, or whose place it takes."""
    if case.found is None:
        return None
    for k, was in enumerate(case.start.fins):
        if not fin.drawn and (fin.points_px[:, None] == was.points_px[None]).all(-1).any():
            return k
    now = FinGroup(fin.count, _plane(case, fin))
    for k, was in enumerate(case.start.fins):
        if overlapping(Geometry("", np.zeros((0, 2)), (FinGroup(was.count, _plane(case, was)), now))):
            return k
    return None


def _plane(case: Case, fin: SketchFin) -> np.ndarray:
    return case.pose.in_fin_plane(fin.points_px, fin.angle_rad, fin.offset_mm)


def _turned_deg(fin: SketchFin, was: SketchFin) -> float:
    gap = 2 * np.pi / fin.count
    return float(np.degrees((fin.roll_rad - was.roll_rad + gap / 2) % gap - gap / 2))


def _moved_fin(case: Case, fin: SketchFin, was: SketchFin, k: int, hidden_mm: float):
    """A group that was found, with its points moved or drawn anew."""
    now, then, angle = _plane(case, fin), _plane(case, was), _angle(fin)
    then_line, blade = shapely.LineString(then), shapely.make_valid(shapely.Polygon(then))
    foot_mm = min(then[0, 1], then[-1, 1]) + hidden_mm
    least = _step_of(case, then, angle)
    words, blind = [], False
    for name, edge in _edges(now):
        dense = _dense(edge, case.pixel_mm)
        away_mm = shapely.distance(shapely.points(dense), then_line)
        # down where the body hides it the found edge is only carried on
        doubt_mm = np.where(dense[:, 1] < foot_mm, 3 * HIDDEN_SHARE * hidden_mm, 0.0)
        off = away_mm > APART_PX * case.pixel_mm + doubt_mm
        if off.mean() < 0.1:
            continue
        ribbon = ribbon_of(case.photo, case.pose.project_fin(dense[off], angle))
        if ribbon is not None and ribbon.seen(LEAST_OF_FOUND * least).mean() >= SEEN_SHARE:
            continue
        if not _found_edge_is_seen(case, then, now, angle):
            blind = True
            continue
        worst = int(np.argmax(np.where(off, away_mm, 0.0)))
        sign = -1 if blade.contains(shapely.Point(dense[worst])) else 1
        words.append(f"fin group {k + 1}: its {name} stands {outside_words(sign * away_mm[worst])}")
    back = replace(was, count=fin.count, thickness_mm=fin.thickness_mm) if words else None
    return words, back, blind and not words


def _angle(fin: SketchFin) -> float:
    """Of the fin that the hand moved."""
    angles, counts = np.unique(fin.angle_rad[fin.manual] if fin.manual.any() else fin.angle_rad, return_counts=True)
    return float(angles[counts.argmax()])


def _edges(outline: np.ndarray) -> list[tuple[str, np.ndarray]]:
    """(name, points) from corner to corner, the root left out."""
    at = corners(outline)
    top = outline[:, 1].max()
    named = []
    for a, b in pairwise(at):
        ends = outline[[a, b], 1] - outline[[0, -1], 1].mean()
        high = ends.min() > 0.6 * (top - outline[[0, -1], 1].mean())
        name = "tip" if high else "leading edge" if ends[1] > ends[0] else "trailing edge"
        named.append((name, outline[a : b + 1]))
    return named


def _dense(line: np.ndarray, step_mm: float) -> np.ndarray:
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.linspace(0.0, run[-1], max(int(run[-1] / max(step_mm, 1e-9)), 8))
    return np.column_stack([np.interp(at, run, line[:, k]) for k in (0, 1)])


def _step_of(case: Case, outline: np.ndarray, angle: float) -> float:
    """The found edge's own step of colour."""
    ribbon = ribbon_of(case.photo, case.pose.project_fin(_dense(outline, case.pixel_mm), angle))
    return 0.0 if ribbon is None else float(np.median(ribbon.here()))


def _found_edge_is_seen(case: Case, then: np.ndarray, now: np.ndarray, angle: float) -> bool:
    """Whether the photo shows the found outline where it differs from what was set."""
    dense = _dense(then, case.pixel_mm)
    off = shapely.distance(shapely.points(dense), shapely.LineString(now)) > APART_PX * case.pixel_mm
    if off.sum() < 8:
        return True
    ribbon = ribbon_of(case.photo, case.pose.project_fin(dense[off], angle))
    return ribbon is None or ribbon.seen().mean() >= 0.5


def _drawn_fin(case: Case, fin: SketchFin, k: int):
    """A group that the program did not find: each edge by what the photo shows on it or straight beside it."""
    now, angle = _plane(case, fin), _angle(fin)
    reach = min(MOST_REACH_PX, 0.8 * float(np.hypot(*np.ptp(now, axis=0))) / case.pixel_mm)
    at, words, blind, lines = corners(now), [], 0, []
    for (name, edge), a, b in zip(_edges(now), at[:-1], at[1:], strict=True):
        seen_px = case.pose.project_fin(edge, angle)
        ribbon = ribbon_of(case.photo, case.pose.project_fin(_dense(edge, case.pixel_mm), angle), reach)
        lines.append((a, b, seen_px[[0, -1]]))
        if ribbon is None:
            blind += 1
        elif ribbon.seen().mean() < SEEN_SHARE:
            beside = straight_edge_beside(ribbon)
            normal = normal_of(seen_px[-1] - seen_px[0])
            shifted = seen_px[[0, -1]] + np.outer(beside or (0.0, 0.0), normal)
            if beside is None or _is_body(case, now, shifted, angle):
                blind += 1
                continue
            # square to the edge that the photo shows, not to the one that was set
            lean = np.hypot(1.0, (beside[1] - beside[0]) / max(np.hypot(*(seen_px[-1] - seen_px[0])), 1e-9))
            if np.abs(beside).max() / lean <= APART_PX:
                continue
            lines[-1] = (a, b, shifted)
            back_mm = case.pose.in_fin_plane(shifted, angle)
            away_mm = np.hypot(*(back_mm - edge[[0, -1]]).T)
            worst = int(away_mm.argmax())
            inward = (edge[[0, -1]] - back_mm)[worst] @ -normal_of(edge[-1] - edge[0])  # left of the way is outside
            away = np.copysign(away_mm[worst] / lean, inward)
            words.append(f"fin group {k + 1}: its {name} stands {outside_words(away)}")
    back = _on_lines(fin, case.pose.project_fin(now, angle), lines, angle) if words else None
    return words, back, blind > 0


def _is_body(case: Case, outline: np.ndarray, line_px: np.ndarray, angle: float) -> bool:
    """Whether a straight edge is the body's, which runs along under the fin, and none of a fin."""
    y = case.pose.in_fin_plane(line_px, angle)[:, 1]
    return bool((y < outline[[0, -1], 1].max() + 2 * APART_PX * case.pixel_mm).all())


def _on_lines(fin: SketchFin, seen_px: np.ndarray, lines, angle: float) -> SketchFin:
    """The group with its corners where these lines meet: (number of its first point, of its last, (2, 2) ends)."""
    points = seen_px.copy()
    for a, b, ends in lines:
        share = np.linspace(0.0, 1.0, b - a + 1)[:, None]
        straight = seen_px[[a, b]]
        points[a : b + 1] += (ends[0] - straight[0]) * (1 - share) + (ends[1] - straight[1]) * share
    for (_, corner, one), (_, _, other) in pairwise(lines):
        points[corner] = _meeting(one, other)
    count = len(points)
    return replace(
        fin, points_px=points, angle_rad=np.full(count, angle), offset_mm=np.zeros(count), manual=np.ones(count, bool)
    )


def _meeting(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Where two lines, (2, 2) each, meet; between their near ends if they are all but parallel."""
    d, e = one[1] - one[0], other[1] - other[0]
    cross = d[0] * e[1] - d[1] * e[0]
    if abs(cross) < 0.1 * np.hypot(*d) * np.hypot(*e):
        return (one[1] + other[0]) / 2
    t = ((other[0] - one[0])[0] * e[1] - (other[0] - one[0])[1] * e[0]) / cross
    return one[0] + t * d
