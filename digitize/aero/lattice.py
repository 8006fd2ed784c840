"""Fins as a vortex lattice: a second solution beside the classic formula, from the real outline.

Each fin is cut into strips along the span and panels along the chord; every panel carries a horseshoe vortex, and no
air may pass through a point behind it (flat plates, small angles; V. M. Falkner, ARC R&M 1910 (1943); from memory).
The body is a circular cylinder as wide as it is along the root: its upwash alpha (1 + r^2 / rho^2) meets the
fins, and every vortex has its image inside it, at r^2 / rho and of opposite sense (the two-dimensional circle theorem,
applied to horseshoes: exact far behind, an approximation beside the fin). A fin's root that follows a narrowing tail
is sheared straight first.

What the body carries is not all beside the fin. A narrow horseshoe that starts at x0, at y from the axis, makes a
cross-flow on the axis that grows with x as (1 + (x - x0) / sqrt((x - x0)^2 + y^2)) / 2 of its final value, and by
slender-body theory (M. M. Munk, NACA TR 184 (1924); from memory) the body carries, up to a station, in proportion to
the cross-flow there; on an endless cylinder that holds to 0.025 for bodies that are not slender too (`along`). So some
is carried ahead of the fin, and what would lie behind the end of the body is not there. NACA TR 1307 (1957) too has
less carried, and farther forward, without an afterbody (its supersonic charts; from memory). The pressure's relief at
an open base takes still more, and is left out.

All fins of a group are solved together. Their air comes from alpha times the cosine of each fin's angle, the first
harmonic round the body, and so does every circulation; one fin's unknowns are then enough, with the others' influence
added by that cosine. The force of three or more fins is the same at any roll; of two, the mean over the roll is given.

Strips and panels are spaced by the cosine rule of C. E. Lan, A quasi-vortex-lattice method, J. Aircraft 11 (1974) 518
(from memory), so that a plain wing converges fast. Converged: a coarse lattice and one twice as fine are carried on to
infinitely many panels, the error being taken in proportion to the panels' size (`ORDER`). What is left against the
converged table of the tests is under 0.3 % of the slope and 0.002 chords.

Lengths in one unit, forces per radian of angle of attack and per dynamic pressure: slope times area.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

STRIPS, CHORDWISE = (16, 32), (6, 12)
"""Strips along the span, panels along the chord, of the coarse lattice and the fine one; what is left stands above."""
ORDER = 1.0
"""The error is taken to fall with this power of the panels' size; what that leaves stands above."""
MOST_MACH = 0.9
"""The subsonic similarity rule for thin wings fails near Mach 1 (common practice, no source)."""
CORNER_RAD = np.radians(25)
"""An outline that turns by more has a corner, where strips begin anew. By eye, no source."""
SIMPLER = 0.01
"""Corners are looked for on the outline simplified by this share of the square root of its area."""
SLIVER = 0.002
"""A chord shorter than this share of the outline's length carries no panel."""


class LatticeError(ValueError):
    """No lattice can be laid on this outline: a sliver, or nothing outside the body."""


@dataclass(frozen=True)
class LatticeForce:
    """A fin group's normal force. area: slope per radian times reference area, on the fins; x: where it acts;
    body_area, body_x: the same for what the fins make the body carry (0 without a body)."""

    area: float
    x: float
    body_area: float = 0.0
    body_x: float = 0.0


@dataclass(frozen=True)
class Panels:
    """ends: (m, 2, 2) the bound vortex's two ends (x, y); control: (m, 2)."""

    ends: np.ndarray
    control: np.ndarray


def wing_force(polygon, mach: float = 0.0) -> LatticeForce:
    """A fin and its mirror image at the root, no body: polygon (m, 2) closed, x aft, y >= 0 from the root.

    area / (2 x planform area) is the slope CL_alpha of the wing the two make.
    """
    force = group_force(polygon, 2, 0.0, mach)  # the mean over the roll: half of what both carry when flat to the air
    return LatticeForce(2 * force.area, force.x)


def group_force(polygon, count: int, radius: float, mach: float = 0.0, body_end: float = np.inf) -> LatticeForce:
    """`count` fins alike round a body of this radius: polygon (m, 2) closed, x aft, y from the body's axis, its root
    on y = radius (see `straightened`).

    mach: below 0.9, by the rule of L. Prandtl and H. Glauert as B. Goethert put it: the outline stretched along the
    stream by 1 / beta, the force divided by beta. body_end: x of its aft end, behind which it carries nothing.
    Raises ValueError beyond that Mach number, LatticeError for a sliver of an outline.
    """
    if not 0 <= mach < MOST_MACH + 1e-9:
        raise ValueError(f"Mach {mach:g} is outside 0 to {MOST_MACH:g}")
    beta = np.sqrt(1 - mach**2)
    polygon = np.asarray(polygon, float) / [beta, 1.0]
    sizes = zip(STRIPS, CHORDWISE, strict=True)
    coarse, fine = (solve_strips(polygon, count, radius, *size, body_end / beta) for size in sizes)
    ratio = (STRIPS[1] / STRIPS[0]) ** ORDER
    force, moment, carried, carried_moment = fine + (fine - coarse) / (ratio - 1)
    if not np.isfinite([force, moment, carried, carried_moment]).all() or force <= 0:
        raise LatticeError("the lattice has no solution")
    # the stretched outline's area is 1 / beta too large, its slope 1 / beta too small: they cancel in the product
    return LatticeForce(
        area=float(force),
        x=float(moment / force * beta),
        body_area=float(carried),
        body_x=float(carried_moment / carried * beta) if carried > 0 else 0.0,
    )


