"""The graduations of one row, one by one: where each stands, and which are longer.

The strip along the row is compared with a carrier of the ticks' own frequency (a lock-in): the phase of the
match tells where ticks stand, averaged over every row of pixels and over neighbouring ticks, so it needs no
tick to be resolved well; the strength tells across the strip how tall the common ticks are, and along it
where the graduation begins and ends.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike

from digitize.photo.sampling import sampled

from .grey_levels import GreyLevels
from .ruler_search import Row

WINDOW_TICKS = 4.0  # standard deviation of the lock-in's averaging along the row
HALF_HEIGHT_TICKS = 11  # of the strip: the longest ticks are about eight graduations tall
FINE_PX = 12.0  # a graduation wider than this is read in a reduced picture
INCH_LAGS = (4, 8, 12, 16, 32)  # after how many ticks an inch scale, or one in twelfths, repeats


@dataclass(frozen=True)
class Strip:
    """A straight band of the picture along a row. values: (2 h + 1, n) at s = start + column, v = row - h.

    The place in the picture reduced by `reduce` is origin + s along + v across.
    """

    values: np.ndarray
    origin: np.ndarray
    along: np.ndarray
    start: float
    reduce: int

    @property
    def across(self) -> np.ndarray:
        return np.array([-self.along[1], self.along[0]])

    @property
    def half(self) -> int:
        return self.values.shape[0] // 2

    @property
    def s(self) -> np.ndarray:
        return self.start + np.arange(self.values.shape[1])

    def pixels(self, s, v) -> np.ndarray:
        """(..., 2) pixels of the full picture."""
        place = self.origin + np.asarray(s)[..., None] * self.along + np.asarray(v)[..., None] * self.across
        return place * self.reduce + (self.reduce - 1) / 2


@dataclass(frozen=True)
class Ticks:
    """Graduations found, numbered 0, 1, ... along the strip. Lengths are the strip's, but for points_px,
    scatter_px.

    s: (n,) places along; points_px: (n, 2) places on the middle line of the common ticks, pixels of the full
    picture. band: (v from, v to) of the common ticks. decade: correlation 0..1 of the longer ticks with
    themselves ten ticks on; rival: the same for the counts an inch scale would show; alternate: the same for
    every other tick. phase10: number modulo 10 of the longest ticks; side: +1 when they reach toward +v. cut:
    whether the graduation runs on to the picture's border at its start, end. scatter_px: of the places about
    a smooth curve along the row.
    """

    strip: Strip
    s: np.ndarray
    points_px: np.ndarray
    band: tuple[float, float]
    decade: float
    rival: float
    alternate: float
    phase10: int
    side: int
    cut: tuple[bool, bool]
    scatter_px: float

    @property
    def period(self) -> float:
        return float(np.median(np.diff(self.s)))


def cut_strip(grey: GreyLevels | np.ndarray, origin, along, half: int, reduce: int = 1) -> Strip:
    """The band from border to border of the picture."""
    height, width = grey.shape
    limits = []
    for sign in (-1, 1):
        with np.errstate(divide="ignore"):
            to_edge = np.where(sign * along > 0, (np.array([width, height]) - 1 - origin), -origin) / along
        limits.append(sign * np.min(np.where(np.abs(along) < 1e-9, np.inf, np.abs(to_edge))))
    start = np.ceil(limits[0])
    s = np.arange(start, np.floor(limits[1]) + 1)
    v = np.arange(-half, half + 1)
    across = np.array([-along[1], along[0]])
    points = (origin + s[None, :, None] * along + v[:, None, None] * across).astype(np.float32)
    values = grey.at(points) if isinstance(grey, GreyLevels) else sampled(grey, points[..., 0], points[..., 1])
    return Strip(values, np.asarray(origin, float), np.asarray(along, float), float(start), reduce)


def _low_rows(values: np.ndarray, sigma: float) -> np.ndarray:
    """Gaussian average along the last axis; complex allowed."""
    size = int(2 * np.ceil(3 * sigma) + 1)
    kernel = cv2.getGaussianKernel(size, sigma, cv2.CV_32F).T

    def run(part):
        return cv2.filter2D(np.ascontiguousarray(part, np.float32), -1, kernel, borderType=cv2.BORDER_CONSTANT)

    return run(values.real) + 1j * run(values.imag) if np.iscomplexobj(values) else run(values)


def _without_trend(values: np.ndarray, period: float, weight: np.ndarray) -> np.ndarray:
    """Values less their local mean along the row, the mean taken where weight is 1 (so ends don't ring)."""
    mass = _low_rows(np.broadcast_to(weight, values.shape), 1.2 * period)
    mean = _low_rows(values * weight, 1.2 * period) / np.maximum(mass, 1e-3)
    return (values - mean) * weight


class Carrier:
    """Tick number as a function of s: n(s) = polynomial of s scaled to +-1 over a reference length."""

    def __init__(self, coeffs: ArrayLike, scale: float):
        self.coeffs, self.scale = np.asarray(coeffs, float), scale

    @classmethod
    def starting(cls, period: float, drift: float) -> "Carrier":
        """drift: relative change of the frequency per pixel along."""
        return cls([0.0, 1000 / period, 0.5 * drift * 1000**2 / period], 1000.0)

    def number(self, s) -> np.ndarray:
        return np.polynomial.polynomial.polyval(np.asarray(s, float) / self.scale, self.coeffs)

    def rate(self, s) -> np.ndarray:
        derivative = np.polynomial.polynomial.polyder(self.coeffs)
        return np.polynomial.polynomial.polyval(np.asarray(s, float) / self.scale, derivative) / self.scale


def lock_in(strip: Strip, carrier: Carrier, inside: np.ndarray):
    """Complex match of every pixel row with the carrier (rows, n), and the share of contrast it explains
    (rows, n).
    """
    period = 1 / float(np.median(carrier.rate(strip.s[inside])))
    weight = inside.astype(np.float32)
    detail = _without_trend(strip.values, period, weight)
    turn = np.exp(-2j * np.pi * carrier.number(strip.s)).astype(np.complex64)
    sigma = WINDOW_TICKS * period
    mass = np.maximum(_low_rows(weight[None, :], sigma), 1e-3)
    match = _low_rows(detail * turn, sigma) / mass
    energy = _low_rows(detail**2, sigma) / mass
    return match, 2 * np.abs(match) ** 2 / (energy + 1e-6)


def _band(strength: np.ndarray, row: int | None = None) -> tuple[int, int]:
    """Rows around the strongest one where the carrier still explains half as much: (from, to), inclusive."""
    row = int(strength.argmax()) if row is None else row
    level = 0.5 * strength[row]
    low = high = row
    while low > 0 and strength[low - 1] > level:
        low -= 1
    while high < len(strength) - 1 and strength[high + 1] > level:
        high += 1
    return low, high


def _straightened(strip: Strip, share: np.ndarray, inside: np.ndarray):
    """Origin and direction of the middle line of the band, followed along the row."""
    low, high = _band(share[:, inside].mean(axis=1))
    margin = high - low + 2
    rows = np.arange(max(0, low - margin), min(len(share), high + margin + 1))
    columns = np.flatnonzero(inside)
    stations, middles = [], []
    for chunk in np.array_split(columns, max(6, min(24, len(columns) // 60))):
        own = share[np.ix_(rows, chunk)].mean(axis=1)
        weight = np.clip(own - 0.4 * own.max(), 0, None)
        if own.max() > 0.15:
            stations.append(strip.s[chunk].mean())
            middles.append((weight * (rows - strip.half)).sum() / weight.sum())
    if len(stations) < 3:
        return None
    slope, middle = _robust_line(np.array(stations), np.array(middles))
    turned = strip.along + slope * strip.across
    return strip.origin + middle * strip.across, turned / np.linalg.norm(turned)


def _robust_line(x: np.ndarray, y: np.ndarray):
    keep = np.ones(len(x), bool)
    for _ in range(4):
        slope, middle = np.polyfit(x[keep], y[keep], 1)
        off = np.abs(y - middle - slope * x)
        keep = off <= max(0.5, 3 * np.median(off[keep]))
        if keep.sum() < 3:
            break
    return slope, middle


def _summed_phase(strip: Strip, match: np.ndarray, band: tuple[int, int], inside: np.ndarray):
    """Match summed over the band's rows, the slant of the ticks taken out, and that slant in turns per pixel
    of v.
    """
    rows = match[band[0] : band[1] + 1]
    slant = 0.0
    if len(rows) > 2:
        slant = float(np.angle((rows[1:, inside] * rows[:-1, inside].conj()).sum()) / (2 * np.pi))
    v = np.arange(band[0], band[1] + 1) - (band[0] + band[1]) / 2
    return (rows * np.exp(-2j * np.pi * slant * v)[:, None]).sum(axis=0) / len(rows), slant


def _follow(carrier: Carrier, strip: Strip, summed: np.ndarray, inside: np.ndarray, degree: int) -> Carrier:
    """The carrier bent to the phase seen, so that whole numbers are ticks (darkest places)."""
    s, seen = strip.s[inside], summed[inside]
    turns = np.unwrap(np.angle(-seen)) / (2 * np.pi)
    number = carrier.number(s) + turns
    weight = np.abs(seen)
    middle, scale = (s[0] + s[-1]) / 2, (s[-1] - s[0]) / 2
    x = (s - middle) / scale
    fit = np.polynomial.Polynomial.fit(x, number, degree, domain=[-1, 1], w=weight)
    shifted = fit(np.polynomial.Polynomial([-middle / scale, 1 / scale]))
    return Carrier(shifted.coef, 1.0)


def _places(carrier: Carrier, s: np.ndarray) -> np.ndarray:
    """Where along s the carrier's number is whole, by inverse interpolation on the samples."""
    number = carrier.number(s)
    if np.any(np.diff(number) <= 0):
        return np.zeros(0)
    return np.interp(np.arange(np.ceil(number[0] + 0.6), np.floor(number[-1] - 0.6) + 1), number, s)


def _row_values(strip: Strip, s: np.ndarray, v: np.ndarray, slant_px: float, middle: float) -> np.ndarray:
    """Strip values (len(v), n) at s, following the slant of ticks."""
    columns = s[None, :] + slant_px * (v[:, None] - middle) - strip.start
    return sampled(strip.values, columns, (v + strip.half)[:, None])


def _darkness(strip: Strip, s: np.ndarray, v: np.ndarray, slant_px: float, middle: float) -> np.ndarray:
    """How much darker than halfway to its neighbours each tick is: (len(v), n)."""
    gap = np.gradient(s) / 2
    here = _row_values(strip, s, v, slant_px, middle)
    before = _row_values(strip, s - gap, v, slant_px, middle)
    after = _row_values(strip, s + gap, v, slant_px, middle)
    return (before + after) / 2 - here


def alike_strips(
    strip: Strip, s: np.ndarray, v: np.ndarray, slant_px: float, middle: float, core: np.ndarray
) -> np.ndarray:
    """Which places look like the typical tick of the core: same shape across it, and at least a third of its
    height.
    """
    gap = np.gradient(s)
    shape = np.stack(
        [_row_values(strip, s + step * gap, v, slant_px, middle).mean(axis=0) for step in np.linspace(-0.5, 0.5, 9)]
    )
    shape -= shape.mean(axis=0)
    typical = np.median(shape[:, core], axis=1)
    along = typical @ shape / np.maximum(typical @ typical, 1e-9)  # marks of no contrast at all are like nothing
    likeness = typical @ shape / np.maximum(np.linalg.norm(typical) * np.linalg.norm(shape, axis=0), 1e-9)
    return (along > 0.35) & (along < 3) & (likeness > 0.7)


def _run(present: np.ndarray, core: np.ndarray):
    """First and last index of the run of ticks that holds the core; short gaps (glare, a thread) bridged."""
    first, last = np.flatnonzero(core & present)[[0, -1]]
    return _walk(present, first, -1), _walk(present, last, 1)


def _walk(present: np.ndarray, index: int, step: int, gap: int = 12) -> int:
    """The last of the run going outward: a tick counts as its end only with most of the five before it
    present.
    """
    end = missed = 0
    seen = []
    for i in range(index - 6 * step, len(present) if step > 0 else -1, step):
        here = bool(present[min(max(i, 0), len(present) - 1)])
        seen.append(here)
        if here and sum(seen[-6:]) >= 5:
            end, missed = i, 0
        else:
            missed += 1
        if missed > gap and len(seen) > 12:
            break
    return end or index


def read_ticks(grey: GreyLevels, row: Row) -> Ticks | None:
    """The graduations of one candidate row; None when it isn't an even, straight row of ticks."""
    reduce = max(1, int(row.period_px / FINE_PX))
    small = grey.level(reduce) if reduce > 1 else None
    origin, along = (row.centre - (reduce - 1) / 2) / reduce, row.along
    reach = (row.reach[0] / reduce, row.reach[1] / reduce)
    period = row.period_px / reduce
    half = int(np.clip(HALF_HEIGHT_TICKS * period if row.half_px is None else row.half_px / reduce, 20, 400))
    carrier = Carrier.starting(period, row.drift * reduce)
    for turn in range(4):
        strip = cut_strip(grey if small is None else small, origin, along, half, reduce)
        inside = (strip.s >= reach[0]) & (strip.s <= reach[1])
        if inside.sum() < 12 * period:
            return None
        match, share = lock_in(strip, carrier, inside)
        band = _band(share[:, inside].mean(axis=1))
        summed, slant = _summed_phase(strip, match, band, inside)
        carrier = _follow(carrier, strip, summed, inside, 2 if turn == 0 else 3)
        slant_px = -slant / float(np.median(carrier.rate(strip.s[inside])))
        middle = (band[0] + band[1]) / 2 - strip.half
        s = _places(carrier, strip.s)
        core = (s > reach[0]) & (s < reach[1])
        if core.sum() < 10:
            return None
        present = alike_strips(strip, s, np.arange(band[0], band[1] + 1) - strip.half, slant_px, middle, core)
        if present[core].mean() < 0.5:
            return None
        first, last = _run(present, core)
        if last - first < 10:
            return None
        if turn < 3:
            reach = (s[first] - 0.5 / carrier.rate(s[first]), s[last] + 0.5 / carrier.rate(s[last]))
            line = _straightened(strip, share, inside)
            if line is None:
                return None
            origin, along = line
    return _as_ticks(strip, carrier, summed, s[first : last + 1], band, slant_px, middle)


def _as_ticks(strip: Strip, carrier: Carrier, summed, s, band, slant_px: float, middle: float) -> Ticks:
    """s: (n,) places by the smooth carrier; each is moved by the local phase's own remainder."""
    local = np.interp(s, strip.s, np.unwrap(np.angle(-summed)) / (2 * np.pi))
    local = (local - np.round(np.median(local))) / carrier.rate(s)
    own = s - local
    every = max(1, round(2 * WINDOW_TICKS))
    ends = s[0] - strip.s[0], strip.s[-1] - s[-1]
    decade, rival, alternate, phase10, side = _hierarchy(strip, own, band, slant_px, middle)
    return Ticks(
        strip=strip,
        s=own,
        points_px=strip.pixels(own, np.full(len(own), middle)),
        band=(band[0] - strip.half, band[1] - strip.half),
        decade=decade,
        rival=rival,
        alternate=alternate,
        phase10=phase10,
        side=side,
        cut=(bool(ends[0] < 3 / carrier.rate(s[0])), bool(ends[1] < 3 / carrier.rate(s[-1]))),
        scatter_px=float(np.std(local[every // 2 :: every])) * strip.reduce,
    )


def _hierarchy(strip: Strip, s: np.ndarray, band, slant_px: float, middle: float):
    """What the longer ticks say: decade, rival, alternate, phase10, side (see Ticks)."""
    period = float(np.median(np.diff(s)))
    best, alternate = (0.0, 0.0, 0, 1), 0.0
    for side in (-1, 1):
        edge = (band[1] if side > 0 else band[0]) - strip.half
        for near in np.arange(0.8, 7.0, 0.5):
            v = edge + side * period * np.linspace(near, near + 0.7, 4)
            if np.abs(v).max() > strip.half:
                break
            dark = _darkness(strip, s, v, slant_px, middle).mean(axis=0)
            dark = np.clip(dark, *np.percentile(dark, [1, 99]))
            if dark.std() < 0.004:
                continue
            ten = _self_likeness(dark, 10)
            rival = max(0.0, *(_self_likeness(dark, lag) for lag in INCH_LAGS))
            alternate = max(alternate, _self_likeness(dark, 2))
            if ten - rival > best[0] - best[1]:
                fold = [dark[m::10].mean() for m in range(10)]
                best = (ten, rival, int(np.argmax(fold)), side)
    ten, rival, phase10, side = best
    return ten, rival, alternate, phase10, side


def _self_likeness(values: np.ndarray, lag: int) -> float:
    if len(values) < lag + 8:
        return 0.0
    a, b = values[:-lag] - values[:-lag].mean(), values[lag:] - values[lag:].mean()
    return float((a @ b) / max(np.sqrt((a @ a) * (b @ b)), 1e-12))
