"""What a person marked in a picture."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Marked:
    """What a person marked in the picture, as polygons (n, 2) in pixels of photo.rgb: rocket, and not rocket."""

    rocket: tuple[np.ndarray, ...] = ()
    other: tuple[np.ndarray, ...] = ()


NOTHING_MARKED = Marked()
