"""A Result as the dictionary that result.json holds, and the text of that file.

Lengths in millimetres from the nose tip along the axis, angles in degrees, pixels of the upright full-size photo,
whatever "units" says: that is only what a person is shown them in, "mm" or "in". A measured quantity is
{"value": v, "pm95": half the 95 % band}. Arrays become lists of numbers rounded to 0.001 mm or px, which is finer than
anything a photo holds; quantities are written in full.
"""

import json
from dataclasses import asdict

import numpy as np

from digitize import __version__
from digitize.records import (
    BalanceState,
    Drawing,
    FinResult,
    HandCheck,
    MethodView,
    PhotoAlone,
    Quantity,
    Result,
)

SCHEMA = 1
_DECIMALS = 3


def to_dict(result: Result) -> dict:
    """The result as plain dictionaries, lists, strings and numbers (no arrays, no tuples)."""
    return {
        "schema": SCHEMA,
        "tool_version": __version__,
        "units": result.units,
        "name": result.name,
        "length_mm": _quantity(result.length_mm),
        "max_diameter_mm": _quantity(result.max_diameter_mm),
        "base_diameter_mm": _quantity(result.base_diameter_mm),
        "fins": [_fin(fin) for fin in result.fins],
        "cutout": {
            "area_mm2": _quantity(result.cutout_area_mm2),
            "centroid_mm": _quantity(result.cutout_centroid_mm),
            "rolls_deg": [float(roll) for roll in result.cutout_rolls_deg],
        },
        "cp": {
            "x_mm": _quantity(result.cp_x_mm),
            "cn_alpha_per_rad": _quantity(result.cn_alpha_per_rad),
            "parts": [
                {
                    "part": part.part,
                    "cn_alpha_per_rad": float(part.cn_alpha_per_rad),
                    "x_mm": float(part.x_mm),
                }
                for part in result.parts
            ],
            **_band_parts(result.methods),
        },
        "methods": _methods(result),
        "angle_of_attack": _angle(result),
        "balance_mm": _quantity(result.balance_mm),
        "margin_calibers": _quantity(result.margin_calibers),
        "cutout_margin_calibers": _quantity(result.cutout_margin_calibers),
        "deciding_margin": _deciding(result),
        "verdict": {
            "level": result.verdict_level,
            "text": result.verdict_text,
            "headline": result.verdict_headline or result.verdict_level,
        },
        "to_do": None if result.to_do is None else asdict(result.to_do),
        "scale": _scale(result),
        "outline_px": _points(result.outline_px),
        "hand_checks": [_hand_check(check) for check in result.hand_checks],
        "warnings": [{"code": w.code, "text": w.text, "remedy": w.remedy} for w in result.warnings],
        "pieces": [_plain(piece) for piece in result.pieces],
        "assumptions": list(result.assumptions),
        "shares": [
            {"source": s.source, "share": float(s.share), "cp_pm95_mm": float(s.cp_pm95_mm)}
            for s in result.shares
        ],
        "next_measurement": _next_measurement(result),
        "drawing": None if result.drawing is None else _drawing(result.drawing),
        "photo": _plain(result.photo),
        "changed_by_hand": list(result.changed_by_hand),
        "photos": [_photo_alone(photo) for photo in result.photos],
        "mass_g": None if result.mass_g is None else float(result.mass_g),
        "as_balanced_mm": _quantity(result.as_balanced_mm),
        "balance_states": [_balance_state(state) for state in result.balance_states],
    }


def dumps(data: dict | list) -> str:
    """The text of result.json, in ASCII so that no terminal or file name can break it.

    Raises ValueError if a NaN or an infinity would reach it.
    """
    return json.dumps(data, indent=1, allow_nan=False) + "\n"


def _quantity(quantity: Quantity | None) -> dict | None:
    if quantity is None:
        return None
    return {"value": float(quantity.value), "pm95": float(quantity.pm95)}


def _deciding(result: Result) -> dict | None:
    """The margin the verdict stands on; where nothing says otherwise, the one by the centre of pressure."""
    if result.deciding is None:
        return None
    return {"calibers": _quantity(result.deciding.margin), "by": result.deciding.by}


def _band_parts(view: MethodView | None) -> dict:
    if view is None:
        return {}
    return {"measured_pm95_mm": float(view.measured_pm95_mm), "method_pm95_mm": float(view.method_pm95_mm)}


