"""What the user is told: the result of one run, and its parts. result.json is `Result` written out by its description
(result/schema.py); frames and units as in `records`."""

from dataclasses import dataclass, field

import numpy as np

from digitize.records import BY_PARTS, BalanceState, Deciding, MethodReading, PartLoad, ProfilePiece, Quantity, Warn


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
class AngleCurve:
    """Centre of pressure against angle of attack. alpha_deg: (n,) 0..90; cp_x_mm, normal_force: (n,), the latter CN on
    the reference area. wind_mps, rod_speed_mps: crosswind and speed leaving the rod, and what they make: wind_deg, the
    angle; wind_cp_x_mm, the centre of pressure there; wind_forward_calibers, how far ahead of that at 0 it is;
    wind_margin_calibers, None without a balance point."""

    alpha_deg: np.ndarray
    cp_x_mm: np.ndarray
    normal_force: np.ndarray
    wind_mps: float
    rod_speed_mps: float
    wind_deg: float
    wind_cp_x_mm: float
    wind_forward_calibers: float
    wind_margin_calibers: float | None = None


@dataclass(frozen=True)
class MethodView:
    """The centre of pressure by each method, the headline's first. measured_pm95_mm, method_pm95_mm: the two parts of
    its 95 % band, half widths, NaN where a file of earlier does not hold them; mach, at_mach: the same readings at a
    Mach number that was asked for; warnings: where the methods differ for a reason that the user should know."""

    readings: tuple[MethodReading, ...]
    measured_pm95_mm: float = float("nan")
    method_pm95_mm: float = float("nan")
    words: tuple[str, ...] = ()
    mach: float | None = None
    at_mach: tuple[MethodReading, ...] = ()
    warnings: tuple[Warn, ...] = ()


@dataclass(frozen=True)
class DrawnReference:
    """A reference object in the picture. outline: (n, 2) pixels of the upright full-size photo."""

    label: str
    outline: np.ndarray


@dataclass(frozen=True)
class Station:
    """A place along the rocket that the overlay names. point: (2,) on the axis, pixels of the full-size photo."""

    words: str
    x_mm: float
    point: np.ndarray


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
    references: tuple[DrawnReference, ...] = ()
    mm_per_px: float = 1.0  # at the axis, middle of the rocket
    stations: tuple[Station, ...] = ()


@dataclass(frozen=True)
class PhotoFacts:
    """The photo a result came from. width_px, height_px: of the upright photo; notes: what was done to its pixels;
    path: where it was; asked: what was said of it, each option as typed. None: not known."""

    file: str | None = None
    width_px: int | None = None
    height_px: int | None = None
    focal35_mm: float | None = None
    notes: tuple[str, ...] = ()
    path: str | None = None
    asked: dict | None = None


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
    pieces: tuple[ProfilePiece, ...] = ()
    assumptions: tuple[str, ...] = ()
    shares: tuple[BandShare, ...] = ()
    next_measurement: NextMeasurement | None = None
    drawing: Drawing | None = None
    photo: PhotoFacts | None = None
    cutout_rolls_deg: tuple[float, ...] = ()  # how each fin group stands in the cut-out, from its plane
    methods: MethodView | None = None
    angle: AngleCurve | None = None
    photos: tuple[PhotoAlone, ...] = ()  # each of several photos, in the order given
    mass_g: float | None = None  # at lift-off, the heaviest
    as_balanced_mm: Quantity | None = None  # the balance point as found, before any motor or mass moved it
    balance_states: tuple[BalanceState, ...] = ()  # balance_mm and margin_calibers are those of the worst
    units: str = "mm"  # what it is shown in, "mm" or "in"; the numbers and words here are metric either way
    verdict_headline: str = ""  # the level with what must not be missed; see `headline`
    deciding: Deciding | None = None  # the margin the verdict stands on
    to_do: ToDo | None = None  # where the verdict is 'marginal' or 'do not fly'
    changed_by_hand: tuple[str, ...] = ()  # what differs from the automatic result, a sentence each
    tool_version: str = ""  # of what wrote the file it was read from; empty: this one

    @property
    def headline(self) -> str:
        """The verdict's level with what must not be missed."""
        return self.verdict_headline or self.verdict_level

    @property
    def decides(self) -> Deciding | None:
        """The margin that decides; where a file of earlier does not say, the one by the centre of pressure. None
        without a balance point."""
        if self.deciding is not None or self.margin_calibers is None:
            return self.deciding
        return Deciding(self.margin_calibers, BY_PARTS)

    @property
    def worst_state(self) -> BalanceState | None:
        """The state of flight that decides, where there are several."""
        states = self.balance_states
        return min(states, key=lambda state: state.margin_calibers.low) if len(states) > 1 else None
