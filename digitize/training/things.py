"""What lies, stands and hangs about a rocket in a picture and is not the rocket."""

import math

import numpy as np

from digitize.training.chance import Chance
from digitize.training.grounds import ground, material
from digitize.training.scene_arrays import MATERIAL_SIZE, MOST_MATERIALS, MOST_THINGS, THING_SIZE

FIRST_FREE_MATERIAL = 8
LYING = {
    "ruler": 5, "paper": 2.2, "card": 2.5, "checks": 1.2, "markers": 0.8, "pencil": 1.4, "tube": 1.5, "box": 1.2,
    "book": 0.6,
    "lump": 0.5, "roll": 0.5,
}  # fmt: skip


class Things:
    """Boxes and cones of one scene with their materials, up to what fits."""

    def __init__(self, chance: Chance):
        self.chance = chance
        self.blocks: list[np.ndarray] = []
        self.materials: list[np.ndarray] = []

    def _material(self, block: np.ndarray | None) -> int:
        """Number of the material; None: the last one again."""
        if block is not None and len(self.materials) < MOST_MATERIALS - FIRST_FREE_MATERIAL:
            self.materials.append(block)
        return FIRST_FREE_MATERIAL + max(len(self.materials) - 1, 0)

    def _add(self, shape: int, shadow: bool, block, centre, axes, sizes, corner: float = 0.0) -> None:
        number = self._material(block)
        if len(self.blocks) >= MOST_THINGS or not self.materials:
            return
        row = np.zeros(THING_SIZE, np.float32)
        row[:3], row[3:6], row[6:15], row[15:18], row[18] = (
            (shape, shadow, number),
            centre,
            np.ravel(axes),
            sizes,
            corner,
        )
        self.blocks.append(row)

    def box(self, centre, angle: float, half, block, shadow=False, corner=0.0) -> None:
        """Half sizes along its own length, width and z; turned by angle about z."""
        c, s = math.cos(angle), math.sin(angle)
        if block is not None:
            block[26], block[27] = half[0], half[1]
        self._add(1, shadow, block, centre, [(c, s, 0), (-s, c, 0), (0, 0, 1)], half, corner)

    def rod(self, start, end, r0: float, r1: float, block, shadow=True) -> None:
        """A cone or cylinder from start, radius r0, to end, radius r1."""
        start, end = np.array(start, float), np.array(end, float)
        x = end - start
        length = float(np.linalg.norm(x)) + 1e-9
        x = x / length
        up = np.array([0, 0, 1.0]) if abs(x[2]) < 0.9 else np.array([1.0, 0, 0])
        y = np.cross(up, x)
        y /= np.linalg.norm(y)
        self._add(2, shadow, block, (start + end) / 2, [x, y, np.cross(x, y)], (length / 2, r0, r1))

    def bar(self, start, end, half_wide: float, half_thick: float, flat, block, shadow=True) -> None:
        """A straight bar from start to end. flat: a direction its broad side faces, across the bar or nearly so."""
        start, end = np.array(start, float), np.array(end, float)
        x = end - start
        length = float(np.linalg.norm(x)) + 1e-9
        x = x / length
        y = np.cross(flat, x)
        y /= np.linalg.norm(y) + 1e-9
        half = (length / 2, half_wide, half_thick)
        if block is not None:
            block[26], block[27] = half[:2]
        self._add(1, shadow, block, (start + end) / 2, [x, y, np.cross(x, y)], half)

    def write(self, materials: np.ndarray, things: np.ndarray) -> int:
        """Into the scene's block; how many there are."""
        for k, block in enumerate(self.materials, FIRST_FREE_MATERIAL):
            materials[k * MATERIAL_SIZE : (k + 1) * MATERIAL_SIZE] = block
        for k, row in enumerate(self.blocks):
            things[k * THING_SIZE : (k + 1) * THING_SIZE] = row
        return len(self.blocks)


