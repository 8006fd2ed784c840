"""Stations along the axis: the silhouette's half-widths, and which of them belong to the body and which to fins.

Works in the view's flat picture: p = x/z along the axis (aft positive after `oriented`), q = y/z across it,
both dimensionless (tangents), so nothing here needs a scale.
"""

from dataclasses import dataclass

import numpy as np

from digitize.errors import OutlineRefusal
from digitize.numeric.windows import opened
from digitize.solid.aft import Sides, Tail, eye_half, find_tails
from digitize.solid.scan import crossings, first_exit, true_runs

STATIONS = 1200
CHORD_WINDOW = 0.42
"""No fin's root is expected to be longer than this share of the length."""
CANARD_WINDOW = 0.2
EYE_ROOM = 0.06
"""Two standard deviations of the eye's border, as a share of the half-width."""
STEEPEST_TAIL = 0.5
"""Among fins a side that falls faster than this (27 degrees) is a fin's edge come down to the body, not a boat-tail."""
CROSSING = 3
"""Among fins a side that keeps to the body's width for so few stations only crosses it."""
MIN_TUBE = 0.06
"""A run of constant width shorter than this share of the length is not taken for a tube."""
MAX_TILT_TAN = 0.45
"""A tube's sides converge in perspective by at most this times its width: 24 degrees of tilt, as from a standing person
looking down on a standing rocket."""


@dataclass(frozen=True)
class Stations:
    """p: (n,) places along the axis, over the stretch where the axis itself lies inside the silhouette.

    upper, lower: (n,) distance from the axis, going out, to where the silhouette is first left, on either side
    (both positive); reach: (n,) the farthest the silhouette goes on any side, overhanging fins included.
    body_upper, body_lower: (n,) bool, where that side shows the body's own limb.
    fin_runs: [(first, last)] station numbers of each fin group, nose to tail.
    tubes: [(first, last)] runs of constant width, as far as the picture tells; pixel: one pixel in units of p; noise:
    the least in these units that is more than the outline's own error; tail: the body under the fins; envelope: (n,)
    the body's half-width, as far as it is seen.
    """

    p: np.ndarray
    upper: np.ndarray
    lower: np.ndarray
    reach: np.ndarray
    body_upper: np.ndarray
    body_lower: np.ndarray
    fin_runs: tuple[tuple[int, int], ...]
    tubes: tuple[tuple[int, int], ...]
    pixel: float
    noise: float
    tail: Tail
    envelope: np.ndarray

    @property
    def caliber(self) -> float:
        """Typical body width, in units of p."""
        return float(np.median(self.upper + self.lower))


