"""The vortex lattice against published wings, slender-body theory, limits, and a general-purpose library."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from published import rows
from scipy import integrate, special
from vortex_rings import loads

from digitize.aero import interference, lattice


def trapezoid(root, tip, span, sweep):
    return np.array([[0, 0], [sweep, span], [sweep + tip, span], [root, 0]], float)


def area(polygon):
    x, y = np.asarray(polygon, float).T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def slope_and_place(polygon):
    force = lattice.wing_force(polygon)
    return force.area / (2 * area(polygon)), force.x


SIX_SIDED = np.array([[0, 0], [0.2, 0.35], [0.55, 0.7], [0.9, 0.7], [1.1, 0.4], [0.95, 0]])
NOTCHED = np.array([[0, 0], [0.5, 0.8], [0.9, 0.8], [0.75, 0.4], [1.1, 0]])


def ellipse(corners):
    t = np.linspace(0, np.pi, corners)
    return np.column_stack([0.5 - 0.5 * np.cos(t), 0.6 * np.sin(t)])


# --- published --------------------------------------------------------------------------------------------


def test_warren_12():
    """Slope 2.743, moment -3.10 about the apex on chord 1 (restated, two places; W. H. Mason's notes on
    configuration aerodynamics, from memory)."""
    slope, place = slope_and_place(trapezoid(1.5, 0.5, 1.41421356, 1.91421356))
    assert slope == pytest.approx(2.743, rel=0.005)
    assert slope * place == pytest.approx(3.10, rel=0.005)


def test_circular_wing_and_rectangle():
    """1.790 and 2.474: P. F. Jordan (from memory)."""
    t = np.linspace(0, np.pi, 181)
    assert slope_and_place(np.column_stack([-np.cos(t), np.sin(t)]))[0] == pytest.approx(1.790, rel=0.002)
    assert slope_and_place(trapezoid(1, 1, 1, 0))[0] == pytest.approx(2.474, rel=0.002)


@pytest.mark.parametrize("row", rows("converged_lattice.csv"), ids=lambda row: row["name"])
def test_the_converged_table(row):
    root, tip, span, sweep = (float(row[key]) for key in ("root", "tip", "span", "sweep"))
    slope, place = slope_and_place(trapezoid(root, tip, span, sweep))
    assert slope == pytest.approx(float(row["slope"]), rel=0.003)
    assert place == pytest.approx(float(row["x"]), abs=0.003)


@pytest.mark.parametrize(("span", "chords"), [(1.0, 0.04), (0.5, 1 / 12), (0.25, 0.14)])
def test_how_far_aft_the_quarter_chord_is_of_short_square_fins(span, chords):
    """What README says of the classic rule; the places are those of tests/data/converged_lattice.csv too (computed):
    rectangles of aspect ratio 2, 1 and 0.5."""
    assert 0.25 - slope_and_place(trapezoid(1, 1, span, 0))[1] == pytest.approx(chords, abs=0.004)


def test_limits():
    """pi AR / 2 for a slender wing (R. T. Jones, NACA TR 835; from memory); toward 2 pi for a long one, where lifting
    line theory leaves 2 pi / (1 + 2 / AR), less what a load that is not elliptic costs: some per cent."""
    slender, _ = slope_and_place(trapezoid(1, 1, 0.01, 0))
    assert slender == pytest.approx(np.pi * 0.02 / 2, rel=0.003)
    long, place = slope_and_place(trapezoid(1, 1, 100, 0))
    assert 0.96 < long / (2 * np.pi / (1 + 2 / 200)) < 1.0
    assert place == pytest.approx(0.25, abs=0.002)


# --- beside a body ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [2, 4])
@pytest.mark.parametrize(
    ("k", "on_fins"), [(0.1, 1.0770), (0.2, 1.1616), (0.3, 1.2528), (0.4, 1.3493), (0.5, 1.4503), (0.6, 1.5550)]
)
def test_slender_fins_beside_a_body_reach_slender_body_theory(count, k, on_fins):
    """K_W(B) and K_W(B) + K_B(W) = (1 + k)^2 of W. C. Pitts, J. N. Nielsen, G. E. Kaattari, NACA TR 1307 (1957; formula
    from memory, values computed). Nothing of it is in the lattice, which only knows vortices and their images."""
    radius, fin = k / (1 - k), trapezoid(20, 20, 1, 0)
    alone = lattice.wing_force(fin).area * count / 4
    force = lattice.group_force(fin + [0, radius], count, radius)
    assert force.area / alone == pytest.approx(on_fins, rel=0.003)
    assert (force.area + force.body_area) / alone == pytest.approx((1 + k) ** 2, rel=0.003)
    assert float(interference.slender_fin_factor(radius, 1.0)) == pytest.approx(on_fins, abs=5e-4)
    assert float(interference.slender_body_factor(radius, 1.0)) == pytest.approx((1 + k) ** 2 - on_fins, abs=5e-4)


@pytest.mark.parametrize("count", [3, 4, 5, 6, 8])
@pytest.mark.parametrize("k", [0.0, 0.1, 0.3, 0.5])
def test_slender_fins_shade_one_another_as_the_mapped_circle_says(count, k):
    """Slender-body theory by conformal mapping (A. E. Bryson, J. Aeronaut. Sci. 21 (1954) 424; form from memory) beside
    a lattice of slender fins, which knows nothing of it."""
    radius, fin = k / (1 - k), trapezoid(30, 30, 1, 0)
    group, four = (lattice.group_force(fin + [0, radius], n, radius) for n in (count, 4))
    measured = (group.area + group.body_area) / (four.area + four.body_area) * 4 / count
    assert float(interference.slender_number_factor(count, radius, 1.0)) == pytest.approx(measured, abs=0.003)


def test_endlessly_many_slender_fins_are_a_solid_circle():
    """pi R^2 - pi r^2 of a circle's 2 per radian on its own area, in closed form: (1 - k^2) / ((N / 4)(c4^2 - k^2))."""
    k, count = 0.4, 4000
    four = (1 + k**4) / 2 - k**2
    solid = 4 / count * (1 - k**2) / four
    assert interference.slender_number_factor(count, k, 1 - k) == pytest.approx(solid, rel=0.002)


