"""Nearest points, by OpenCV's exact k-d tree (of the FLANN library), which is loaded anyway."""

import cv2
import numpy as np

_ONE_TREE, _LEAF = 4, 10  # FLANN_INDEX_KDTREE_SINGLE: exact, for few dimensions; points in a leaf


class Nearest:
    """The nearest of some points (n, 2), n > 0, to any others."""

    def __init__(self, points: np.ndarray):
        # single precision counts from the middle of the points: good to a thousandth of a pixel in any photo
        self._middle = points.mean(0)
        self._points = np.ascontiguousarray(points - self._middle, np.float32)  # kept, as the index refers to it
        self._index = cv2.flann.Index(self._points, {"algorithm": _ONE_TREE, "leaf_max_size": _LEAF})

    def query(self, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(distance (k,), number of the nearest point (k,)) of places (k, 2)."""
        if not len(places):
            return np.zeros(0), np.zeros(0, int)
        asked = np.ascontiguousarray(places - self._middle, np.float32)
        number, squared = self._index.knnSearch(asked, 1, params={})
        return np.sqrt(squared[:, 0].astype(float)), number[:, 0].astype(int)
