"""A picture's grey, at the sizes and in the places that are asked for, and no more of it.

Grey is the square root of luminance in linear light, so that dark marks count as light ones do. All of it in full size
would take four thirds of what the picture itself does, and most is never looked at.
"""

import cv2
import numpy as np

from digitize.photo.colour import LINEAR_LIGHT
from digitize.photo.sampling import sampled

_LUMINANCE = np.array([[0.2126, 0.7152, 0.0722]], np.float32)
"""Of linear red, green and blue: ITU-R BT.709."""
_TILE = 256


class GreyLevels:
    """Of a picture (H, W, 3) uint8 sRGB. shape: (H, W)."""

    def __init__(self, rgb: np.ndarray):
        self.rgb, self.shape = rgb, rgb.shape[:2]
        self._halves = {1: rgb}
        self._full = np.zeros(self.shape, np.float32)  # memory is taken where something is written
        self._known = np.zeros([-(-side // _TILE) for side in self.shape], bool)

    def level(self, reduce: int) -> np.ndarray:
        """(H // reduce, W // reduce) float32: means of whole blocks, counted from the top left."""
        if reduce == 1:
            self._make_known(self._known >= 0)
            return self._full
        return _grey(self._reduced(reduce))

    def at(self, points_px: np.ndarray) -> np.ndarray:
        """(...,) grey of the full picture at points (..., 2), its edge repeated outside."""
        most = np.array(self.shape[::-1]) - 1
        asked = np.zeros_like(self._known)
        for reach in (0, 1):  # between two tiles both are read
            column, row = np.moveaxis(np.clip(points_px.astype(int) + reach, 0, most) // _TILE, -1, 0)
            asked[row, column] = True
        self._make_known(asked)
        return sampled(self._full, points_px[..., 0], points_px[..., 1])

    def _reduced(self, reduce: int) -> np.ndarray:
        """The picture at a whole share of its size."""
        if reduce not in self._halves:
            whole, factor = (self._reduced(reduce // 2), 2) if reduce % 2 == 0 else (self.rgb, reduce)
            height, width = (side // factor for side in whole.shape[:2])
            blocks = whole[: height * factor, : width * factor]
            self._halves[reduce] = cv2.resize(blocks, (width, height), interpolation=cv2.INTER_AREA)
        return self._halves[reduce]

    def _make_known(self, tiles: np.ndarray) -> None:
        for row, column in np.argwhere(tiles & ~self._known):
            part = np.s_[row * _TILE : (row + 1) * _TILE, column * _TILE : (column + 1) * _TILE]
            self._full[part] = _grey(self.rgb[part])
        self._known |= tiles


def _grey(rgb: np.ndarray) -> np.ndarray:
    """(H, W) float32 of a picture (H, W, 3)."""
    grey = np.empty(rgb.shape[:2], np.float32)
    for top in range(0, len(rgb), 64):  # what lies between, 12 bytes a pixel, stays in the processor's cache
        part = cv2.transform(cv2.LUT(rgb[top : top + 64], LINEAR_LIGHT), _LUMINANCE)
        cv2.sqrt(part, dst=grey[top : top + 64])
    return grey
