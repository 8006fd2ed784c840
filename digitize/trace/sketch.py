"""What the user sees and drags: the rocket's points in pixels of the upright full-size photo.

Pixels, not millimetres, so that a change of scale, axis or roll leaves every point where it was set in the picture.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from digitize.errors import UsageRefusal
from digitize.option_records import FEWEST_FINS, MOST_FINS

MOST_POINTS = 200
MOST_GROUPS = 6
_FARTHEST_PX = 1e6
MANUAL_SIGMA_PX = 1.0
"""How well a person sets a point on an edge with the magnifier: common practice, no source."""


@dataclass(frozen=True, eq=False)
class SketchFin:
    """One group. points_px: (m, 2), from the root's leading edge round to its trailing edge, each on the fin that
    stands at angle_rad (m,) from the line of sight, in a plane offset_mm (m,) beside its middle; manual: (m,) bool, set
    by hand. roll_rad: of fin 1."""

    count: int
    thickness_mm: float
    roll_rad: float
    points_px: np.ndarray
    angle_rad: np.ndarray
    offset_mm: np.ndarray
    manual: np.ndarray
    drawn: bool = False


@dataclass(frozen=True, eq=False)
class Ends:
    """Of one reference. points_px: (2, 2) a ruler's ends or (4, 2) corners in turn, pixels of the full-size photo;
    manual: set by hand."""

    kind: str
    label: str
    points_px: np.ndarray
    manual: bool = False


@dataclass(frozen=True, eq=False)
class Sketch:
    """tip_px: (2,) nose tip; aft_px: (2,) where the aft edge crosses the axis; body_px: (n, 2) limb points on the
    photo's upper side, nose to tail, the last at the aft end; manual: (n,) bool. tip_manual, aft_manual: set by hand;
    axis_manual: the axis is the line through both. checked: False where it is what was seen of a photo that was
    refused, until a person says it is right. texts: of the options; ends: of the references found; beginning: number of
    the outline it is a sketch of."""

    tip_px: np.ndarray
    aft_px: np.ndarray
    body_px: np.ndarray
    manual: np.ndarray
    fins: tuple[SketchFin, ...] = ()
    tip_manual: bool = False
    aft_manual: bool = False
    axis_manual: bool = False
    texts: dict = field(default_factory=dict)
    ends: tuple[Ends, ...] = ()
    beginning: int = 0
    checked: bool = True

    def all_manual(self) -> "Sketch":
        """As one whose axis and body were drawn by hand."""
        return replace(self, manual=self.manual | True, tip_manual=True, aft_manual=True, axis_manual=True)

    def with_fin(self, k: int, fin: SketchFin) -> "Sketch":
        return replace(self, fins=(*self.fins[:k], fin, *self.fins[k + 1 :]))


def to_json(sketch: Sketch) -> dict:
    """As plain lists and numbers, exact."""
    fins = [
        {
            "count": fin.count, "thickness_mm": fin.thickness_mm, "roll_rad": fin.roll_rad,
            "points_px": fin.points_px.tolist(), "angle_rad": fin.angle_rad.tolist(),
            "offset_mm": fin.offset_mm.tolist(), "hand": fin.manual.tolist(), "drawn": fin.drawn,
        }
        for fin in sketch.fins
    ]  # fmt: skip
    return {
        "tip_px": sketch.tip_px.tolist(), "aft_px": sketch.aft_px.tolist(), "body_px": sketch.body_px.tolist(),
        "hand": sketch.manual.tolist(), "fins": fins, "tip_hand": sketch.tip_manual, "aft_hand": sketch.aft_manual,
        "axis_hand": sketch.axis_manual, "asked": sketch.texts, "ends": [_ends_json(ends) for ends in sketch.ends],
        "beginning": sketch.beginning, "checked": sketch.checked,
    }  # fmt: skip


def from_json(data: dict) -> Sketch:
    """The sketch of to_json. Raises UsageRefusal for anything else: the file may have been changed."""
    try:
        body, manual = points(data["body_px"], 1), np.array(data["hand"], bool)
        fins = tuple(_fin(fin) for fin in data["fins"])
        if len(manual) != len(body) or len(fins) > MOST_GROUPS or not isinstance(data["asked"], dict):
            raise ValueError("lengths differ")
        return Sketch(
            point(data["tip_px"]), point(data["aft_px"]), body, manual, fins, bool(data["tip_hand"]),
            bool(data["aft_hand"]), bool(data["axis_hand"]), data["asked"],
            tuple(_ends(ends) for ends in data.get("ends", ())), _number(data.get("beginning", 0)),
            bool(data.get("checked", True)),
        )  # fmt: skip
    except (KeyError, TypeError, ValueError) as error:
        raise UsageRefusal(f"what was drawn can't be read ({error})", "draw it again") from None


def _number(value) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise ValueError("a number of an outline")
    return value


def _ends_json(ends: Ends) -> dict:
    return {"kind": ends.kind, "label": ends.label, "points_px": ends.points_px.tolist(), "hand": ends.manual}


def _ends(data: dict) -> Ends:
    found = points(data["points_px"], 2) if data["points_px"] else np.zeros((0, 2))
    return Ends(str(data["kind"]), str(data["label"]), found, bool(data["hand"]))


def _fin(data: dict) -> SketchFin:
    found = points(data["points_px"], 3)
    angle, offset = (np.array(data[key], float) for key in ("angle_rad", "offset_mm"))
    manual = np.array(data["hand"], bool)
    count, roll, thickness = data["count"], float(data["roll_rad"]), float(data["thickness_mm"])
    if not (len(found) == len(angle) == len(offset) == len(manual)) or not np.isfinite([roll, *angle, *offset]).all():
        raise ValueError("lengths differ")
    if isinstance(count, bool) or not isinstance(count, int) or not FEWEST_FINS <= count <= MOST_FINS:
        raise ValueError("a number of fins")
    if not 0 <= thickness <= 1000:
        raise ValueError("a thickness")
    return SketchFin(count, thickness, roll, found, angle, offset, manual, bool(data["drawn"]))


def point(value) -> np.ndarray:
    """(2,) finite pixel from a pair of numbers. Raises ValueError or TypeError."""
    found = np.array(value, float)
    if found.shape != (2,) or not (np.abs(found) < _FARTHEST_PX).all():
        raise ValueError("not a point of the photo")
    return found


def points(value, fewest: int) -> np.ndarray:
    """(n, 2) finite pixels. Raises ValueError or TypeError."""
    found = np.array(value, float)
    if found.ndim != 2 or found.shape[1] != 2 or not fewest <= len(found) <= MOST_POINTS:
        raise ValueError("not a list of points")
    if not (np.abs(found) < _FARTHEST_PX).all():
        raise ValueError("a point far outside the photo")
    return found
