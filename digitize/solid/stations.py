"""Stations along the axis: the silhouette's half-widths, and which of them belong to the body and which to fins.

Works in the view's flat picture: p = x/z along the axis (aft positive after `oriented`), q = y/z across it,
both dimensionless (tangents), so nothing here needs a scale.
"""

from dataclasses import dataclass

import numpy as np

from digitize.errors import OutlineRefusal

STATIONS = 1200
CHORD_WINDOW = 0.42
"""No fin's root is expected to be longer than this share of the length."""
CANARD_WINDOW = 0.2
ABRUPT = 6
"""A body that gains most of its width within so many stations may be one, or the front of fins turned half away."""
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
    the least in these units that is more than the outline's own error.
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

    @property
    def caliber(self) -> float:
        """Typical body width, in units of p."""
        return float(np.median(self.upper + self.lower))


def crossings(flat: np.ndarray, at: np.ndarray, along: int) -> list[np.ndarray]:
    """Where lines of constant coordinate `along` (0: p, 1: q) at the values `at` cut a closed polygon (n, 2).

    Returns for each value the sorted other coordinates of the cuts.
    """
    a, b = flat, np.roll(flat, -1, axis=0)
    swap = a[:, along] > b[:, along]
    left, right = np.where(swap[:, None], b, a), np.where(swap[:, None], a, b)
    first = np.searchsorted(at, left[:, along], side="left")
    last = np.searchsorted(at, right[:, along], side="left")
    cuts: list[list[float]] = [[] for _ in at]
    for i in np.flatnonzero(last > first):
        run = right[i, along] - left[i, along]
        for k in range(first[i], last[i]):
            share = (at[k] - left[i, along]) / run
            cuts[k].append(left[i, 1 - along] + share * (right[i, 1 - along] - left[i, 1 - along]))
    return [np.sort(np.array(c)) for c in cuts]


