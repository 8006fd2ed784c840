"""Where everything on the overlay goes, before anything is drawn.

Two frames. The canvas: pixels of the overlay, x right, y down, centre of the top-left pixel at (0, 0). The
rocket's: u along the axis from the nose tip aft, v away from the axis on the side of the rule, both in canvas
pixels. The rule with its words lies parallel to the axis, clear of the rocket, on the side with more room;
where the axis is steeper than 45 degrees the words stay level and stand beside it, else they run along it.
Either way their baseline never turns more than 45 degrees, so they are never upside-down.
"""

import math
from dataclasses import dataclass

import numpy as np
from shapely.geometry import MultiPoint, Polygon, box

from digitize.numeric.solving import nondecreasing
from digitize.report.raster import words_size
from digitize.result_records import Drawing, Result
from digitize.units.rounding import sized, with_band
from digitize.units.shown_units import shown_number

PHOTO_LONG_SIDE_PX = 1800  # of the photo on the overlay; the sheet around it may add a few hundred
LETTER_PX = PHOTO_LONG_SIDE_PX / 62
FINE_PX = max(1.0, LETTER_PX / 14)
_STEEP_DEG = 45.0
_SHORTEST_AXIS_PX = 40.0
_FURTHEST_PX = 0.6 * PHOTO_LONG_SIDE_PX


@dataclass(frozen=True)
class Placing:
    """Takes pixels of the upright full-size photo to the canvas."""

    shrink: int
    zoom: float  # canvas pixels per pixel of the working picture
    corner: tuple[float, float]  # canvas point of the photo's top-left corner (not pixel centre)

    def to_canvas(self, points_px) -> np.ndarray:
        """(n, 2) or (2,) full-size pixels to canvas pixels."""
        working = (np.asarray(points_px, float) - (self.shrink - 1) / 2) / self.shrink
        return (working + 0.5) * self.zoom - 0.5 + np.asarray(self.corner)


@dataclass(frozen=True)
class Label:
    """Words with a leader to the point they name. `kind` chooses the mark; size_px is (width, height)."""

    kind: str
    lines: tuple[tuple[str, float], ...]
    foot: np.ndarray  # (2,) the point named
    knee: np.ndarray  # (2,) where the leader bends toward the words
    near: np.ndarray  # (2,) where the leader meets the words
    centre: np.ndarray  # (2,) of the words
    size_px: tuple[int, int]
    turn_deg: float

    def corners(self) -> np.ndarray:
        """(4, 2) corners of the words' plaque."""
        turn = math.radians(self.turn_deg)
        right, down = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
        w, h = self.size_px[0] / 2, self.size_px[1] / 2
        return np.array([self.centre + a * w * right + b * h * down for a, b in _BOX])


_BOX = ((-1, -1), (1, -1), (1, 1), (-1, 1))


@dataclass(frozen=True)
class Rule:
    """The graduated strip beside the rocket: millimetres from the nose tip."""

    corners: np.ndarray  # (4, 2)
    ticks: tuple[tuple[np.ndarray, np.ndarray, bool], ...]  # (from, to, is major)
    numbers: tuple[tuple[str, np.ndarray], ...]  # (text, centre)
    turn_deg: float
    band: np.ndarray | None  # (4, 2) the stretch of the centre of pressure's 95 % band


@dataclass(frozen=True)
class Frame:
    """The rocket's frame on the canvas."""

    nose: np.ndarray
    along: np.ndarray
    out: np.ndarray  # unit, square to `along`, toward the rule
    length_px: float

    def uv(self, points) -> np.ndarray:
        """(n, 2) canvas points in the rocket's frame."""
        return (np.atleast_2d(points) - self.nose) @ np.column_stack([self.along, self.out])

    def xy(self, u, v) -> np.ndarray:
        """A canvas point from the rocket's frame."""
        return self.nose + u * self.along + v * self.out

    @property
    def turn_deg(self) -> float:
        """Turn of the axis from level, -90 to 90, clockwise."""
        turn = math.degrees(math.atan2(self.along[1], self.along[0]))
        return turn - 180 * round(turn / 180)

    @property
    def steep(self) -> bool:
        """Whether words stand beside the axis instead of running along it."""
        return abs(self.turn_deg) > _STEEP_DEG

    @property
    def words_turn_deg(self) -> float:
        """How words on the rule are turned."""
        return 0.0 if self.steep else self.turn_deg


@dataclass(frozen=True)
class Plan:
    """The whole arrangement. rule, frame: None when the drawing has no usable axis."""

    placing: Placing
    photo_corners: np.ndarray  # (4, 2)
    frame: Frame | None
    rule: Rule | None
    labels: tuple[Label, ...]


