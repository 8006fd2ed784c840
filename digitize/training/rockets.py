"""Random rockets: profile, fins, lugs, where each paint begins. The body is one unit long."""

import math
from dataclasses import dataclass

import numpy as np

from digitize.training.chance import Chance
from digitize.training.scene_arrays import MOST_CORNERS, MOST_FINS, MOST_PROFILE

NOSES = {"cone": 2, "ogive": 5, "ellipsoid": 2.5, "haack": 2.5, "parabola": 1.5, "power": 2, "blunt": 0.8}
PLANFORMS = {
    "trapezoid": 5,
    "clipped": 2,
    "ellipse": 2.5,
    "curved": 3,
    "notched": 1,
    "kite": 1,
    "many": 2,
    "stepped": 0.8,
}
HELD_OUT_NOSES, HELD_OUT_PLANFORMS = {"power": 1}, {"notched": 1}
"""Never drawn while training; the held-out pictures have these only."""
COUNTS = {3: 5, 4: 6, 5: 0.6, 6: 1, 8: 0.5, 2: 0.3}


@dataclass(frozen=True)
class Fin:
    """angle_rad round the axis; thickness; group: which planform."""

    angle_rad: float
    thickness: float
    group: int


@dataclass(frozen=True)
class Rocket:
    """profile: (n, 2) x, radius; planforms: (m, 2) x, distance from the axis, one a group; lugs: (k, 5) from, to,
    angle_rad, own radius, paint; radius: of the main tube; nose_x: where the nose ends."""

    profile: np.ndarray
    radius: float
    nose_x: float
    planforms: tuple[np.ndarray, ...]
    fins: tuple[Fin, ...]
    lugs: tuple[tuple[float, ...], ...]

    def radius_at(self, x: float) -> float:
        """Of the body."""
        return float(np.interp(x, self.profile[:, 0], self.profile[:, 1]))


def rocket(chance: Chance, held_out: bool) -> Rocket:
    """A rocket. held_out: only with noses and fins that are never drawn in training."""
    profile, radius, nose_x = _profile(chance, HELD_OUT_NOSES if held_out else _without(NOSES, HELD_OUT_NOSES))
    planforms, fins = [], []
    kinds = HELD_OUT_PLANFORMS if held_out else _without(PLANFORMS, HELD_OUT_PLANFORMS)
    stands = chance.named({"flat": 4, "edge-on": 1.5, "between": 2.5, "any": 3})
    for group in range(chance.one_of([1, 2], [4, 1])):
        count = chance.named(COUNTS)
        aft = 1 + chance.one_of(
            [0, chance.even(-0.02, 0.02), chance.even(0, 0.1), -chance.even(0, 3) * radius], [3, 2, 1.5, 3]
        )
        aft = aft if group == 0 else chance.even(0.2, 0.75)
        root_radius = float(np.interp(min(aft, 1) - 0.02, *profile.T))
        span = min(2 * radius * (chance.scale(0.5, 2.6) if group == 0 else chance.scale(0.35, 1.6)), 0.32)
        planforms.append(_planform(chance, kinds, radius, aft, root_radius, span))
        fins += _standing(chance, stands, count, group, radius)
    lugs = []
    if chance.happens(0.35):
        turn = chance.even(0, 6.3)
        for _ in range(chance.one_of([1, 2])):
            x, own = chance.even(0.35, 0.85), max(radius * chance.even(0.08, 0.25), 0.0015)
            lugs.append((x, x + chance.even(0.02, 0.1), turn, own, chance.one_of([2, 3, 7])))
    return Rocket(profile, radius, nose_x, tuple(planforms), tuple(fins[:MOST_FINS]), tuple(lugs))


def _without(table: dict, less: dict) -> dict:
    return {key: weight for key, weight in table.items() if key not in less}


