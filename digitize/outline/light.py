"""Colours compared as logarithms of linear light: a shadow or a lamp's fall-off then only shifts the lightness and
leaves the two colour ratios alone."""

import numpy as np

# A step of one in each feature is about as far as a careful eye would call the same paint.
FEATURE_SCALE = np.array([0.12, 0.05, 0.05], np.float32)
_DARK = 0.006  # linear light added before the logarithm, so that noise in black does not shout


def features_of_light(light: np.ndarray) -> np.ndarray:
    """Linear light (..., 3) to lightness, red/green and blue/green, all logarithmic, in units of FEATURE_SCALE."""
    logs = np.log(light + _DARK)
    red, green, blue = (logs[..., k] for k in range(3))
    lightness = 0.3 * red + 0.5 * green + 0.2 * blue
    return np.stack([lightness, red - green, blue - green], axis=-1) / FEATURE_SCALE
