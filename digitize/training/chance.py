"""Draws of one scene's random numbers, and random colours."""

import colorsys
import math
from collections.abc import Sequence

import numpy as np


class Chance:
    """A seeded source with the draws that scenes are made of."""

    def __init__(self, seed: int):
        self.rng = np.random.default_rng(seed)

    def even(self, low: float, high: float) -> float:
        """Evenly between low and high."""
        return low + (high - low) * self.rng.random()

    def scale(self, low: float, high: float) -> float:
        """Between low and high, evenly in its logarithm."""
        return math.exp(self.even(math.log(low), math.log(high)))

    def about(self, middle: float, sigma: float) -> float:
        """Normal."""
        return float(self.rng.normal(middle, sigma))

    def happens(self, probability: float) -> bool:
        """True with this probability."""
        return bool(self.rng.random() < probability)

    def one_of(self, choices: Sequence, weights: Sequence[float] | None = None):
        """One of the choices, by weight."""
        if weights is None:
            return choices[int(self.rng.integers(len(choices)))]
        share = np.asarray(weights, float)
        return choices[int(np.searchsorted(np.cumsum(share) / share.sum(), self.rng.random(), side="right"))]

    def named(self, weighted: dict):
        """One key of a dictionary of weights."""
        return self.one_of(list(weighted), list(weighted.values()))

    def colour(self, kind: str | None = None) -> np.ndarray:
        """(3,) sRGB 0..1."""
        kind = kind or self.named(
            {"white": 3, "grey": 2, "wood": 1.2, "strong": 3, "dark": 1.5, "pale": 1.2, "any": 1.2}
        )
        even, rng = self.even, self.rng
        hsv = {
            "white": lambda: (rng.random(), even(0, 0.07), even(0.8, 1)),
            "grey": lambda: (rng.random(), even(0, 0.1), even(0.25, 0.8)),
            "wood": lambda: (even(0.04, 0.12), even(0.25, 0.65), even(0.35, 0.9)),
            "strong": lambda: (rng.random(), even(0.6, 1), even(0.45, 1)),
            "dark": lambda: (rng.random(), even(0, 0.8), even(0.02, 0.25)),
            "pale": lambda: (rng.random(), even(0.1, 0.4), even(0.7, 0.98)),
            "any": lambda: tuple(rng.random(3)),
            "leaf": lambda: (even(0.16, 0.36), even(0.3, 0.8), even(0.2, 0.7)),
            "brick": lambda: (even(0, 0.08), even(0.3, 0.7), even(0.3, 0.8)),
            "mat": lambda: (self.one_of([0.45, 0.4, 0.6, 0.0, 0.33, 0.5]), even(0.2, 0.9), even(0.1, 0.5)),
            "sky": lambda: (even(0.52, 0.64), even(0.05, 0.75), even(0.45, 1)),
            "skin": lambda: (even(0.02, 0.09), even(0.25, 0.65), even(0.3, 0.95)),
        }[kind]()
        return np.array(colorsys.hsv_to_rgb(*hsv))

    def like(self, colour: np.ndarray, sigma: float) -> np.ndarray:
        """A colour near another."""
        step = self.rng.normal(0, sigma, 3) * 0.5 + self.rng.normal(0, sigma)
        return np.clip(np.asarray(colour) + step, 0, 1)


def linear(srgb: np.ndarray) -> np.ndarray:
    """sRGB to linear light, both 0..1 (IEC 61966-2-1)."""
    c = np.clip(np.asarray(srgb, float), 0, 1)
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