def _standing(chance: Chance, stands: str, count: int, group: int, radius: float) -> list[Fin]:
    """One group's fins round the body; glued by hand, so each a little off."""
    first = {"flat": 0.0, "edge-on": math.pi / 2, "between": math.pi / count, "any": chance.even(0, 6.3)}[stands]
    first += chance.about(0, 0.04) + (math.pi / count if group and chance.happens(0.5) else 0)
    first += math.pi if count == 3 and chance.happens(0.5) else 0
    thickness = chance.scale(0.0015, 0.008) * (0.5 + radius * 8)
    off = chance.one_of([0.0, 0.03])
    return [Fin(first + 2 * math.pi * k / count + chance.about(0, off), thickness, group) for k in range(count)]


def _profile(chance: Chance, noses: dict) -> tuple[np.ndarray, float, float]:
    slender = chance.scale(3.6, 40) if chance.happens(0.8) else chance.scale(8, 18)
    radius = 0.5 / slender
    if chance.happens(0.07):  # curved all along
        t, peak = np.linspace(0, 1, 50), chance.even(0.25, 0.6)
        fore = np.sin(np.pi / 2 * np.clip(t / peak, 0, 1)) ** chance.even(0.5, 1.2)
        aft = 1 - (1 - chance.even(0.3, 0.9)) * np.clip((t - peak) / (1 - peak), 0, 1) ** chance.even(1.3, 2.5)
        return np.stack([t, np.where(t < peak, fore, aft) * radius], 1), radius, 0.3
    length = float(np.clip(chance.even(1.2, 6) * 2 * radius, 0.04, 0.5))
    base = radius * chance.one_of([1, chance.even(0.5, 1), chance.even(0.25, 0.6)], [3, 1, 0.1])
    points = list(zip(*_nose(chance, chance.named(noses), length, base), strict=True))
    x, now = length, base
    if chance.happens(0.15):  # the nose's foot not quite as wide as the tube, or a groove
        now = base * chance.even(0.92, 1.05)
        points.append((x, now))
    steps = chance.one_of([0, 1, 2], [5, 3, 1])
    for place in np.sort([chance.even(length + 0.02, 0.92) for _ in range(steps)]):
        if place <= x + 0.01:
            continue
        points.append((place, now))
        new = radius * chance.even(0.45, 1) if now >= radius * 0.99 else radius
        x = place + min(chance.one_of([0, chance.even(0.005, 0.03), chance.even(0.03, 0.12)]), 0.97 - place)
        now = new
        points.append((x, now))
    widest = max(r for _, r in points)
    if widest < radius * 0.99:
        points = [(a, r * radius / widest) for a, r in points]
        now = points[-1][1]
    if chance.happens(0.12):  # bands of tape, rings, couplers that show
        x = _rings(chance, points, x, now)
    if chance.happens(0.3):  # boat-tail or flare
        points.append((max(x + 0.005, 1 - chance.even(0.02, 0.15)), now))
        points.append((1, now * chance.one_of([chance.even(0.45, 0.95), chance.even(1.02, 1.3)], [4, 1])))
    else:
        points.append((1, now))
    profile = np.array(points[:MOST_PROFILE])
    profile[:, 1] *= radius / profile[:, 1].max()
    return profile, radius, length


def _rings(chance: Chance, points: list, x: float, now: float) -> float:
    for place in np.sort([chance.even(x + 0.01, 0.8) for _ in range(chance.one_of([1, 2]))]):
        if place > x + 0.01 and len(points) < MOST_PROFILE - 8:
            wide = chance.even(0.005, 0.04)
            out = now * chance.even(1.01, 1.06)
            points += [(place, now), (place, out), (place + wide, out), (place + wide, now)]
            x = place + wide
    return x


