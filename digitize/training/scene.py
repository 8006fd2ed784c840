"""One random scene: a rocket somewhere, lit and seen somehow, as a block of numbers for raycast.cu."""

import math

import numpy as np

from digitize.training import things as around
from digitize.training.chance import Chance, linear
from digitize.training.grounds import BACKDROPS, HELD_OUT_GROUNDS, ground, material, paint
from digitize.training.rockets import Rocket, rocket
from digitize.training.scene_arrays import (
    AT,
    COLLAGES,
    MATERIAL_SIZE,
    MOST_SECTIONS,
    PICTURE,
    PLANFORM_SIZE,
    SCENE_SIZE,
)
from digitize.training.supports import stand, supports

ROCKET_PAINTS = range(2, 8)  # materials 0 and 1 are ground and wall, 2 the body's own, 5 and 6 the fins'
SETTINGS = {"lying": 6.5, "standing": 2, "level": 1.5}
"""Lying, seen from above; standing, the ground plane being a backdrop far behind and the wall the floor; level on
supports, seen from the side before a wall."""
DISGUISES = {"none": 6, "all": 1.4, "body": 1.3, "fins": 1.3, "shadow": 0.8, "ground itself": 0.4}
"""What of the rocket is nearly of the colour of what lies behind it; shadow: the body, of the colour of its shadow."""


def scene(seed: int, held_out: bool = False) -> np.ndarray:
    """(SCENE_SIZE,) float32. held_out: with grounds, noses and fins that training never shows."""
    chance = Chance(seed)
    block = np.zeros(SCENE_SIZE, np.float32)
    ship = rocket(chance, held_out)
    setting, disguise = chance.named(SETTINGS), chance.named(DISGUISES)
    _write_rocket(block, ship, chance)
    origin, axes, points, lift = _place(chance, ship, setting)
    block[AT["ROCKET"] : AT["ROCKET"] + 12] = np.concatenate([origin, axes.ravel()])
    low, high = points.min(0), points.max(0)
    oblique = _oblique(chance, setting)
    _, width = _camera(block, chance, points, oblique)
    base = None
    if disguise != "none" and chance.happens(0.4):
        base = chance.colour(chance.one_of(["dark", "white"]))
    floor = ground(chance, width, base, HELD_OUT_GROUNDS if held_out else BACKDROPS if setting == "standing" else None)
    _shade_of_leaves(floor, chance, width)
    kinds = HELD_OUT_GROUNDS if held_out else BACKDROPS if setting == "level" and chance.happens(0.5) else None
    near = (base is not None and setting == "level") or chance.happens(0.4)
    wall = ground(chance, width * chance.one_of([1, 0.6]), _typical(floor) if near else None, kinds)
    like = _typical(wall if setting == "level" else floor)
    palette = _paints(block, chance, ship, floor, like, disguise)
    block[AT["MATERIALS"] : AT["MATERIALS"] + 2 * MATERIAL_SIZE] = np.concatenate([floor, wall])
    _lights(block, chance, floor)
    _wall(block, chance, setting, oblique, low, high)
    _things(block, chance, ship, origin, axes, (low, high), lift, width, setting, oblique, like, palette)
    return block


def _write_rocket(block: np.ndarray, ship: Rocket, chance: Chance) -> None:
    r = AT["ROCKET"]
    block[r + 12 : r + 16] = len(ship.profile), len(ship.fins), len(ship.lugs), ship.profile[:, 1].max()
    block[AT["PROFILE"] : AT["PROFILE"] + ship.profile.size] = ship.profile.ravel()
    two_paints = chance.happens(0.15)
    for k, fin in enumerate(ship.fins):
        place = AT["FINS"] + 8 * k
        number = 6 if two_paints and k % 2 else 5
        block[place : place + 6] = (
            fin.angle_rad, fin.thickness, number, fin.group, math.cos(fin.angle_rad), math.sin(fin.angle_rad)
        )  # fmt: skip
    for k, shape in enumerate(ship.planforms):
        place = AT["PLANFORMS"] + PLANFORM_SIZE * k
        (x0, y0), (x1, y1) = shape.min(0), shape.max(0)
        block[place : place + 5] = len(shape), x0, x1, y0, y1
        block[place + 8 : place + 8 + shape.size] = shape.ravel()
    for k, (start, end, turn, own, number) in enumerate(ship.lugs):
        place = AT["LUGS"] + 8 * k
        block[place : place + 6] = start, end, ship.radius_at(start) + own, turn, own, number


