"""Least squares with damping, the least of a function and a rotation: small methods for which scipy would have to be
loaded, which takes as long as all else that `measure` needs to begin."""

from collections.abc import Callable

import numpy as np

_MOST_STEPS = 200
_MOST_DAMPING = 1e12
_LONGEST_STEP = 100.0
"""Of scaled unknowns: where the start is hopeless, a step must not lead to where nothing can be computed."""
_GOLDEN = (3 - 5**0.5) / 2


def damped_least_squares(
    linearised: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]], start: np.ndarray, settled: float = 1e-3
) -> tuple[np.ndarray, np.ndarray]:
    """(values (m,), slopes (k, m) there) of the least sum of squares near start: steps of Gauss and Newton, damped
    where one would lead uphill (K. Levenberg, Quart. Appl. Math. 2 (1944) 164; D. W. Marquardt, J. SIAM 11 (1963) 431;
    from memory). linearised: residuals (k,) and their slopes at values; unknowns scaled so that a change of one in each
    is alike. Ends with a step that would move the residuals by less than `settled`, all together.
    """
    values, damping = start, 1e-3
    residuals, slopes = linearised(values)
    for _ in range(_MOST_STEPS):
        normal = slopes.T @ slopes
        step = np.linalg.solve(normal + damping * np.eye(len(values)), slopes.T @ -residuals)
        if np.linalg.norm(slopes @ step) < settled:
            break
        step = step * min(1.0, _LONGEST_STEP / np.linalg.norm(step))
        moved = linearised(values + step)
        if moved[0] @ moved[0] < residuals @ residuals and np.isfinite(moved[1]).all():
            values, (residuals, slopes), damping = values + step, moved, damping / 10
        elif damping > _MOST_DAMPING:
            break
        else:
            damping *= 10
    return values, slopes


def least_between(function: Callable[[float], float], low: float, high: float, within: float = 1e-5) -> float:
    """Where a function of one number that falls and then rises is least, to `within` (golden section: J. Kiefer, Proc.
    Am. Math. Soc. 4 (1953) 502; from memory)."""
    a, b = low + _GOLDEN * (high - low), high - _GOLDEN * (high - low)
    at_a, at_b = function(a), function(b)
    while high - low > 2 * within:
        if at_a < at_b:
            high, b, at_b = b, a, at_a
            a = low + _GOLDEN * (high - low)
            at_a = function(a)
        else:
            low, a, at_a = a, b, at_b
            b = high - _GOLDEN * (high - low)
            at_b = function(b)
    return (low + high) / 2


def rotations(vectors: np.ndarray) -> np.ndarray:
    """(..., 3, 3) turns about vectors (..., 3) by their lengths, radians (O. Rodrigues, 1840; from memory)."""
    angle = np.linalg.norm(vectors, axis=-1)[..., None, None]
    x, y, z = np.moveaxis(vectors, -1, 0)
    zero = np.zeros_like(x)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], -1).reshape(*x.shape, 3, 3)
    # sin(a) / a and (1 - cos(a)) / a^2, which go over to 1 and 1/2 where nothing is turned
    return np.eye(3) + np.sinc(angle / np.pi) * cross + 0.5 * np.sinc(angle / (2 * np.pi)) ** 2 * (cross @ cross)


def nondecreasing(values: np.ndarray) -> np.ndarray:
    """(n,) the nearest by least squares that nowhere fall: neighbours that do are pooled (M. Ayer et al., Ann. Math.
    Stat. 26 (1955) 641; from memory)."""
    pools: list[tuple[float, int]] = []
    for value in values:
        pools.append((float(value), 1))
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            (mean, count), (other, more) = pools.pop(), pools.pop()
            pools.append(((mean * count + other * more) / (count + more), count + more))
    return np.repeat([mean for mean, _ in pools], [count for _, count in pools])
