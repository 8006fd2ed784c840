"""What a rocket rests on, stands in or is held by: often of a colour with its lower side, never part of it."""

import math

import numpy as np

from digitize.training.chance import Chance
from digitize.training.grounds import material
from digitize.training.things import Things

SUPPORTS = {"block": 4, "stool": 1.6, "trestle": 1.2, "cradle": 1.8, "pegs": 1.2}


def supports(things: Things, rocket, height_at, like: np.ndarray, palette: list) -> None:
    """One to three of a kind under the body. height_at: of the axis at a place along it; like: the ground's colour;
    palette: the rocket's."""
    chance = things.chance
    kind = chance.named(SUPPORTS)
    colour = chance.named({"any": 5, "ground": 2.5, "rocket": 1.5, "dark": 1})
    colour = {
        "any": lambda: chance.colour(),
        "ground": lambda: chance.like(like, 0.05),
        "rocket": lambda: chance.like(chance.one_of(palette), 0.04),
        "dark": lambda: chance.colour("dark"),
    }[colour]()
    block = material(
        chance, chance.one_of(["PLAIN", "SPECKLED", "WOOD", "BRICK"], [3, 1, 1.5, 0.5]), colour, colour * 0.9,
        scale=30, p1=1.5, mottle=0.05, mottle_scale=30, gloss=chance.happens(0.3) * chance.even(0, 0.4),
    )  # fmt: skip
    build = {"block": _block, "stool": _stool, "trestle": _trestle, "cradle": _cradle, "pegs": _pegs}[kind]
    for place in range(chance.one_of([1, 2, 3], [1, 3, 1])):
        x = chance.even(0.02, 0.98)
        if place == 0 and chance.happens(0.3):  # beside the tail, among the fins
            x = chance.even(0.8, 1.05)
        build(things, x, height_at(x), rocket.radius_at(x), block if place == 0 else None)


def _touching(chance: Chance, height: float, radius: float) -> float:
    """Height of what carries the body: it touches the lower side, or the side sinks into it a little."""
    return height - radius * chance.one_of([1.0, chance.even(0.8, 1.0), chance.even(0.5, 0.9)], [2, 1.5, 1])


def _block(things: Things, x: float, height: float, radius: float, block) -> None:
    chance = things.chance
    half = _touching(chance, height, radius) / 2
    size = chance.even(0.005, 0.08), radius * chance.scale(0.4, 5)
    if chance.happens(0.25):
        size = chance.scale(0.05, 0.3), chance.scale(0.05, 0.4)
    if half > 0.002:
        things.box((x, chance.even(-0.5, 0.5) * radius, half), chance.about(0, 0.1), (*size, half), block, shadow=True)


def _stool(things: Things, x: float, height: float, radius: float, block) -> None:
    """A seat on splayed legs."""
    chance = things.chance
    top = _touching(chance, height, radius)
    half, thick, aside = chance.scale(0.03, 0.2), chance.scale(0.004, 0.03), chance.about(0, 0.5) * radius
    if chance.happens(0.5):
        things.rod((x, aside, top - thick), (x, aside, top), half, half, block)
    else:
        things.box((x, aside, top - thick / 2), chance.about(0, 0.2), (half, half, thick / 2), block, shadow=True)
    leg, splay = chance.scale(0.003, 0.015), chance.even(0.7, 1.4)
    for a in np.arange(4) * math.pi / 2 + chance.even(0, 1.6):
        foot = np.array([math.cos(a), math.sin(a)]) * half
        things.rod(
            (x + foot[0] * 0.7, aside + foot[1] * 0.7, top - thick), (x + foot[0] * splay, foot[1] * splay, 0), leg,
            leg * chance.even(0.6, 1), None,
        )  # fmt: skip


def _trestle(things: Things, x: float, height: float, radius: float, block) -> None:
    """A beam across, on two pairs of legs."""
    chance = things.chance
    top, reach = _touching(chance, height, radius), radius * 2 + chance.scale(0.03, 0.25)
    half = chance.scale(0.004, 0.025)
    things.box((x, 0, top - half), 0, (half, reach, half), block, shadow=True)
    for side in (-0.9, 0.9):
        for lean in (-1, 1):
            foot = (x + lean * top * chance.even(0.2, 0.4), side * reach * 1.1, 0)
            things.bar((x, side * reach, top - half), foot, half, half * 0.5, (0, 1, 0), None)


def _cradle(things: Things, x: float, height: float, radius: float, block) -> None:
    """Two arms of a V on a post or a plate; the near arm hides a bit of the body."""
    chance = things.chance
    half, thick = radius * chance.scale(0.12, 0.6), chance.scale(0.002, 0.012)
    low = height - radius * 1.42
    arm = radius * chance.even(0.9, 2.2)
    for side in (-1, 1):
        end = (x, side * arm, low + arm)
        things.bar((x, 0, low - half), end, half, thick, (1, 0, 0), block if side < 0 else None)
    if low > 0.01 and chance.happens(0.75):
        wide = half if chance.happens(0.5) else radius * chance.even(0.8, 2)
        things.box((x, 0, low / 2), 0, (thick, wide, low / 2), None, shadow=True)


def _pegs(things: Things, x: float, height: float, radius: float, block) -> None:
    """Two upright pegs between which the body lies, and what it lies on."""
    chance = things.chance
    peg = radius * chance.scale(0.08, 0.4)
    for side in (-1, 1):
        y = side * (radius + peg)
        things.rod((x, y, 0), (x, y, height + radius * chance.even(-0.8, 1.5)), peg, peg, block if side < 0 else None)
    top = _touching(chance, height, radius)
    if top > 0.004:
        things.box((x, 0, top / 2), 0, (peg, radius * chance.even(0.8, 2.5), top / 2), None, shadow=True)


def stand(things: Things, rocket, tail, reach: float, turn: float) -> None:
    """Legs behind or beside the tail: thin ones, and flat ones that look like fins. tail: the axis there, world."""
    chance = things.chance
    block = material(chance, a=chance.colour(), gloss=chance.even(0, 0.4), mottle=0.05)
    radius, count = rocket.radius_at(1), chance.one_of([2, 3, 4])
    start, length = chance.one_of([0.0, -chance.even(0, 0.12), chance.even(0, 0.05)]), chance.even(0.05, 0.5)
    half, far = rocket.radius * chance.scale(0.05, 0.4), reach * chance.even(0.7, 2.2)
    flat, wide = chance.happens(0.5), rocket.radius * chance.even(0.2, 1.2)
    for k in range(count):
        a = turn + 2 * math.pi * k / count
        out, across = np.array([0, math.cos(a), math.sin(a)]), np.array([0, -math.sin(a), math.cos(a)])
        begin = tail + np.array([start, 0, 0]) + out * radius
        foot = tail + np.array([start + length, 0, 0]) + out * far
        if flat:
            things.bar(begin, foot, wide, half * 0.4, across, block if k == 0 else None)
        else:
            things.rod(begin, foot, half, half, block if k == 0 else None)
