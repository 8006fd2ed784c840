"""Materials: what grounds, walls, things and rockets are made of, as blocks of numbers for raycast.cu."""

import math

import numpy as np

from digitize.training.chance import Chance, linear
from digitize.training.scene_arrays import COLLAGES, KIND, MATERIAL_SIZE

GROUNDS = {
    "sheet": 8, "wood": 2.8, "planks": 2, "mat": 2.2, "carpet": 2, "cloth": 1.5, "grass": 2, "concrete": 2.2,
    "brick": 1,
    "tiles": 1, "stripes": 0.8, "checks": 0.4, "fade": 0.8, "collage": 2.2, "gravel": 0.8, "blotches": 0.6,
    "weave": 0.8,
    "print": 0.5,
}  # fmt: skip
HELD_OUT_GROUNDS = {"gravel": 1, "tiles": 1, "weave": 1, "blotches": 1}
"""Never drawn while training; the held-out pictures are all on these."""
BACKDROPS = {
    "sky": 5,
    "collage": 3,
    "grass": 1.5,
    "brick": 1.5,
    "sheet": 2,
    "wood": 0.7,
    "concrete": 1,
    "planks": 1,
}


def material(
    chance: Chance,
    kind: str = "PLAIN",
    a=None, b=None, c=None,
    *,
    scale=1.0, angle=0.0, p1=0.0, p2=0.0, p3=0.0, gloss=0.0, shine=20.0, bump=0.0, bump_scale=10.0, collage=0,
    mottle=0.0, mottle_scale=5.0, bump_kind=0, mirror=0.0, half_u=1.0, half_v=1.0,
) -> np.ndarray:  # fmt: skip
    """(MATERIAL_SIZE,) block. a, b, c: sRGB colours, taken from one another where absent."""
    a = chance.colour() if a is None else a
    b = a if b is None else b
    c = b if c is None else c
    block = np.zeros(MATERIAL_SIZE, np.float32)
    block[0] = KIND[kind]
    block[1:4], block[4:7], block[7:10] = linear(a), linear(b), linear(c)
    block[10:16] = scale, angle, p1, p2, p3, int(chance.rng.integers(0, 9999))
    block[16:20] = gloss, shine, bump, bump_scale
    block[20], block[22:28] = collage, (mottle, mottle_scale, bump_kind, mirror, half_u, half_v)
    return block


