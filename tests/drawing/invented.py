"""Rockets nobody sells: random bodies, fins and paint, in proportions builders use."""

import numpy as np
from skimage.color import rgb2lab

from .scene import DrawnFins, Lug, Paint, Rocket

PALETTE = {
    "red": (190, 40, 40),
    "navy": (40, 42, 84),
    "orange": (225, 110, 35),
    "yellow": (235, 195, 40),
    "green": (40, 120, 60),
    "teal": (30, 110, 120),
    "purple": (105, 50, 130),
    "white": (236, 236, 232),
    "black": (34, 34, 36),
    "blue": (50, 70, 180),
}


def nose_radius_mm(kind: str, length_mm: float, radius_mm: float) -> np.ndarray:
    """(n, 2) points, denser at the tip."""
    share = np.linspace(0, 1, 70) ** 2
    if kind == "cone":
        share, radius = np.array([0.0, 1.0]), np.array([0.0, 1.0])
    elif kind == "ogive":  # tangent: an arc whose centre stands over the nose's base
        arc = (radius_mm**2 + length_mm**2) / (2 * radius_mm)
        radius = (np.sqrt(arc**2 - ((1 - share) * length_mm) ** 2) + radius_mm - arc) / radius_mm
    elif kind == "ellipse":
        radius = np.sqrt(1 - (1 - share) ** 2)
    else:  # a parabola tangent to the tube
        radius = 2 * share - share**2
    return np.column_stack([share * length_mm, np.maximum(radius, 0) * radius_mm])


def _planform(kind: str, root: float, span: float, rng: np.random.Generator) -> np.ndarray:
    """(n, 2) x aft from the root's leading edge, y out from the root line."""
    if kind == "elliptic":
        turn = np.linspace(0, np.pi, 49)
        return np.column_stack([root / 2 * (1 - np.cos(turn)), span * np.sin(turn)])
    if kind == "many-sided":
        corners = [[0, 0], [0.33, 0.42], [0.52, 0.85], [0.7, 1.0], [1.02, 0.96], [0.95, 0.45], [1.0, 0]]
        corners = np.array(corners)
        corners[1:-1] += rng.uniform(-0.03, 0.03, (5, 2))
        corners[:, 1] /= corners[:, 1].max()
        return corners * [root, span]
    tip = root * rng.uniform(0.25, 0.7)
    tip_end = {"delta": 1.0, "swept": rng.uniform(1.1, 1.35), "trapezoid": rng.uniform(0.75, 1.05)}[kind] * root
    return np.array([[0, 0], [tip_end - tip, span], [tip_end, span], [root, 0]])


def random_profile(rng: np.random.Generator) -> np.ndarray:
    """(n, 2) nose, one or two tubes with a shoulder between, perhaps a boat-tail."""
    radius = rng.uniform(9, 33)
    caliber = 2 * radius
    points = nose_radius_mm(
        str(rng.choice(["cone", "ogive", "ellipse", "parabola"])), rng.uniform(2, 4.5) * caliber, radius
    )

    def add(length_mm: float, radius_mm: float) -> None:
        nonlocal points
        points = np.vstack([points, [points[-1, 0] + length_mm, radius_mm]])

    add(rng.uniform(4, 8) * caliber, radius)
    if rng.random() < 0.2:
        radius *= rng.uniform(1.15, 1.4)
        add(rng.uniform(0.4, 1.2) * caliber, radius)
        add(rng.uniform(2, 3.5) * caliber, radius)
    if rng.random() < 0.25:
        add(rng.uniform(0.6, 1.2) * caliber, radius * rng.uniform(0.62, 0.88))
    return points


def random_rocket(rng: np.random.Generator, count: int, roll_deg: float) -> Rocket:
    """A rocket with an aft fin group at this roll, sometimes a smaller one ahead of it, sometimes a lug."""
    profile = random_profile(rng)
    plain = Rocket(profile)
    caliber, length = plain.max_diameter_mm, plain.length_mm
    thickness = round(float(np.clip(rng.normal(0.055, 0.012) * caliber, 0.8, 4.0)), 1)
    round_edges = bool(rng.random() < 0.7)

    def group(count: int, root: float, span: float, aft_end_mm: float) -> DrawnFins:
        kind = str(rng.choice(["trapezoid", "delta", "swept", "elliptic", "many-sided"]))
        outline = _planform(kind, root, span, rng)
        outline[:, 0] += aft_end_mm - root
        ends = plain.radius_mm(outline[[0, -1], 0])
        along = np.clip((outline[:, 0] - outline[0, 0]) / root, 0, 1)
        outline[:, 1] += ends[0] + along * (ends[1] - ends[0])
        return DrawnFins(count, outline, thickness, roll_deg, round_edges)

    root = rng.uniform(1.1, 2.2) * caliber
    aft = group(count, root, rng.uniform(0.75, 1.5) * caliber, length - rng.uniform(0, 0.25) * caliber)
    groups = [aft]
    if rng.random() < 0.12:
        small = rng.uniform(0.5, 0.8)
        ahead = aft.outline_mm[0, 0] - rng.uniform(1.0, 1.8) * caliber
        groups.insert(0, group(count, small * root, small * rng.uniform(0.6, 0.9) * caliber, ahead))
    lug = None
    if rng.random() < 0.2:
        start = 0.5 * length
        angle = roll_deg + (int(rng.integers(count)) + 0.5) * 360 / count
        lug = Lug(start, start + rng.uniform(25, 45), rng.uniform(1.8, 2.8), angle)
    return Rocket(profile, tuple(groups), lug)


def _apart(one: tuple[int, int, int], other: tuple[int, int, int]) -> float:
    lab = rgb2lab(np.array([[one, other]], float) / 255)[0]
    return float(np.linalg.norm(lab[0] - lab[1]))


def random_paint(rng: np.random.Generator, rocket: Rocket, background: tuple[int, int, int]) -> Paint:
    """Colours that stand out from the background, as advised for taking the photo."""
    usable = [colour for colour in PALETTE.values() if _apart(colour, background) > 30]
    body, second, fins = (usable[int(i)] for i in rng.integers(len(usable), size=3))
    nose_end = float(rocket.profile_mm[np.argmax(np.diff(rocket.profile_mm[:, 1]) == 0), 0])
    bands = [(0.0, nose_end, second)] if rng.random() < 0.7 else []
    if rng.random() < 0.5:
        start = rng.uniform(0.5, 0.65) * rocket.length_mm
        bands.append((start, start + rng.uniform(0.1, 0.5) * rocket.max_diameter_mm, second))
    return Paint(body, tuple(bands), fins, gloss=float(rng.uniform(0.05, 0.9)))
