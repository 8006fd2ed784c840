"""The outline to a fraction of a pixel: where the light along the outline's normal is half way across the edge.

Half way is taken in linear light, along the line in colour space from the inside's colour to the outside's: a
camera's blur is symmetric there, so the half-way point stays on the edge however wide the blur.
"""

from dataclasses import dataclass

import numpy as np

from digitize.numeric.windows import smoothed, steps_to_false
from digitize.outline.light import features_of_light
from digitize.photo.sampling import linear_light_at

SPACING_PX = 2.0
"""From point to point of the outline: about the width of the blur, so that neighbours tell something of their own."""
_SAMPLE_PX = 0.5
"""From sample to sample across the edge: two a pixel, as no more is in the picture."""


@dataclass(frozen=True)
class Ribbon:
    """Linear light sampled along the normals of a closed outline.

    light: (n, m, 3); offset_px: (m,) along the outward normal; point_px, normal: (n, 2).
    """

    light: np.ndarray
    offset_px: np.ndarray
    point_px: np.ndarray
    normal: np.ndarray


def resample_closed(points: np.ndarray, spacing: float) -> np.ndarray:
    """A closed polygon's points at even spacing along it."""
    closed = np.vstack([points, points[:1]])
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(8, round(along[-1] / spacing))
    at = np.arange(count) * along[-1] / count
    return np.stack([np.interp(at, along, closed[:, k]) for k in (0, 1)], 1)


