"""An invented rocket and a drawn picture of it, for the tests of the report: any direction, any size."""

import math

import cv2
import numpy as np

from digitize.records import FinGroup, Geometry, PartLoad, ProfilePiece, Quantity, Warn
from digitize.result_records import (
    BandShare,
    Drawing,
    DrawnReference,
    FinResult,
    HandCheck,
    NextMeasurement,
    PhotoFacts,
    Result,
)

# case A of the check values: cone 60, diameter 24, tube to 300, three fins; all millimetres
PROFILE_MM = np.array([[0.0, 0.0], [60.0, 12.0], [300.0, 12.0]])
FIN_MM = np.array([[250.0, 12.0], [280.0, 52.0], [310.0, 52.0], [300.0, 12.0]])
LENGTH_MM, CP_MM, CUTOUT_MM, BALANCE_MM = 300.0, 248.5, 205.0, 208.0


def sample_geometry(name: str = "campion") -> Geometry:
    """The invented rocket as components."""
    pieces = (ProfilePiece("cone", 0.0, 60.0, 0.0, 24.0, 0.04), ProfilePiece("tube", 60.0, 300.0, 24.0, 24.0, 0.04))
    return Geometry(name, PROFILE_MM, (FinGroup(3, FIN_MM, 2.0),), pieces)


def sample_result(direction_deg=0.0, size=(900, 1200), shrink=1, name="campion", **changes) -> Result:
    """The result a photo of it would give. direction_deg: where the nose points, 0 right, 90 down."""
    drawing = sample_drawing(direction_deg, size, shrink)
    q = Quantity
    fin = FinResult(3, q(50.0, 0.9), q(30.0, 0.8), q(40.0, 0.7), q(30.0, 1.1), q(1600.0, 41.0), FIN_MM)
    values = {
        "name": name,
        "length_mm": q(LENGTH_MM, 1.2),
        "max_diameter_mm": q(24.0, 0.12),
        "base_diameter_mm": q(24.0, 0.3),
        "fins": (fin,),
        "cutout_area_mm2": q(9680.0, 120.0),
        "cutout_centroid_mm": q(CUTOUT_MM, 1.1),
        "cp_x_mm": q(CP_MM, 1.9),
        "cn_alpha_per_rad": q(18.41, 0.31),
        "parts": (PartLoad("nose", 2.0, 40.0), PartLoad("fins (3)", 16.41, 273.97)),
        "verdict_level": "fly",
        "verdict_text": "The centre of pressure lies 1.69 calibers behind the balance point.",
        "balance_mm": q(BALANCE_MM, 1.0),
        "margin_calibers": q(1.69, 0.09),
        "cutout_margin_calibers": q(-0.13, 0.06),
        "scale_kind": "tube",
        "mm_per_px_at_axis": q(drawing.mm_per_px, drawing.mm_per_px * 0.002),
        "outline_px": outline_px(drawing),
        "hand_checks": (
            HandCheck("length", 300.0, q(299.4, 1.2), True),
            HandCheck("root", 53.0, q(50.1, 0.9), False),
        ),
        "warnings": (Warn("SET_BACK", "The ruler may lie behind the axis.", "Give --behind."),),
        "pieces": sample_geometry().pieces,
        "assumptions": ("One fin stands in the plane of the photo.",),
        "shares": (BandShare("scale", 0.6, 1.5), BandShare("edge of the outline", 0.4, 1.2)),
        "next_measurement": NextMeasurement("measure the tube with a caliper", 0.08, 0.03),
        "drawing": drawing,
        "photo": PhotoFacts("campion.jpg", size[1] * shrink, size[0] * shrink),
    }
    return Result(**{**values, **changes})


def sample_drawing(direction_deg, size, shrink=1) -> Drawing:
    """Pixel geometry of the full-size photo; the rocket fills 0.75 of the shorter side."""
    height, width = size[0] * shrink, size[1] * shrink
    per_mm = 0.75 * min(height, width) / LENGTH_MM
    turn = math.radians(direction_deg)
    along = -np.array([math.cos(turn), math.sin(turn)])  # from the nose tip aft
    across = np.array([-along[1], along[0]])
    nose = np.array([(width - 1) / 2, (height - 1) / 2]) - along * per_mm * LENGTH_MM / 2

    def px(points_mm):
        points_mm = np.atleast_2d(np.asarray(points_mm, float))
        return nose + per_mm * (points_mm[:, :1] * along + points_mm[:, 1:] * across)

    fins = tuple(px(FIN_MM * [1, side]) for side in (1, -0.5))
    roots = tuple(fin[[0, -1]] for fin in fins)
    card_mm = np.array([[60, 70], [110, 70], [110, 100], [60, 100]])
    return Drawing(
        axis=px([[0, 0], [LENGTH_MM, 0]]),
        profile_upper=px(PROFILE_MM),
        profile_lower=px(PROFILE_MM * [1, -1]),
        fins=fins,
        roots=roots,
        cp=px([[CP_MM, 0]])[0],
        cp_band=px([[CP_MM - 1.9, 0], [CP_MM + 1.9, 0]]),
        balance=px([[BALANCE_MM, 0]])[0],
        cutout=px([[CUTOUT_MM, 0]])[0],
        references=(DrawnReference("card", px(card_mm)),),
        mm_per_px=1 / per_mm,
    )


def outline_px(drawing: Drawing) -> np.ndarray:
    """Body and the fin on its upper side, as one closed outline."""
    upper, fin = drawing.profile_upper, drawing.fins[0]
    return np.vstack([upper[:2], fin, upper[-1:], drawing.profile_lower[::-1]])


def sample_picture(result: Result, size) -> np.ndarray:
    """A plain grey ground with the rocket filled in, (H, W, 3) uint8. Only for shrink 1."""
    rgb = np.full((*size, 3), 170, np.uint8)
    cv2.fillPoly(rgb, [np.round(result.outline_px).astype(np.int32)], (200, 60, 40))
    return rgb
