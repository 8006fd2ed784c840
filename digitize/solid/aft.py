"""How wide the body is under and behind its fins: candidates, and one cost in squared standard deviations.

Fins hide the limb there. Any half-width between that of the body ahead of them and WIDEST times it may be behind them.
Each is held against all the picture shows of it: the eye's border of the body, which goes on through the fins;
stretches of the outline that run along the axis as a tube's limb does; and the edge of the aft end, which perspective
bulges aft by as much as the end is wide. A wider body is believed where it costs less than the same body carried on,
and what costs nearly as little is told as a rival. Flat view as in solid.stations: p along the axis, q across.
"""

from dataclasses import dataclass, replace

import numpy as np

from digitize.solid.scan import base_edge, crossings, first_exit, level, true_runs

WIDEST, STEP = 1.7, 0.01
"""A larger tube aft is at most this much wider than the body ahead of the fins; candidates' spacing."""
AS_AHEAD, WIDER = 1.02, 1.08
"""Up to here the body goes on as it is, but for the outline's error; from here on it is wider; between them, tape."""
RARE = 8.0
"""What a wider body costs to begin with: one rocket in fifty has one that fins hide (common practice, no source)."""
AS_WELL, BY_RIM = 5.0, 25.0
"""Of two candidates whose costs differ by less, neither is ruled out; where the rim alone tells of the wider one: a
motor's end or a shadow there bends it."""
EYE_SHARE, EYE_PARTS = 0.04, 1.5
"""Standard deviation of the eye's half-width under fins, by the median of drawn photographs off by 0.6 %, by 5 % where
fins and body have one colour; so many stretches of its border err each by itself."""
BOUND = 3.0
BOAT_TAIL = 5.0
"""What it costs that the end is narrower than the tail, and where that begins hidden too (common practice)."""
RIM_PX, RIM_MOST, ALIKE_POINTS = 0.5, 50.0, 3.0
"""Error of a point on the rim; the most that the aft edge may weigh, by and by; so many of its points err alike."""
GENTLE = 0.25
"""A side that rises no faster (14 degrees) from the body may be a cone; fins' edges are steeper, strakes aside."""
BETWEEN, ALONG, ONE_SIDE = 25.0, 9.0, 4.0
"""The most that a stretch along the axis is worth: both sides alike, with fins ahead and behind; with fins at one end
of it only, as the tips of turned fins have them too; one side alone."""


@dataclass(frozen=True)
class Tail:
    """The body under and behind the fins. wider: than ahead of them, if not, it goes on as it is; half: its half-width;
    sigma: of that; first: the last station that shows the body ahead; shown: whether the wider limb is seen somewhere;
    cost: against the likeliest."""

    wider: bool = False
    half: float = 0.0
    sigma: float = 0.0
    first: int = 0
    shown: bool = True
    cost: float = 0.0


@dataclass(frozen=True)
class Sides:
    """What is read: p, upper, lower, reach, noise as in Stations; envelope: (n,) half-widths of the body carried on
    from ahead; caliber: typical width; eye: (n,) half-width by the eye's border of the body, NaN where it has none."""

    p: np.ndarray
    upper: np.ndarray
    lower: np.ndarray
    reach: np.ndarray
    envelope: np.ndarray
    caliber: float
    noise: float
    eye: np.ndarray

    @property
    def half(self) -> np.ndarray:
        return (self.upper + self.lower) / 2

    @property
    def narrow(self) -> np.ndarray:
        return np.minimum(self.upper, self.lower)


def eye_half(body: np.ndarray | None, p: np.ndarray) -> np.ndarray:
    """(n,) mean half-width of a border (m, 2) at stations p, NaN where either side has none."""
    if body is None:
        return np.full(len(p), np.nan)
    sides = np.array([[first_exit(c), first_exit(-c)] for c in crossings(body, p, along=0)])
    return np.where((sides > 0).all(1), sides.mean(1), np.nan)