def _methods(result: Result) -> dict | None:
    view = result.methods
    if view is None:
        return None
    caliber = result.max_diameter_mm.value

    def listed(readings):
        return [
            {
                "name": reading.name,
                "cp_x_mm": float(reading.cp_x_mm),
                "cn_alpha_per_rad": float(reading.cn_alpha_per_rad),
                "difference_mm": float(reading.cp_x_mm - view.readings[0].cp_x_mm),
                "difference_calibers": float((reading.cp_x_mm - view.readings[0].cp_x_mm) / caliber),
            }
            for reading in readings
        ]

    return {
        "at_mach_0": listed(view.readings),
        "words": list(view.words),
        "mach": view.mach,
        "at_mach": listed(view.at_mach),
    }


def _angle(result: Result) -> dict | None:
    curve = result.angle
    if curve is None:
        return None
    forward = (curve.cp_x_mm[0] - curve.wind_cp_x_mm) / result.max_diameter_mm.value
    return {
        "alpha_deg": _points(curve.alpha_deg),
        "cp_x_mm": _points(curve.cp_x_mm),
        "cn": _points(curve.normal_force),
        "crosswind": {
            "wind_mps": float(curve.wind_mps),
            "rod_speed_mps": float(curve.rod_speed_mps),
            "alpha_deg": float(curve.wind_deg),
            "cp_x_mm": float(curve.wind_cp_x_mm),
            "forward_calibers": float(forward),
            "margin_calibers": curve.wind_margin_calibers,
        },
    }


def _points(points) -> list:
    return np.round(np.asarray(points, float), _DECIMALS).tolist()


def _fin(fin: FinResult) -> dict:
    return {
        "count": int(fin.count),
        "root_chord_mm": _quantity(fin.root_chord_mm),
        "tip_chord_mm": _quantity(fin.tip_chord_mm),
        "span_mm": _quantity(fin.span_mm),
        "sweep_mm": _quantity(fin.sweep_mm),
        "area_mm2": _quantity(fin.area_mm2),
        "outline_mm": _points(fin.outline_mm),
    }


def _scale(result: Result) -> dict | None:
    if result.scale_kind is None:
        return None
    return {"kind": result.scale_kind, "mm_per_px_at_axis": _quantity(result.mm_per_px_at_axis)}


def _hand_check(check: HandCheck) -> dict:
    return {
        "name": check.name,
        "by_hand_mm": float(check.by_hand_mm),
        "by_photo_mm": _quantity(check.by_photo_mm),
        "agrees": bool(check.agrees),
        "likely_slip": check.likely_slip,
    }


def _photo_alone(photo: PhotoAlone) -> dict:
    return {
        "file": photo.file,
        "length_mm": _quantity(photo.length_mm),
        "max_diameter_mm": _quantity(photo.max_diameter_mm),
        "cp": {"x_mm": _quantity(photo.cp_x_mm)},
    }


def _balance_state(state: BalanceState) -> dict:
    return {
        "state": state.state,
        "motor": state.motor,
        "mass_g": _quantity(state.mass_g),
        "balance_mm": _quantity(state.balance_mm),
        "margin_calibers": _quantity(state.margin_calibers),
    }


def _next_measurement(result: Result) -> dict | None:
    step = result.next_measurement
    if step is None:
        return None
    return {
        "action": step.action,
        "cp_pm95_calibers_now": float(step.cp_pm95_calibers_now),
        "cp_pm95_calibers_then": float(step.cp_pm95_calibers_then),
    }


def _drawing(drawing: Drawing) -> dict:
    return {
        "axis": _points(drawing.axis),
        "profile_upper": _points(drawing.profile_upper),
        "profile_lower": _points(drawing.profile_lower),
        "fins": [_points(fin) for fin in drawing.fins],
        "roots": [_points(root) for root in drawing.roots],
        "cp": None if drawing.cp is None else _points(drawing.cp),
        "cp_band": None if drawing.cp_band is None else _points(drawing.cp_band),
        "balance": None if drawing.balance is None else _points(drawing.balance),
        "cutout": None if drawing.cutout is None else _points(drawing.cutout),
        "references": [
            {"label": label, "outline": _points(outline)} for label, outline in drawing.references
        ],
        "mm_per_px": float(drawing.mm_per_px),
        "stations": [
            {"words": words, "x_mm": float(x_mm), "point": _points(point)}
            for words, x_mm, point in drawing.stations
        ],
    }


def _plain(value):
    """Arrays, numpy numbers and tuples inside a free-form value as plain JSON kinds."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, np.generic):
        return value.item()
    return value
