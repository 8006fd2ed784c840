"""Shapes the component method does not cover, as far as a geometry shows them.

What a flat side view can't show (a canted fin, a tube or ring seen as a rectangle) is not found here; the report's
assumptions say so. Limits marked "common practice" have no source.
"""

import numpy as np
import shapely

from digitize.records import FinGroup, Geometry, Warn

SHORTEST_CALIBERS = 5.0
"""Slender-body theory wants a slender body; five diameters is common practice."""
STRAKE_RATIO = 6.0
"""Root chord over span beyond which a fin is a strake: an aspect ratio under a third (common practice)."""
STRAKE_LENGTH = 0.5
"""Root chord as a share of the body's length beyond which it runs along the body."""
WIDE_BASE = 1.6
"""Base diameter over the widest of the forward half beyond which the base's own flow counts (common practice)."""


def outside_warnings(geometry: Geometry) -> tuple[Warn, ...]:
    """One warning for each way the geometry lies outside the method, each with how the verdict goes about it."""
    x, r = geometry.profile_mm.T
    length, largest = float(x[-1]), float(r.max())
    found = []
    calibers = length / (2 * largest)
    if calibers < SHORTEST_CALIBERS:
        words = f"the body is {calibers:.1f} diameters long, shorter than the method holds for"
        found.append(_warn("BODY_SHORT", words))
    forward = float(np.interp(np.linspace(0, 0.5 * length, 50), x, r).max())
    if r[-1] > WIDE_BASE * forward:
        ratio = r[-1] / forward
        found.append(_warn("BASE_WIDE", f"the base is {ratio:.1f} times as wide as the forward half of the body"))
    for k, group in enumerate(geometry.fins, 1):
        found += _fin_warnings(geometry, group, k, length)
    return tuple(found)


def _fin_warnings(geometry: Geometry, group: FinGroup, k: int, length_mm: float):
    outline = group.outline_mm
    root = outline[-1, 0] - outline[0, 0]
    surface = np.interp(outline[:, 0], *geometry.profile_mm.T)
    span = float((outline[:, 1] - surface).max())
    if root > STRAKE_RATIO * span or root > STRAKE_LENGTH * length_mm:
        yield _warn("STRAKES", f"fin group {k} runs along the body like strakes, which the method does not cover")
    behind = outline[:, 0] > length_mm
    if behind.any() and _area_behind(outline, length_mm) > 0.5:
        yield _warn("FINS_OVERHANG", f"most of fin group {k} stands behind the body's end, out of its flow")


def _area_behind(outline, end_mm: float) -> float:
    """Share of the outline's area aft of the body's end."""
    shape = shapely.make_valid(shapely.Polygon(outline))
    kept = shape.intersection(shapely.box(end_mm, -1e6, 1e6, 1e6))
    return float(kept.area / shape.area) if shape.area > 0 else 0.0


def _warn(code: str, text: str) -> Warn:
    remedy = "the lower of two margins decides, by its parts and by the cut-out; keep a larger one than usual"
    return Warn(code, text, remedy)