def ground(chance: Chance, width: float, base=None, kinds: dict | None = None) -> np.ndarray:
    """A ground's or wall's material. width: of what the picture shows, world units; base: its colour, any if None."""
    even, scale, happens = chance.even, chance.scale, chance.happens
    kind = chance.named(kinds or {k: w for k, w in GROUNDS.items() if k not in HELD_OUT_GROUNDS})
    angle = chance.one_of([0, math.pi / 2]) + chance.about(0, 0.15) if happens(0.7) else even(0, 6.3)
    own = {"wood": "wood", "planks": "wood", "mat": "mat", "grass": "leaf", "brick": "brick"}.get(kind)
    a = base if base is not None else chance.colour(own if own and happens(0.85) else None)
    if kind == "sheet" and base is None and happens(0.6):
        a = chance.colour(chance.one_of(["white", "grey", "pale", "strong"], [4, 2, 2, 1]))
    apart = even(0.03, 0.25)
    b, c = chance.like(a * even(0.6, 0.95), apart * 0.5), chance.like(a * even(0.5, 1.2), apart)
    common = dict(angle=angle, mottle=even(0, 0.12), mottle_scale=scale(1, 12) / width)
    make = lambda name, a=a, b=b, c=c, **more: material(chance, name, a, b, c, **{**common, **more})  # noqa: E731
    if kind == "sheet":
        creased = happens(0.65)
        return make(
            "PLAIN", b=a, c=a, bump_kind=1 if creased else chance.one_of([0, 3]),
            bump=(scale(0.02, 0.6) if creased else scale(0.01, 0.12)) * happens(0.85),
            bump_scale=(scale(1, 9) if creased else scale(3, 80)) / width, gloss=happens(0.15) * even(0, 0.15),
        )  # fmt: skip
    if kind in ("wood", "planks"):
        b = np.clip(a * even(0.45, 0.9), 0, 1)
        return make(
            kind.upper(), b=b, c=b, scale=scale(1.5, 12) / width, p1=scale(0.3, 4), p2=scale(0.3, 2.5),
            p3=scale(0.6, 3),
            gloss=happens(0.3) * even(0, 0.3), shine=scale(5, 80), mirror=happens(0.3) * even(0, 0.12),
            bump=happens(0.3) * even(0, 0.1), bump_scale=scale(5, 40) / width, bump_kind=2,
        )  # fmt: skip
    if kind == "mat":
        line = np.clip(a + even(0.15, 0.6) * chance.one_of([1, 1, 1, -1]), 0, 1)
        return make(
            "GRID", b=line, c=line, scale=scale(5, 40) / width, p1=chance.one_of([5, 10, 2, 4]), p2=even(0.008, 0.04),
            p3=even(0.1, 0.9) * happens(0.8), gloss=happens(0.3) * 0.1,
        )  # fmt: skip
    if kind in ("carpet", "concrete", "cloth"):
        fine = {"carpet": scale(25, 160), "concrete": scale(4, 30), "cloth": scale(10, 80)}[kind] / width
        return make(
            "SPECKLED", b=chance.like(a * even(0.4, 0.95), 0.05), scale=fine, p1=scale(0.7, 4),
            p2=happens(0.4) * even(0.05, 0.3), bump=happens(0.6) * scale(0.02, 0.3), bump_scale=fine * even(0.5, 3),
            bump_kind=chance.one_of([0, 3]),
        )  # fmt: skip
    if kind == "grass":
        return make(
            "GRASS", b=chance.like(a * even(0.4, 0.8), 0.05), c=chance.like(np.clip(a * 1.3, 0, 1), 0.1),
            scale=scale(6, 40) / width,
        )  # fmt: skip
    if kind == "brick":
        return make(
            "BRICK", b=chance.colour("grey"), c=chance.like(a * even(0.5, 1), 0.06), scale=scale(4, 16) / width,
            p1=even(0.05, 0.14), p2=even(0.2, 1), bump=even(0, 0.1), bump_scale=scale(10, 40) / width,
        )  # fmt: skip
    if kind == "tiles":
        return make(
            "TILES", b=chance.colour("grey"), scale=scale(2, 12) / width, p1=even(0.01, 0.05), p2=even(0, 0.5),
            mirror=happens(0.4) * even(0, 0.15),
        )  # fmt: skip
    if kind == "stripes":
        b = chance.colour() if happens(0.5) else b
        return make("STRIPES", b=b, scale=scale(3, 40) / width, p1=happens(0.4), p2=even(0.02, 0.5))
    if kind == "checks":
        return make("CHECKS", b=chance.colour() if happens(0.5) else b, scale=scale(4, 30) / width)
    if kind == "fade":
        b = chance.colour() if happens(0.4) else np.clip(a * even(0.3, 1), 0, 1)
        return make("FADE", b=b, scale=scale(0.5, 2) / width)
    if kind == "sky":
        a = chance.colour("sky") if base is None else a
        return make(
            "SKY", a=a, b=np.clip(a * even(0.7, 1.3), 0, 1), c=chance.colour("white"), angle=even(0, 6.3),
            scale=scale(0.3, 2) / width, p1=even(0.3, 0.9), p2=scale(1, 8) / width, mottle=0.0,
        )  # fmt: skip
    if kind == "collage":
        return make(
            "COLLAGE", scale=scale(0.7, 5) / width, collage=int(chance.rng.integers(COLLAGES)),
            p1=0 if happens(0.6) else even(0.2, 1),
        )  # fmt: skip
    if kind == "gravel":
        return make("GRAVEL", c=chance.colour("grey"), scale=scale(8, 60) / width, p1=even(0.05, 0.5), p2=even(0, 0.8))
    if kind == "blotches":
        return make("BLOTCHES", b=chance.colour(), c=chance.colour(), scale=scale(2, 20) / width)
    if kind == "weave":
        return make("WEAVE", scale=scale(20, 120) / width)
    return make(
        "PRINT", a=chance.colour("white"), b=chance.colour("dark"), c=chance.colour(), p1=width / scale(15, 60),
        p2=even(0.3, 1.5), half_u=width * 2, half_v=width * 2,
    )  # fmt: skip