def lying(things: Things, width: float, reach: float, radius: float, lift: float, palette: list) -> None:
    """Rulers, cards and the like beside the rocket. reach: of the fins from the axis; lift: height of the axis."""
    chance = things.chance
    even, scale, happens = chance.even, chance.scale, chance.happens
    for _ in range(chance.one_of([0, 1, 2, 3, 5, 8], [1.2, 4, 3, 2, 1, 0.4])):
        kind = chance.named(LYING)
        angle = chance.one_of([0, chance.about(0, 0.06), even(0, 6.3), math.pi / 2], [2, 3, 2, 0.6])
        z = 0.0 if happens(0.75) else lift * even(0.3, 1.1)

        def beside(half_x, half_y, angle=angle):
            across = abs(half_x * math.sin(angle)) + abs(half_y * math.cos(angle))
            gap = chance.one_of([0.002, even(0, 0.03), even(0.02, 0.3)], [1, 2, 3])
            base = chance.one_of([reach, radius, reach * 0.8], [4, 1, 1])
            return even(-0.1, 1.1), chance.one_of([-1, 1]) * (base + gap + across)

        if kind == "ruler":
            length, thick = scale(0.2, 1.5), even(0.001, 0.004)
            half = min(length * even(0.03, 0.06) if happens(0.7) else even(0.01, 0.03), 0.06) / 2
            x, y = beside(length / 2, half * 2)
            a = chance.colour(chance.one_of(["white", "wood", "grey", "strong", "pale"], [3, 3, 3, 1, 1]))
            b = chance.colour("dark") if a.mean() > 0.35 else chance.colour("white")
            pitch = length / chance.one_of([150, 200, 300, 300, 120, 96])
            block = material(
                chance, "RULER", a, b, b, p1=pitch, p2=pitch * even(0.12, 0.3), p3=float(happens(0.4)),
                gloss=happens(0.4) * even(0, 0.5), mirror=happens(0.3) * even(0, 0.5), mottle=even(0, 0.06),
            )  # fmt: skip
            block[8] = even(0.6, 1.3)
            things.box((x, y, z + thick), angle, (length / 2, half, thick), block, shadow=z > 0)
        elif kind in ("paper", "card", "checks", "markers", "book"):
            hx = scale(0.05, 0.17) if kind == "card" else scale(0.08, 0.45)
            hy = hx * (0.63 if kind == "card" else chance.one_of([0.707, 0.77, 1, even(0.4, 1)]))
            thick = 0.0006 if kind != "book" else even(0.005, 0.04)
            x, y = beside(hx, hy)
            block = _flat(chance, kind, hx)
            if kind == "checks":
                border = material(chance, a=chance.colour("white"))
                things.box((x, y, z + 0.0004), angle, (hx * 1.15, hy * 1.2, 0.0004), border)
            raised = kind == "book" or z > 0.02
            things.box((x, y, z + 2 * thick), angle, (hx, hy, thick), block, raised, hx * 0.08 if kind == "card" else 0)
        elif kind in ("pencil", "tube"):
            r = even(0.006, 0.015) if kind == "pencil" else radius * even(0.3, 1.6)
            length = even(0.15, 0.5) if kind == "pencil" else even(0.1, 0.9)
            x, y = beside(length / 2, r)
            d, c = np.array([math.cos(angle), math.sin(angle), 0]), np.array([x, y, r])
            colour = chance.one_of(palette) if happens(0.3) else chance.colour()
            block = material(chance, a=colour, gloss=even(0, 0.4), shine=40)
            if happens(0.3):
                block = material(
                    chance, "SPIRAL", chance.colour("wood"), chance.colour("dark"), p1=1, p2=r * 5, p3=0.02
                )
            things.rod(c - d * length / 2, c + d * length / 2, r, r, block)
            if kind == "pencil":
                wood = material(chance, a=chance.colour("wood"))
                things.rod(c + d * length / 2, c + d * (length / 2 + r * 4), r, r * 0.05, wood)
        elif kind == "box":
            half = scale(0.03, 0.3), scale(0.03, 0.2), scale(0.01, 0.1)
            x, y = beside(*half[:2])
            plain = material(chance, a=chance.colour(), mottle=0.1, mottle_scale=20)
            things.box((x, y, half[2]), angle, half, ground(chance, 0.5) if happens(0.3) else plain, shadow=True)
        elif kind == "roll":
            r, h = even(0.02, 0.08), even(0.01, 0.04)
            x, y = beside(r, r)
            things.rod((x, y, 0), (x, y, h), r, r * even(0.6, 1), material(chance, a=chance.colour(), gloss=0.2))
        else:
            r = scale(0.005, 0.05)
            x, y = beside(r, r)
            block = material(chance, "SPECKLED", a=chance.colour(), scale=40, p1=2)
            things.rod((x, y, 0), (x, y + r * even(0.2, 2), r * even(0.3, 1)), r, r * even(0.1, 1), block)


