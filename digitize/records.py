"""What passes from one stage to the next: frozen records, with unit, shape and frame on each field.

Frames, stated once:

* pixels: upright photo (EXIF turn applied), x right, y down, the centre of the top-left pixel is (0, 0);
* camera: x right, y down, z forward, millimetres, origin at the camera's centre of projection;
* rocket: x from the nose tip aft along the axis, y the radius from the axis, millimetres; a fin's angle
  is 0 in the photo's plane on its upper side and 90 degrees toward the camera.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from digitize.option_records import Mass


@dataclass(frozen=True)
class Quantity:
    """A measured number with half its 95 % band, both in the unit its field's name gives."""

    value: float
    pm95: float

    @property
    def low(self) -> float:
        """The low end of the band."""
        return self.value - self.pm95

    @property
    def high(self) -> float:
        """The high end of the band."""
        return self.value + self.pm95


UNKNOWN = Quantity(float("nan"), float("nan"))
"""In place of a quantity that a file of earlier does not hold; it is shown as unknown."""


@dataclass(frozen=True)
class Warn:
    """Something the user should know. code: short upper-case name; text and remedy: one line each."""

    code: str
    text: str
    remedy: str


# --- photo -> plane ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Photo:
    """A picture, upright, ready to measure.

    rgb: (H, W, 3) uint8, sRGB. It may have been made smaller than the file by a whole number `shrink`;
    a pixel p of rgb is p * shrink + (shrink - 1) / 2 in the upright full-size photo.
    focal35_mm: the EXIF 35 mm-equivalent focal length, None when absent or not credible.
    notes: what was done to the pixels, in words.
    """

    path: Path
    rgb: np.ndarray
    shrink: int = 1
    focal35_mm: float | None = None
    notes: tuple[str, ...] = ()

    def to_full_px(self, points_px: np.ndarray) -> np.ndarray:
        """Points of `rgb` as points of the upright full-size photo."""
        return np.asarray(points_px, float) * self.shrink + (self.shrink - 1) / 2

    def to_working_px(self, points_px: np.ndarray) -> np.ndarray:
        """Points of the upright full-size photo as points of `rgb`."""
        return (np.asarray(points_px, float) - (self.shrink - 1) / 2) / self.shrink


@dataclass(frozen=True)
class ReferencePoints:
    """Points of one flat reference object, seen in the photo, whose true places in its own plane are known.

    kind: 'card', 'a4', 'letter', 'checker', 'ruler', 'sheet'; label: how to name it to the user.
    points_px: (n, 2) pixels; points_mm: (n, 2) millimetres in the reference's own plane, x right and y down
    as printed (for a ruler all y are 0: graduations on one line).
    sigma_px: standard deviation of one point in pixels; size_sigma: relative standard deviation of the object's
    own size (paper's trimming, a card's tolerance), one factor common to all its points.
    outline_px: (m, 2) polygon around the whole object in the picture, to keep it out of the silhouette.
    """

    kind: str
    label: str
    points_px: np.ndarray
    points_mm: np.ndarray
    sigma_px: float
    size_sigma: float
    outline_px: np.ndarray
    warnings: tuple[Warn, ...] = ()


# --- picture -> silhouette --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Silhouette:
    """The rocket's outline in the picture.

    outline_px: (n, 2) closed polygon (first point not repeated), sub-pixel, on the edge between pixels, in pixels
    of Photo.rgb; sigma_px: (n,) standard deviation of each point along the outline's normal; big where the edge
    was weak, hidden (a string, a support) or bridged.
    mask: (H, W) bool, the region inside, at the resolution of Photo.rgb.
    manual: (n,) bool, points a person has set; None: there are none. nose_px: (2,) the middle of what looks like the
    nose; body_px: (n, 2) the border of what looks like the body alone, good to some pixels; None where nothing does.
    """

    outline_px: np.ndarray
    sigma_px: np.ndarray
    mask: np.ndarray
    warnings: tuple[Warn, ...] = ()
    manual: np.ndarray | None = None
    nose_px: np.ndarray | None = None
    body_px: np.ndarray | None = None


# --- components and their aerodynamics --------------------------------------------------------------------


@dataclass(frozen=True)
class FinGroup:
    """Fins standing round the body at one place, all alike.

    outline_mm: (m, 2) x from the nose tip, y from the axis; from the root's leading edge round to the root's
    trailing edge; the body's surface closes it. thickness_mm: of the plate. roll_deg: of fin 1 from the plane of the
    cut-out, as the photo shows it; None: not said.
    """

    count: int
    outline_mm: np.ndarray
    thickness_mm: float = 0.0
    roll_deg: float | None = None


@dataclass(frozen=True)
class BalanceState:
    """The rocket in one state of its flight. state: 'lift-off' or 'burn-out' with a motor, else 'ready to fly'.

    mass_g: None if no mass was said; share: how much of the balance point as measured is in this one, its mass then
    over its mass now.
    """

    state: str
    motor: str | None
    mass_g: Quantity | None
    balance_mm: Quantity
    margin_calibers: Quantity
    share: float = 1.0


BY_PARTS, BY_CUTOUT = "centre of pressure", "cut-out"


@dataclass(frozen=True)
class Deciding:
    """The margin that decides, in calibers. by: BY_PARTS or BY_CUTOUT."""

    margin: Quantity
    by: str


@dataclass(frozen=True)
class ProfilePiece:
    """A stretch of the body by its trade name. kind: 'tube', 'frustum', or of the first piece a nose shape; from the
    nose tip; misfit_mm: rms distance in radius; c: a haack nose's constant, None for others."""

    kind: str
    from_mm: float
    to_mm: float
    fore_diameter_mm: float
    aft_diameter_mm: float
    misfit_mm: float
    c: float | None = None


@dataclass(frozen=True)
class Geometry:
    """A rocket as components.

    profile_mm: (n, 2) x from the nose tip (not decreasing, starting at 0), radius; straight between points.
    fins: groups from nose to tail. pieces: a description of the profile for people, not used in computing.
    masses: what moves the balance point from where it was found.
    """

    name: str
    profile_mm: np.ndarray
    fins: tuple[FinGroup, ...] = ()
    pieces: tuple[ProfilePiece, ...] = ()
    masses: tuple[Mass, ...] = ()


@dataclass(frozen=True)
class PartLoad:
    """One part's share of the normal force: slope per radian on the reference area, and where it acts. fin_group: which
    group it is, from 0; None: a part of the body, or read from a file, where only the words tell."""

    part: str
    cn_alpha_per_rad: float
    x_mm: float
    fin_group: int | None = None


@dataclass(frozen=True)
class CentreOfPressure:
    """At small angle of attack and low speed (alpha -> 0, M -> 0)."""

    x_mm: float
    cn_alpha_per_rad: float
    parts: tuple[PartLoad, ...]


@dataclass(frozen=True)
class MethodReading:
    """The whole rocket by one method. name: as the user is told; at the Mach number it was asked for. difference_mm,
    difference_calibers: how far aft of the headline's centre of pressure; 0 until they are compared."""

    name: str
    cp_x_mm: float
    cn_alpha_per_rad: float
    difference_mm: float = 0.0
    difference_calibers: float = 0.0