@pytest.mark.parametrize(("count", "slender", "less"), [(6, 0.16, (0.13, 0.18)), (8, 0.29, (0.25, 0.31))])
def test_six_and_eight_fins_have_less_than_n_half(count, slender, less):
    """What README and report say: 16 and 29 % less without a body, by slender-body theory; by the lattice about as much
    for any usual fin."""
    assert 1 - interference.slender_number_factor(count, 0.0, 1.0) == pytest.approx(slender, abs=0.005)
    for fin in (trapezoid(1, 1, 1, 0), trapezoid(1, 0.6, 0.8, 0.4), trapezoid(1, 1, 0.5, 0), trapezoid(1, 1, 2, 0)):
        counted = count / 4 * lattice.wing_force(fin).area
        assert less[0] < 1 - lattice.group_force(fin, count, 0.0).area / counted < less[1]


@pytest.mark.parametrize("r", [0.3, 0.5, 0.7])
@pytest.mark.parametrize("x", [0.1, 0.3, 1.0, 3.0])
def test_how_the_body_s_share_spreads_along_it(r, x):
    """Exact potential flow of a narrow horseshoe at y = 1 beside an endless cylinder, by Fourier transform along it (G.
    N. Watson, Theory of Bessel Functions, for the addition theorem and the Wronskian): the load's transform is
    t K1(t) / ((t r)^2 |K1'(t r)|), against 1 / sqrt(1 + x^2) of slender-body theory."""

    def transform(t):
        own = special.kve(0, t * r) + special.kve(1, t * r) / (t * r)  # -K1', scaled by exp(t r)
        return t * special.kve(1, t) * np.exp(-t * (1 - r)) / ((t * r) ** 2 * own)

    exact = 0.5 + integrate.quad(lambda t: transform(t) * np.sin(t * x) / t, 0, 60 / (1 - r), limit=500)[0] / np.pi
    assert lattice.along(0.0, 1.0, x)[0] == pytest.approx(exact, abs=0.025)
    assert lattice.along(0.0, 1.0, -x)[0] == pytest.approx(1 - exact, abs=0.025)


