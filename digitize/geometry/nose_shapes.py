"""The trade's nose shapes as radius against length. No shape is forced on a traced profile: see `pieces`.

Sources: the shapes' own definitions, as in any handbook of nose-cone geometry; the Haack family from W.
Haack, Geschossformen kleinsten Wellenwiderstandes (1941), C = 0 least drag for length and diameter, C = 1/3
for length and volume.
"""

import numpy as np

NOSE_SHAPES = ("cone", "ogive", "ellipsoid", "parabola", "paraboloid", "haack")


def nose_radius(shape: str, share, slenderness: float, c: float = 0.0):
    """Radius over base radius at a share (0 at the tip, 1 at the base) of the nose's length. Broadcasts.

    shape: one of NOSE_SHAPES; ogive: the tangent ogive, whose arc depends on slenderness = length / base
    radius; parabola: tangent at its base, 2 t - t^2; paraboloid: sqrt(t); haack: with its constant c.
    """
    share = np.clip(share, 0.0, 1.0)
    if shape == "cone":
        return share
    if shape == "ogive":
        arc = (slenderness**2 + 1) / 2
        # The arc's own form loses its digits for a long nose: difference of squares instead of of roots.
        depth = (slenderness * (1 - share)) ** 2
        return 1 - depth / (arc + np.sqrt(np.maximum(arc**2 - depth, 0.0)))
    if shape == "ellipsoid":
        return np.sqrt(share * (2 - share))
    if shape == "parabola":
        return share * (2 - share)
    if shape == "paraboloid":
        return np.sqrt(share)
    if shape == "haack":
        angle = np.arccos(1 - 2 * share)
        return np.sqrt((angle - np.sin(2 * angle) / 2 + c * np.sin(angle) ** 3) / np.pi)
    raise ValueError(f"no nose shape is called {shape!r}")


def nose_profile(shape: str, length_mm: float, base_radius_mm: float, c: float = 0.0, points: int = 201):
    """The nose as a polyline (points, 2): x from the tip, radius. A cone needs and gets two points.

    The points crowd toward the tip, where a blunt nose turns.
    """
    share = np.linspace(0, 1, 2 if shape == "cone" else points) ** 2
    radius = base_radius_mm * nose_radius(shape, share, length_mm / base_radius_mm, c)
    return np.stack([length_mm * share, radius], axis=-1)
