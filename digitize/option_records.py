"""What the options of the commands say once they are read: one record an idea, plain numbers with their units.

Nothing here loads numpy: the command line's help is made of what stands beside these.
"""

from dataclasses import dataclass

FEWEST_FINS, MOST_FINS = 2, 12
"""In one group: one fin alone makes no rocket, and more than a dozen none that is built. No source."""
FROM_NOSE, FROM_TAIL = "from-nose", "from-tail"
ENDS = (FROM_NOSE, FROM_TAIL)


@dataclass(frozen=True)
class ScaleOption:
    """One --scale as given.

    kind: one of SCALE_KINDS. length_mm: of tube, length, ruler and points; one square's side for checker.
    points_px: x1, y1, x2, y2 in the upright full-size photo. squares: across, down. text: as typed.
    """

    kind: str
    length_mm: float | None = None
    points_px: tuple[float, float, float, float] | None = None
    squares: tuple[int, int] | None = None
    text: str = ""


@dataclass(frozen=True)
class Pose:
    """How the fins stand. kind: 'in-plane', 'diagonal', 'resting', 'angle' (with angle_deg), or 'unsaid'; where nobody
    said it and no picture shows it, fins are drawn in the plane."""

    kind: str = "unsaid"
    angle_deg: float | None = None

    def roll_deg(self, count: int) -> float:
        """The angle of fin 1 from the photo's plane, for a group of `count` fins, degrees, 0 to 360 / count.

        diagonal: turned half a fin gap from in-plane; resting: the camera looks down on a rocket lying on two
        neighbouring fins, which stand evenly about straight away from it, at -90.
        """
        gap = 360 / count
        if self.angle_deg is not None:
            return self.angle_deg % gap
        return {"unsaid": 0.0, "in-plane": 0.0, "diagonal": gap / 2, "resting": (-90 + gap / 2) % gap}[self.kind]


UNSAID = Pose()


@dataclass(frozen=True)
class BalancePoint:
    """A balance point as typed. end: 'from-nose' (the nose tip) or 'from-tail' (the body's aft end), None if it was not
    said, which is taken as from the nose tip."""

    distance_mm: float
    end: str | None = None


@dataclass(frozen=True)
class Mass:
    """Something the rocket flies with that was not in it when it was balanced. mass_g is negative for what was in it
    then and stays out; x_mm: its own balance point from the nose tip."""

    name: str
    mass_g: float
    x_mm: float


@dataclass(frozen=True)
class Motor:
    """A motor by what can be weighed and measured. name: the user's own word; overhang_mm: how far it sticks out of
    the body's aft end, negative if it sits deeper."""

    name: str
    loaded_g: float
    empty_g: float
    length_mm: float
    overhang_mm: float = 0.0


@dataclass(frozen=True)
class Flight:
    """The flight the angle of attack is worked out for. mach: to show the methods there too; wind_mps: crosswind, and
    rod_speed_mps: the rocket's speed as it leaves the rod; the defaults are an example, not a limit."""

    mach: float | None = None
    wind_mps: float = 4.0
    rod_speed_mps: float = 15.0
