"""A picture read at any places, however many: OpenCV's maps may have no side of 32767 or more."""

import cv2
import numpy as np

MOST_SIDE = 32766
"""Pixels: OpenCV counts them in 16 bits with sign (see above)."""
_ROW = 16384
"""Places in a row of the map: any number below that limit would do."""


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


def _in_rows(places: np.ndarray) -> np.ndarray:
    """All places (...) in rows of _ROW float32, the last one repeated to fill up."""
    width = min(_ROW, places.size)
    rows = np.empty(-(-places.size // width) * width, np.float32)
    rows[: places.size] = places.reshape(-1)
    rows[places.size :] = rows[places.size - 1]
    return rows.reshape(-1, width)