@pytest.mark.parametrize(("behind", "most"), [(0.0, 0.12), (50.0, 0.06)])
def test_what_a_finite_body_carries_against_vortex_rings(behind, most):
    """Four fins at or ahead of an open base: force and place of what the body carries, by a skin of vortex rings. The
    rings let the pressure ease at the base, so they have a little less; endless, a body would carry far more."""
    nose = 60 * (1 - np.cos(np.linspace(0, np.pi / 2, 7)))
    x = np.concatenate([nose, np.linspace(76, 226, 10), np.linspace(232, 300, 13)])
    x = np.append(x, np.linspace(310, 300 + behind, 6)) if behind else x
    rho = (12**2 + 60**2) / 24  # tangent ogive
    r = np.where(x < 60, np.sqrt(np.maximum(rho**2 - (60 - np.minimum(x, 60)) ** 2, 0)) + 12 - rho, 12)
    profile = np.column_stack([x, np.maximum(r, 1e-4)])
    fin = trapezoid(50, 30, 40, 30) + [250, 12]
    alone, together = loads(profile), loads(profile, fin)
    assert alone[0] / (np.pi * 12**2) == pytest.approx(2.0, rel=0.05)  # slender-body theory: 2 on the base's area
    carried = together[:2] - alone
    force = lattice.group_force(fin, 4, 12.0, body_end=x[-1])
    assert force.area == pytest.approx(together[2], rel=0.05)
    assert 0 < force.body_area / carried[0] - 1 < most
    assert force.body_x == pytest.approx(carried[1] / carried[0], abs=0.2 * 24)
    if not behind:
        assert lattice.group_force(fin, 4, 12.0).body_area / carried[0] > 1.2


def test_three_fins_carry_more_than_theirs_and_six_less():
    """Fins of three see a little upwash of each other, fins of six crowd each other: why six are not 3 / 1.5 of three.
    Common knowledge of cascades; no number is cited."""
    fin, radius = trapezoid(1, 1, 1, 0), 0.25
    alone = lattice.wing_force(fin).area / 4
    per_fin = {n: lattice.group_force(fin + [0, radius], n, radius).area / (n * alone) for n in (3, 4, 6)}
    assert per_fin[3] > per_fin[4] > per_fin[6] > 0.75


@pytest.mark.parametrize("count", [3, 4, 5])
@pytest.mark.parametrize("roll_deg", [0.0, 17.0, 45.0])
def test_a_group_at_any_roll_by_brute_force(count, roll_deg):
    """Every fin with its own unknowns, at this roll: the sum over fins in the plane of the angle of attack is what the
    one-fin solution says, and nothing acts across it."""
    radius, polygon = 0.3, trapezoid(1.0, 0.6, 0.8, 0.4) + [0, 0.3]
    panels = lattice.panels(polygon, 8, 3)
    images = np.stack([panels.ends[..., 0], radius**2 / panels.ends[..., 1]], -1)
    angles = np.radians(roll_deg) + 2 * np.pi * np.arange(count) / count
    matrix = np.block([
        [
            lattice.normal_wash(panels.control, panels.ends, there - here)
            - lattice.normal_wash(panels.control, images, there - here)
            for there in angles
        ]
        for here in angles
    ])  # fmt: skip
    upwash = 1 + (radius / panels.control[:, 1]) ** 2
    circulation = np.linalg.solve(matrix, -np.concatenate([np.cos(angle) * upwash for angle in angles]))
    span = panels.ends[:, 1, 1] - panels.ends[:, 0, 1]
    each = 2 * (circulation.reshape(count, -1) * span).sum(axis=1)
    along, across = (each * np.cos(angles)).sum(), (each * np.sin(angles)).sum()
    assert along == pytest.approx(lattice.solve_strips(polygon, count, radius, 8, 3)[0], rel=1e-9)
    assert abs(across) < 1e-9 * along


