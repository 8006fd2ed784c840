"""From one fin to a group of fins on a body.

Source: J. S. and J. A. Barrowman, The Theoretical Prediction of the Center of Pressure, NARAM-8 (1966), eq.
58, 59 and 77. The lift the fins carry over to the body is left out there, on purpose.
"""

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