def _oblique(chance: Chance, setting: str) -> float:
    """How far the view is from straight down, rad."""
    if setting == "level":
        return chance.one_of([-1, 1]) * chance.even(1.1, 1.53)
    if setting == "standing" or chance.happens(0.72):
        return chance.about(0, 0.08)
    return chance.even(-1.0, 1.0)


def _place(chance: Chance, ship: Rocket, setting: str):
    """(nose tip, (3, 3) axes, (n, 3) points of its surface, height of its lowest point)."""
    tilt = chance.one_of([0, chance.about(0, 0.03), chance.even(-0.14, 0.14)], [2, 4, 1.5])
    x = np.array([math.cos(tilt), 0, math.sin(tilt)])
    y = np.array([0, 1.0, 0])
    axes = np.stack([x, y, np.cross(x, y)])
    turn = np.linspace(0, 2 * np.pi, 9)
    ring = [(a, r * math.cos(t), r * math.sin(t)) for a, r in [*ship.profile[::3], ship.profile[-1]] for t in turn]
    for fin in ship.fins:
        ring += [(a, r * math.cos(fin.angle_rad), r * math.sin(fin.angle_rad)) for a, r in ship.planforms[fin.group]]
    points = np.array(ring) @ axes
    lift = chance.one_of([0.0005, chance.even(0, 0.05), chance.even(0.05, 0.4), chance.even(0.4, 2)], [5, 2.5, 2, 0.7])
    if setting == "standing":
        lift = chance.even(0.3, 4)
    elif setting == "level":
        lift = chance.scale(0.02, 1)
    origin = np.array([0, 0, lift - points[:, 2].min()])
    return origin, axes, points + origin, lift


def _camera(block: np.ndarray, chance: Chance, points: np.ndarray, oblique: float) -> tuple[float, float]:
    """Writes the camera; its distance, and the width of what it shows there."""
    height, width = PICTURE
    target, distance, aside = (points.min(0) + points.max(0)) / 2, chance.scale(1.3, 6), chance.about(0, 0.04)
    away = np.array([math.sin(aside), math.sin(oblique), math.cos(oblique) * math.cos(aside)])
    away /= np.linalg.norm(away)
    place, forward = target + away * distance, -away
    right = np.cross(forward, [0, 1.0, 0])
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    quarter = math.pi / 2
    turn = chance.even(0, 6.3)
    if chance.happens(0.72):
        turn = chance.one_of([0, quarter, math.pi, -quarter], [4, 1.5, 4, 1.5]) + chance.about(0, 0.09)
    c, s = math.cos(turn), math.sin(turn)
    right, down = right * c + down * s, down * c - right * s
    seen = points - place
    depth = seen @ forward
    px, py = seen @ right / depth, seen @ down / depth
    share = chance.one_of([chance.even(0.45, 0.97), chance.even(0.7, 0.95), chance.even(0.25, 0.5)], [1, 1.3, 0.3])
    focal = share / max(np.ptp(px) / width, np.ptp(py) / height)
    room = np.array([width - focal * np.ptp(px), height - focal * np.ptp(py)])
    where = chance.rng.random(2)
    if chance.happens(0.85):
        where = 0.5 + np.clip(chance.rng.normal(0, 0.22, 2), -0.48, 0.48)
    centre = room * where - focal * np.array([px.min(), py.min()])
    block[AT["CAMERA"] : AT["CAMERA"] + 16] = [*place, *right, *down, *forward, focal, *centre, chance.about(0, 0.01)]
    return distance, width * distance / focal


def _typical(floor: np.ndarray) -> np.ndarray:
    """The ground's colour as the eye takes it, sRGB."""
    return np.clip(floor[1:4] * 0.6 + floor[4:7] * 0.4, 0, 1) ** (1 / 2.2)


def _shade_of_leaves(floor: np.ndarray, chance: Chance, width: float) -> None:
    if floor[0] not in (13, 20) and chance.happens(0.4):
        floor[21] = chance.even(0.05, 0.6)
        if floor[26] == 1.0:
            floor[26], floor[27] = chance.scale(1.5, 14) / width, chance.scale(0.02, 0.4)


