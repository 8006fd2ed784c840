"""A body of revolution as vortex rings, with fins as horseshoes: an independent solution for what a body carries.

Nothing of images or slender-body theory is in it: the body's skin is panels that let no air through, and at its open
base the vortices leave straight aft (J. Katz, A. Plotkin, Low-Speed Aerodynamics (2001), from memory).
"""

import numpy as np

from digitize.aero import lattice

_FAR = np.array([1e4, 0, 0])


def loads(profile, fin=None, count=4, around=16, strips=8, chordwise=5):
    """(force, moment) per radian, as slope times area, on the body, and with a fin (m, 2) on the fins too.

    profile: (n, 2) x and radius, a ring between each two points; x aft, lift along z.
    """
    x, r = np.asarray(profile, float).T
    turn = 2 * np.pi * np.arange(around + 1) / around
    skin = np.stack(
        [np.broadcast_to(x[:, None], (len(x), around + 1)), np.outer(r, np.cos(turn)), np.outer(r, np.sin(turn))], -1
    )
    a, b, c, d = (p.reshape(-1, 3) for p in (skin[:-1, :-1], skin[:-1, 1:], skin[1:, 1:], skin[1:, :-1]))
    control, normal = (a + b + c + d) / 4, np.cross(c - a, b - d)
    places, normals, fins = [control], [normal / np.linalg.norm(normal, axis=1)[:, None]], []
    for angle in () if fin is None else 2 * np.pi * np.arange(count) / count:
        out = np.array([0, np.cos(angle), np.sin(angle)])
        laid = lattice.panels(fin, strips, chordwise)
        fins.append([p[:, :1] * [1, 0, 0] + p[:, 1:] * out for p in (laid.ends[:, 0], laid.ends[:, 1], laid.control)])
        places.append(fins[-1][2])
        normals.append(np.tile([0, -np.sin(angle), np.cos(angle)], (len(laid.control), 1)))
    places, normals = np.concatenate(places), np.concatenate(normals)
    wash = _segments(places, a, b) + _segments(places, b, c) + _segments(places, c, d) + _segments(places, d, a)
    last = slice(-around, None)
    wash[:, last] += (
        _segments(places, d[last], c[last])
        + _segments(places, c[last], c[last] + _FAR)
        + _segments(places, d[last] + _FAR, d[last])
    )
    if fins:
        inner, outer = (np.concatenate([fin[k] for fin in fins]) for k in (0, 1))
        horseshoes = (
            _segments(places, inner + _FAR, inner)
            + _segments(places, inner, outer)
            + _segments(places, outer, outer + _FAR)
        )
        wash = np.concatenate([wash, horseshoes], axis=1)
    strength = np.linalg.solve((wash * normals[:, None]).sum(-1), -normals[:, 2])
    rings = strength[: len(a)].reshape(-1, around)
    on_body = 2 * np.diff(rings, axis=0, prepend=0).ravel() * (b - a)[:, 1]
    found = [on_body.sum(), on_body @ (a + b)[:, 0] / 2]
    if fins:
        on_fins = 2 * strength[len(a) :] * (outer - inner)[:, 1]
        found += [on_fins.sum(), on_fins @ (inner + outer)[:, 0] / 2]
    return np.array(found)


def _segments(places, start, end):
    """(n, m, 3) velocity at places (n, 3) by unit straight vortices (m, 3) to (m, 3); none on their own line."""
    to_start, to_end = places[:, None] - start, places[:, None] - end
    cross = np.cross(to_start, to_end)
    size = (cross**2).sum(-1)
    units = (to / np.maximum(np.linalg.norm(to, axis=-1, keepdims=True), 1e-12) for to in (to_start, to_end))
    along = ((end - start) * (next(units) - next(units))).sum(-1)
    return np.where(size > 1e-10, along / np.where(size > 1e-10, size, 1), 0)[..., None] * cross / (4 * np.pi)
