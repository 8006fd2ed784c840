"""Does the picture show an edge along a line, and if not there, where beside it."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from digitize.numeric.windows import smoothed
from digitize.photo.sampling import sampled
from digitize.records import Photo

ON_EDGE_PX = 3.0
"""Within this of the line an edge is the line's: three deviations of a point that a hand has set."""
STEP_PX = 2.0
MOST_TIMES_ACROSS = 4  # of a line's length to the photo's width and height together
FAINTEST = 0.04
"""Least difference of colour across an edge, of 1 from black to white: what a person just sees on a plain ground (no
source)."""
ABOVE_TEXTURE = 4.0
SEEN_SHARE = 0.6
"""Share of a line along which an edge must be seen; the rest may be hidden, shaded or of the ground's colour."""
BESIDE_SHARE = 0.3
"""The same of an edge beside the line: a line set far too long runs on where the edge has ended."""
STRAIGHT_PX = 3.0
"""How far the places of a straight edge may lie from their line."""


@dataclass(frozen=True)
class Ribbon:
    """at_px: (n, 2) places along a line, pixels of the full-size photo; normal: (n, 2) to the left of its way;
    offset_px: (m,) along it; step: (n, m) difference of colour there, 0 to about 1.7; texture: the usual one."""

    at_px: np.ndarray
    normal: np.ndarray
    offset_px: np.ndarray
    step: np.ndarray
    texture: float

    def least(self) -> float:
        """The least step that counts as an edge."""
        return max(FAINTEST, ABOVE_TEXTURE * self.texture)

    def here(self) -> np.ndarray:
        """(n,) the largest step on the line itself."""
        return self.step[:, np.abs(self.offset_px) <= ON_EDGE_PX].max(axis=1)

    def seen(self, least: float = 0.0) -> np.ndarray:
        """(n,) bool: an edge is seen on the line."""
        return self.here() >= max(self.least(), least)


class _Line:
    """A line in a photo, told apart by what it is; arrays have no hash."""

    def __init__(self, photo: Photo, line_px: np.ndarray, reach_px: float):
        self.photo, self.line_px, self.reach_px = photo, line_px, reach_px
        self.key = reach_px, line_px.tobytes()

    def __hash__(self):
        return hash(self.key)

    def __eq__(self, other):
        return self.photo is other.photo and self.key == other.key


def ribbon_of(photo: Photo, line_px: np.ndarray, reach_px: float = 12.0) -> Ribbon | None:
    """The picture along an open line (n, 2) of the full-size photo, out to reach_px on both sides; None where too
    little of the line lies in the picture."""
    return _ribbon_of(_Line(photo, np.ascontiguousarray(line_px, float), float(reach_px)))


@lru_cache(maxsize=256)
def _ribbon_of(line: _Line) -> Ribbon | None:
    """Kept, as of a rocket drawn by hand a drag moves one line only."""
    photo, reach_px = line.photo, line.reach_px
    height, width = photo.rgb.shape[:2]
    along = float(np.hypot(*np.diff(line.line_px, axis=0).T).sum())
    if not along <= MOST_TIMES_ACROSS * (height + width) * photo.shrink:
        return None  # dragged far away: places all along it would fill the memory, few of them in the picture
    at, normal = _places(line.line_px)
    shown = photo.to_working_px(at)
    inside = ((shown >= 0) & (shown <= [width - 1, height - 1])).all(axis=1)
    if inside.sum() < 3:
        return None
    at, normal = at[inside], normal[inside]
    offset = np.arange(-np.ceil(reach_px), np.ceil(reach_px) + 1)
    colour = _colours(photo, at, normal, np.r_[offset[0] - 3 : offset[-1] + 4])
    colour = smoothed(colour, 2.0)
    sums = np.cumsum(np.pad(colour, ((0, 0), (1, 0), (0, 0))), axis=1)
    mean = (sums[:, 3:] - sums[:, :-3]) / 3  # of three pixels; that before and that behind lie four apart
    step = np.linalg.norm(mean[:, 4:] - mean[:, :-4], axis=2)
    away = np.abs(offset) > 2 * ON_EDGE_PX
    return Ribbon(at, normal, offset, step, float(np.median(step[:, away])) if away.any() else 0.0)


def straight_edge_beside(ribbon: Ribbon, least: float = 0.0) -> tuple[float, float] | None:
    """Offsets (px, along the normal) at both ends of the line at which the picture shows one straight edge instead;
    None where it shows none."""
    best = ribbon.step.max(axis=1, keepdims=True)
    peak = (ribbon.step >= np.roll(ribbon.step, 1, 1)) & (ribbon.step >= np.roll(ribbon.step, -1, 1))
    peak &= ribbon.step >= np.maximum(max(ribbon.least(), least), best / 2)
    good, n = peak.any(axis=1), len(peak)
    if n < 8 or good.mean() < BESIDE_SHARE:
        return None
    nearest = np.where(peak, np.abs(ribbon.offset_px), np.inf).argmin(axis=1)
    place, offset = np.linspace(0.0, 1.0, n), ribbon.offset_px[nearest]
    fit = _line_of_most(place[good], offset[good])
    for _ in range(3):
        kept = good & (np.abs(np.polyval(fit, place) - offset) <= STRAIGHT_PX)
        if kept.mean() < BESIDE_SHARE:
            return None
        fit = np.polyfit(place[kept], offset[kept], 1)
    return float(fit[1]), float(fit[0] + fit[1])


def _line_of_most(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Slope and start of the line through two of the points near which most of them lie (as Fischler and Bolles 1981
    have it, but all pairs of some evenly chosen points are tried, so that it is the same every time)."""
    chosen = np.unique(np.linspace(0, len(x) - 1, 24).astype(int))
    a, b = (chosen[k] for k in np.triu_indices(len(chosen), 1))
    slope = (y[b] - y[a]) / (x[b] - x[a])
    start = y[a] - slope * x[a]
    near = (np.abs(slope[:, None] * x + start[:, None] - y) <= STRAIGHT_PX).sum(axis=1)
    best = int(near.argmax())
    return np.array([slope[best], start[best]])


def _places(line: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Even places along an open line, not nearer to its ends than an edge's own width, and the normals there."""
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    ends = min(ON_EDGE_PX, run[-1] / 4)
    at = np.linspace(ends, run[-1] - ends, max(int((run[-1] - 2 * ends) / STEP_PX), 3))
    points = np.column_stack([np.interp(at, run, line[:, k]) for k in (0, 1)])
    k = np.clip(np.searchsorted(run, at, "right") - 1, 0, len(line) - 2)
    way = np.diff(line, axis=0)[k]
    way = way / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    return points, np.column_stack([way[:, 1], -way[:, 0]])


def _colours(photo: Photo, at: np.ndarray, normal: np.ndarray, offset: np.ndarray) -> np.ndarray:
    """(n, m, 3) 0 to 1, as the file has them: nearer to what an eye tells apart than linear light."""
    places = photo.to_working_px(at[:, None] + offset[None, :, None] * normal[:, None]).astype(np.float32)
    return sampled(photo.rgb, places[..., 0], places[..., 1]).astype(np.float32) / 255