def _paints(
    block: np.ndarray, chance: Chance, ship: Rocket, floor: np.ndarray, like: np.ndarray, disguise: str
) -> list:
    """Writes the rocket's paints, where they begin, and its decals; the palette."""
    palette = [chance.colour() for _ in range(chance.one_of([1, 2, 3, 4], [2, 4, 3, 1]))]
    near = chance.one_of([0.015, 0.04, 0.1], [1, 1.6, 1])
    if disguise == "all":
        palette = [chance.like(like * chance.even(0.9, 1.12), near) for _ in palette]
    elif disguise in ("body", "shadow"):
        palette[0] = chance.like(like * (chance.even(0.9, 1.12) if disguise == "body" else chance.even(0.2, 0.7)), near)
    fin = chance.like(like * chance.even(0.9, 1.12), near) if disguise == "fins" else chance.one_of(palette)
    paints = []
    for k in ROCKET_PAINTS:
        colour = {2: palette[0], 5: fin, 6: fin if disguise == "fins" else None}.get(k)
        colour = chance.one_of(palette) if colour is None else colour
        coat = paint(chance, colour, ship.radius)
        if k in (5, 6) and coat[0] in (18, 19):  # patterns that go round the body
            coat = material(chance, a=colour)
        if disguise == "ground itself":
            coat = floor.copy()
            coat[21] = 0
            coat[1:10] *= chance.even(0.85, 1.2)
            coat[15], coat[18] = chance.rng.integers(9999), coat[18] * 0.3
            coat[11] += chance.one_of([0, chance.even(0, 3)])
        paints.append(coat)
    if len(palette) == 1 and chance.happens(0.6):
        paints[3], paints[4] = paints[0], paints[0]
    start = AT["MATERIALS"] + 2 * MATERIAL_SIZE
    block[start : start + len(paints) * MATERIAL_SIZE] = np.concatenate(paints)
    bands = [
        (0.0, chance.one_of([2, 3, 4], [1, 2, 1])),
        (ship.nose_x * (1 if chance.happens(0.9) else chance.even(0.5, 1.5)), 2),
    ]
    root = ship.planforms[0][[0, -1], 0]  # paints often meet where fins begin or end
    for _ in range(chance.one_of([0, 1, 2, 4], [3, 3, 2, 1])):
        x = chance.one_of([chance.even(ship.nose_x, 1), *root], [5, 1, 1.5])
        bands.append((x, chance.one_of([3, 4, 7])))
        if chance.happens(0.8):
            bands.append((x + chance.scale(0.005, 0.2), chance.one_of([2, 2, 4])))
    bands = sorted(bands)[:MOST_SECTIONS]
    block[AT["SECTIONS"] : AT["SECTIONS"] + 2 * len(bands)] = np.ravel(bands)
    decals = chance.one_of([0, 1, 2, 3], [4, 3, 2, 1])
    block[AT["ROCKET"] + 16 : AT["ROCKET"] + 18] = len(bands), decals
    for k in range(decals):
        x, kind = chance.even(ship.nose_x, 0.85), chance.one_of([1, 2, 3, 0], [5, 1, 1, 1.5])
        long = chance.even(0.05, 0.3) if kind == 1 else ship.radius * chance.even(0.5, 2)
        turn = math.pi / 2 + chance.even(-1, 1) + chance.one_of([0, 0, 3])
        place = AT["DECALS"] + 8 * k
        block[place : place + 8] = x, x + long, turn, chance.even(0.2, 0.9), kind, *linear(chance.colour())
    return palette


def _lights(block: np.ndarray, chance: Chance, floor: np.ndarray) -> None:
    sun = chance.happens(0.32)
    count = 1 if sun else chance.one_of([1, 2, 3], [3, 3, 1])
    from_above = 0.0
    for k in range(count):
        high, round_ = chance.even(0.2, 1.45), chance.even(0, 6.3)
        direction = [math.cos(round_) * math.cos(high), math.sin(round_) * math.cos(high), math.sin(high)]
        wide = chance.scale(0.006, 0.06) if sun and k == 0 else chance.scale(0.04, 0.9)
        power = chance.even(0.5, 1.2) / count * 1.3
        colour = np.array([1 + chance.about(0, 0.08), 1, 1 + chance.about(0, 0.12)]) * power
        place = AT["LIGHTS"] + 8 * k
        block[place : place + 7] = *direction, *colour, wide
        from_above += power * direction[2]
    level = chance.scale(0.08, 0.5) if sun else chance.scale(0.15, 1.0)
    sky = np.array([level * chance.even(0.85, 1.15), level, level * chance.even(0.85, 1.25)])
    below = (floor[1:4] * 0.6 + floor[4:7] * 0.4) * (from_above * 0.6 + level * 0.5) * chance.even(0.3, 1)
    nothing = linear(chance.colour()) * chance.even(0.3, 1)
    block[AT["N_LIGHTS"]] = count
    if chance.happens(0.6):
        block[AT["ROOM"] : AT["ROOM"] + 3] = chance.rng.integers(COLLAGES), chance.even(0.1, 1), chance.scale(0.4, 3)
    block[AT["LIGHT_ALL"] : AT["LIGHT_ALL"] + 10] = [*sky, *below, chance.even(0.3, 1), *nothing]


