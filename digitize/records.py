"""What passes from one stage to the next: frozen records, with unit, shape and frame on each field.

Frames, stated once:

* pixels: upright photo (EXIF turn applied), x right, y down, the centre of the top-left pixel is (0, 0);
* camera: x right, y down, z forward, millimetres, origin at the camera's centre of projection;
* rocket: x from the nose tip aft along the axis, y the radius from the axis, millimetres; a fin's angle
  is 0 in the photo's plane on its upper side and 90 degrees toward the camera.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np


@dataclass(frozen=True)
class Quantity:
    """A measured number with half its 95 % band, both in the unit its field's name gives."""

    value: float
    pm95: float


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
    hand: (n,) bool, points a person has set; None: there are none. nose_px: (2,) the middle of what looks like the
    nose; body_px: (n, 2) the border of what looks like the body alone, good to some pixels; None where nothing does.
    """

    outline_px: np.ndarray
    sigma_px: np.ndarray
    mask: np.ndarray
    warnings: tuple[Warn, ...] = ()
    hand: np.ndarray | None = None
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


@dataclass(frozen=True)
class Deciding:
    """The margin that decides, in calibers. by: 'centre of pressure' or 'cut-out'."""

    margin: Quantity
    by: str


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
    pieces: tuple[dict, ...] = ()
    masses: tuple[Mass, ...] = ()


@dataclass(frozen=True)
class PartLoad:
    """One part's share of the normal force: slope per radian on the reference area, and where it acts."""

    part: str
    cn_alpha_per_rad: float
    x_mm: float


@dataclass(frozen=True)
class CentreOfPressure:
    """At small angle of attack and low speed (alpha -> 0, M -> 0)."""

    x_mm: float
    cn_alpha_per_rad: float
    parts: tuple[PartLoad, ...]


@dataclass(frozen=True)
class MethodReading:
    """The whole rocket by one method. name: as the user is told; at the Mach number it was asked for."""

    name: str
    cp_x_mm: float
    cn_alpha_per_rad: float


# --- what the user is told --------------------------------------------------------------------------------


@dataclass(frozen=True)
class FinResult:
    """One fin group, true size. outline_mm: (m, 2) x from the nose tip, y from the axis."""

    count: int
    root_chord_mm: Quantity
    tip_chord_mm: Quantity
    span_mm: Quantity
    sweep_mm: Quantity
    area_mm2: Quantity
    outline_mm: np.ndarray


@dataclass(frozen=True)
class HandCheck:
    """A hand measurement beside the photo's."""

    name: str
    by_hand_mm: float
    by_photo_mm: Quantity
    agrees: bool
    likely_slip: str | None = None  # what slip of the hand would explain a disagreement


@dataclass(frozen=True)
class BandShare:
    """How much of the centre of pressure's variance comes from one source, 0 to 1, and its own 95 % part in mm."""

    source: str
    share: float
    cp_pm95_mm: float


@dataclass(frozen=True)
class NextMeasurement:
    """What would shrink the centre of pressure's band most: the action, and the band before and after, in calibers."""

    action: str
    cp_pm95_calibers_now: float
    cp_pm95_calibers_then: float


@dataclass(frozen=True)
class PhotoAlone:
    """What one of several photos of the same rocket says by itself. file: its name."""

    file: str
    length_mm: Quantity
    max_diameter_mm: Quantity
    cp_x_mm: Quantity


@dataclass(frozen=True)
class Flight:
    """The flight the angle of attack is worked out for. mach: to show the methods there too; wind_mps: crosswind, and
    rod_speed_mps: the rocket's speed as it leaves the rod; the defaults are an example, not a limit."""

    mach: float | None = None
    wind_mps: float = 4.0
    rod_speed_mps: float = 15.0


@dataclass(frozen=True)
class AngleCurve:
    """Centre of pressure against angle of attack. alpha_deg: (n,) 0..90; cp_x_mm, normal_force: (n,), the latter CN on
    the reference area. wind_mps, rod_speed_mps: crosswind and speed leaving the rod, and what they make: wind_deg, the
    angle; wind_cp_x_mm, the centre of pressure there; wind_margin_calibers, None without a balance point."""

    alpha_deg: np.ndarray
    cp_x_mm: np.ndarray
    normal_force: np.ndarray
    wind_mps: float
    rod_speed_mps: float
    wind_deg: float
    wind_cp_x_mm: float
    wind_margin_calibers: float | None = None


