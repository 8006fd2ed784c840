"""A rocket to begin from by hand, out of what was seen of a photo that was refused.

Nothing here is measured: it is the eye's body and the outline in a dozen points, for a person to set right.
"""

from dataclasses import dataclass

import numpy as np
import shapely

from digitize.refused import Findings
from digitize.trace.edits import corners

STATIONS = 60
MOST_BODY_POINTS, MOST_FIN_POINTS = 14, 40
LEAST_FIN = 0.1
"""What stands out is a fin from this share of the largest diameter's square."""


@dataclass(frozen=True)
class Start:
    """drawn: the ends and the body's edge, as the page draws a rocket (`drawn.drawn_of`); fins: one list of points
    each, nose to tail, as the page draws a fin. Pixels of the upright full-size photo."""

    drawn: dict
    fins: tuple[list, ...]


@dataclass(frozen=True)
class _Axis:
    """tip, along, across: (2,) the foremost point and unit vectors, aft and to the upper side; length: px."""

    tip: np.ndarray
    along: np.ndarray
    across: np.ndarray
    length: float

    def xy(self, points: np.ndarray) -> np.ndarray:
        """(n, 2) along and across of points of the photo."""
        return (np.asarray(points) - self.tip) @ np.column_stack([self.along, self.across])

    def photo(self, xy: np.ndarray) -> np.ndarray:
        return self.tip + np.asarray(xy) @ np.vstack([self.along, self.across])


def start_of(seen: Findings | None) -> Start | None:
    """Something to begin from, None if too little was seen."""
    if seen is None or seen.photo is None or seen.body_px is None or seen.outline_px is None:
        return None
    body, outline = _polygon(seen.body_px), _polygon(seen.outline_px)
    if body is None or outline is None:
        return None
    axis = _axis(body, seen.nose_px)
    if axis is None:
        return None
    profile = _profile(axis, body, outline)
    if profile is None:
        return None
    full = seen.photo.to_full_px

    def listed(xy: np.ndarray) -> list:
        return np.round(full(axis.photo(xy)), 2).tolist()

    tip, aft = listed(np.array([profile[0], [profile[-1, 0], 0.0]]))
    drawn = {"tip_px": tip, "aft_px": aft, "body_px": listed(profile[1:])}
    return Start(drawn, tuple(listed(fin) for fin in _fins(axis, profile, outline)))


def _polygon(points: np.ndarray) -> shapely.Polygon | None:
    shape = shapely.make_valid(shapely.Polygon(points)) if len(points) > 3 else shapely.Polygon()
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and not part.is_empty]
    return max(parts, key=lambda part: part.area, default=None)