def plan_sheet(
    shape, shrink: int, result: Result, margin_px: float, long_side_px: float = PHOTO_LONG_SIDE_PX
) -> tuple[Plan, tuple[int, int]]:
    """The plan, and the (width, height) of the sheet that holds the photo and all words, margin included.
    long_side_px: of the photo on it."""
    height, width = shape[:2]
    zoom = long_side_px / max(height, width)
    first = _plan(shape, Placing(shrink, zoom, (0.0, 0.0)), result)
    points = [first.photo_corners, *(label.corners() for label in first.labels)]
    if first.rule is not None:
        points.append(first.rule.corners)
    # a model gone astray must not ask for a sheet of any size: words further out than this are cut off
    allowed = first.photo_corners.min(axis=0) - _FURTHEST_PX, first.photo_corners.max(axis=0) + _FURTHEST_PX
    points = np.clip(np.vstack(points), *allowed)
    low = np.floor(points.min(axis=0) - margin_px)
    size = np.ceil(points.max(axis=0) + margin_px - low).astype(int)
    plan = _plan(shape, Placing(shrink, zoom, (float(-low[0]), float(-low[1]))), result)
    return plan, (int(size[0]), int(size[1]))


def _plan(shape, placing: Placing, result: Result) -> Plan:
    height, width = shape[:2]
    low = np.asarray(placing.corner) - 0.5
    high = low + placing.zoom * np.array([width, height])
    corners = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    drawing = result.drawing
    frame = _frame(drawing, result, placing, corners) if drawing else None
    if drawing is None or frame is None:
        return Plan(placing, corners, None, None, ())
    extent = rocket_points(drawing, result, placing)
    v = frame.uv(extent)[:, 1]
    knots = _axis_knots(drawing, result, placing, frame)
    stations = _station_labels(drawing, result, placing, frame)
    leaders_u = frame.uv([foot for _, _, foot in stations])[:, 0]
    rule, rule_end_v = _rule(frame, knots, _cp_band_u(drawing, placing, frame), leaders_u, max(v.max(), 0.0))
    near = _row(frame, stations, rule_end_v + 1.3 * LETTER_PX, 1)
    far = _far_row(frame, drawing, result, placing, 1.3 * LETTER_PX - min(v.min(), 0.0))
    taken = [Polygon(rule.corners), *(Polygon(label.corners()) for label in near + far)]
    rocket = MultiPoint(extent).convex_hull
    names = _reference_labels(drawing, placing, [*taken, rocket], corners)
    return Plan(placing, corners, frame, rule, tuple(near + far + names))


def rocket_points(drawing: Drawing, result: Result, placing: Placing) -> np.ndarray:
    """(n, 2) canvas points on everything that belongs to the rocket."""
    parts = [result.outline_px, drawing.profile_upper, drawing.profile_lower, *drawing.fins]
    parts = [np.asarray(part, float) for part in [*parts, drawing.axis] if part is not None and len(part)]
    return placing.to_canvas(np.vstack(parts))


def _frame(drawing, result, placing, photo_corners) -> Frame | None:
    nose, tail = placing.to_canvas(drawing.axis)
    length = float(np.hypot(*(tail - nose)))
    if not (length >= _SHORTEST_AXIS_PX and result.length_mm.value > 0):
        return None
    along = (tail - nose) / length
    across = np.array([along[1], -along[0]])
    if across[1] > 0.1 or (abs(across[1]) <= 0.1 and across[0] < 0):
        across = -across  # first choice: above the rocket, or right of an upright one
    first, second = (Frame(nose, along, side, length) for side in (across, -across))
    points = rocket_points(drawing, result, placing)
    references = [Polygon(placing.to_canvas(r.outline)) for r in drawing.references]
    photo = Polygon(photo_corners)
    cost = [_crowding(frame, points, references, photo) for frame in (first, second)]
    return second if cost[1] < cost[0] else first


def _crowding(frame: Frame, points, references, photo) -> float:
    """How much of the rule's ground is off the photo or over a reference object, px^2."""
    start = frame.uv(points)[:, 1].max() + LETTER_PX
    end = start + 7.5 * LETTER_PX + (4 * LETTER_PX if frame.steep else 0)
    ground = Polygon(_strip(frame, 0.0, frame.length_px, start, end))
    over = sum(ground.intersection(r.buffer(0)).area for r in references)
    return over * 8 + ground.difference(photo).area  # paper beside the photo is free, a hidden reference is not