def find_stations(
    flat: np.ndarray,
    upper_sign: float,
    pixel: float,
    groups: int | None,
    sigma: float = 0.0,
    body: np.ndarray | None = None,
) -> list[Stations]:
    """Read the half-widths and tell body from fins.

    flat: (n, 2) outline in the view, aft positive; groups: how many fin groups the user said (None: as many as
    stand out); sigma: typical standard deviation of the outline, in units of p: what lies within two of them is as one
    pixel is to a good outline; body: (m, 2) the eye's border of the body. More than one reading, the likeliest first,
    where the body under the fins can't be told. Raises OutlineRefusal when no body can be made out.
    """
    ends = crossings(flat, np.array([0.0]), along=1)[0]
    if len(ends) < 2:
        raise OutlineRefusal(
            "The outline does not lie along a straight axis",
            "Take the photo square from the side, with the whole rocket in the picture",
        )
    p = np.linspace(ends[0], ends[-1], STATIONS + 2)[1:-1]
    cuts = crossings(flat, p, along=0)
    upper = np.array([first_exit(c * upper_sign) for c in cuts])
    lower = np.array([first_exit(-c * upper_sign) for c in cuts])
    reach = np.array([np.abs(c).max(initial=0.0) for c in cuts])
    envelope = _body_envelope(np.minimum(upper, lower))
    caliber = 2 * float(np.median(envelope[STATIONS // 4 : STATIONS * 3 // 4]))
    if caliber <= 4 * pixel:
        raise OutlineRefusal(
            "The body in the outline is only a few pixels wide",
            "Take the photo closer, so that the rocket fills most of the picture's length",
        )
    noise = max(pixel, 2 * sigma)
    sides = Sides(p, upper, lower, reach, envelope, caliber, noise, eye_half(body, p))
    return [_reading(sides, pixel, tail, groups) for tail in find_tails(flat, sides)]


def _reading(sides: Sides, pixel: float, tail: Tail, groups: int | None) -> Stations:
    """The stations if the body under the fins is this."""
    p, upper, lower, reach, caliber, noise = (
        getattr(sides, name) for name in ("p", "upper", "lower", "reach", "caliber", "noise")
    )
    near = 0.8 * noise + 0.004 * caliber
    envelope = _raised(sides.envelope, tail, sides)
    runs = _fin_runs(reach - envelope, np.minimum(upper, lower) - envelope, noise, near, caliber, groups)
    body_upper = body_side(p, upper, envelope, runs, near, caliber) & ~_stands_out(upper, lower, runs, caliber, noise)
    body_lower = body_side(p, lower, envelope, runs, near, caliber) & ~_stands_out(lower, upper, runs, caliber, noise)
    tubes = _tubes(p, (upper + lower) / 2, body_upper & body_lower, noise)
    body = body_upper, body_lower
    return Stations(p, upper, lower, reach, *body, tuple(runs), tuple(tubes), pixel, noise, tail, envelope)


def _body_envelope(narrow: np.ndarray) -> np.ndarray:
    """The half-width left when everything shorter than a fin's longest chord and standing out is shaved off; ahead of
    the widest place, where a long window would shave the nose off too, everything shorter than a canard."""
    opened = _opened(narrow, CHORD_WINDOW)
    ahead = np.arange(len(narrow)) < int(np.argmax(opened))
    return np.where(ahead, np.maximum(np.minimum(_opened(narrow, CANARD_WINDOW), opened.max()), opened), opened)


def _opened(narrow: np.ndarray, share: float) -> np.ndarray:
    window = int(share * len(narrow))
    # beyond the tail there is nothing: padding by the end's value would keep fins that reach the end
    padded = np.concatenate([narrow, np.zeros(window)])
    return opened(padded, window)[: len(narrow)]


def _raised(envelope, tail: Tail, seen: Sides):
    """The envelope as wide as the tail behind where it may begin, as far as the silhouette leaves room, and the eye."""
    if not tail.wider:
        return envelope
    room = np.minimum(tail.half, seen.narrow)
    room = np.fmin(room, seen.eye + EYE_ROOM * tail.half)
    return np.where(np.arange(len(room)) > tail.first, np.maximum(envelope, room), envelope)


def _fin_runs(over, both_over, pixel, near, caliber, groups):
    """Runs of stations that stand out by more than a lug would, the largest `groups` of them, nose to tail, each
    carried on fore and aft to where nothing stands out any more. Low fins count if they were said and both sides show
    them: a lug stands on one side only."""
    stands_out = _closed(over > 0.07 * caliber + 1.5 * pixel, 3)
    every = true_runs(stands_out)
    runs = [(a, b) for a, b in every if over[a : b + 1].max() > 0.35 * caliber]
    if groups is not None and len(runs) < groups:
        low = [(a, b) for a, b in every if (a, b) not in runs and both_over[a : b + 1].max() > 0.1 * caliber]
        runs += sorted(low, key=lambda run: both_over[run[0] : run[1] + 1].sum())[len(runs) - groups :]
    if groups is not None and len(runs) > groups:
        runs = sorted(runs, key=lambda run: over[run[0] : run[1] + 1].sum())[-groups:]
    most = int(0.06 * len(over))
    whole = []
    for first, last in runs:
        fore = np.flatnonzero(over[max(first - most, 0) : first] <= near)
        aft = np.flatnonzero(over[last + 1 : last + 1 + most] <= near)
        first = max(first - most, 0) + int(fore[-1]) if len(fore) else max(first - most, 0)
        last = last + 1 + int(aft[0]) if len(aft) else min(last + most, len(over) - 1)
        whole.append((first, last))
    return sorted(whole)


def _closed(flags, reach):
    grown = np.convolve(flags, np.ones(2 * reach + 1), "same") > 0
    shrunk = np.convolve(~grown, np.ones(2 * reach + 1), "same") > 0
    return ~shrunk | flags


def body_side(p, width, envelope, runs, near, caliber):
    """Stations where this side shows the body: anywhere but at fins, and there only where it keeps to the envelope."""
    other = np.zeros(len(width), bool)
    steep = -np.gradient(width, p) > STEEPEST_TAIL
    gentle = [last for first, last in true_runs(~steep) if last - first >= 4]
    steep[gentle[-1] if gentle else 0 :] = False  # the rim of the aft end, with no more body behind it
    for first, last in runs:
        step = slice(first, last + 1)
        other[step] = (width[step] - envelope[step] >= near) | steep[step]
    # a fin's edge leaves the limb gradually: what is next to it is not trusted either; and behind the body's end
    # only a fin that stands out aft crosses the axis
    aft = np.arange(len(width)) > len(width) // 2
    other |= aft & (width < 0.2 * caliber)
    seen = (width > 0) & (np.convolve(other, np.ones(7), "same") < 0.5)
    for first, last in true_runs(seen):
        if last - first + 1 <= CROSSING and any(a < first and last < b for a, b in runs):
            seen[first : last + 1] = False
    return seen


def _stands_out(width, other, runs, caliber, pixel):
    """Where one side stands out beyond the other away from the fins: a lug, a button, a knot, a bit of shadow."""
    n = len(width)
    flags = width - other > 1.5 * pixel + 0.012 * caliber
    for first, last in runs:
        flags[first : last + 1] = False
    flags[: int(0.04 * n)] = False
    return np.convolve(flags, np.ones(7), "same") > 0.5


def _tubes(p, half, body, pixel):
    """Runs where both sides show the body and the width changes no more than perspective can make it."""
    found = []
    free = body.copy()
    while True:
        run = _longest_straight(p, half, free, pixel)
        if run is None or run[-1] - run[0] < MIN_TUBE * len(p):
            return sorted(found)
        first, last = int(run[0]), int(run[-1])
        # a run found before and enclosed by this one is the same tube with a disturbance between
        found = [(a, b) for a, b in found if not first <= a <= b <= last]
        found.append((first, last))
        free[max(first - 3, 0) : last + 4] = False


def _longest_straight(p, half, free, pixel):
    """Station numbers of the longest run of free stations that one nearly level line fits; None without one."""
    numbers = np.flatnonzero(free)
    best, most = None, 8
    for base in range(0, len(numbers), max(len(numbers) // 60, 1)):
        low, high = base + most, len(numbers)
        while low < high:
            middle = (low + high + 1) // 2
            if _is_level(p, half, numbers[base:middle], pixel):
                low = middle
            else:
                high = middle - 1
        chosen = numbers[base:low]
        if low - base > most and _is_level(p, half, chosen, pixel):
            best, most = chosen, low - base
    return best


def _is_level(p, half, chosen, pixel):
    """Whether a line with no more slope than perspective allows fits, in the middle and at the ends alike."""
    x, y = p[chosen], half[chosen]
    third = max(len(chosen) // 3, 1)
    # medians of the outer thirds: a knot or a bit of shadow taken for body does not turn the line
    run = middle(x[-third:]) - middle(x[:third])
    slope = (middle(y[-third:]) - middle(y[:third])) / run
    misfit = y - slope * x - middle(y - slope * x)
    end = max(len(chosen) // 12, 2)
    tolerance = 0.3 * pixel + 0.0012 * y.mean()
    seen = np.split(misfit, np.flatnonzero(np.diff(chosen) > 3) + 1)  # what stands on either side of a fin counts alone
    parts = [misfit[:end], misfit[len(misfit) // 2 - end : len(misfit) // 2 + end], misfit[-end:], *seen]
    return abs(slope) <= MAX_TILT_TAN * y.mean() and max(abs(middle(part)) for part in parts) <= tolerance


def middle(values: np.ndarray) -> float:
    """The median, or for an even number the upper of the two middle values: ten times as quick on short arrays."""
    half = len(values) // 2
    return float(np.partition(values, half)[half])
