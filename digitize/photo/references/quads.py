"""Quadrilaterals in a reduced picture that could be a flat rectangle.

They come from many thresholds and edge maps, so that no one threshold has to be right; rectangle.py judges
them.
"""

from collections.abc import Iterator

import cv2
import numpy as np

MAX_TILT_DEG = 50.0  # of a reference's plane; beyond it an edge fit is worth little
LARGEST = 40  # blobs of one picture that are looked at: a cutting mat alone has thousands, all smaller
SAME_BLOBS = 3  # a blob that stands out shows at many thresholds; this many of them are looked at


def _maps(small: np.ndarray):
    """Binary pictures in which a flat object may show as one blob."""
    calm = cv2.medianBlur(small, 5)
    lab = cv2.cvtColor(calm, cv2.COLOR_RGB2LAB)
    saturation = cv2.cvtColor(calm, cv2.COLOR_RGB2HSV)[..., 1]
    for channel in (lab[..., 0], lab[..., 1], lab[..., 2], saturation, calm[..., 0], calm[..., 2]):
        low, high = np.percentile(channel[::4, ::4], [1, 99])
        if high - low < 6:
            continue
        for level in np.linspace(low, high, 11)[1:-1]:
            yield cv2.threshold(channel, float(level), 255, cv2.THRESH_BINARY)[1]
    slopes = [_slope(cv2.GaussianBlur(lab[..., c], (0, 0), 1.2)) for c in range(3)]
    slope = np.maximum.reduce(slopes)
    for share in (80, 88, 93, 96.5):
        edges = (slope > max(4.0, np.percentile(slope[::4, ::4], share))).astype(np.uint8) * 255
        yield edges
        yield cv2.morphologyEx(edges, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))


def _slope(channel: np.ndarray) -> np.ndarray:
    dx = cv2.Sobel(channel, cv2.CV_32F, 1, 0, ksize=3)
    dy = cv2.Sobel(channel, cv2.CV_32F, 0, 1, ksize=3)
    return cv2.magnitude(dx, dy)


def _line_through(points: np.ndarray):
    """Total least squares: centre and direction."""
    centre = points.mean(axis=0)
    x, y = (points - centre).T
    turn = 0.5 * np.arctan2(2 * (x @ y), x @ x - y @ y)
    return centre, np.array([np.cos(turn), np.sin(turn)])


def _cross(line_a, line_b):
    (p, u), (q, v) = line_a, line_b
    det = u[1] * v[0] - u[0] * v[1]
    if abs(det) < 0.2:
        return None
    d = q - p
    return p + (d[1] * v[0] - d[0] * v[1]) / det * u


def _four_sides(hull: np.ndarray):
    """Four corners where the hull's long sides, continued, meet; None when it is no quadrilateral."""
    perimeter = cv2.arcLength(hull, True)
    for share in (0.015, 0.025, 0.04, 0.06, 0.085):
        rough = cv2.approxPolyDP(hull, share * perimeter, True)[:, 0, :].astype(float)
        if len(rough) <= 4:
            break
    if len(rough) != 4:
        return None
    dense = _resample(hull[:, 0, :].astype(float), max(1.0, perimeter / 240))
    lines = []
    for i in range(4):
        a, b = rough[i], rough[(i + 1) % 4]
        along = (b - a) / max(np.hypot(*(b - a)), 1e-9)
        s = (dense - a) @ along / max(np.hypot(*(b - a)), 1e-9)
        off = np.abs((dense - a) @ np.array([-along[1], along[0]]))
        own = dense[(s > 0.15) & (s < 0.85) & (off < 0.05 * perimeter / 4 + 1.5)]
        if len(own) < 5:
            return None
        lines.append(_line_through(own))
    corners = [_cross(lines[i - 1], lines[i]) for i in range(4)]
    return None if any(c is None for c in corners) else np.array(corners)


def _resample(polygon: np.ndarray, spacing: float) -> np.ndarray:
    closed = np.vstack([polygon, polygon[:1]])
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.arange(0, s[-1], spacing)
    return np.column_stack([np.interp(at, s, closed[:, k]) for k in range(2)])


def clockwise(corners: np.ndarray) -> np.ndarray:
    """Corners in clockwise order as seen (y down)."""
    return corners if cv2.contourArea(corners.astype(np.float32), oriented=True) > 0 else corners[::-1]


def _quads_of(
    binary: np.ndarray, least_px: float, aspect: float, met: dict[tuple[int, ...], int]
) -> Iterator[np.ndarray]:
    """Quadrilaterals among the blobs of a binary picture.

    met: how often a blob's box was met, over all pictures.
    """
    height, width = binary.shape
    contours, _ = cv2.findContours(binary, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    longest = 1.05 * aspect / np.cos(np.radians(MAX_TILT_DEG))
    longest_first = sorted((c for c in contours if len(c) > 2.4 * least_px), key=len, reverse=True)
    for contour in longest_first[:LARGEST]:
        box = cv2.boundingRect(contour)
        if max(box[2:]) > 0.95 * max(height, width) or min(box[2:]) < 0.5 * least_px:
            continue
        key = tuple(np.array(box) // 3)
        if met.get(key, 0) >= SAME_BLOBS:
            continue
        hull = cv2.convexHull(contour)
        area = cv2.contourArea(hull)
        sides = cv2.minAreaRect(hull)[1]
        if area < max(least_px**2 * 0.5, 0.6 * sides[0] * sides[1]) or max(sides) > longest * min(sides):
            continue
        met[key] = met.get(key, 0) + 1
        corners = _four_sides(hull)
        if corners is None or corners.min() < 1 or (corners > [width - 2, height - 2]).any():
            continue
        quad_area = cv2.contourArea(corners.astype(np.float32))
        if 0.90 < area / max(quad_area, 1) < 1.06 and _plausible_shape(corners, aspect):
            yield clockwise(corners)


def _plausible_shape(corners: np.ndarray, aspect: float) -> bool:
    """Side lengths such as a rectangle of this aspect can show when tilted up to MAX_TILT_DEG: a quick first
    sieve.
    """
    a, b, c, d = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    if max(a / c, c / a, b / d, d / b) > 1.6:
        return False
    seen = max((a + c) / (b + d), (b + d) / (a + c))
    foreshortened = 1 / np.cos(np.radians(MAX_TILT_DEG))
    return max(1.0, aspect / foreshortened) / 1.05 < seen < aspect * foreshortened


def find_quads(small: np.ndarray, aspect: float) -> list[np.ndarray]:
    """Clockwise corners (4, 2), in pixels of `small` (RGB), of every quadrilateral a rectangle of this aspect
    may show.
    """
    least = 0.02 * max(small.shape[:2])
    seen = np.zeros((0, 4, 2))
    met: dict[tuple[int, ...], int] = {}
    for binary in _maps(small):
        for corners in _quads_of(binary, least, aspect, met):
            size = float(np.sqrt(cv2.contourArea(corners.astype(np.float32))))
            if not same_place(corners, seen, 0.012 * size + 0.5).any():
                seen = np.vstack([seen, corners[None]])
    return list(seen)


def same_place(corners: np.ndarray, others: np.ndarray, within_px: float) -> np.ndarray:
    """Which of others (n, 4, 2) have every corner within within_px of corners (4, 2), in any cyclic order."""
    turned = np.stack([np.roll(corners, k, axis=0) for k in range(4)])
    return (np.abs(others[:, None] - turned[None]).max(axis=(2, 3)) < within_px).any(axis=1)