def _nose(chance: Chance, kind: str, length: float, base: float) -> tuple[np.ndarray, np.ndarray]:
    t = np.linspace(0, 1, 24) ** 1.5
    if kind == "cone":
        r = t
    elif kind == "ogive":
        slender = length / base
        rho = (slender**2 + 1) / 2
        r = np.sqrt(np.maximum(rho**2 - (slender * (1 - t)) ** 2, 0)) + 1 - rho
    elif kind == "ellipsoid":
        r = np.sqrt(1 - (1 - t) ** 2)
    elif kind == "haack":
        theta = np.arccos(1 - 2 * t)
        r = np.sqrt(
            np.maximum(theta - np.sin(2 * theta) / 2 + chance.one_of([0, 1 / 3]) * np.sin(theta) ** 3, 0) / np.pi
        )
    elif kind == "parabola":
        k = chance.even(0.3, 1)
        r = (2 * t - k * t * t) / (2 - k)
    elif kind == "power":
        r = t ** chance.even(0.4, 0.8)
    else:
        blunt = chance.even(0.2, 0.6)
        r = blunt + (1 - blunt) * np.sqrt(1 - (1 - t) ** 2)
    r = np.clip(r, 0, 1)
    if kind != "blunt" and chance.happens(0.4):  # a rounded tip
        tip = chance.even(0.03, 0.25)
        r = np.sqrt(r * r * (1 - tip**2) + tip**2 * (1 - np.exp(-t * 40)))
    return t * length, r * base


def _planform(chance: Chance, kinds: dict, radius: float, aft: float, root_radius: float, span: float) -> np.ndarray:
    """(m, 2) x, distance from the axis; begins and ends inside the body."""
    even, kind = chance.even, chance.named(kinds)
    root = min(float(np.clip(even(0.6, 5) * 2 * radius, 0.03, 0.4)), 0.45 * max(aft, 0.1))
    fore, sweep, top = aft - root, even(-0.2, 1.5) * span, root_radius + span
    tip = root * chance.one_of([0.02, even(0.2, 1), even(0.8, 1.1)], [1, 5, 1])
    start, end = [(fore, root_radius * 0.55), (fore, root_radius)], [(aft, root_radius), (aft, root_radius * 0.55)]
    lead, trail = (fore + sweep, top), (fore + sweep + tip, top)
    if kind == "trapezoid":
        middle = [lead, trail]
    elif kind == "clipped":
        cut = even(0.1, 0.5)
        middle = [
            (lead[0] - sweep * cut * 0.3, root_radius + span * (1 - cut * 0.4)),
            (lead[0] + tip * cut, top),
            trail,
        ]
    elif kind == "ellipse":
        turn, skew = np.linspace(np.pi, 0, 17)[1:-1], even(0, 1) * span
        middle = [
            ((fore + aft) / 2 + root / 2 * math.cos(a) + skew * math.sin(a), root_radius + span * math.sin(a))
            for a in turn
        ]
    elif kind == "curved":
        t, c1, c2 = np.linspace(0, 1, 10)[1:], even(-0.5, 1) * span, even(-0.3, 0.8) * span
        middle = [(fore + sweep * a + c1 * a * (1 - a) * 1.5, root_radius + span * a) for a in t]
        middle += [(aft + (trail[0] - aft) * a + c2 * a * (1 - a) * 1.5, root_radius + span * a) for a in t[::-1]]
    elif kind == "notched":
        middle = [lead, trail, (lead[0] + tip * 0.9, root_radius + span * 0.5)]
        end = [(aft, root_radius + span * 0.4), (aft, root_radius * 0.55)]
    elif kind == "kite":
        middle = [
            (fore + sweep * 0.5, root_radius + span * 0.6), (fore + sweep * 0.6 + 0.2 * root, top),
            (trail[0], root_radius + span * even(0.6, 1)), (aft + even(0, 0.3) * root, root_radius + span * 0.3),
        ]  # fmt: skip
    elif kind == "stepped":  # a strake that runs forward into a larger fin
        low, at = root_radius + span * even(0.1, 0.4), fore + root * even(0.2, 0.6)
        middle = [
            (fore + (at - fore) * even(0.05, 0.6), low),
            (at, low),
            (max(at, lead[0]), top),
            (max(at, lead[0]) + tip, top),
        ]
    else:
        places = np.sort(chance.rng.random(int(chance.rng.integers(3, 8))))
        middle = [(fore + root * a + sweep * even(0.4, 1), root_radius + span * even(0.5, 1)) for a in places]
    return np.array([*start, *middle, *end][:MOST_CORNERS], float)