# --- properties -------------------------------------------------------------------------------------------


def test_two_half_fins_equal_one():
    """A wing drawn whole, both halves as panels of one another, is the fin with its mirror image."""
    fin = trapezoid(1.0, 0.5, 0.8, 0.4)
    panels = lattice.panels(fin, 8, 3)
    other = lattice.Panels(panels.ends[:, ::-1] * [1, -1], panels.control * [1, -1])
    ends, control = np.concatenate([panels.ends, other.ends]), np.concatenate([panels.control, other.control])
    circulation = np.linalg.solve(lattice.normal_wash(control, ends, 0.0), -np.ones(len(control)))
    whole = 2 * (circulation * (ends[:, 1, 1] - ends[:, 0, 1])).sum()
    assert whole == pytest.approx(2 * lattice.solve_strips(fin, 2, 0.0, 8, 3)[0], rel=1e-9)


@given(scale=st.floats(0.1, 100), move=st.floats(-500, 500))
@settings(max_examples=8, deadline=None)
def test_scale_and_place(scale, move):
    force = lattice.group_force(SIX_SIDED + [0, 0.3], 3, 0.3)
    other = lattice.group_force((SIX_SIDED + [0, 0.3]) * scale + [move, 0], 3, 0.3 * scale)
    assert other.area == pytest.approx(force.area * scale**2, rel=1e-6)
    assert other.x == pytest.approx(force.x * scale + move, rel=1e-6, abs=1e-5)
    assert other.body_x == pytest.approx(force.body_x * scale + move, rel=1e-6, abs=1e-5)


def test_the_way_round_the_outline_does_not_matter():
    force, other = lattice.wing_force(NOTCHED), lattice.wing_force(NOTCHED[::-1])
    assert (other.area, other.x) == pytest.approx((force.area, force.x), rel=1e-9)


@pytest.mark.parametrize("name", ["clipped", "swept", "raked"])
def test_a_traced_outline_is_nearly_its_smoothed_one(name):
    """Level edges of a traced fin go up and down, so a level may cross it many times; no strip may be lost over it."""
    traced = np.array([[r["x_mm"], r["y_mm"]] for r in rows("traced_fins.csv") if r["name"] == name], float)
    shape = shapely.Polygon(traced)
    smooth = shapely.get_coordinates(shape.simplify(0.02 * np.sqrt(shape.area)))[:-1]
    force, expected = lattice.wing_force(traced), lattice.wing_force(smooth)
    assert force.area == pytest.approx(expected.area, rel=0.02)
    assert force.x == pytest.approx(expected.x, abs=0.01 * np.ptp(traced[:, 0]))


def test_a_root_on_a_narrowing_tail_is_sheared_straight():
    profile = np.array([[0.0, 0.0], [5.0, 1.0], [10.0, 1.0], [12.0, 0.6]])
    fin = np.array([[10.5, 0.9], [11.0, 2.0], [12.0, 2.0], [12.0, 0.6]])
    straight = lattice.straightened(fin, profile, 0.75)
    assert straight[[0, -1], 1] == pytest.approx([0.75, 0.75])
    assert area(straight) == pytest.approx(area(fin), rel=1e-12)


