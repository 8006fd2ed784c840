"""A traced profile described as named pieces, for people. Nothing is computed from the description.

The profile is resampled; each stretch between two candidate joints is offered every shape it could have, and
dynamic programming takes the joints with the least squared misfit plus a price for every piece, so that noise
alone buys none. The joints are then moved to where the pieces on both sides fit best.
"""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from digitize.geometry.nose_shapes import NOSE_SHAPES, nose_radius
from digitize.numeric.solving import least_between
from digitize.records import ProfilePiece

_JOINTS = 61  # candidate joints, evenly spread over the length
_PER_JOINT = 4  # stations for the misfit from joint to joint, taken as one independent measurement
_NOISE_MM = 0.2  # radius noise of a trace, and how exactly a real part keeps its shape
_PRICE = 16.0  # of a piece, in squared noise; a line fitted to noise alone gains 2
_TUBE_PRICE = 10.0
"""The same of a tube, which has one parameter less and is the commonest piece. Both prices by eye, no source."""
_SHARP_MM = 1.0  # a profile that starts thicker than this has no nose
_LEVEL_MM = 0.4  # a straight piece whose radius changes less is a tube
_SAME_LEAN = 0.01  # two straight pieces that lean this nearly alike have no sure crossing
# The parabola is left out: no trace tells it from an ogive, which is the commoner by far.
_NOSES = (
    ("cone", 0.0),
    ("ogive", 0.0),
    ("ellipsoid", 0.0),
    ("paraboloid", 0.0),
    ("haack", 0.0),
    ("haack", 1 / 3),
)
_Kind = tuple[str, float]
"""A shape and its parameter c, which only a haack nose has."""
_TUBE, _FRUSTUM = ("tube", 0.0), ("frustum", 0.0)


@dataclass(frozen=True)
class _Piece:
    """kind and c as in shapes, or tube or frustum; places and end radii in millimetres."""

    kind: str
    c: float
    from_mm: float
    to_mm: float
    fore_mm: float
    aft_mm: float

    @property
    def lean(self) -> float:
        return (self.aft_mm - self.fore_mm) / (self.to_mm - self.from_mm)

    def radius(self, x):
        share = (x - self.from_mm) / (self.to_mm - self.from_mm)
        if self.kind in NOSE_SHAPES:
            slenderness = (self.to_mm - self.from_mm) / self.aft_mm
            return self.aft_mm * nose_radius(self.kind, share, slenderness, self.c)
        return self.fore_mm + (self.aft_mm - self.fore_mm) * share


def describe_profile(profile_mm) -> tuple[ProfilePiece, ...]:
    """Named pieces from nose to tail of a profile (n, 2): x from the tip, radius, millimetres.

    kind: for the first piece one of nose_shapes.NOSE_SHAPES, else 'tube' or 'frustum'; a curved tail comes as several
    frustums.
    """
    profile_x, profile_r = np.asarray(profile_mm, float).T
    x = np.linspace(0, profile_x[-1], (_JOINTS - 1) * _PER_JOINT + 1)
    r = np.interp(x, profile_x, profile_r)
    kinds, joints = _merge_tubes(x, r, *_choose(x, r))
    if kinds[0] in _NOSES:
        trials = [([nose, *kinds[1:]], list(joints)) for nose in _NOSES]
        kinds, joints = min(trials, key=lambda trial: _move_joints(x, r, *trial))
    else:
        _move_joints(x, r, kinds, joints)
    return tuple(_told(piece, x, r) for piece in _meeting(_fit_all(x, r, kinds, joints)))


def _choose(x, r) -> tuple[list[_Kind], list[float]]:
    """The kinds of the cheapest description, and where its pieces join, both ends included."""
    places = x[::_PER_JOINT]
    noise = _NOISE_MM**2 * _PER_JOINT
    tube, frustum = (misfit / noise for misfit in _straight_misfits(x, r))
    cost = np.minimum(tube + _TUBE_PRICE, frustum + _PRICE)
    is_tube = tube + _TUBE_PRICE <= frustum + _PRICE
    noses: list[_Kind | None] = [None] * _JOINTS
    if r[0] < _SHARP_MM:
        for j in range(1, _JOINTS):
            misfits = [_squared_misfit(_fit(nose, x, r, 0.0, places[j]), x, r) for nose in _NOSES]
            noses[j] = _NOSES[int(np.argmin(misfits))]
            cost[0, j] = min(misfits) / noise + _PRICE
    total, before = np.zeros(_JOINTS), np.zeros(_JOINTS, int)
    for j in range(1, _JOINTS):
        before[j] = np.argmin(total[:j] + cost[:j, j])
        total[j] = total[before[j]] + cost[before[j], j]
    path = [_JOINTS - 1]
    while path[0] > 0:
        path.insert(0, int(before[path[0]]))
    kinds = [_TUBE if is_tube[pair] else _FRUSTUM for pair in pairwise(path)]
    nose = noses[path[1]]
    if nose is not None:
        kinds[0] = nose
    return kinds, list(places[path])


def _straight_misfits(x, r):
    """Squared misfit of a tube and of a frustum from joint i to joint j, two (joints, joints) arrays."""
    columns = np.stack([np.ones_like(x), x, r, x * x, x * r, r * r])
    sums = np.concatenate([np.zeros((6, 1)), np.cumsum(columns, axis=1)], axis=1)
    first = np.arange(_JOINTS) * _PER_JOINT
    n, sx, sr, sxx, sxr, srr = sums[:, None, first + 1] - sums[:, first, None]
    upper = np.triu(np.ones((_JOINTS, _JOINTS), bool), 1)
    n, sx, sr, sxx, sxr, srr = (
        np.where(upper, s, one) for s, one in zip((n, sx, sr, sxx, sxr, srr), (1, 0, 0, 1, 0, 0), strict=True)
    )
    tube = np.maximum(srr - sr**2 / n, 0)
    frustum = np.maximum(tube - (sxr - sx * sr / n) ** 2 / (sxx - sx**2 / n), 0)
    return tube, frustum