def find_tails(flat: np.ndarray, seen: Sides) -> tuple[Tail, ...]:
    """The likeliest tail, and the other one if it can't be ruled out by the outline (m, 2)."""
    n, half, narrow = len(seen.p), seen.half, seen.narrow
    fins = np.flatnonzero((seen.reach - seen.envelope > 0.35 * seen.caliber) & (np.arange(n) > n // 3))
    alike = np.abs(seen.upper - seen.lower) < 2.4 * seen.noise + 0.02 * seen.caliber  # a lens bends the axis
    body = alike & (narrow < 1.03 * seen.envelope + seen.noise) & (np.arange(n) > n // 4)
    fore = np.flatnonzero(body[: fins[0]]) if len(fins) else fins
    if len(fore) < n // 100:
        return (Tail(),)
    ahead = float(np.median(seen.envelope[max(fins[0] - n // 10, 0) : fins[0] + 1]))
    slender = level(narrow, n // 50, 0.8 * seen.noise) & (np.abs(narrow - ahead) < 0.02 * ahead + seen.noise)
    first = int(np.flatnonzero(slender)[-1]) if slender.any() else int(fins[0])
    last = int(np.flatnonzero(half > 0.25 * seen.caliber)[-1])  # behind it only a fin on the axis, seen edge-on
    if last - first < n // 100:
        return (Tail(),)
    widths = np.arange(1.0, WIDEST, STEP) * ahead
    pieces, wide = _pieces(seen, alike, first, last, ahead), widths > WIDER * ahead
    cost = np.where(wide, RARE, 0.0) + _rim_cost(flat, seen, widths, fore, last)
    for width, worth in pieces:
        on, off = np.abs(widths - width) < 0.02 * width + seen.noise, widths > width  # that may be the boat-tail's
        cost = cost - wide * np.where(on, worth, off * max(worth - BOAT_TAIL, 0.0))
    cost = cost - ALONG * (wide & (widths > _cone(seen, alike, first)))
    off = (seen.eye - half)[fore]
    if np.isfinite(off).any():
        cost = cost + _eye_cost(seen.eye - np.nanmedian(off), widths, first, last)
    return _chosen(widths, cost, pieces, first, seen.noise, AS_WELL if np.isfinite(off).any() else BY_RIM)


def _chosen(widths, cost, pieces, first: int, noise: float, sure: float) -> tuple[Tail, ...]:
    """See find_tails. sure: from what difference of costs on one of two is ruled out."""
    wide = widths > WIDER * widths[0]
    k = int(np.argmin(np.where(wide, cost, np.inf)))
    weight = np.where(wide, np.exp(np.maximum(cost[k] - cost, -50.0) / 2), 0.0)
    sigma = max(float(np.sqrt(np.average((widths - widths[k]) ** 2, weights=weight))), EYE_SHARE * widths[k])
    tail = Tail(True, float(widths[k]), sigma, first, False, float(cost[k]))
    near = [(worth, width) for width, worth in pieces if abs(width - widths[k]) < 0.05 * widths[k] + noise]
    if near:
        tail, sure = replace(tail, half=max(near)[1], sigma=noise, shown=True), AS_WELL
    ranked = sorted((tail, Tail(cost=float(cost[widths < AS_AHEAD * widths[0]].min()))), key=lambda one: one.cost)
    return tuple(one for one in ranked if one.cost < ranked[0].cost + (sure if ranked[0].wider else AS_WELL))


def _eye_cost(eye, widths, first: int, last: int):
    """(k,) of the eye's wider part behind `first` against each candidate: a shoulder or a boat-tail is narrower."""
    margin = (last - first) // 8
    here = eye[first + margin : last - margin // 2]
    if not np.isfinite(here).any():
        return np.zeros(len(widths))
    share = (np.nanquantile(here, 0.7) / widths - 1) / EYE_SHARE
    return EYE_PARTS * BOUND**2 * np.log1p((share / BOUND) ** 2)


def _rim_cost(flat, seen: Sides, widths, fore, last: int):
    """(k,) of the aft end's edge against each candidate's rim, over the first's. Inside the body ahead, which no fin
    hides, the edge bulges as the rim does; outside, fins may stand out aft of the rim, but nothing ends before it. How
    the axis is tilted is read off the body's taper ahead of the fins, which is 1 - p tan(tilt) of its width. A wider
    body may end in a boat-tail."""
    slope, at_0 = np.polyfit(seen.p[fore], seen.half[fore], 1)
    tilt = np.arctan(-slope / at_0) if abs(slope) < 0.5 * at_0 else 0.0
    bulge = np.sin(tilt) + seen.p[last] * np.cos(tilt)
    edge, q = base_edge(flat, seen.p, WIDEST * widths[0], 121).T
    inner = np.abs(q) < 0.9 * widths[0]
    if inner.sum() < 6:
        return np.zeros(len(widths))
    place = edge - bulge * np.sqrt(np.maximum(widths[:, None] ** 2 - q**2, 0.0))
    off = (place - np.median(place[:, inner], axis=1)[:, None]) / (RIM_PX * seen.noise)
    outer = (np.abs(q) > 1.02 * widths[0]) & (np.abs(q) < 0.97 * widths[:, None])
    off = np.where(inner | (outer & (off < 0)), off, 0.0)
    cost = np.minimum(off**2, BOUND**2).sum(1) / ALIKE_POINTS
    cost = cost - cost[0]
    cost = cost / (1 + np.abs(cost) / RIM_MOST)
    return np.minimum(cost, np.minimum.accumulate(cost) + BOAT_TAIL)


def _cone(seen: Sides, alike, first: int) -> float:
    """How wide the body has grown by the cone that begins behind `first`, both sides rising alike and too gently for
    fins' edges, before fins hide it; without one, wider than any."""
    smooth = np.convolve(seen.half, np.ones(9) / 9, "same")
    rising = alike & (np.abs(np.gradient(smooth, seen.p)) < GENTLE)
    length = int(np.argmin(np.append(rising[first:], False)))
    width = float(seen.narrow[max(first + length - 6, first)])
    return width if width > WIDER * seen.narrow[first] else np.inf


def _pieces(seen: Sides, alike, first: int, last: int, ahead: float) -> list[tuple[float, float]]:
    """[(half-width, worth)] of the stretches behind `first` along which both sides, or the narrower one alone, stay as
    far from the axis, with more standing out somewhere."""
    window, found = len(seen.p) // 100, []
    here = (np.arange(len(seen.p)) > first) & (np.arange(len(seen.p)) <= last)
    sides = [(seen.half, alike, ALONG), (seen.upper, ~alike & (seen.upper < seen.lower), ONE_SIDE)]
    for half, use, most in (*sides, (seen.lower, ~alike & (seen.lower < seen.upper), ONE_SIDE)):
        flat = level(half, window // 2, 0.8 * seen.noise) & use & here & (half > WIDER * ahead)
        for a, b in true_runs(flat):
            near = np.abs(half[a : b + 1, None] - half[a : b + 1]) < 0.75 * seen.noise
            width, count = half[a + near.sum(1).argmax()], near.sum(1).max()  # a cone or boat-tail may run into it
            out = seen.reach[first:] > width + 0.3 * seen.caliber
            if count > window // 3 and out.any():
                between = most == ALONG and out[: a - first].any() and out[b - first :].any()
                most = BETWEEN if between else most
                found.append((float(width), min(most * count / (2 * window), most)))
    return found