def _axis(body: shapely.Polygon, nose_px: np.ndarray | None) -> _Axis | None:
    """Through the middles of the body's cross-sections; the nose where it was seen, else at the thinner end."""
    box = np.array(shapely.minimum_rotated_rectangle(body).exterior.coords)[:4]
    sides = box[1:3] - box[:2]
    along = max(sides, key=lambda side: np.hypot(*side))
    if np.hypot(*along) < 40:
        return None
    along = along / np.hypot(*along)
    for _ in range(2):
        axis = _Axis(np.array(body.centroid.coords[0]), along, np.array([along[1], -along[0]]), 0.0)
        x = axis.xy(np.array(body.exterior.coords))[:, 0]
        at = np.linspace(x.min(), x.max(), STATIONS)[3:-3]
        low, high = _sections(axis, body, at)
        slope, offset = np.polyfit(at, (low + high) / 2, 1)
        along = (along + slope * axis.across) / np.hypot(1, slope)
    middle = axis.photo(np.array([0.0, offset]))
    widths = (high - low)[: STATIONS // 6].mean(), (high - low)[-STATIONS // 6 :].mean()
    nose_last = widths[1] < widths[0] if nose_px is None else (nose_px - middle) @ along > 0
    along = -along if nose_last else along
    across = np.array([along[1], -along[0]])
    across = across if across[1] < 0 or (across[1] == 0 and across[0] > 0) else -across
    x = (np.array(body.exterior.coords) - middle) @ along
    return _Axis(middle + x.min() * along, along, across, float(np.ptp(x)))


def _sections(axis: _Axis, shape: shapely.Polygon, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(lowest, highest) across where the section at each x meets the shape round the axis; nan where it does not."""
    low, high = np.full(len(x), np.nan), np.full(len(x), np.nan)
    far = 1e5
    for k, at in enumerate(x):
        cut = shape.intersection(shapely.LineString(axis.photo(np.array([[at, -far], [at, far]]))))
        parts = [axis.xy(shapely.get_coordinates(part))[:, 1] for part in shapely.get_parts(cut) if part.length > 0]
        if parts:
            y = min(parts, key=lambda part: max(part.min(), -part.max(), 0.0))
            low[k], high[k] = y.min(), y.max()
    good = np.isfinite(low)
    if good.sum() > 1:
        low, high = np.interp(x, x[good], low[good]), np.interp(x, x[good], high[good])
    return low, high


def _profile(axis: _Axis, body: shapely.Polygon, outline: shapely.Polygon) -> np.ndarray | None:
    """(n, 2) x, radius in px from the nose tip: as the photo's edge has it where that is the body's, else the eye."""
    foremost = axis.xy(np.array(outline.exterior.coords))
    near = foremost[np.abs(foremost[:, 1]) < 0.1 * axis.length, 0]
    start = min(0.0, float(near.min())) if len(near) else 0.0
    x = np.linspace(start, _aft(axis, body, outline), STATIONS + 1)[1:]
    inner = np.array([*x[:-1], x[-1] - 0.01 * axis.length])
    eye, edge = (np.stack(_sections(axis, shape, inner)) for shape in (body, outline))
    if not np.isfinite(eye).all():
        return None
    same = np.abs(edge - eye) < np.maximum(3.0, 0.1 * np.abs(eye))
    sides = np.abs(np.where(same, edge, eye))
    weight = np.where(same, 1.0, 1e-3)
    radius = (sides * weight).sum(0) / weight.sum(0)
    free = same.any(0)  # elsewhere fins stand on both sides, and the eye has their roots for the body
    radius = np.where(free, radius, np.minimum(radius, radius[free].max(initial=0.0)))
    if not (radius > 0.5).all():
        return None
    points = np.vstack([[start, 0.0], np.column_stack([x, radius])])
    for tolerance in radius.max() * np.array([0.02, 0.04, 0.08, 0.16]):
        line = np.array(shapely.LineString(points).simplify(tolerance).coords)
        if len(line) <= MOST_BODY_POINTS:
            break
    return line


def _aft(axis: _Axis, body: shapely.Polygon, outline: shapely.Polygon) -> float:
    """x of the aft end: as far as the outline has nearly the body's width, if that is near where the eye has it."""
    low, high = _sections(axis, body, np.array([0.9, 0.97]) * axis.length)
    radius = float((high - low).min()) / 2
    ends = []
    for y in (-0.6 * radius, 0.6 * radius):
        cut = outline.intersection(shapely.LineString(axis.photo(np.array([[0.5 * axis.length, y], [1e5, y]]))))
        first = [axis.xy(shapely.get_coordinates(part))[:, 0] for part in shapely.get_parts(cut) if part.length > 0]
        ends.append(min(first, key=np.min).max() if first else axis.length)
    return float(np.clip(min(ends), axis.length - radius, axis.length + radius))


def _fins(axis: _Axis, profile: np.ndarray, outline: shapely.Polygon) -> list[np.ndarray]:
    """[(m, 2)] x, across: what stands out behind the middle, the largest of each stretch of the body."""
    strip = np.vstack([profile, (profile * [1, -1])[::-1]])
    widest = profile[:, 1].max()
    body = shapely.Polygon(axis.photo(strip)).buffer(0.15 * widest + 1.0)
    thin = 0.12 * widest  # slivers along the body are no fins
    out = outline.difference(body).buffer(-thin, join_style="mitre").buffer(thin, join_style="mitre")
    parts = [p for p in _parts(out) if p.area > LEAST_FIN * (2 * widest) ** 2]
    found: list[np.ndarray] = []
    for part in sorted(parts, key=lambda p: -p.area):
        ring = axis.xy(np.array(part.exterior.coords)[:-1])
        overlaps = any(ring[:, 0].min() < fin[:, 0].max() and ring[:, 0].max() > fin[:, 0].min() for fin in found)
        if ring[:, 0].mean() > 0.4 * axis.length and not overlaps:
            found.append(_open_fin(ring, profile))
    return sorted(found, key=lambda fin: fin[:, 0].min())


def _parts(shape) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]


def _open_fin(ring: np.ndarray, profile: np.ndarray) -> np.ndarray:
    """(m, 2) from the root's leading edge round to its trailing edge, both on the body."""
    side = np.sign(ring[:, 1].mean())
    height = side * ring[:, 1] - np.interp(ring[:, 0], *profile.T)
    low = np.flatnonzero(height < height.min() + 0.06 * np.ptp(height))
    lead, trail = low[np.argmin(ring[low, 0])], low[np.argmax(ring[low, 0])]
    ways = [_way(ring, lead, trail), _way(ring[::-1], len(ring) - 1 - lead, len(ring) - 1 - trail)]
    way = max(ways, key=lambda w: (side * w[:, 1]).max())
    way = way[np.array(corners(way))[:MOST_FIN_POINTS]]
    for end in (0, -1):
        way[end, 1] = side * np.interp(way[end, 0], *profile.T)
    return way


def _way(ring: np.ndarray, first: int, last: int) -> np.ndarray:
    return np.roll(ring, -first, axis=0)[: (last - first) % len(ring) + 1].copy()
