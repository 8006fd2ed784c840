"""The two ends of the body in the picture: the nose tip, and the edge of the aft end.

Both work on the flat view (see stations): p aft, q across.
"""

import numpy as np

from digitize.solid.stations import Stations

TIP_POWER = 1.7
RIM_SIGMA_SHARE = (0.025, 0.05)
"""The rim alone gives the aft radius to no better than the first share of it; what little limb is seen between fins
and rim keeps it within the second."""
BLUR_PX = 1.2
SPUR_HALF_PX, LEAST_SPUR_PX = 4.0, 8.0
"""What is thinner and reaches farther ahead of where the flanks meet is no nose but a line of the ground."""
CARRIED_ON = (0.25, 0.5)
"""Standard deviation of how far the nose is carried on, as a share of it: where the outline is sure of its fore end,
and where it is not, since then a needle was not seen or a flank was seen wrong: any of it may be true."""
FLANK_SIGMA_PX = 0.5
"""Error of both flanks together, which moves where they meet by as much as the nose is slender."""


FORE_PX = 4.0
"""So far along the axis the outline's fore end reaches. By eye, no source."""


def fore_sigma_px(p: np.ndarray, sigma_px: np.ndarray, pixel: float) -> float:
    """The largest standard deviation of the outline at its fore end: large where the eye may have lost a needle.
    p: (n,) places of its points along the axis; sigma_px: (n,)."""
    return float(sigma_px[p < p.min() + FORE_PX * pixel].max())


def nose_tip(stations: Stations, manual_p: float = np.inf, end_sigma_px: float = 0.0) -> tuple[float, float]:
    """(p of the nose tip, its standard deviation). manual_p: of the foremost point a person has set; end_sigma_px:
    standard deviation of the outline at its fore end.

    Blur rounds a pointed tip off and shortens it by several pixels, and the eye sees no needle that is thinner than
    a pixel of its look, so the tip is where the flanks behind it run together.
    """
    p, half, pixel = stations.p, (stations.upper + stations.lower) / 2, stations.pixel
    first = p[0] - 0.5 * (p[1] - p[0])
    fore = p < p[0] + 0.35 * (p[-1] - p[0])
    use = fore & (half > 2.0 * pixel) & (half < max(12 * pixel, 0.2 * stations.caliber))
    if use.sum() < 6:
        return first, 1.0 * pixel
    after_spur = _after_spur(p, half, fore & (half < max(16 * pixel, 0.3 * stations.caliber)), pixel)
    if after_spur is not None and manual_p >= after_spur[0]:  # what a person has set is no line of the ground
        return after_spur
    tip, linear, curved = _run_out(p[use], half[use] / pixel)
    # where the flanks are nearer to the axis than this they can't show
    near = max(BLUR_PX, end_sigma_px)
    lost = linear * near + curved * near**TIP_POWER
    tip = float(np.clip(tip, first - 2 * lost - pixel, first + pixel))
    return tip, 0.7 * pixel + CARRIED_ON[end_sigma_px > BLUR_PX] * abs(tip - first)


def _run_out(p: np.ndarray, half_px: np.ndarray) -> tuple[float, float, float]:
    """(p where the flanks meet, linear, curved): p = tip + linear h + curved h^TIP_POWER, both not negative.

    The linear term is a cone's, the curved one a blunt nose's; between 4/3 (Haack) and 2 (paraboloid, ogive).
    """
    weight = np.ones(len(p))
    terms = np.stack([np.ones(len(p)), half_px, half_px**TIP_POWER], axis=1)
    for _ in range(5):  # bisquare weights: a ground line or a bit of shadow at the nose must not steer it
        root = np.sqrt(weight)
        keep = [0, 1, 2]
        found = np.linalg.lstsq(terms * root[:, None], p * root, rcond=None)[0]
        if (found[1:] < 0).any():  # the term that would be negative goes: a cone has no bend, a round tip no point
            keep = [0, 2] if found[1] < 0 else [0, 1]
            found = np.linalg.lstsq(terms[:, keep] * root[:, None], p * root, rcond=None)[0]
        off = np.abs(p - terms[:, keep] @ found)
        weight = np.clip(1 - (off / (5 * max(float(np.median(off)), 1e-9))) ** 2, 0.0, 1.0) ** 2
    slopes = dict(zip(keep[1:], np.maximum(found[1:], 0.0), strict=True))
    return float(found[0]), float(slopes.get(1, 0.0)), float(slopes.get(2, 0.0))