def _merge_tubes(x, r, kinds: list[_Kind], joints: list[float]) -> tuple[list[_Kind], list[float]]:
    """Nearly level pieces named tubes, and neighbouring tubes of one diameter made one."""
    pieces = _fit_all(x, r, kinds, joints)
    merged_kinds, merged_joints = [], [joints[0]]
    last_radius = None
    for piece, kind in zip(pieces, kinds, strict=True):
        level = kind in (_TUBE, _FRUSTUM) and abs(piece.aft_mm - piece.fore_mm) < _LEVEL_MM
        radius = (piece.fore_mm + piece.aft_mm) / 2 if level else None
        if radius is not None and last_radius is not None and abs(radius - last_radius) < _LEVEL_MM:
            merged_joints[-1] = piece.to_mm
        else:
            merged_kinds.append(_TUBE if level else kind)
            merged_joints.append(piece.to_mm)
            last_radius = radius
    return merged_kinds, merged_joints


def _fit_all(x, r, kinds: list[_Kind], joints: list[float]) -> list[_Piece]:
    return [_fit(kind, x, r, *ends) for kind, ends in zip(kinds, pairwise(joints), strict=True)]


def _within(x, from_mm, to_mm):
    """The stations of a stretch, as a slice."""
    return slice(*np.searchsorted(x, [from_mm - 1e-9, to_mm + 1e-9]))


def _fit(kind: _Kind, x, r, from_mm: float, to_mm: float) -> _Piece:
    """The piece of this kind that fits the stretch best in least squares."""
    shape, c = kind
    stretch = _within(x, from_mm, to_mm)
    x, r = x[stretch], r[stretch]
    if shape == "tube":
        return _Piece(shape, c, from_mm, to_mm, r.mean(), r.mean())
    share = (x - from_mm) / (to_mm - from_mm)
    if shape == "frustum":
        lean = ((share - share.mean()) @ (r - r.mean())) / ((share - share.mean()) @ (share - share.mean()))
        fore = r.mean() - lean * share.mean()
        return _Piece(shape, c, from_mm, to_mm, max(fore, 0.0), max(fore + lean, 0.0))
    form = nose_radius(shape, share, (to_mm - from_mm) / max(r[-1], 1e-6), c)
    return _Piece(shape, c, from_mm, to_mm, 0.0, max((form @ r) / (form @ form), 1e-6))


def _squared_misfit(piece: _Piece, x, r) -> float:
    stretch = _within(x, piece.from_mm, piece.to_mm)
    return float(np.sum((piece.radius(x[stretch]) - r[stretch]) ** 2))


def _move_joints(x, r, kinds: list[_Kind], joints: list[float]) -> float:
    """Move each joint, in place, to where the pieces on both sides fit best; the squared misfit of all."""
    reach = 1.5 * _PER_JOINT * x[1]
    for k in [*range(1, len(kinds))] * 2:
        low = max(joints[k] - reach, joints[k - 1] + reach / 3)
        high = min(joints[k] + reach, joints[k + 1] - reach / 3)
        if low >= high:
            continue

        def sides(place, k=k):
            before = _fit(kinds[k - 1], x, r, joints[k - 1], place)
            return before, _fit(kinds[k], x, r, place, joints[k + 1])

        def misfit(place, sides=sides):
            return sum(_squared_misfit(piece, x, r) for piece in sides(place))

        crossing = _crossing(*sides(joints[k]))
        if crossing is not None and low <= crossing <= high:
            joints[k] = crossing
            continue
        best = least_between(misfit, low, high)
        joints[k] = min((joints[k], best), key=misfit)
    return sum(_squared_misfit(piece, x, r) for piece in _fit_all(x, r, kinds, joints))


def _crossing(before: _Piece, behind: _Piece) -> float | None:
    """Where two straight pieces, prolonged, cross; None for curved ones and for a step."""
    if not {before.kind, behind.kind} <= {"cone", "tube", "frustum"}:
        return None
    lean_before, lean_behind = before.lean, behind.lean
    if abs(lean_before - lean_behind) < _SAME_LEAN:
        return None
    gap = behind.fore_mm - before.aft_mm
    return before.to_mm + gap / (lean_before - lean_behind)


def _meeting(pieces: list[_Piece]) -> list[_Piece]:
    """Pieces that share their end radii: a tube's is known best, two others meet half way."""
    for k in range(len(pieces) - 1):
        before, behind = pieces[k], pieces[k + 1]
        if before.kind == behind.kind == "tube":
            continue
        radius = (before.aft_mm + behind.fore_mm) / 2
        if "tube" in (before.kind, behind.kind):
            radius = before.aft_mm if before.kind == "tube" else behind.fore_mm
        pieces[k] = replace(before, aft_mm=radius)
        pieces[k + 1] = replace(behind, fore_mm=radius)
    return pieces


def _told(piece: _Piece, x, r) -> ProfilePiece:
    count = max(x[_within(x, piece.from_mm, piece.to_mm)].size, 1)
    return ProfilePiece(
        kind=piece.kind,
        from_mm=round(float(piece.from_mm), 2),
        to_mm=round(float(piece.to_mm), 2),
        fore_diameter_mm=round(float(2 * piece.fore_mm), 2),
        aft_diameter_mm=round(float(2 * piece.aft_mm), 2),
        misfit_mm=round(math.sqrt(_squared_misfit(piece, x, r) / count), 3),
        c=round(piece.c, 3) if piece.kind == "haack" else None,
    )