def find_stations(
    flat: np.ndarray, upper_sign: float, pixel: float, groups: int | None, sigma: float = 0.0
) -> Stations:
    """Read the half-widths and tell body from fins.

    flat: (n, 2) outline in the view, aft positive; groups: how many fin groups the user said (None: as many as
    stand out); sigma: typical standard deviation of the outline, in units of p: what lies within two of them is as one
    pixel is to a good outline. Raises OutlineRefusal when no body can be made out.
    """
    ends = crossings(flat, np.array([0.0]), along=1)[0]
    if len(ends) < 2:
        raise OutlineRefusal(
            "The outline does not lie along a straight axis",
            "Take the photo square from the side, with the whole rocket in the picture",
        )
    p = np.linspace(ends[0], ends[-1], STATIONS + 2)[1:-1]
    cuts = crossings(flat, p, along=0)
    upper = np.array([_first_exit(c * upper_sign) for c in cuts])
    lower = np.array([_first_exit(-c * upper_sign) for c in cuts])
    reach = np.array([np.abs(c).max(initial=0.0) for c in cuts])
    envelope = _body_envelope(np.minimum(upper, lower))
    caliber = 2 * float(np.median(envelope[STATIONS // 4 : STATIONS * 3 // 4]))
    if caliber <= 4 * pixel:
        raise OutlineRefusal(
            "The body in the outline is only a few pixels wide",
            "Take the photo closer, so that the rocket fills most of the picture's length",
        )
    near = 0.8 * (noise := max(pixel, 2 * sigma)) + 0.004 * caliber
    envelope = _with_wider_tail(flat, envelope, upper, lower, reach, caliber, pixel)
    runs = _fin_runs(reach - envelope, np.minimum(upper, lower) - envelope, noise, near, caliber, groups)
    body_upper = body_side(p, upper, envelope, runs, near, caliber) & ~_stands_out(upper, lower, runs, caliber, noise)
    body_lower = body_side(p, lower, envelope, runs, near, caliber) & ~_stands_out(lower, upper, runs, caliber, noise)
    tubes = _tubes(p, (upper + lower) / 2, body_upper & body_lower, noise)
    return Stations(p, upper, lower, reach, body_upper, body_lower, tuple(runs), tuple(tubes), pixel, noise)


def _first_exit(q: np.ndarray) -> float:
    out = q[q > 0]
    return float(out.min()) if len(out) else 0.0


def _body_envelope(narrow: np.ndarray) -> np.ndarray:
    """The half-width left when everything shorter than a fin's longest chord and standing out is shaved off; ahead of
    the widest place, where a long window would shave the nose off too, everything shorter than a canard."""
    opened = _opened(narrow, CHORD_WINDOW)
    ahead = np.arange(len(narrow)) < int(np.argmax(opened))
    return np.where(ahead, np.maximum(np.minimum(_opened(narrow, CANARD_WINDOW), opened.max()), opened), opened)


def _opened(narrow: np.ndarray, share: float) -> np.ndarray:
    from scipy.ndimage import grey_opening  # as in neighbours.py

    window = int(share * len(narrow))
    # beyond the tail there is nothing: padding by the end's value would keep fins that reach the end
    padded = np.concatenate([narrow, np.zeros(window)])
    return grey_opening(padded, size=window, mode="nearest")[: len(narrow)]


def _with_wider_tail(flat, envelope, upper, lower, reach, caliber, pixel):
    """The envelope raised where the body itself grows wider aft (a larger motor mount) before the fins begin: both
    sides alike and level for a stretch, with more standing out behind it. A short stretch counts if the narrower
    side is as wide again behind the fins."""
    n = len(envelope)
    alike = np.abs(upper - lower) < 1.2 * pixel + 0.01 * caliber
    half, narrow = (upper + lower) / 2, np.minimum(upper, lower)
    window = max(int(0.02 * n), 8)
    level = _level(half, window, pixel)
    raised = envelope.copy()
    for first, last in _true_runs(_level(half, window // 2, pixel) & alike & (half - envelope > 0.04 * caliber)):
        width = float(np.median(half[first : last + 1]))
        more_behind = reach[last:].max() > width + 0.3 * caliber
        # a canard's tip is level too, but behind it the body is as slender as before for a level stretch
        behind, slender = slice(last, last + int(CANARD_WINDOW * n)), envelope[first]
        again = (narrow > 0.7 * slender) & (narrow < slender + 0.25 * (width - slender)) & level
        stays = again[behind].sum() < window
        rise = half[max(first - ABRUPT, 0)]
        abrupt = width - rise > 0.8 * (width - envelope[first]) > 0.08 * caliber
        steady = level[first : last + 1].any() and not abrupt
        shown = steady or (
            (level[first : last + 1].any() or _ends_as_wide(narrow, width, pixel))
            and _rim_allows(flat, width, envelope[first], pixel)
        )
        if first > n // 3 and width < 2.2 * envelope[first] and more_behind and stays and shown:
            start = first
            while start > 0 and alike[start - 1] and 0 < half[start] - half[start - 1] < caliber:
                start -= 1
            raised[start:first] = np.maximum(raised[start:first], half[start:first])
            raised[first:] = np.maximum(raised[first:], np.minimum(width, narrow[first:]))
    behind = width_behind_fins(upper, lower, reach, caliber, pixel)
    ahead = raised[-n // 4]
    if behind is not None and 1.06 * ahead < behind[0] < 2.2 * ahead and _rim_allows(flat, behind[0], ahead, pixel):
        width, shown_from = behind
        slender = np.flatnonzero(narrow[:shown_from] <= 1.04 * raised[:shown_from])
        hidden = slice(int(slender[-1]) if len(slender) else n, n)
        raised[hidden] = np.maximum(raised[hidden], np.minimum(width, narrow[hidden]))
    return raised


def _level(half, reach, pixel):
    """(n,) bool: part of a stretch of `reach` stations over which the half-width stays."""
    flags = np.zeros(len(half), bool)
    for k in np.flatnonzero(np.abs(half[reach:] - half[:-reach]) < 0.8 * pixel):
        flags[k : k + reach + 1] = True
    return flags


def _ends_as_wide(narrow, width, pixel):
    """Whether the narrower side's last level bit, at the aft end, has this half-width."""
    bits = _true_runs(_level(narrow, 5, pixel) & (np.abs(narrow - width) < 0.02 * width + 1.5 * pixel))
    return bool(bits) and bits[-1][1] > 0.96 * len(narrow)


def _rim_allows(flat, width, slender, pixel):
    """Whether the aft end can be a body's of this half-width, `slender` being the one ahead: where its rim bulges in
    perspective, one side at least must show the bulge falling off beyond `slender`. The ends of turned fins that are
    flush with the body's end are level too, but they do not follow it."""
    q = np.linspace(-0.95, 0.95, 81) * width
    ends = np.array([c[-1] if len(c) else np.nan for c in crossings(flat, q, along=1)])
    bulge = np.sqrt(width**2 - q**2)
    inner = np.abs(q) < 0.9 * slender
    if np.isnan(ends[inner]).any():
        return True
    end = np.median(ends[inner] / (1 + bulge[inner]))
    beyond = np.abs(q) > min(1.02 * slender, 0.8 * width)
    if np.ptp(bulge[beyond]) * abs(end) < 3 * pixel:
        return True
    on = np.abs(ends - end * (1 + bulge)) < 1.5 * pixel
    return max(on[beyond & (q > 0)].mean(), on[beyond & (q < 0)].mean()) > 0.3


def width_behind_fins(upper, lower, reach, caliber, pixel):
    """(half-width, first station) of the body's last bit between the fins and its end, level on both sides alike, or on
    one side if a fin ends on that very side and the other is no narrower; None without one. Fins may hide all else of
    a larger tube they stand on."""
    half, alike = (upper + lower) / 2, np.abs(upper - lower) < 1.2 * pixel + 0.01 * caliber
    sides = [(half, reach, alike)]
    sides += [(a, a, a < b + 1.2 * pixel + 0.01 * caliber) for a, b in ((upper, lower), (lower, upper))]
    found = (_last_level_bit(*side, caliber, pixel) for side in sides)
    return next((bit for bit in found if bit is not None), None)


def _last_level_bit(half, fins, usable, caliber, pixel):
    """(half-width, first station) of what is level last before the end, behind `fins` that stand out; None without."""
    n = int(np.flatnonzero(half > 0.25 * caliber)[-1]) + 1  # behind it only a fin on the axis, seen edge-on
    half = half[:n]
    bits = _true_runs(_level(half, 4, pixel) & usable[:n] & (half > 0.45 * caliber))
    if not bits or bits[-1][1] < 0.95 * n:
        return None
    first, last = bits[-1]
    width = float(np.median(half[first : last + 1]))
    # behind it comes nothing but the rim's arc, half way along it still 0.87 of the width: not a narrower body's end
    # between fins that stand out aft
    rim = half[last + 1 :]
    round_end = len(rim) < 3 or rim[len(rim) // 2] > 0.75 * width
    stands_out = fins[max(first - n // 10, 0) : first].max(initial=0.0) > width + 0.3 * caliber
    return (width, first) if stands_out and round_end else None


def _fin_runs(over, both_over, pixel, near, caliber, groups):
    """Runs of stations that stand out by more than a lug would, the largest `groups` of them, nose to tail, each
    carried on fore and aft to where nothing stands out any more. Low fins count if they were said and both sides show
    them: a lug stands on one side only."""
    stands_out = _closed(over > 0.07 * caliber + 1.5 * pixel, 3)
    every = _true_runs(stands_out)
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


def _true_runs(flags):
    edge = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def body_side(p, width, envelope, runs, near, caliber):
    """Stations where this side shows the body: anywhere but at fins, and there only where it keeps to the envelope."""
    other = np.zeros(len(width), bool)
    steep = -np.gradient(width, p) > STEEPEST_TAIL
    gentle = [last for first, last in _true_runs(~steep) if last - first >= 4]
    steep[gentle[-1] if gentle else 0 :] = False  # the rim of the aft end, with no more body behind it
    for first, last in runs:
        step = slice(first, last + 1)
        other[step] = (width[step] - envelope[step] >= near) | steep[step]
    # a fin's edge leaves the limb gradually: what is next to it is not trusted either; and behind the body's end
    # only a fin that stands out aft crosses the axis
    aft = np.arange(len(width)) > len(width) // 2
    other |= aft & (width < 0.2 * caliber)
    seen = (width > 0) & (np.convolve(other, np.ones(7), "same") < 0.5)
    for first, last in _true_runs(seen):
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
    seen = np.split(
        misfit, np.flatnonzero(np.diff(chosen) > 3) + 1
    )  # what stands on either side of a fin counts alone
    parts = [misfit[:end], misfit[len(misfit) // 2 - end : len(misfit) // 2 + end], misfit[-end:], *seen]
    return abs(slope) <= MAX_TILT_TAN * y.mean() and max(abs(middle(part)) for part in parts) <= tolerance


def middle(values: np.ndarray) -> float:
    """The median, or for an even number the upper of the two middle values: ten times as quick on short arrays."""
    half = len(values) // 2
    return float(np.partition(values, half)[half])
