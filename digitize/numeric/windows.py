"""Filters along rows of numbers, by OpenCV, which is loaded anyway: scipy.ndimage takes a third of a second to load."""

import cv2
import numpy as np

_REACH = 4.0
"""Standard deviations to which a Gaussian is carried."""


def smoothed(values: np.ndarray, sigma: float, closed: bool = False) -> np.ndarray:
    """(n, ...) smoothed along the first axis by a Gaussian; closed: the end goes over into the beginning, else the ends
    go on as they are."""
    reach = int(_REACH * sigma + 0.5)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    exact = values if values.dtype in (np.float32, np.float64) else values.astype(float)
    rows = exact.reshape(len(values), -1)
    rows = np.pad(rows, ((reach, reach), (0, 0)), mode="wrap" if closed else "edge")
    found = cv2.sepFilter2D(rows, -1, np.ones(1), weights / weights.sum(), borderType=cv2.BORDER_REPLICATE)
    return found[reach : reach + len(values)].reshape(values.shape)


def opened(values: np.ndarray, size: int) -> np.ndarray:
    """(n,) with everything shaved off that stands out for less than `size` in a row (grey opening)."""
    column = np.ascontiguousarray(values, float)[:, None]
    window = np.ones((size, 1), np.uint8)
    low = cv2.erode(column, window, anchor=(0, size // 2))
    return cv2.dilate(low, window, anchor=(0, (size - 1) // 2))[:, 0]


def steps_to_false(flags: np.ndarray) -> np.ndarray:
    """(n,) how many steps from each flag to the nearest that is False; n where none is."""
    place, number = np.arange(len(flags)), len(flags)
    before = np.maximum.accumulate(np.where(flags, -number, place))
    behind = np.minimum.accumulate(np.where(flags, 2 * number, place)[::-1])[::-1]
    return np.minimum(np.minimum(place - before, behind - place), number).astype(float)
