"""What is drawn: frozen records, millimetres and degrees. Colours are sRGB 0..255."""

from dataclasses import dataclass, field

import numpy as np
import shapely

from .camera import Camera, Plane

Colour = tuple[int, int, int]


@dataclass(frozen=True)
class DrawnFins:
    """outline_mm: (m, 2) x from the nose tip, y from the axis; from the root's leading to its trailing edge.

    roll_deg: of fin 1: 0 in the photo's plane on its upper side, 90 toward the camera.
    round_edges: sanded to half circles, the outline being that of the middle plane; else cut square.
    """

    count: int
    outline_mm: np.ndarray
    thickness_mm: float
    roll_deg: float = 0.0
    round_edges: bool = True

    def span_mm(self, rocket: "Rocket") -> float:
        """From the body's mean radius along the root out to the highest point."""
        root_mm = np.linspace(*self.outline_mm[[0, -1], 0], 501)
        return float(self.outline_mm[:, 1].max() - rocket.radius_mm(root_mm).mean())

    def area_mm2(self, rocket: "Rocket") -> float:
        """Of one fin, outside the body."""
        x, r = rocket.profile_mm.T
        body = shapely.Polygon(np.column_stack([np.r_[x, x[-1], 0], np.r_[r, -1, -1]]))
        foot = [[self.outline_mm[-1, 0], 0], [self.outline_mm[0, 0], 0]]
        return shapely.Polygon(np.vstack([self.outline_mm, foot])).difference(body).area


@dataclass(frozen=True)
class Lug:
    """A launch lug: a short tube along the body, at an angle counted like a fin's."""

    x0_mm: float
    x1_mm: float
    radius_mm: float
    angle_deg: float


@dataclass(frozen=True)
class Rocket:
    """profile_mm: (n, 2) x from the nose tip, radius; straight between points."""

    profile_mm: np.ndarray
    fins: tuple[DrawnFins, ...] = ()
    lug: Lug | None = None

    @property
    def length_mm(self) -> float:
        return float(self.profile_mm[-1, 0])

    @property
    def max_diameter_mm(self) -> float:
        return float(2 * self.profile_mm[:, 1].max())

    def radius_mm(self, x_mm: np.ndarray) -> np.ndarray:
        return np.interp(x_mm, self.profile_mm[:, 0], self.profile_mm[:, 1])


@dataclass(frozen=True)
class Paint:
    """bands: (from, to, colour) along the body. gloss: strength of the highlight, 0 matte to 1 lacquer."""

    body: Colour = (190, 40, 40)
    bands: tuple[tuple[float, float, Colour], ...] = ()
    fins: Colour = (40, 40, 80)
    base: Colour = (120, 90, 60)
    gloss: float = 0.2


@dataclass(frozen=True)
class Pose:
    """Where the rocket is. middle_mm: of its axis, world.

    heading_deg: of the nose in the photo, counterclockwise from the right (180 left, 90 up).
    tilt_deg: of the axis out of the photo's plane, positive with the nose nearer to the camera.
    """

    middle_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    heading_deg: float = 180.0
    tilt_deg: float = 0.0

    def axes(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Unit vectors (world): aft along the axis, a fin at 0 degrees, a fin at 90 degrees.

        A fin at 0 points to the photo's upper side; to its right when the nose points mostly up or down.
        """
        heading, tilt = np.radians(self.heading_deg), np.radians(self.tilt_deg)
        aft_flat = np.array([-np.cos(heading), np.sin(heading), 0.0])
        across = np.array([-np.sin(heading), -np.cos(heading), 0.0])  # a quarter turn on from the nose
        quarter = round(self.heading_deg / 90) % 4  # nose right, up, left, down
        away = np.array([0.0, 0.0, 1.0])
        return (
            np.cos(tilt) * aft_flat + np.sin(tilt) * away,
            across if quarter in (0, 3) else -across,
            np.sin(tilt) * aft_flat - np.cos(tilt) * away,
        )


@dataclass(frozen=True)
class Reference:
    """A flat object of known size.

    kind: 'steel', 'white', 'wood', 'inch' (rulers, `length_mm` graduated), 'card', 'a4', 'letter', 'sheet' (the
    printed one, on A4) or 'checker' (`squares` of `square_mm`). centre_mm: its middle in world x and y.
    behind_mm: its middle's world z.
    turn_deg: counterclockwise in the photo. lean_deg: of its plane about world x and y.
    stretch: its true size over its nominal one (paper is not trimmed exactly).
    """

    kind: str
    centre_mm: tuple[float, float]
    behind_mm: float = 0.0
    turn_deg: float = 0.0
    lean_deg: tuple[float, float] = (0.0, 0.0)
    length_mm: float = 300.0
    squares: tuple[int, int] = (7, 5)
    square_mm: float = 15.0
    stretch: float = 1.0

    def plane(self) -> Plane:
        """Its own plane: origin in its middle, x right and y down as printed."""
        turn = np.radians(-self.turn_deg)
        about_x, about_y = np.radians(self.lean_deg)
        x = np.array([np.cos(turn), np.sin(turn), 0.0])
        y = np.array([-np.sin(turn), np.cos(turn), 0.0])
        lean_x = np.array([[1, 0, 0], [0, np.cos(about_x), -np.sin(about_x)], [0, np.sin(about_x), np.cos(about_x)]])
        lean_y = np.array([[np.cos(about_y), 0, np.sin(about_y)], [0, 1, 0], [-np.sin(about_y), 0, np.cos(about_y)]])
        lean = lean_y @ lean_x
        return Plane(np.array([*self.centre_mm, self.behind_mm]), self.stretch * lean @ x, self.stretch * lean @ y)


@dataclass(frozen=True)
class Light:
    """direction: (3,) world, the way the light travels. shadow_softness_px: Gaussian sigma of its edge.

    shadow: how much of the light is missing in it. gradient: relative change across and down it.
    """

    direction: tuple[float, float, float] = (0.35, 0.5, 0.8)
    shadow_softness_px: float = 25.0
    shadow: float = 0.45
    gradient: tuple[float, float] = (0.15, -0.1)


@dataclass(frozen=True)
class Scene:
    """One photograph to draw.

    background: 'sheet', 'wall', 'wood', 'concrete' or 'mat'; backdrop_mm: the world z of its plane.
    strings_mm: stations where a string holds the rocket from above. lens_blur_px: Gaussian sigma.
    noise: standard deviation in linear light at mid grey.
    """

    rocket: Rocket
    camera: Camera
    pose: Pose = Pose()
    paint: Paint = Paint()
    references: tuple[Reference, ...] = ()
    background: str = "sheet"
    background_colour: Colour = (215, 215, 210)
    backdrop_mm: float = 60.0
    light: Light = field(default_factory=Light)
    strings_mm: tuple[float, ...] = ()
    lens_blur_px: float = 0.7
    noise: float = 0.004
    jpeg_quality: int = 91
    seed: int = 0