def _wall(block: np.ndarray, chance: Chance, setting: str, oblique: float, low: np.ndarray, high: np.ndarray) -> None:
    """A second plane: a wall beside or behind the rocket, or the floor that it stands on."""
    standing, steep = setting == "standing", abs(oblique) > 0.5
    if not (standing or steep or chance.happens(0.16)) or (setting == "level" and chance.happens(0.2)):
        return
    if standing or (not steep and chance.happens(0.35)):
        tail = high[0] + chance.one_of([0.0005, chance.even(0, 0.05), chance.even(0, 0.5)], [3, 2, 2])
        point, normal = (
            ((tail, 0, 0), (-1, 0, 0)) if chance.happens(0.85) else ((low[0] - chance.even(0.01, 0.2), 0, 0), (1, 0, 0))
        )
    else:
        side = 1 if oblique > 0 else -1
        if not steep:
            side = chance.one_of([-1, 1])
        gap = chance.scale(0.05, 3) if steep else chance.even(0, 0.3) * chance.one_of([0, 1])
        point, normal = ((0, low[1] - gap, 0), (0, 1, 0)) if side > 0 else ((0, high[1] + gap, 0), (0, -1, 0))
    block[AT["WALL_AT"] : AT["WALL_AT"] + 6] = *point, *normal
    block[AT["WALL_ON"]] = 1


def _things(block, chance, ship, origin, axes, corners, lift, width, setting, oblique, like, palette) -> None:
    things = around.Things(chance)
    low, high = corners
    reach = max(abs(low[1]), abs(high[1]))
    standing = setting == "standing"
    sides = ((-1,) if oblique > 0 else (1,)) if setting == "level" else (-1, 1)  # not between camera and rocket
    height_at = lambda x: float(origin[2] + axes[0, 2] * x)  # noqa: E731
    to_world = lambda x: origin + axes[0] * x  # noqa: E731
    if chance.happens({"level": 0.9, "lying": 0.65 * (0.001 < lift < 0.5), "standing": 0}[setting]):
        supports(things, ship, height_at, like, palette)
    if chance.happens(0.08):
        around.nozzle(things, ship, to_world)
    if chance.happens(0.65 if standing else 0.06):
        around.launch_gear(things, ship, height_at, reach)
    elif chance.happens(0.05):
        around.rod(things, ship, height_at)
    if chance.happens(0.4 if standing else 0.04):
        stand(things, ship, to_world(1), reach, chance.even(0, 2 * math.pi))
    if chance.happens(0.13) and setting == "lying":
        _sheet(things, chance, width)
    if block[AT["WALL_ON"]] > 0.5 and not standing and chance.happens(0.4):
        _skirting(things, chance, block)
    if chance.happens(0.09):
        around.strings(things, ship, height_at, lift)
    if chance.happens(0.09):
        around.hand(things, ship, height_at, sides)
    if chance.happens(0.5 if setting == "level" else 0.22):
        around.clutter(things, low, high, width, sides)
    around.lying(things, width, reach, ship.radius, 0 if setting == "level" else lift, palette)
    start = AT["MATERIALS"]
    block[AT["N_THINGS"]] = things.write(block[start : AT["THINGS"]], block[AT["THINGS"] :])


def _sheet(things, chance: Chance, width: float) -> None:
    """A sheet of paper or cloth beneath."""
    half = chance.one_of([chance.even(0.3, 1.2), chance.even(0.1, 0.4)]), chance.even(0.08, 0.5)
    sheet = ground(chance, width) if chance.happens(0.4) else material(chance, a=chance.colour("white"), mottle=0.05)
    turn = chance.even(0, 6.3) if chance.happens(0.3) else chance.about(0, 0.1)
    things.box((chance.even(-0.1, 1.1), chance.even(-0.4, 0.4), 0.0008), turn, (*half, 0.0007), sheet)


def _skirting(things, chance: Chance, block: np.ndarray) -> None:
    """A skirting board where wall and floor meet."""
    point, normal = block[AT["WALL_AT"] : AT["WALL_AT"] + 3], block[AT["WALL_AT"] + 3 : AT["WALL_AT"] + 6]
    high = chance.scale(0.02, 0.15)
    half = (0.006, 4.0, high) if abs(normal[0]) > 0.5 else (4.0, 0.006, high)
    centre = (point[0] + normal[0] * 0.006, point[1] + normal[1] * 0.006, high)
    colour = chance.colour(chance.one_of(["white", "wood", "grey"]))
    things.box(centre, 0, half, material(chance, a=colour), shadow=True)
