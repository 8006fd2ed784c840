"""Pictures to paper grounds and walls with: overlapping shapes of many sizes, the 'dead leaves' whose statistics are
those of photographs (A. Lee, D. Mumford, J. Huang, Int. J. Computer Vision 41 (2001) 35, from memory). Nobody's
photographs are used."""

import cv2
import numpy as np

from digitize.training.chance import Chance
from digitize.training.scene_arrays import COLLAGE_PX, COLLAGES


def collages(seed: int = 7) -> np.ndarray:
    """(COLLAGES, COLLAGE_PX, COLLAGE_PX, 3) uint8."""
    return np.stack([_collage(Chance(seed * 1000 + k)) for k in range(COLLAGES)])


def _collage(chance: Chance) -> np.ndarray:
    n = COLLAGE_PX
    picture = np.full((n, n, 3), chance.colour() * 255, np.float32)
    palette = [chance.colour() for _ in range(int(chance.rng.integers(3, 12)))]
    smallest, largest = chance.scale(3, 12), chance.scale(40, 250)
    for _ in range(int(chance.scale(60, 900))):
        size = (smallest**-1.5 + chance.rng.random() * (largest**-1.5 - smallest**-1.5)) ** (-1 / 1.5)
        centre, angle = chance.rng.random(2) * n, chance.even(0, 180)
        colour = chance.like(chance.one_of(palette), 0.06) * 255
        kind = chance.named({"disc": 3, "box": 4, "bar": 3, "shape": 2})
        axes = (
            size,
            size * {"disc": chance.even(0.4, 1), "bar": chance.even(0.03, 0.2)}.get(kind, chance.even(0.3, 1)),
        )
        if kind == "disc":
            cv2.ellipse(picture, (tuple(centre), tuple(np.array(axes) * 2), angle), colour.tolist(), -1, cv2.LINE_AA)
        else:
            corners = cv2.boxPoints((tuple(centre), tuple(np.array(axes) * 2), angle))
            if kind == "shape":
                turn = np.sort(chance.rng.random(7)) * 2 * np.pi
                reach = size * (0.4 + chance.rng.random(7))
                corners = centre + np.column_stack([np.cos(turn), np.sin(turn)]) * reach[:, None]
            cv2.fillPoly(picture, [np.round(corners * 16).astype(np.int32)], colour.tolist(), cv2.LINE_AA, 4)
        if chance.happens(0.02):
            picture = cv2.GaussianBlur(picture, (0, 0), chance.even(0.5, 3))
    grain = sum(
        cv2.resize(chance.rng.normal(0, 1, (2**k, 2**k)).astype(np.float32), (n, n), interpolation=cv2.INTER_CUBIC)
        * 0.7**k
        for k in range(2, 9)
    )
    picture *= (1 + chance.even(0, 0.5) * grain / np.abs(grain).max())[..., None]
    return np.clip(picture, 0, 255).astype(np.uint8)
