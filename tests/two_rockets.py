"""Drawn photographs with a second rocket in them."""

from dataclasses import replace

import numpy as np
from drawing import draw
from drawing.occasions import random_scene


def two_rockets(size: float, seed: int = 11):
    """(rgb, alpha of the first, alpha of the second): on one ground, the second `size` times as large and below."""
    scene, _ = random_scene(np.random.default_rng(seed), width_px=1200, background="sheet")
    width, height = scene.camera.size_px
    scene = replace(scene, references=(), camera=replace(scene.camera, size_px=(width, round(1.5 * height))))
    mm_per_px = draw(scene).mm_per_px
    apart = 0.4 * height * mm_per_px
    first = draw(replace(scene, pose=replace(scene.pose, middle_mm=(0.0, -apart, 0.0))))
    fins = tuple(
        replace(f, outline_mm=f.outline_mm * size, thickness_mm=f.thickness_mm * size) for f in scene.rocket.fins
    )
    small = replace(scene.rocket, profile_mm=scene.rocket.profile_mm * size, fins=fins)
    second = draw(replace(scene, rocket=small, pose=replace(scene.pose, middle_mm=(0.0, apart, 0.0))))
    cover = np.maximum(second.alpha, 0)[..., None]
    shown = first.rgb * (1 - cover) + second.rgb * cover
    return np.round(shown).astype(np.uint8), first.alpha, second.alpha