def outward_normals(points: np.ndarray, reach: int) -> np.ndarray:
    """(n, 2) unit outward normals of a closed polygon with signed_area > 0, from points `reach` steps apart."""
    tangent = np.roll(points, -reach, 0) - np.roll(points, reach, 0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    return np.stack([tangent[:, 1], -tangent[:, 0]], 1)


def sample_ribbon(rgb: np.ndarray, points: np.ndarray, normal: np.ndarray, reach_px: float) -> Ribbon:
    """Light along the normals out to reach_px on both sides."""
    half = round(reach_px / _SAMPLE_PX)
    offset = np.arange(-half, half + 1) * _SAMPLE_PX
    at = points[:, None] + offset[None, :, None] * normal[:, None]
    return Ribbon(linear_light_at(rgb, at), offset, points, normal)


def smooth_along(values: np.ndarray, sigma: float) -> np.ndarray:
    """Gaussian smoothing along a closed outline; values: (n, ...)."""
    return smoothed(values, sigma, closed=True)


def smooth_by(values: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """values (n, ...) smoothed along the outline, each point by its own sigma, one of _SMOOTHINGS."""
    result = values.copy()
    for smoothing in _SMOOTHINGS[1:]:
        share = smooth_along((sigma >= smoothing).astype(float), smoothing / 2)
        share = np.where(sigma >= smoothing, 1.0, np.where(share > 0.3, share, 0.0))
        share = share.reshape(-1, *[1] * (values.ndim - 1))
        result = share * smooth_along(values, smoothing) + (1 - share) * result
    return result


def follow_edge(ribbon: Ribbon, stay: np.ndarray, sigma: float = 2.0) -> np.ndarray:
    """(n,) offset of the best continuous edge around the outline (dynamic programming), pixels.

    Best: sharp against the ground's own texture, strong against other edges near by, with what lies inside
    unlike the ground and what lies outside like it. stay: (n,) cost of each pixel away from offset 0; sigma:
    smoothing along the outline, in points.
    """
    colour = smooth_along(features_of_light(ribbon.light), sigma).astype(np.float32)
    step = _step(colour)
    offset = ribbon.offset_px
    outer = offset >= offset[-1] - 5
    texture = smooth_along(np.sqrt((step[:, outer] ** 2).mean(1)), 10.0)[:, None] + 0.02
    strongest = smooth_along(step.max(1), 5.0)[:, None] + 1e-6
    gain = 0.5 * np.tanh(step / (4 * texture)) + 0.5 * np.minimum(step / strongest, 1)
    figure = 0.5 * _unlike_outside(colour, outer) + 0.5 * _nearer_inside(colour, offset)
    figure += 0.7 * _smoother_than_outside(ribbon.light, outer)
    gain += 0.06 * np.cumsum(figure, axis=1)
    gain -= stay[:, None] * np.abs(offset)
    return offset[_best_closed_path(gain, 0.2)]


def _smoother_than_outside(light: np.ndarray, outer: np.ndarray) -> np.ndarray:
    """(n, m) -1 as rough along the outline as the ground just outside .. 1 as smooth as the paint just inside;
    0 where the ground is no rougher than the paint."""
    lightness = np.log(light + 0.02).mean(2)
    fine = lightness - smooth_along(lightness, 4.0)
    roughness = 0.5 * np.log(smooth_along(fine**2, 8.0) + 1e-5)
    ground = np.median(roughness[:, outer], axis=1)[:, None]
    paint = np.median(roughness[:, outer[::-1]], axis=1)[:, None]
    told_apart = np.clip(ground - paint, 0, 1)
    return told_apart * np.clip(2 * (ground - roughness) / np.maximum(ground - paint, 0.1) - 1, -1, 1)


def _nearer_inside(colour: np.ndarray, offset: np.ndarray, along=(-16, -8, 0, 8, 16)) -> np.ndarray:
    """(n, m) -1 the colour of some ground just outside, shaded or not, .. 1 of some paint just inside."""
    far = offset[-1]
    nearest = {}
    for side in (-1, 1):
        samples = np.flatnonzero(np.isin(offset, side * (far - np.array([0.0, 1.5, 3.0, 4.5]))))
        best = np.full(colour.shape[:2], np.inf, np.float32)
        for shift in along:
            for k in samples:
                away = colour - np.roll(colour[:, k], shift, axis=0)[:, None]
                light = away[..., 0]
                if side > 0:
                    light = np.where(light > 0, light, 0.1 * light)
                best = np.minimum(best, light**2 + away[..., 1] ** 2 + away[..., 2] ** 2)
        nearest[side] = np.sqrt(best) + 0.3
    return np.clip(np.log(nearest[1] / nearest[-1]), -1, 1)


def _step(colour: np.ndarray, width: int = 3) -> np.ndarray:
    """(n, m) colour difference between the pixel and a half inside and the pixel and a half outside."""
    running = np.cumsum(np.pad(colour, ((0, 0), (1, 0), (0, 0))), axis=1)
    mean = (running[:, width:] - running[:, :-width]) / width
    step = np.linalg.norm(mean[:, width + 1 :] - mean[:, : -width - 1], axis=2)
    result = np.zeros(colour.shape[:2])
    result[:, width : width + step.shape[1]] = step
    return result


def _unlike_outside(colour: np.ndarray, outer: np.ndarray) -> np.ndarray:
    """(n, m) -1 like the ground just outside, shaded or not, .. 1 unlike it."""
    middle = smooth_along(colour[:, outer].mean(1), 3.0)[:, None]
    scatter = smooth_along(colour[:, outer].var(1), 10.0)[:, None]
    away = (colour - middle) / np.sqrt(scatter + 0.1**2)
    light = np.where(away[..., 0] > 0, away[..., 0], 0.15 * away[..., 0])
    distance = np.sqrt(light**2 + away[..., 1] ** 2 + away[..., 2] ** 2)
    return np.clip((distance - 2.5) / 2.5, -1, 1)


def _best_closed_path(gain: np.ndarray, bend_cost: float) -> np.ndarray:
    """Path of one column a row, moving at most one column a row, with the greatest gain, nearly closed."""
    count, width = gain.shape
    turn = count // 4  # run a little past the start so that both ends have settled
    rows = np.concatenate([np.arange(count), np.arange(turn)])
    score = gain[rows[0]].copy()
    back = np.zeros((len(rows), width), np.int8)
    padded = np.full(width + 2, -np.inf)
    here = np.arange(width)
    costs = np.array([bend_cost, 0.0, bend_cost])[:, None]
    options = np.lib.stride_tricks.sliding_window_view(padded, width)  # row 0: from the column on the left
    for k, row in enumerate(rows[1:], 1):
        padded[1:-1] = score
        reached = options - costs
        best = reached.argmax(0)
        back[k] = best - 1
        score = reached[best, here] + gain[row]
    path = np.zeros(len(rows), int)
    path[-1] = int(score.argmax())
    for k in range(len(rows) - 1, 0, -1):
        path[k - 1] = path[k] + back[k, path[k]]
    half = turn // 2
    return np.concatenate([path[count : count + half], path[half:count]])


_SMOOTHINGS = (0.8, 2.0, 5.0, 10.0)  # along the outline, in points
_WANTED_PX = 0.12
"""Standard deviation of a point that needs no more smoothing. By eye, no source."""


def room_to_corner(points: np.ndarray, reach: int = 6, turn_deg: float = 15.0) -> np.ndarray:
    """(n,) distance along the outline, in points, to the nearest place where it turns by more than turn_deg
    within `reach` points."""
    smooth = smooth_along(points, 2.0)
    ahead = np.roll(smooth, -reach, 0) - smooth
    behind = smooth - np.roll(smooth, reach, 0)
    cross = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    turn = np.degrees(np.abs(np.arctan2(cross, (behind * ahead).sum(1))))
    straight = np.tile(turn < turn_deg, 3)
    return steps_to_false(straight)[len(points) : 2 * len(points)]


def half_way(ribbon: Ribbon, room: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Offset of the half-way crossing nearest to zero, its standard deviation, and the smoothing used; (n,), pixels
    and points. Where there is no crossing the offset is 0 and the standard deviation large.

    Light is averaged along the outline only as far as its noise asks: far along a weak limb, hardly at a corner.
    room: (n,) from room_to_corner.
    """
    shift, sigma = _half_way(ribbon, _SMOOTHINGS[0])
    used = np.full(len(room), _SMOOTHINGS[0])
    for smoothing in _SMOOTHINGS[1:]:
        poor = (sigma > _WANTED_PX) & (room > 2.5 * smoothing)
        if not poor.any():
            break
        longer, surer = _half_way(ribbon, smoothing)
        better = poor & (surer < sigma)
        shift, sigma = np.where(better, longer, shift), np.where(better, surer, sigma)
        used = np.where(better, smoothing, used)
    return shift, sigma, used


def _half_way(ribbon: Ribbon, smoothing: float) -> tuple[np.ndarray, np.ndarray]:
    offset = ribbon.offset_px
    light = smooth_along(ribbon.light, smoothing)
    inside, inside_noise = _level(ribbon.light, light, (offset >= -2.5) & (offset <= -1))
    outside, outside_noise = _level(ribbon.light, light, (offset >= 1) & (offset <= 2.5))
    direction = outside - inside
    contrast = np.linalg.norm(direction, axis=1)
    unit = direction / np.maximum(contrast, 1e-6)[:, None]
    profile = np.einsum("nmc,nc->nm", light, unit)
    middle = 0.5 * np.einsum("nc,nc->n", inside + outside, unit)
    shift, found = _crossing(profile - middle[:, None], offset)
    averaged = 1 + 2 * np.sqrt(np.pi) * smoothing / 2  # texture is alike over a point or two
    noise = np.hypot(inside_noise, outside_noise) / np.sqrt(averaged)
    blur_px = 1.5
    sigma = np.clip(blur_px * noise / np.maximum(contrast, 1e-6), 0.03, 3.0)
    return shift, np.where(found, sigma, 3.0)


def _level(raw: np.ndarray, light: np.ndarray, window: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean light of the window, (n, 3), and the scatter of one point's mean about it along the outline, (n,)."""
    level = light[:, window].mean(1)
    single = raw[:, window].mean(1)
    scatter = smooth_along((single - smooth_along(single, 6.0)) ** 2, 6.0).sum(1)
    return level, np.sqrt(scatter)


def _crossing(profile: np.ndarray, offset: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Upward zero crossing nearest to offset 0 in each row."""
    rising = (profile[:, :-1] < 0) & (profile[:, 1:] >= 0)
    part = -profile[:, :-1] / np.where(rising, profile[:, 1:] - profile[:, :-1], 1.0)
    place = offset[:-1] + part * (offset[1] - offset[0])
    place = np.where(rising, place, np.inf)
    nearest = np.abs(place).argmin(1)
    found = np.asarray(rising.any(axis=1))
    return np.where(found, place[np.arange(len(place)), nearest], 0.0), found
