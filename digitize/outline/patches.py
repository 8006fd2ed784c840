"""The picture as a few thousand small patches that stop at edges, and how their colours compare.

Colours are compared as logarithms of linear light: a shadow or a lamp's fall-off then only shifts the
lightness and leaves the two colour ratios alone.
"""

from dataclasses import dataclass

import cv2
import numpy as np

# A step of one in each feature is about as far as a careful eye would call the same paint.
FEATURE_SCALE = np.array([0.12, 0.05, 0.05], np.float32)
_DARK = 0.006  # linear light added before the logarithm, so that noise in black does not shout


def linear_light(rgb: np.ndarray) -> np.ndarray:
    """sRGB uint8 to linear light 0..1, float32, same shape (IEC 61966-2-1 transfer curve)."""
    level = np.arange(256) / 255.0
    curve = np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)
    return curve.astype(np.float32)[rgb]


def features_of_light(light: np.ndarray) -> np.ndarray:
    """Linear light (..., 3) to lightness, red/green and blue/green, all logarithmic, in units of FEATURE_SCALE."""
    logs = np.log(light + _DARK)
    red, green, blue = (logs[..., k] for k in range(3))
    lightness = 0.3 * red + 0.5 * green + 0.2 * blue
    return np.stack([lightness, red - green, blue - green], axis=-1) / FEATURE_SCALE


def colour_features(rgb: np.ndarray) -> np.ndarray:
    """features_of_light of an sRGB uint8 picture; (H, W, 3) float32."""
    return features_of_light(linear_light(rgb))


@dataclass(frozen=True)
class Patches:
    """A picture cut into patches.

    label: (H, W) int, patch number of each pixel; features: (n, 6) mean colour features, of the picture and of the
    picture with thin things filtered out; centre_px: (n, 2) x, y; area_px: (n,); pairs: (m, 2) touching
    patches; border_px: (m,) length of their common border; step: (m,) mean colour step across it, in feature units.
    """

    label: np.ndarray
    features: np.ndarray
    centre_px: np.ndarray
    area_px: np.ndarray
    pairs: np.ndarray
    border_px: np.ndarray
    step: np.ndarray

    def mean(self, image: np.ndarray) -> np.ndarray:
        """Mean of an (H, W) image over each patch."""
        total = np.bincount(self.label.ravel(), image.ravel(), len(self.area_px))
        return total / self.area_px


def cut_into_patches(feature: np.ndarray, size_px: int = 8) -> Patches:
    """Watershed from the flattest pixel of each size_px cell, so that patch borders lie on edges."""
    smooth = cv2.GaussianBlur(feature, (0, 0), 1.0)
    label = _watershed(smooth, _flattest_pixels(_slope(smooth), size_px))
    count = int(label.max()) + 1
    flat = label.ravel()
    area = np.bincount(flat, minlength=count).astype(float)
    rows, columns = np.indices(label.shape)
    planes = [*cv2.split(feature), *cv2.split(without_thin(feature))]
    sums = [np.bincount(flat, plane.ravel(), count) / area for plane in planes]
    centre = [np.bincount(flat, plane.ravel(), count) / area for plane in (columns, rows)]
    pairs, border, step = _borders(label, smooth, count)
    return Patches(label, np.stack(sums, 1), np.stack(centre, 1), area, pairs, border, step)


def without_thin(feature: np.ndarray, size_px: int = 13) -> np.ndarray:
    """The picture without lines, specks and grain thinner than half of size_px; edges of larger things stay.

    A printed line of the ground may have the colour of a rocket's nose: it is not as thick.
    """
    result = np.empty_like(feature)
    for k in range(feature.shape[2]):
        low, high = np.percentile(feature[::4, ::4, k], [0.1, 99.9])
        scale = 255 / max(high - low, 1e-6)
        bytes_ = np.clip((feature[..., k] - low) * scale + 0.5, 0, 255).astype(np.uint8)
        result[..., k] = cv2.medianBlur(bytes_, size_px) / scale + low
    return result


def _slope(smooth: np.ndarray) -> np.ndarray:
    squares = sum(
        cv2.Scharr(plane, cv2.CV_32F, 1, 0) ** 2 + cv2.Scharr(plane, cv2.CV_32F, 0, 1) ** 2
        for plane in cv2.split(smooth)
    )
    return np.sqrt(squares) / 32


def _flattest_pixels(slope: np.ndarray, size_px: int) -> tuple[np.ndarray, np.ndarray]:
    """Row and column of the flattest pixel of every cell."""
    rows, columns = (n // size_px for n in slope.shape)
    cells = slope[: rows * size_px, : columns * size_px].reshape(rows, size_px, columns, size_px)
    best = cells.swapaxes(1, 2).reshape(rows, columns, -1).argmin(2)
    row = np.arange(rows)[:, None] * size_px + best // size_px
    column = np.arange(columns)[None] * size_px + best % size_px
    return row.ravel(), column.ravel()


def _watershed(smooth: np.ndarray, seeds: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    low = smooth.reshape(-1, 3).min(0)
    high = smooth.reshape(-1, 3).max(0)
    bytes_ = ((smooth - low) / np.maximum(high - low, 1e-6) * 255).astype(np.uint8)
    marker = np.zeros(smooth.shape[:2], np.int32)
    marker[seeds] = np.arange(len(seeds[0])) + 1
    cv2.watershed(bytes_, marker)
    marker[[0, -1]] = marker[[1, -2]]  # OpenCV leaves the picture's own rim unassigned
    marker[:, [0, -1]] = marker[:, [1, -2]]
    marker[marker < 0] = 0
    grown = cv2.dilate(marker.astype(np.float32), np.ones((3, 3))).astype(np.int32)
    marker = np.where(marker == 0, grown, marker)
    return np.unique(marker, return_inverse=True)[1].reshape(marker.shape)


def _borders(label: np.ndarray, smooth: np.ndarray, count: int):
    """Pairs of touching patches, length of border, mean colour step taken over three pixels across it."""
    keys, steps = [], []
    for axis in (0, 1):
        a, b = (label[:-1], label[1:]) if axis == 0 else (label[:, :-1], label[:, 1:])
        row, column = np.nonzero(a != b)
        ends = []
        for reach in (-1, 2):
            r = np.clip(row + (reach if axis == 0 else 0), 0, label.shape[0] - 1)
            c = np.clip(column + (reach if axis == 1 else 0), 0, label.shape[1] - 1)
            ends.append(smooth[r, c])
        first, second = a[row, column].astype(np.int64), b[row, column].astype(np.int64)
        keys.append(np.minimum(first, second) * count + np.maximum(first, second))
        steps.append(np.linalg.norm(ends[1] - ends[0], axis=1))
    unique, inverse = np.unique(np.concatenate(keys), return_inverse=True)
    length = np.bincount(inverse).astype(float)
    step = np.bincount(inverse, np.concatenate(steps)) / length
    return np.stack([unique // count, unique % count], 1), length, step