def _flat(chance: Chance, kind: str, half: float) -> np.ndarray:
    """What a sheet of paper, a card, a board of checks or markers, or a book's cover looks like; half: half its
    length."""
    even, scale, happens = chance.even, chance.scale, chance.happens
    a = chance.colour("white") if happens(0.75) else chance.colour()
    if kind == "paper":
        return material(
            chance, chance.one_of(["PLAIN", "PRINT"], [2, 1]), a, chance.colour("dark"), chance.colour(),
            p1=half * scale(0.04, 0.15), p2=even(0.3, 1.5), mottle=0.03, bump=happens(0.5) * 0.05, bump_scale=5 / half,
        )  # fmt: skip
    if kind == "card":
        return material(chance, "CARD", chance.colour(), chance.colour(), angle=even(0, 6.3))
    if kind == "checks":
        dark, white = chance.colour("dark"), chance.colour("white")
        return material(chance, "CHECKS", dark, white, scale=chance.one_of([3, 4, 5, 8]) / half)
    if kind == "markers":
        white, dark = chance.colour("white"), chance.colour("dark")
        return material(chance, "MARKERS", white, dark, p1=half / chance.one_of([1, 2, 3, 4]))
    return ground(chance, half * 3)


def launch_gear(things: Things, rocket, height_at, reach: float) -> None:
    """A rod or rail along the body, a plate behind the tail, a peg in it."""
    chance = things.chance
    even, scale, happens = chance.even, chance.scale, chance.happens
    if happens(0.75):
        rod(things, rocket, height_at)
    behind = 1 + max(0.0, even(-0.01, 0.2))
    if happens(0.55):  # plate or ring
        r, thick = reach * scale(0.4, 2.5), scale(0.002, 0.02)
        plate = material(
            chance, a=chance.colour(chance.one_of(["grey", "dark", "strong"])), mottle=0.2, gloss=even(0, 0.4)
        )
        if happens(0.6):
            things.rod((behind, 0, height_at(1)), (behind + thick, 0, height_at(1)), r, r, plate)
        else:
            things.box((behind + thick / 2, 0, height_at(1)), 0, (thick / 2, r, r * even(0.3, 1)), plate, shadow=True)
    if happens(0.4):  # peg in the tail
        r = rocket.radius_at(1) * even(0.2, 0.9)
        things.rod(
            (0.97, 0, height_at(1)), (1 + even(0.03, 0.6), 0, height_at(1)), r, r * even(0.6, 1.5), material(chance)
        )


def rod(things: Things, rocket, height_at) -> None:
    """A launch rod or rail beside, before or behind the body; behind it only its ends show, on the rocket's axis."""
    chance = things.chance
    even, scale = chance.even, chance.scale
    metal = material(
        chance, a=chance.colour(chance.one_of(["grey", "dark", "strong"], [3, 2, 1])), gloss=even(0, 0.8),
        shine=scale(10, 150), mirror=chance.happens(0.5) * even(0, 0.8),
    )  # fmt: skip
    turn = chance.one_of([even(0, 2 * math.pi), math.pi / 2, -math.pi / 2], [3, 1, 1]) + chance.about(0, 0.05)
    r = rocket.radius * scale(0.05, 0.5)
    away = rocket.radius + r + rocket.radius * chance.one_of([0.02, even(0, 0.4)])
    y, z = away * math.cos(turn), height_at(0.5) + away * math.sin(turn)
    fore, aft = even(-0.5, 0.7), even(0.95, 1.6)
    if chance.happens(0.6):
        things.rod((fore, y, z), (aft, y, z), r, r, metal)
    else:
        things.box(((fore + aft) / 2, y, z), 0, ((aft - fore) / 2, r, r), metal, shadow=True)


def nozzle(things: Things, rocket, to_world) -> None:
    """A motor's end that stands out of the tail; not part of the body."""
    chance = things.chance
    r = rocket.radius_at(1) * chance.even(0.2, 0.6)
    block = material(chance, a=chance.colour(chance.one_of(["dark", "wood", "grey"])), gloss=chance.even(0, 0.4))
    things.rod(to_world(0.95), to_world(1 + chance.even(0.004, 0.05)), r, r * chance.even(0.8, 1), block, shadow=False)


