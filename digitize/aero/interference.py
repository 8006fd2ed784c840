"""From one fin to a group of fins on a body.

Source: J. S. and J. A. Barrowman, The Theoretical Prediction of the Center of Pressure, NARAM-8 (1966), eq.
58, 59 and 77. The lift the fins carry over to the body is left out there, on purpose.
"""

import numpy as np

# NARAM-8 gives three and four; six from memory of the same authors' later sheets.
PUBLISHED_COUNTS = (3, 4, 6)


def count_factor(count: int) -> float:
    """How many single fins' worth of slope a group has: N / 2.

    1.5 for three and 2 for four (eq. 58, 59); the same for any angle of roll. For two fins it is the mean
    over the angle of roll: in their own plane they do nothing.
    """
    return count / 2


def body_factor(count: int, radius_mm, span_mm):
    """K, the slope of a fin beside the body over its slope alone. Broadcasts.

    1 + r / (s + r) for three and four fins (eq. 77); 1 + r / (2 (s + r)) for six (from memory), taken for
    five and for more than six too, where nothing is published, being the lower. radius_mm: the body's at the
    root; span_mm: of the exposed fin.

    >>> body_factor(3, 12.0, 40.0) == 1 + 12 / 52
    True
    """
    share = 1.0 if count <= 4 else 0.5
    return 1 + share * radius_mm / (span_mm + radius_mm)


def slender_fin_factor(radius_mm, span_mm):
    """K_W(B): a fin's force beside the body over its force alone, by slender-body theory.

    k = r / (r + span):
    (2 / pi) / (1 - k)^2 {(1 + k^4) [atan((1/k - k) / 2) / 2 + pi / 4] - k^2 [(1/k - k) + 2 atan k]}.
    Source: W. C. Pitts, J. N. Nielsen, G. E. Kaattari, NACA TR 1307 (1957); J. N. Nielsen, Missile Aerodynamics (1960)
    (formula from memory). Broadcasts.

    >>> round(float(slender_fin_factor(1.0, 4.0)), 4)
    1.1616
    """
    k = np.clip(np.asarray(radius_mm / (radius_mm + span_mm), float), 1e-6, 1 - 1e-6)
    gap = 1 / k - k
    curly = (1 + k**4) * (0.5 * np.arctan(gap / 2) + np.pi / 4) - k**2 * (gap + 2 * np.arctan(k))
    return 2 / np.pi * curly / (1 - k) ** 2


def slender_body_factor(radius_mm, span_mm):
    """K_B(W): what a fin makes the body carry, over the fin's force alone: (1 + k)^2 - K_W(B).

    Source: as `slender_fin_factor` (the sum, in a restatement). Broadcasts.

    >>> round(float(slender_body_factor(1.0, 4.0)), 4)
    0.2784
    """
    k = np.asarray(radius_mm / (radius_mm + span_mm), float)
    return (1 + k) ** 2 - slender_fin_factor(radius_mm, span_mm)


def slender_number_factor(count: int, radius_mm, span_mm):
    """The force of N fins beside a body over N / 4 times that of four, by slender-body theory.

    Fins shade one another: N / 2 single fins is right for two and four, a little low for three, and too much from five
    on. The section, a circle of radius r with N rays to R = r + span, maps to a circle of radius c with
    2 c^(N / 2) = R^(N / 2) + r^N / R^(N / 2); beyond the body's own part the force goes with c^2 - r^2.
    Source: conformal mapping; A. E. Bryson, J. Aeronaut. Sci. 21 (1954) 424 (form from memory; it has the known limits:
    four fins give (1 + k)^2 times one pair alone, and endlessly many a solid circle of radius R). Two: the mean over
    the roll, 1. Broadcasts.

    >>> [round(float(slender_number_factor(n, 0.0, 1.0)), 3) for n in (3, 4, 6, 8)]
    [1.058, 1.0, 0.84, 0.707]
    """
    if count < 3:
        return np.ones(np.broadcast(radius_mm, span_mm).shape)
    k = np.clip(np.asarray(radius_mm / (radius_mm + span_mm), float), 0, 1 - 1e-6)

    def carried(n: int):
        return ((1 + k**n) / 2) ** (4 / n) - k**2

    return 4 / count * carried(count) / carried(4)