PAINTS = {
    "plain": 10, "metal": 2.2, "roll": 1.2, "spiral": 0.7, "wood": 0.8, "mottled": 1, "fade": 0.5, "letters": 0.8,
    "collage": 0.4, "stripes": 0.8,
}  # fmt: skip


def paint(chance: Chance, colour: np.ndarray, radius: float) -> np.ndarray:
    """What a part of the rocket is covered with."""
    even, scale, happens = chance.even, chance.scale, chance.happens
    kind = chance.named(PAINTS)
    coat = dict(gloss=happens(0.6) * scale(0.03, 0.8), shine=scale(8, 200), mirror=happens(0.45) * even(0.02, 0.3))
    if kind == "metal":
        tint = np.clip(np.full(3, even(0.45, 0.95)) + chance.rng.normal(0, 0.03, 3), 0, 1)
        if happens(0.25):  # anodised, or chrome paint of a colour
            tint = chance.colour(chance.one_of(["strong", "dark", "pale"]))
        return material(
            chance, a=tint, gloss=even(0.2, 1), shine=scale(20, 200), mirror=even(0.5, 0.95),
            bump=happens(0.3) * scale(0.005, 0.05), bump_scale=scale(20, 200),
        )  # fmt: skip
    if kind == "roll":
        a, b = (colour, chance.colour()) if happens(0.5) else (chance.colour("white"), chance.colour("dark"))
        return material(
            chance, "ROLL_PATTERN", a, b, p1=chance.one_of([2, 2, 4, 4, 6, 8]), p2=scale(1, 8) * radius * 2,
            p3=even(0, 1), collage=float(happens(0.5)), **coat,
        )  # fmt: skip
    if kind == "spiral":
        b = np.clip(colour * even(0.7, 0.95), 0, 1)
        return material(
            chance, "SPIRAL", colour, b, p1=1, p2=radius * even(3, 9), p3=even(0.005, 0.02), gloss=coat["gloss"]
        )
    if kind == "wood":
        a = chance.colour("wood") if happens(0.7) else colour
        return material(
            chance, "WOOD", a, np.clip(a * even(0.6, 0.95), 0, 1), scale=scale(3, 20), p1=scale(0.3, 3),
            p2=scale(0.3, 2),
            angle=chance.one_of([0, math.pi / 2, even(0, 3)]), gloss=coat["gloss"] * 0.3,
        )  # fmt: skip
    if kind == "mottled":
        b = np.clip(colour * even(0.7, 1.1), 0, 1)
        return material(chance, "SPECKLED", colour, b, scale=scale(10, 150), p1=even(0.5, 2), **coat)
    if kind == "fade":
        return material(chance, "FADE", colour, chance.colour(), scale=even(1, 4), **coat)
    if kind == "letters":
        return material(
            chance, "LETTERING", colour, chance.colour(), scale=scale(0.4, 3) / radius, p1=even(0.2, 0.5), **coat
        )
    if kind == "stripes":  # wide ones: a tip or an edge of another colour
        return material(
            chance, "STRIPES", colour, chance.colour(), scale=scale(0.08, 0.8) / radius, p1=happens(0.2), p2=0.01,
            angle=chance.one_of([0, math.pi / 2, even(0, 3)]), **coat,
        )  # fmt: skip
    if kind == "collage":
        return material(chance, "COLLAGE", scale=scale(1, 8), collage=int(chance.rng.integers(COLLAGES)), **coat)
    return material(chance, a=colour, mottle=even(0, 0.04), mottle_scale=scale(3, 30), **coat)
