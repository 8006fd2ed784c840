"""What a swing test can tell, and how long the string and how fast the swing must be. All derived here; no source.

The rocket, mass m, is tied at its balance point G and swung in a level circle of radius R at the speed v, turning once
a round: w = v / R. Count l along the axis from G, aft positive; parts i have the normal-force slopes C_i at l_i on the
reference area S, so the static margin times the whole slope is sum C_i l_i; q = rho v^2 / 2.

The curved path. A point at l moves with v along the tangent and with w l outward, so the air meets it at the angle
l / R, arc over radius: the flow's angle differs by length / R between nose and tail. With the nose turned out of the
circle by b, part i meets the air at b - l_i / R, and the moments about G vanish at

    b = (sum C_i l_i^2 / sum C_i l_i) / R.

It grows without bound as the margin goes to nought: on a short string a good rocket flies nose out, or is thought to
fail. A long string is the only cure, as v is not in it.

What else turns the rocket, each as a stiffness in moment a radian, beside the air's k = q S sum C_i l_i:

* the string pulls with T = m v^2 / R. Leaving the body at the skin, a radius r nearer to the hand than G, it holds the
  axis square to itself like a pendulum: T r, in the circle's plane only. Tied e away from G it turns it by T e.
* the turning: the energy of the mass elements in the rotating frame is -(w^2 / 2) times the integral of their squared
  distance from the pillar; in the circle's plane that does not depend on b, but for the nose up or down by a it is
  -(w^2 / 2)(m R^2 + I cos^2 a): a stiffness w^2 I, whatever the margin. I is taken as a uniform rod's, m length^2 / 12.

Both hold an unstable rocket too, nose or tail first: a pass is worth no more than their smallness. All three
stiffnesses go with v^2, so swinging faster makes nothing more meaningful; it only keeps the circle level (droop
atan(g R / v^2)) and the wind small. A longer string does: T r falls with 1 / R, w^2 I with 1 / R^2. The turning alone
holds a rocket whose centre of pressure is up to 2 I / (rho S C R^2) ahead of its balance point, C the whole slope.
"""

from dataclasses import dataclass

import numpy as np

from digitize.units.quantities import GRAVITY_MPS2

AIR_KG_M3 = 1.2
"""Air near the ground: 1.225 at 15 degrees Celsius in the ISO 2533 standard atmosphere, 1.2 at 20."""
SHORTEST_M, LONGEST_M = 2.0, 4.0
"""What a person can swing; 2 to 3 m is usual (from memory)."""
MOST_SPREAD_DEG = 10.0
"""Of the flow's angle from nose to tail: within it the air's force still grows with the angle. By eye, no source."""
MOST_HIDDEN_CALIBERS = 0.5
"""An instability that the turning alone would hold: half of the margin that is wanted. Our own choice, no source."""
TIMES_GRAVITY = 5.0  # v^2 / (g R): the string droops by 11 degrees
STRENGTH = 10.0  # of string and knot over the pull: a knot costs up to half (from memory), jerks the rest
PROOF = 2.0  # of the pull, hung on before swinging
KNOT_MM = 1.0
"""How near to the balance point a knot can be tied (from memory)."""
MOST_PULL_N = 50.0
"""On the hand, steadily and all round: about what one arm may pull without a support for the body, 55 N (basic force
limits of EN 1005-3, from memory). It is the weight of 5 kg; at the speed chosen here a rocket of 1 kg pulls that much,
and off its string would fly off with the energy of a 1 kg stone thrown at 50 km/h."""


@dataclass(frozen=True)
class SwingPlan:
    """One swing. Angles in degrees; nose_out_deg is None where the margin is not positive.

    string_m: from hand to body; spread_deg: of the flow's angle from nose to tail; knot_deg: what a knot KNOT_MM off
    turns it; hidden_calibers: how unstable a rocket the turning alone would hold; string_share: the string's stiffness
    over that of the air on one caliber; clear_m: no one within; meaningful: whether all limits are kept.
    """

    string_m: float
    speed_mps: float
    turns_per_min: float
    spread_deg: float
    nose_out_deg: float | None
    knot_deg: float
    hidden_calibers: float
    string_share: float
    droop_deg: float
    pull_n: float
    strength_n: float
    proof_kg: float
    clear_m: float
    meaningful: bool