@pytest.mark.parametrize("mach", [0.3, 0.6, 0.9])
def test_mach_by_the_subsonic_rule(mach):
    """Goethert: a wing of aspect ratio AR at Mach M has the slope of one of beta AR at rest, over beta (H. Glauert,
    Proc. R. Soc. A 118 (1928) 113; from memory). A slender wing does not change."""
    beta = np.sqrt(1 - mach**2)
    fast = lattice.wing_force(trapezoid(1, 1, 1, 0), mach).area / 2
    assert fast == pytest.approx(slope_and_place(trapezoid(1, 1, beta, 0))[0] / beta, rel=1e-6)
    slender = lattice.wing_force(trapezoid(1, 1, 0.01, 0), mach).area / 0.02
    assert slender == pytest.approx(np.pi * 0.02 / 2, rel=0.005)


def test_near_the_speed_of_sound_is_refused():
    with pytest.raises(ValueError, match=r"0\.95"):
        lattice.wing_force(SIX_SIDED, 0.95)


@pytest.mark.parametrize("outline", [[[0, 0], [1, 1e-12], [2, 0]], [[0, 0], [1, 0], [2, 0]]])
def test_a_sliver_is_refused(outline):
    with pytest.raises(lattice.LatticeError):
        lattice.wing_force(np.array(outline, float))


# --- another program --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "polygon",
    [
        trapezoid(1, 1, 1, 0),
        trapezoid(1, 0.3, 0.8, 0.7),
        trapezoid(1, 1, 1, 1),
        np.array([[0.3, 0], [0, 0.8], [0.5, 0.8], [1.2, 0]]),
        SIX_SIDED,
        NOTCHED,
        ellipse(25),
    ],
    ids=["rectangle", "clipped delta", "swept", "forward swept", "six-sided", "notched", "elliptic"],
)
def test_against_another_vortex_lattice(polygon):
    """P. Sharpe's AeroSandbox, a general-purpose aerodynamics library with a lattice of its own. Its result at 12 and
    24 strips is carried on to none left, as its error halves with them."""
    asb = pytest.importorskip("aerosandbox", reason="the cross-check needs aerosandbox, which the test extra installs")
    coarse, fine = (np.array(by_aerosandbox(asb, polygon, strips, strips // 2)) for strips in (12, 24))
    slope, place = 2 * fine - coarse
    force = lattice.wing_force(polygon)
    assert force.area == pytest.approx(slope, rel=0.004)
    assert force.x == pytest.approx(place, abs=0.003)


def chords(polygon, level):
    """(k, 2) leading and trailing x of the polygon at this level."""
    across = shapely.LineString([[polygon[:, 0].min() - 1, level], [polygon[:, 0].max() + 1, level]])
    cut = shapely.get_parts(shapely.Polygon(polygon).intersection(across))
    return np.array(sorted((part.bounds[0], part.bounds[2]) for part in cut))


def by_aerosandbox(asb, polygon, strips, chordwise):
    """(slope times area, place) of the fin and its mirror image at one degree."""
    span = polygon[:, 1].max()
    levels = np.append(polygon[:, 1], span * np.sin(np.linspace(0, np.pi / 2, strips + 1)))
    levels = np.unique(np.clip(levels, 1e-6 * span, (1 - 1e-6) * span))
    levels = levels[np.append(True, np.diff(levels) > 1e-4 * span)]
    sections = []
    for y in levels:
        chord = chords(polygon, y)
        sections.append(
            asb.WingXSec(xyz_le=[chord[0, 0], y, 0], chord=max(np.ptp(chord), 1e-4), airfoil=asb.Airfoil("naca0008"))
        )
    wing = asb.Wing(symmetric=True, xsecs=sections)
    plane = asb.Airplane(wings=[wing], s_ref=1, c_ref=1, b_ref=1, xyz_ref=[0, 0, 0])
    found = asb.VortexLatticeMethod(
        plane, asb.OperatingPoint(velocity=10, alpha=1), spanwise_resolution=1, chordwise_resolution=chordwise
    ).run()
    alpha = np.radians(1)
    normal = found["CL"] * np.cos(alpha) + found["CD"] * np.sin(alpha)
    return found["CL"] / alpha, -found["Cm"] / normal