def _after_spur(p: np.ndarray, half: np.ndarray, flank: np.ndarray, pixel: float) -> tuple[float, float] | None:
    """(p of the tip, its standard deviation) behind a thin spur in front of the nose, a line of the ground taken for
    rocket; None without one. A nose is convex: nothing of it lies ahead of where its flanks meet."""
    flank = flank & (half > SPUR_HALF_PX * pixel)
    if flank.sum() < 6:
        return None
    tip, linear, curved = _run_out(p[flank], half[flank] / pixel)
    if tip - p[0] < LEAST_SPUR_PX * pixel:
        return None
    per_px = linear + TIP_POWER * curved * SPUR_HALF_PX ** (TIP_POWER - 1)
    return tip, float(np.hypot(2 * pixel, FLANK_SIGMA_PX * per_px))


def rim_of(s_mm: np.ndarray, side_mm: np.ndarray, tan_phi: np.ndarray, radius_mm: float, pixel_mm: float):
    """(radius of the aft end, its standard deviation, bool mask of the points that lie on its rim).

    The rim shows as an arc that bulges aft by sqrt(R^2 - side^2) |tan_phi|. The radius is the one for which most
    points agree on one place along the axis: a fin standing out aft only adds length, so the lowest agreement
    counts, and a point beyond the rim's width agrees with nothing. The deviation is that of the radii that do nearly
    as well.
    """
    candidates = np.linspace(0.3, 1.02, 73)[::-1] * radius_mm
    scores, masks = np.zeros(len(candidates)), []
    for k, candidate in enumerate(candidates):
        valid = np.abs(side_mm) < 0.97 * candidate
        agree = np.zeros(len(s_mm), bool)
        if valid.sum() >= 5:
            bulge = np.sqrt(np.maximum(candidate**2 - side_mm**2, 0.0)) * np.abs(tan_phi)
            end_s = (s_mm - bulge)[valid]
            agree[valid] = _lowest_cluster(end_s, 0.8 * pixel_mm)
            if agree.any():
                # many that agree, and few that end before them: a body of this width would show there. What ends
                # behind them is a fin that stands out aft, and says nothing against this width.
                early = int((end_s < end_s[agree[valid]].min()).sum())
                scores[k] = agree.sum() ** 2 / (agree.sum() + early)
        masks.append(agree)
    best = int(np.argmax(scores))
    near = scores >= 0.75 * scores[best]
    spread = np.sqrt(np.average((candidates[near] - candidates[best]) ** 2, weights=scores[near] + 1e-9))
    least, most = np.array(RIM_SIGMA_SHARE) * candidates[best]
    return float(candidates[best]), float(np.clip(spread, least, most)), masks[best]


def _lowest_cluster(values: np.ndarray, tolerance: float) -> np.ndarray:
    """Bool mask of the smallest values that enough others agree with, within +- tolerance."""
    order = np.sort(values)
    enough = max(len(order) // 5, 4)
    for start in range(len(order) - enough + 1):
        if order[start + enough - 1] - order[start] <= tolerance:
            centre = np.median(order[start : start + enough])
            for _ in range(3):
                centre = np.median(values[np.abs(values - centre) <= 1.5 * tolerance])
            return np.abs(values - centre) <= tolerance
    return np.zeros(len(values), bool)
