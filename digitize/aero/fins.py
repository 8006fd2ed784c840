"""Fins by the classic component method, for a planform of any shape.

Sources: J. S. and J. A. Barrowman, The Theoretical Prediction of the Center of Pressure, NARAM-8 (1966), eq.
57 and 76a; J. S. Barrowman, The Practical Calculation of the Aerodynamic Characteristics of Slender Finned
Vehicles, M.S. thesis, Catholic University of America (1967), for the mean aerodynamic chord as a strip
integral; F. W. Diederich, NACA TN 2335 (1951), for the slope of any planform (citation from memory).

All functions broadcast over leading axes. A polygon is (..., m, 2): x aft from the nose tip, y from the
body's axis, millimetres; closed, the first point not repeated, in either direction. It is the exposed fin:
the outline and, along the root, the body's surface.
"""

from dataclasses import dataclass

import numpy as np

# An edge that climbs less than this share of the span is taken as level. Squares of the slopes are summed, so
# a steeper one would leave rounding behind; what it leaves out of the chord is thinner still.
_LEVEL_EDGE = 1e-5
_GAUSS_POINTS, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(6)
"""Gauss-Legendre of 6 points, which integrates a polynomial up to degree 11 exactly."""


@dataclass(frozen=True)
class Planform:
    """One exposed fin. Every field has the polygon's leading shape; millimetres.

    x_centroid_mm, y_centroid_mm: of the area; mac_mm: mean aerodynamic chord, int c^2 dy / area;
    midchord_slope: tangent of the mid-chord line's mean sweep, positive aft.
    """

    area_mm2: np.ndarray
    x_centroid_mm: np.ndarray
    y_centroid_mm: np.ndarray
    mac_mm: np.ndarray
    midchord_slope: np.ndarray

    @property
    def quarter_chord_mm(self):
        """Where the fin's normal force acts: a quarter of the mean aerodynamic chord behind its front.

        The mean aerodynamic chord's middle is the area's centroid, for any planform:
        int x_le c dy / A + c_ma / 4 = x_centroid - c_ma / 4.
        """
        return self.x_centroid_mm - self.mac_mm / 4


def planform(polygon) -> Planform:
    """Properties of an exposed fin.

    The sweep is the mean over the span of the local mid-chord line's angle, weighted by the local chord. That
    is a choice: the published method knows one straight mid-chord line, a trapezoid's, for which it is that
    line's own angle. Where a level cuts the fin in several chords, the local middle is that of all of them
    together, the first moment over the total chord. The line's leaps at level edges count for nothing.

    >>> half_square = planform(np.array([[0.0, 0.0], [1.0, 1.0], [1.0, 0.0]]))
    >>> float(half_square.area_mm2), round(float(half_square.mac_mm), 6)
    (0.5, 0.666667)
    """
    polygon = np.asarray(polygon, float)
    origin = polygon.mean(axis=-2, keepdims=True)
    x, y = np.moveaxis(polygon - origin, -1, 0)
    x2, y2 = np.roll(x, -1, axis=-1), np.roll(y, -1, axis=-1)
    cross = x * y2 - x2 * y
    area = cross.sum(axis=-1) / 2
    xc = ((x + x2) * cross).sum(axis=-1) / (6 * area)
    yc = ((y + y2) * cross).sum(axis=-1) / (6 * area)
    chord_squared, sweep_rad = _strip_integrals(x, y)
    return Planform(
        area_mm2=np.abs(area),
        x_centroid_mm=xc + origin[..., 0, 0],
        y_centroid_mm=yc + origin[..., 0, 1],
        mac_mm=chord_squared / np.abs(area),
        midchord_slope=np.tan(sweep_rad),
    )


def _strip_integrals(x, y):
    """(int c^2 dy, mean sweep of the mid-chord line in radians) over a closed polygon, strips between levels.

    Each edge gives x = a + b y between its ends; the chord and its first moment are the signed sums, of x and
    of x^2 / 2, over the edges that are crossed. Going up the sorted levels, a vertex takes away the edge that
    ends there and adds the one that starts there. Between levels the chord is linear, so Gauss points are
    exact for its square, and for the sweep where there is one chord, as its middle runs straight; where there
    are several the middle bends, and six points hold the angle to some 0.01 degrees.
    """
    run, rise = np.roll(x, -1, axis=-1) - x, np.roll(y, -1, axis=-1) - y
    level = np.abs(rise) <= _LEVEL_EDGE * np.ptp(y, axis=-1)[..., None]
    b = np.where(level, 0.0, run / np.where(level, 1.0, rise))
    a = np.where(level, 0.0, x - b * y)
    order = np.argsort(y, axis=-1)
    levels = np.take_along_axis(y, order, axis=-1)

    def crossed(coefficient):
        step = coefficient - np.roll(coefficient, 1, axis=-1)
        return np.cumsum(np.take_along_axis(step, order, axis=-1), axis=-1)[..., :-1]

    chord_0, chord_y = crossed(a), crossed(b)
    moment_0, moment_y, moment_yy = crossed(a * a / 2), crossed(a * b), crossed(b * b / 2)
    height = np.diff(levels, axis=-1)
    chord_squared, area, area_sweep = 0.0, 0.0, 0.0
    for point, weight in zip(_GAUSS_POINTS, _GAUSS_WEIGHTS, strict=True):
        at = levels[..., :-1] + (1 + point) / 2 * height
        chord = chord_0 + chord_y * at
        middle = (moment_0 + (moment_y + moment_yy * at) * at) / np.where(chord == 0, np.inf, chord)
        # The moment is middle * chord, so this is d(middle)/dy * chord; arctan2 bears a chord that vanishes.
        lean = moment_y + 2 * moment_yy * at - middle * chord_y
        sweep_rad = np.arctan2(np.sign(chord) * lean, np.abs(chord))
        strip = weight / 2 * height * np.abs(chord)
        chord_squared = chord_squared + (strip * np.abs(chord)).sum(axis=-1)
        area, area_sweep = area + strip.sum(axis=-1), area_sweep + (strip * sweep_rad).sum(axis=-1)
    return chord_squared, area_sweep / area


def lift_slope(aspect_ratio, midchord_slope):
    """Slope of a planform on its own area, per radian: 2 pi AR / (2 + sqrt(4 + (AR / cos G)^2)).

    aspect_ratio: of the fin and its mirror image, 2 span^2 / area; midchord_slope: tan G.

    >>> round(float(lift_slope(2 * 2**0.5, 1.0)), 6)  # the Warren-12 planform
    2.745853
    """
    inverse_cosine_squared = 1 + midchord_slope**2
    return 2 * np.pi * aspect_ratio / (2 + np.sqrt(4 + aspect_ratio**2 * inverse_cosine_squared))


def fin_slope(area_mm2, span_mm, midchord_slope, reference_area_mm2):
    """Slope of one fin on the reference area, per radian; for a trapezoid it is NARAM-8's eq. 57."""
    return area_mm2 / reference_area_mm2 * lift_slope(2 * span_mm**2 / area_mm2, midchord_slope)
