"""A picture read at any places, however many: OpenCV's maps may have no side of 32767 or more."""

import cv2
import numpy as np

MOST_SIDE = 32766
_ROW = 16384


def sampled(image: np.ndarray, x: np.ndarray, y: np.ndarray, outside: float | None = None) -> np.ndarray:
    """(..., channels if any) bilinear values of an image (H, W) or (H, W, c) at columns x and rows y (...).

    outside: the value taken beyond the image, None to repeat its edge; it goes over between the last pixel and the one
    beyond. The image itself may have no side above MOST_SIDE: `read_photo` sees to that.
    """
    x, y = np.broadcast_arrays(np.asarray(x, np.float32), np.asarray(y, np.float32))
    shape, channels = x.shape, image.shape[2:]
    if x.size == 0:
        return np.zeros((*shape, *channels), image.dtype)
    if x.ndim != 2 or max(shape) > MOST_SIDE:
        pad = (-x.size) % min(_ROW, x.size)
        x, y = (np.pad(v.reshape(-1), (0, pad), mode="edge").reshape(-1, min(_ROW, v.size)) for v in (x, y))
    border = cv2.BORDER_REPLICATE if outside is None else cv2.BORDER_CONSTANT
    values = cv2.remap(
        image, np.ascontiguousarray(x), np.ascontiguousarray(y), cv2.INTER_LINEAR, borderMode=border,
        borderValue=(outside or 0.0,) * 4,
    )  # fmt: skip
    values = values.reshape(-1, *channels)[: int(np.prod(shape))]
    return values.reshape(*shape, *channels)