def _axis_knots(drawing, result, placing, frame) -> tuple[np.ndarray, np.ndarray]:
    """Known places on the axis: from the nose tip in the unit shown, and u. The view spreads them unevenly."""
    length_mm = float(result.length_mm.value)
    known = {0.0: 0.0, length_mm: frame.length_px}
    marks = (
        (drawing.cp, result.cp_x_mm),
        (drawing.balance, result.balance_mm),
        (drawing.cutout, result.cutout_centroid_mm),
    )
    for point, quantity in marks:
        if point is not None and quantity is not None and 0 < quantity.value < length_mm:
            known[float(quantity.value)] = float(frame.uv(placing.to_canvas(point))[0, 0])
    places = sorted(known)
    x = shown_number(np.array(places), "mm")
    u = np.array([known[value] for value in places])
    if (np.diff(u) <= 0).any():
        return x[[0, -1]], np.array([0.0, frame.length_px])
    return x, u


def _cp_band_u(drawing, placing, frame) -> tuple[float, float] | None:
    if drawing.cp_band is None:
        return None
    low, high = np.sort(frame.uv(placing.to_canvas(drawing.cp_band))[:, 0])
    return float(low), float(high)


def _rule(frame: Frame, knots, cp_band_u, leaders_u, rocket_v: float) -> tuple[Rule, float]:
    """The strip, and the v where it ends. A number that a leader would strike through is left out."""
    x, u = knots
    start_v = rocket_v + LETTER_PX
    major = _nice_step(x[-1] / frame.length_px * 3.4 * LETTER_PX)
    minor = major / (4 if f"{major:e}"[0] == "2" else 5)
    digits = len(f"{x[-1]:.0f}")
    depth = LETTER_PX * (1.0 + 0.5 * digits if frame.steep else 1.75)
    ticks, numbers = [], []
    for i in range(int(x[-1] / minor + 1e-6) + 1):
        at = float(np.interp(i * minor, x, u))
        is_major = i % round(major / minor) == 0
        reach = LETTER_PX * (0.6 if is_major else 0.32)
        ticks.append((frame.xy(at, start_v), frame.xy(at, start_v + reach), is_major))
        half = LETTER_PX * (0.5 if frame.steep else 0.22 * digits + 0.2)
        if is_major and np.abs(leaders_u - at).min(initial=np.inf) > half:
            numbers.append((f"{i * minor:g}", frame.xy(at, start_v + (depth + LETTER_PX * 0.5) / 2)))
    end_v = start_v + depth
    corners = _strip(frame, 0.0, frame.length_px, start_v, end_v)
    band = None if cp_band_u is None else _strip(frame, cp_band_u[0], cp_band_u[1], start_v, end_v)
    return Rule(corners, tuple(ticks), tuple(numbers), frame.words_turn_deg, band), end_v


def _strip(frame, u0, u1, v0, v1) -> np.ndarray:
    return np.array([frame.xy(u, v) for u, v in ((u0, v0), (u1, v0), (u1, v1), (u0, v1))])


def _nice_step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(least))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= least * (1 - 1e-9))


def _station_labels(drawing, result, placing, frame) -> list[tuple]:
    """(kind, lines, foot) of every place named on the rule."""
    nose, tail = placing.to_canvas(drawing.axis)
    found = [
        ("end", (("nose tip", 1.0), ("0", 0.85)), nose),
        ("end", (("aft end", 1.0), (with_band(result.length_mm, "mm"), 0.85)), tail),
    ]
    named = (
        ("cutout", "cut-out balance", drawing.cutout, result.cutout_centroid_mm),
        ("balance", "balance point", drawing.balance, result.balance_mm),
        ("cp", "centre of pressure", drawing.cp, result.cp_x_mm),
    )
    for kind, words, point, quantity in named:
        if point is not None and quantity is not None:
            value = (with_band(quantity, "mm"), 0.85)
            found.append((kind, ((words, 1.0), value), placing.to_canvas(point)))
    for station in drawing.stations:
        if not any(station.words.lower().startswith(lines[0][0]) for _, lines, _ in found):
            lines = ((station.words, 0.85), (sized(station.x_mm, "mm", 0), 0.75))
            found.append(("station", lines, placing.to_canvas(station.point)))
    u = frame.uv([foot for _, _, foot in found])[:, 0] / frame.length_px
    return [mark for mark, at in zip(found, u, strict=True) if -0.5 <= at <= 1.5]


