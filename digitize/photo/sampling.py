"""A picture read at any places, however many: OpenCV's maps may have no side of 32767 or more."""

import cv2
import numpy as np

from digitize.photo.colour import LINEAR_LIGHT

MOST_SIDE = 32766
"""Pixels: OpenCV counts them in 16 bits with sign (see above)."""
_ROW = 16384
"""Places in a row of the map: any number below that limit would do."""
_TOGETHER = 2048
"""Places read together: what lies round a few that follow each other is far less than what lies round all."""


def sampled(image: np.ndarray, x: np.ndarray, y: np.ndarray, outside: float | None = None) -> np.ndarray:
    """(..., channels if any) bilinear values of an image (H, W) or (H, W, c) at columns x and rows y (...).

    outside: the value taken beyond the image, None to repeat its edge; it goes over between the last pixel and the one
    beyond. The image itself may have no side above MOST_SIDE: `read_photo` sees to that.
    """
    x, y = np.broadcast_arrays(x, y)
    shape, channels = x.shape, image.shape[2:]
    if x.size == 0:
        return np.zeros((*shape, *channels), image.dtype)
    if x.ndim != 2 or max(shape) > MOST_SIDE:
        x, y = _in_rows(x), _in_rows(y)
    border = cv2.BORDER_REPLICATE if outside is None else cv2.BORDER_CONSTANT
    x, y = np.ascontiguousarray(x, np.float32), np.ascontiguousarray(y, np.float32)
    values = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=border, borderValue=(outside or 0.0,) * 4)
    values = values.reshape(-1, *channels)[: int(np.prod(shape))]
    return values.reshape(*shape, *channels)


def linear_light_at(rgb: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(..., 3) float32 linear light of a picture (H, W, 3) uint8 sRGB at points (..., 2), bilinear, its edge repeated
    outside. Points that follow each other should lie near each other."""
    flat = np.ascontiguousarray(points, np.float32).reshape(-1, 2)
    light = np.empty((len(flat), 3), np.float32)
    last = np.array(rgb.shape[1::-1]) - 1
    for first in range(0, len(flat), _TOGETHER):
        some = flat[first : first + _TOGETHER]
        low, high = np.floor(some.min(0)).astype(int) - 2, np.ceil(some.max(0)).astype(int) + 2
        low, high = np.clip(low, 0, last), np.clip(high, 0, last)
        part = cv2.LUT(rgb[low[1] : high[1] + 1, low[0] : high[0] + 1], LINEAR_LIGHT)
        x, y = (some - low.astype(np.float32)).T
        light[first : first + _TOGETHER] = sampled(part, x[None], y[None])[0]
    return light.reshape(*points.shape[:-1], 3)


def _in_rows(places: np.ndarray) -> np.ndarray:
    """All places (...) in rows of _ROW float32, the last one repeated to fill up."""
    width = min(_ROW, places.size)
    rows = np.empty(-(-places.size // width) * width, np.float32)
    rows[: places.size] = places.reshape(-1)
    rows[places.size :] = rows[places.size - 1]
    return rows.reshape(-1, width)