def strings(things: Things, rocket, height_at, lift: float) -> None:
    """Strings that hold the rocket, or tape and bands round it."""
    chance = things.chance
    even = chance.even
    for _ in range(chance.one_of([1, 2])):
        x, side, r = even(0.1, 0.9), chance.one_of([-1, 1]), chance.scale(0.0006, 0.003)
        wide, top = rocket.radius_at(x), height_at(x) + rocket.radius_at(x) * 1.05
        far = (x + chance.about(0, 0.15), side * 3, top + even(-0.5, 0.5) * lift)
        things.rod(
            (x, side * wide * 0.9, top - wide * even(0, 1)), far, r, r, material(chance), shadow=chance.happens(0.5)
        )
        things.rod(
            (x - 0.001, -wide * 1.05, top - wide * 0.2), (x + 0.001, wide * 1.05, top - wide * 0.1), r, r, None, False
        )


def hand(things: Things, rocket, height_at, sides: tuple[int, ...]) -> None:
    """A hand that holds the body from one of the sides (-1, 1), or fingers on a nose or a fin."""
    chance = things.chance
    even = chance.even
    skin = chance.colour("skin")
    block = material(chance, "SPECKLED", skin, skin * 0.85, scale=60, p1=1.2, bump=0.05, bump_scale=80)
    x, side = even(0.05, 0.95), chance.one_of(sides)
    finger = even(0.012, 0.022) * max(1, rocket.radius * 12)
    wide, z = rocket.radius_at(x), height_at(x)
    fresh = block
    for k in range(chance.one_of([1, 3, 4])):
        at = x + k * finger * 1.9
        a = np.array([at + chance.about(0, 0.005), side * (wide + finger * 2.5), z + wide * even(-0.2, 0.3)])
        b = np.array([at, side * wide * 0.7, z + wide + finger * 0.8])
        c = np.array([at, -side * wide * even(-0.2, 1.3), z + max(wide * 0.8, 0) + finger * 0.6])
        things.rod(a, b, finger, finger, fresh)
        fresh = None
        things.rod(b, c, finger, finger * 0.7, None)
    palm = finger * 4
    centre = np.array([x + finger * 3, side * (wide + finger * 2.5 + palm * 0.8), z])
    things.rod(centre - [palm, 0, 0], centre + [palm, 0, 0], palm * 0.9, palm * 0.8, None)
    things.rod(
        centre, centre + np.array([chance.about(0, 0.3), side * 2, even(-0.2, 0.3)]), palm * 0.75, palm * 1.1, None
    )


def clutter(things: Things, low: np.ndarray, high: np.ndarray, width: float, sides: tuple[int, ...]) -> None:
    """Furniture, boxes and posts of a room or a field behind and around the rocket, on these sides (-1, 1)."""
    chance = things.chance
    even, scale = chance.even, chance.scale
    for _ in range(int(chance.rng.integers(2, 9))):
        size = scale(0.03, 0.5), scale(0.03, 0.5), scale(0.02, 0.4)
        side = chance.one_of(sides)
        x = even(low[0] - 0.6, high[0] + 0.6)
        y = (high[1] if side > 0 else low[1]) + side * (size[1] + even(0.02, 0.8))
        if chance.happens(0.3):  # beyond an end
            x = high[0] + size[0] + even(0.02, 0.4) if chance.happens(0.5) else low[0] - size[0] - even(0.02, 0.4)
            y = even(low[1] - 0.3, high[1] + 0.3)
        block = (
            ground(chance, scale(0.2, 2)) if chance.happens(0.5) else material(chance, mottle=0.1, gloss=even(0, 0.3))
        )
        if chance.happens(0.65):
            things.box(
                (x, y, even(0, 1) * size[2]), chance.one_of([0, 0, even(0, 3)]), size, block, shadow=chance.happens(0.6)
            )
        else:
            r = scale(0.005, 0.08)
            ends = ((x - size[0], y, r), (x + size[0], y, r + even(0, 0.3)))
            if chance.happens(0.5):
                ends = ((x, y, 0), (x + even(-0.1, 0.1), y + even(-0.1, 0.1), even(0.1, 0.8)))
            things.rod(*ends, r, r * even(0.5, 1), block)