def _fin_labels(drawing, result, placing, frame) -> list[tuple]:
    """(kind, lines, foot) of one root line of each fin group, the one nearest the side away from the rule."""
    length_mm = result.length_mm.value
    found = []
    for group in result.fins:
        root_x = np.asarray(group.outline_mm, float)[[0, -1], 0].mean()
        nearest = None
        for root in drawing.roots:
            middle = placing.to_canvas(root).mean(axis=0)
            u, v = frame.uv(middle)[0]
            if abs(u / frame.length_px * length_mm - root_x) < 0.25 * group.root_chord_mm.value and (
                nearest is None or v < nearest[0]
            ):
                nearest = (v, middle)
        if nearest is not None:
            lines = (
                (f"fin root {with_band(group.root_chord_mm, 'mm')}", 0.85),
                (f"span {with_band(group.span_mm, 'mm')}", 0.85),
            )
            found.append(("root", lines, nearest[1]))
    return found


def _row(frame: Frame, wanted: list[tuple], v: float, side: int) -> list[Label]:
    """Labels in one row parallel to the axis at v on one side, pushed apart as little as keeps them clear."""
    if not wanted:
        return []
    wanted = sorted(wanted, key=lambda item: float(frame.uv(item[2])[0, 0]))
    sizes = [words_size(lines, round(LETTER_PX)) for _, lines, _ in wanted]
    feet = np.vstack([frame.uv(foot) for _, _, foot in wanted])
    gap = 0.5 * LETTER_PX
    if frame.steep:
        lean = abs(math.sin(math.radians(frame.turn_deg)))
        extents = [(h + gap) / lean for _, h in sizes]
        v += max(h for _, h in sizes) / 2 * abs(frame.out[1])
    else:
        extents = [w + gap for w, _ in sizes]
    places = _apart(feet[:, 0], np.array(extents))
    labels = []
    for (kind, lines, foot), size, (u, _), at in zip(wanted, sizes, feet, places, strict=True):
        near = frame.xy(at, side * v)
        if frame.steep:
            away = side * math.copysign(1.0, frame.out[0])
            centre = near + np.array([away * size[0] / 2, 0.0])
        else:
            centre = near + side * frame.out * size[1] / 2
        knee = frame.xy(u, side * (v - 1.1 * LETTER_PX))
        labels.append(Label(kind, lines, np.asarray(foot), knee, near, centre, size, frame.words_turn_deg))
    return labels


def _far_row(frame: Frame, drawing, result, placing, v: float) -> list[Label]:
    """The fins' words on the other side, moved out as far as uncovers the reference objects."""
    wanted = _fin_labels(drawing, result, placing, frame)
    references = [Polygon(placing.to_canvas(r.outline)).buffer(LETTER_PX / 2) for r in drawing.references]

    def covered(labels):
        return sum(Polygon(label.corners()).intersection(r).area for label in labels for r in references)

    rows = [_row(frame, wanted, v + step * LETTER_PX, -1) for step in range(0, 13, 2)]
    return min(rows, key=covered)


def _apart(centres: np.ndarray, extents: np.ndarray) -> np.ndarray:
    """Places in the same order, neighbours clear of each other, nearest to the centres by least squares."""
    offsets = np.concatenate([[0.0], np.cumsum((extents[1:] + extents[:-1]) / 2)])
    return nondecreasing(centres - offsets) + offsets


def _reference_labels(drawing, placing, taken, photo_corners) -> list[Label]:
    """The name of each reference object beside it, where it hides least."""
    labels = []
    for reference in drawing.references:
        outline = placing.to_canvas(reference.outline)
        lines = ((f"scale: {reference.label}", 0.85),)
        size = words_size(lines, round(LETTER_PX))
        low, high, middle = outline.min(axis=0), outline.max(axis=0), (outline.min(0) + outline.max(0)) / 2
        w, h = size[0] / 2, size[1] / 2 + 0.35 * LETTER_PX
        choices = [
            (middle[0], high[1] + h), (middle[0], low[1] - h),
            (high[0] + w + 9, middle[1]), (low[0] - w - 9, middle[1]), (middle[0], middle[1]),
        ]  # fmt: skip
        photo = Polygon(photo_corners)

        def hidden(centre, size=size, photo=photo):
            ground = box(*(np.array(centre) - np.array(size) / 2), *(np.array(centre) + np.array(size) / 2))
            return sum(ground.intersection(t).area for t in taken) + ground.difference(photo).area

        centre = np.array(min(choices, key=hidden))
        label = Label("reference", lines, centre, centre, centre, centre, size, 0.0)
        labels.append(label)
        taken.append(Polygon(label.corners()))
    return labels