@dataclass(frozen=True)
class MethodView:
    """The centre of pressure by each method, the headline's first. measured_pm95_mm, method_pm95_mm: the two parts of
    its 95 % band, half widths; mach, at_mach: the same readings at a Mach number that was asked for; warnings: where
    the methods differ for a reason that the user should know."""

    readings: tuple[MethodReading, ...]
    measured_pm95_mm: float
    method_pm95_mm: float
    words: tuple[str, ...] = ()
    mach: float | None = None
    at_mach: tuple[MethodReading, ...] = ()
    warnings: tuple[Warn, ...] = ()


@dataclass(frozen=True)
class Drawing:
    """Everything the overlay shows, in pixels of the upright full-size photo. Each array is (n, 2), x and y."""

    axis: np.ndarray  # nose tip, aft end of the body
    profile_upper: np.ndarray
    profile_lower: np.ndarray
    fins: tuple[np.ndarray, ...] = ()  # each fin's outline as the model projects it
    roots: tuple[np.ndarray, ...] = ()  # each fin's root line
    cp: np.ndarray | None = None  # (2,)
    cp_band: np.ndarray | None = None  # (2, 2): the two ends of the 95 % band along the axis
    balance: np.ndarray | None = None  # (2,)
    cutout: np.ndarray | None = None  # (2,) the cut-out's centroid, on the axis
    references: tuple[tuple[str, np.ndarray], ...] = ()  # (label, outline)
    mm_per_px: float = 1.0  # at the axis, middle of the rocket
    # (words, point on the axis nearest the nose, point nearest the tail): dimensions to draw
    stations: tuple[tuple[str, float, np.ndarray], ...] = ()  # (words, x_mm, (2,) point on the axis)


TO_DO_KINDS = ("nose weight", "more than nose weight", "tell the mass", "clear up first", "calm air", "work it out")


@dataclass(frozen=True)
class ToDo:
    """What to do about a margin that is too small. kind, one of TO_DO_KINDS: so many grams do it; the nose holds too
    little (this is what it holds); the mass is not known; a warning comes first; only the crosswind is too much; the
    nose as it is can't be filled."""

    kind: str
    nose_weight_g: float | None = None  # with which the low end of the margin's band is enough
    nose_weight_least_g: float | None = None  # with which the high end is: the low end of the weight's own band
    filling: str | None = None
    fin_span_mm: float | None = None  # larger aft fins that would do it, where nose weight does not


@dataclass(frozen=True)
class Result:
    """Everything one run says. result.json is this record written out; the report is laid out from that file."""

    name: str
    length_mm: Quantity
    max_diameter_mm: Quantity
    base_diameter_mm: Quantity
    fins: tuple[FinResult, ...]
    cutout_area_mm2: Quantity
    cutout_centroid_mm: Quantity
    cp_x_mm: Quantity
    cn_alpha_per_rad: Quantity
    parts: tuple[PartLoad, ...]
    verdict_level: str
    verdict_text: str
    balance_mm: Quantity | None = None
    margin_calibers: Quantity | None = None
    cutout_margin_calibers: Quantity | None = None
    scale_kind: str | None = None
    mm_per_px_at_axis: Quantity | None = None
    outline_px: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))
    hand_checks: tuple[HandCheck, ...] = ()
    warnings: tuple[Warn, ...] = ()
    pieces: tuple[dict, ...] = ()
    assumptions: tuple[str, ...] = ()
    shares: tuple[BandShare, ...] = ()
    next_measurement: NextMeasurement | None = None
    drawing: Drawing | None = None
    photo: dict = field(default_factory=dict)  # file name, size, what was done to the pixels
    cutout_rolls_deg: tuple[float, ...] = ()  # how each fin group stands in the cut-out, from its plane
    methods: MethodView | None = None
    angle: AngleCurve | None = None
    photos: tuple[PhotoAlone, ...] = ()  # each of several photos, in the order given
    mass_g: float | None = None  # at lift-off, the heaviest
    as_balanced_mm: Quantity | None = None  # the balance point as found, before any motor or mass moved it
    balance_states: tuple[BalanceState, ...] = ()  # balance_mm and margin_calibers are those of the worst
    units: str = "mm"  # what it is shown in, "mm" or "in"; the numbers and words here are metric either way
    verdict_headline: str = ""  # the level with what must not be missed; the level alone if empty
    deciding: Deciding | None = None  # the margin the verdict stands on
    to_do: ToDo | None = None  # where the verdict is 'marginal' or 'do not fly'
    changed_by_hand: tuple[str, ...] = ()  # what differs from the automatic result, a sentence each