@dataclass(frozen=True)
class Swung:
    """What is swung: mm, g, per radian. parts: (slope, place from the nose tip)."""

    mass_g: float
    length_mm: float
    diameter_mm: float
    balance_mm: float
    parts: tuple[tuple[float, float], ...]

    @property
    def slope(self) -> float:
        return sum(slope for slope, _ in self.parts)

    @property
    def moment_mm(self) -> float:
        """sum C_i l_i: slope times margin."""
        return sum(slope * (x - self.balance_mm) for slope, x in self.parts)

    @property
    def inertia_kg_m2(self) -> float:
        """A uniform rod's about its middle, m length^2 / 12."""
        return self.mass_g / 1000 * (self.length_mm / 1000) ** 2 / 12


def nose_out_deg(swung: Swung, string_m: float) -> float | None:
    """How far the nose turns out of the circle by the curved path alone; None for no or a negative margin.

    One fin group alone, at 100 mm behind G on a 2 m string, meets the air straight when turned 100 / 2000:

    >>> round(nose_out_deg(Swung(50.0, 300.0, 24.0, 200.0, ((10.0, 300.0),)), 2.0), 6)
    2.864789
    """
    if swung.moment_mm <= 0:
        return None
    squares = sum(slope * (x - swung.balance_mm) ** 2 for slope, x in swung.parts)
    return float(np.degrees(squares / swung.moment_mm / (1000 * string_m)))


def hidden_calibers(swung: Swung, string_m: float) -> float:
    """How far behind, in calibers, a centre of pressure ahead of the balance point the turning alone would hold."""
    hold = 2 * swung.inertia_kg_m2 / (AIR_KG_M3 * _area_m2(swung) * swung.slope * string_m**2)
    return float(1000 * hold / swung.diameter_mm)


def string_for(swung: Swung) -> float:
    """The shortest string, m, that keeps the limits, within what a person can swing; to a tenth of a metre up."""
    by_spread = swung.length_mm / 1000 / np.radians(MOST_SPREAD_DEG)
    by_turning = np.sqrt(hidden_calibers(swung, 1.0) / MOST_HIDDEN_CALIBERS)
    wanted = np.ceil(max(by_spread, by_turning, SHORTEST_M) * 10 - 1e-9) / 10
    return float(min(wanted, LONGEST_M))


def plan_swing(swung: Swung, string_m: float | None = None, speed_mps: float | None = None) -> SwingPlan:
    """The plan; string and speed are chosen where they are not given."""
    length = string_for(swung) if string_m is None else string_m
    speed = float(np.sqrt(TIMES_GRAVITY * GRAVITY_MPS2 * length)) if speed_mps is None else speed_mps
    mass_kg = swung.mass_g / 1000
    across = mass_kg * speed**2 / length
    pull = float(np.hypot(across, mass_kg * GRAVITY_MPS2))
    caliber_k = AIR_KG_M3 / 2 * speed**2 * _area_m2(swung) * swung.slope * swung.diameter_mm / 1000
    string_k = across * swung.diameter_mm / 2000
    spread = float(np.degrees(swung.length_mm / 1000 / length))
    hidden = hidden_calibers(swung, length)
    return SwingPlan(
        string_m=length,
        speed_mps=speed,
        turns_per_min=60 * speed / (2 * np.pi * length),
        spread_deg=spread,
        nose_out_deg=nose_out_deg(swung, length),
        knot_deg=float(np.degrees(across * KNOT_MM / 1000 / (string_k + caliber_k))),
        hidden_calibers=hidden,
        string_share=string_k / caliber_k,
        droop_deg=float(np.degrees(np.arctan2(mass_kg * GRAVITY_MPS2, across))),
        pull_n=pull,
        strength_n=STRENGTH * pull,
        proof_kg=PROOF * pull / GRAVITY_MPS2,
        # thrown at 45 degrees, no air
        clear_m=float(np.ceil(length + swung.length_mm / 1000 + speed**2 / GRAVITY_MPS2)),
        meaningful=spread <= MOST_SPREAD_DEG + 1e-9 and hidden <= MOST_HIDDEN_CALIBERS + 1e-9,
    )


def _area_m2(swung: Swung) -> float:
    return float(np.pi / 4 * (swung.diameter_mm / 1000) ** 2)