def straightened(polygon, profile, radius: float) -> np.ndarray:
    """The exposed fin (m, 2) sheared across the stream so that its root, the body's surface profile (n, 2), lies on
    y = radius. Chords and area stay as they are."""
    polygon = np.asarray(polygon, float)
    surface = np.interp(polygon[:, 0], *np.asarray(profile, float).T)
    return np.column_stack([polygon[:, 0], np.maximum(polygon[:, 1] - surface, 0.0) + radius])


def solve_strips(
    polygon, count: int, radius: float, strips: int, chordwise: int, body_end: float = np.inf
) -> np.ndarray:
    """(force, moment, carried by the body, its moment) of one lattice."""
    laid = panels(polygon, strips, chordwise)
    matrix = np.zeros((len(laid.control), len(laid.control)))
    for k in range(count // 2 + 1):  # fins at an angle and at its negative are felt alike
        angle = 2 * np.pi * k / count
        both = 1 if 2 * k in (0, count) else 2
        matrix += both * np.cos(angle) * imaged_wash(laid.control, laid.ends, radius, angle)
    upwash = 1 + (radius / laid.control[:, 1]) ** 2
    try:
        circulation = np.linalg.solve(matrix, -upwash)
    except np.linalg.LinAlgError:
        raise LatticeError("the lattice has no solution") from None
    inner, outer = laid.ends[:, 0, 1], laid.ends[:, 1, 1]
    x = laid.ends[..., 0].mean(axis=1)
    on_fins = count * circulation * (outer - inner)  # count / 2 fins' worth, twice the circulation a force
    on_body = count * circulation * radius**2 * (1 / inner - 1 / outer) if radius > 0 else 0 * on_fins
    share, moment = along(x, np.sqrt(inner * outer), body_end)
    return np.array([on_fins.sum(), on_fins @ x, on_body @ share, on_body @ moment])


def along(start, lateral, body_end) -> np.ndarray:
    """(2, ...) what a body that ends there carries of a narrow horseshoe that starts at `start`, this far from the
    axis, as a share of what an endless body carries, and its moment. Broadcasts.

    >>> along(0.0, 1.0, 0.0), along(0.0, 1.0, np.inf)
    (array([ 0.5, -0.5]), array([1., 0.]))
    """
    if np.isinf(body_end):
        return np.array([np.ones(np.shape(start)), start])
    away = np.hypot(body_end - start, lateral)
    share = (1 + (body_end - start) / away) / 2
    return np.array([share, start * share - lateral**2 / (2 * away)])


def imaged_wash(control, ends, radius: float, angle: float) -> np.ndarray:
    """`normal_wash` of vortices and of their images in a body of this radius, none if it is 0."""
    influence = normal_wash(control, ends, angle)
    if radius > 0:
        images = np.stack([ends[..., 0], radius**2 / ends[..., 1]], -1)
        influence -= normal_wash(control, images, angle)
    return influence


def normal_wash(control, ends, angle: float) -> np.ndarray:
    """(n, m) velocity across fin 0 at its control points (n, 2), by unit horseshoes (m, 2, 2) of a fin at this
    angle."""
    cosine, sine = np.cos(angle), np.sin(angle)
    ax, ay, long_a, leg_a = _from_end(control, ends[:, 0], cosine, sine)
    bx, by, long_b, leg_b = _from_end(control, ends[:, 1], cosine, sine)
    # Biot and Savart, z component: the bound segment, and the two trailing legs along +x
    product = long_a * long_b
    scale = product + ax * bx + ay * by + ends[:, 0, 1] * ends[:, 1, 1] * sine**2
    on_line = scale <= 1e-12 * product
    bound = (ax * by - ay * bx) * (long_a + long_b) / np.where(on_line, np.inf, product * scale)
    return (bound + leg_b - leg_a) / (4 * np.pi)


def _from_end(control, end, cosine: float, sine: float):
    """x, y and distance of every control point from the vortices' ends (m, 2), and the z component of the wash of unit
    vortices from there to +x infinity, times 4 pi. Components apart, as this is the whole cost."""
    x = control[:, :1] - end[:, 0]
    y = control[:, 1:] - end[:, 1] * cosine
    beside = y**2 + (end[:, 1] * sine) ** 2
    distance = np.sqrt(x**2 + beside)
    return x, y, distance, y * (1 + x / distance) / np.maximum(beside, 1e-24)


def panels(polygon, strips: int, chordwise: int, levels=None) -> Panels:
    """The lattice of one fin (m, 2). levels: (k, 3) low edge, middle and high edge of its strips; its own if None."""
    ends, control = [], []
    longest = np.ptp(polygon[:, 0])
    for low, middle, high in _strip_levels(polygon, strips) if levels is None else levels:
        pieces = [piece for piece in _pieces(polygon, low, middle, high) if piece[1] - piece[0] > SLIVER * longest]
        whole = sum(trail - lead for lead, trail, _, _ in pieces)
        for lead, trail, lead_slope, trail_slope in pieces:
            number = max(round(chordwise * (trail - lead) / whole), 1)
            at = np.arange(1, number + 1)
            vortex, point = (1 - np.cos((at - 0.5) * np.pi / number)) / 2, (1 - np.cos(at * np.pi / number)) / 2

            def across(y, share, lead=lead, trail=trail, slopes=(lead_slope, trail_slope), middle=middle):
                front, back = lead + slopes[0] * (y - middle), trail + slopes[1] * (y - middle)
                return np.column_stack([front + (back - front) * share, np.full(len(share), y)])

            ends.append(np.stack([across(low, vortex), across(high, vortex)], 1))
            control.append(across(middle, point))
    if not ends:
        raise LatticeError("nothing of the outline is left to lay a lattice on")
    return Panels(np.concatenate(ends), np.concatenate(control))


def _strip_levels(polygon, strips: int) -> np.ndarray:
    """(k, 3) low edge, middle and high edge of the strips: boundaries at the outline's corners, and between them strips
    that narrow toward the tip."""
    y = polygon[:, 1]
    root, span = y.min(), np.ptp(y)
    if span < 1e-9 * np.ptp(polygon[:, 0]) or span <= 0:
        raise LatticeError("the outline has no span")
    # even in the angle whose sine is the distance from the root: as a wing's load falls to nothing at its tip
    theta = divided(np.arcsin(np.clip((corner_levels(polygon) - root) / span, 0, 1)), np.pi / 2, strips)
    edges, middles = (root + span * np.sin(t) for t in (theta, (theta[:-1] + theta[1:]) / 2))
    return np.column_stack([edges[:-1], middles, edges[1:]])


def divided(marks, whole: float, parts: int) -> np.ndarray:
    """0 to whole in about this many parts, with cuts at the marks that leave room beside them."""
    kept, least = [0.0], 0.6 * whole / parts
    for mark in np.sort(marks):
        if mark - kept[-1] > least and whole - mark > least:
            kept.append(mark)
    cuts = [np.linspace(a, b, max(round(parts * (b - a) / whole), 1) + 1) for a, b in pairwise([*kept, whole])]
    return np.unique(np.concatenate(cuts))


def corner_levels(polygon) -> np.ndarray:
    """y of the outline's corners, rising. A traced outline turns at every point; its corners are those that stay when
    it is simplified, and turn sharply then."""
    shape = shapely.Polygon(polygon)
    points = shapely.get_coordinates(shape.simplify(SIMPLER * np.sqrt(shape.area)))[:-1]
    legs = np.roll(points, -1, axis=0) - points
    before = np.roll(legs, 1, axis=0)
    cross = before[:, 0] * legs[:, 1] - before[:, 1] * legs[:, 0]
    return np.sort(points[np.abs(np.arctan2(cross, (before * legs).sum(1))) > CORNER_RAD, 1])


def _pieces(polygon, low: float, middle: float, high: float):
    """(leading x, trailing x, their slopes dx / dy) of each piece of a strip, at its middle, from front to back."""
    inset = 0.05 * (high - low)
    (x, slopes), (x_low, _), (x_high, _) = (_crossings(polygon, y) for y in (middle, low + inset, high - inset))
    if len(x_low) == len(x) == len(x_high):  # steadier than the slope of one short traced edge
        slopes = (x_high - x_low) / (high - low - 2 * inset)
    lead, trail, lead_slope, trail_slope = x[::2], x[1::2], slopes[::2].copy(), slopes[1::2].copy()
    crossed = trail - lead < np.abs(trail_slope - lead_slope) * (high - low) / 2
    lead_slope[crossed] = trail_slope[crossed] = ((lead_slope + trail_slope) / 2)[crossed]
    return list(zip(lead, trail, lead_slope, trail_slope, strict=True))


def _crossings(polygon, level: float) -> tuple[np.ndarray, np.ndarray]:
    """x where the outline crosses a level, rising, and dx / dy of the edges that cross it."""
    a, b = polygon, np.roll(polygon, -1, axis=0)
    crossed = (a[:, 1] > level) != (b[:, 1] > level)
    a, b = a[crossed], b[crossed]
    slope = (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    x = a[:, 0] + (level - a[:, 1]) * slope
    order = np.argsort(x)
    return x[order], slope[order]
