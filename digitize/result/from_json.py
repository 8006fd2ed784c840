"""A results folder read back: result.json checked key by key, and the geometry it stands on.

The folder may have been edited, copied by halves or made by something else, so nothing in it is taken on trust:
whoever holds a Saved may use the keys named here without looking again.
"""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from digitize.errors import GeometryRefusal, UnreadableRefusal, UsageRefusal
from digitize.files import check_own_file, replace_own_file
from digitize.geometry.toml import read_geometry
from digitize.margin.stability import LEVELS
from digitize.records import TO_DO_KINDS, Geometry
from digitize.result.to_json import SCHEMA
from digitize.units.shown_units import UNITS

RESULT, GEOMETRY = "result.json", "geometry.toml"
MADE_BY = "digitize"
PAGE_MARK = f'<meta name="generator" content="{MADE_BY}">'
"""Stands in the head of every page written into a results folder, so that only our own is ever replaced."""
_LARGEST = 1e12
_AGAIN = "Measure or solve again with --out"
_SAME_MM = 0.01


@dataclass(frozen=True)
class Saved:
    """One results folder. data: result.json, its known keys checked; geometry: from geometry.toml beside it."""

    folder: Path
    data: dict
    geometry: Geometry
    name: str

    def shown_in(self, units: str | None) -> "Saved":
        """The same to be shown in these units; None: in those it was written for."""
        return self if units is None else replace(self, data={**self.data, "units": units})


def read_saved(folder: Path) -> Saved:
    """The results folder that `measure` or `solve` wrote.

    Raises UsageRefusal if it is no results folder, or its geometry was changed since; UnreadableRefusal if a
    file in it is missing or broken; GeometryRefusal if the geometry can't be a rocket's.
    """
    folder = Path(folder)
    if not folder.is_dir():
        what = f"{folder} is not a folder" if folder.exists() else f"there is no folder {folder}"
        raise UsageRefusal(what, "Give the results folder that measure or solve --out has written")
    if not (folder / RESULT).is_file():
        raise UsageRefusal(
            f"{folder} holds no {RESULT}, so it is not a results folder",
            "Give the folder that measure or solve --out has written",
        )
    data = _checked(folder / RESULT)
    try:
        geometry = read_geometry(folder / GEOMETRY)
    except GeometryRefusal as refusal:
        raise GeometryRefusal(f"{folder / GEOMETRY}: {refusal.what}", refusal.remedy) from None
    except UnreadableRefusal as refusal:
        raise UnreadableRefusal(refusal.what, _AGAIN) from None
    if _differs(data, geometry):
        raise UsageRefusal(
            f"{folder / GEOMETRY} was changed after {RESULT} was written",
            f"Solve it again first: digitize solve {folder / GEOMETRY} --out {folder}",
        )
    return Saved(folder, data, geometry, data["name"])


def units_of(folder: Path) -> str | None:
    """The units a results folder is shown in; None where there is no result that says so."""
    try:
        units = json.loads((Path(folder) / RESULT).read_text("utf-8"))["units"]
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        return None
    return units if units in UNITS else None


def is_ours(content: bytes) -> bool:
    """Whether a page or a JSON file was written by this tool, by the mark it carries."""
    return PAGE_MARK.encode() in content[:4096] or f'"made_by": "{MADE_BY}"'.encode() in content[:4096]


def put(folder: Path, name: str, text: str) -> Path:
    """Write a page or JSON file with its mark into the results folder, whole or not at all; give its path.

    Raises UsageRefusal if a file of that name is there that this tool did not make, or it can't be written.
    """
    path = Path(folder) / name
    try:
        replace_own_file(path, text.encode("utf-8", "replace"), is_ours)
    except UsageRefusal as refusal:
        raise UsageRefusal(refusal.what, "Move that file away, or work on a copy of the folder") from None
    return path


def check_put(folder: Path, *names: str) -> None:
    """Raise UsageRefusal where `put` would; worth calling before the work is done."""
    for name in names:
        try:
            check_own_file(Path(folder) / name, is_ours)
        except UsageRefusal as refusal:
            raise UsageRefusal(refusal.what, "Move that file away, or work on a copy of the folder") from None


# --- what result.json must hold ---------------------------------------------------------------------------


class _Wrong(Exception):
    """args: where in the file, and what should be there."""


def _checked(path: Path) -> dict:
    try:
        data = json.loads(path.read_bytes().decode("utf-8-sig"), parse_constant=_no_number)
    except (OSError, ValueError, RecursionError) as error:
        reason = getattr(error, "strerror", None) or str(error) or "it is nested too deeply"
        raise UnreadableRefusal(f"{path}: not readable as JSON ({' '.join(reason.split())})", _AGAIN) from None
    if not isinstance(data, dict) or "schema" not in data or "cp" not in data:
        raise UnreadableRefusal(f"{path} was not written by this tool", "Give a results folder")
    if data["schema"] != SCHEMA or isinstance(data["schema"], bool):
        raise UnreadableRefusal(
            f"{path} is of schema {str(data['schema'])[:20]!r}, this tool reads {SCHEMA}", _AGAIN
        )
    try:
        _RESULT(data, "")
    except _Wrong as wrong:
        where, what = wrong.args
        raise UnreadableRefusal(f"{path}: {where.lstrip('.')} is not {what}", _AGAIN) from None
    return data


def _no_number(name: str):
    raise ValueError(f"{name} is not a number")


def _number(value, where: str) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _Wrong(where, "a number")
    if not abs(value) <= _LARGEST or not math.isfinite(value):
        raise _Wrong(where, "a believable number")


def _positive(value, where: str) -> None:
    _number(value, where)
    if value <= 0:
        raise _Wrong(where, "above zero")


def _whole(value, where: str) -> None:
    _number(value, where)
    if not isinstance(value, int) or value < 0:
        raise _Wrong(where, "a whole number")


def _text(value, where: str) -> None:
    if not isinstance(value, str):
        raise _Wrong(where, "text")


def _flag(value, where: str) -> None:
    if not isinstance(value, bool):
        raise _Wrong(where, "true or false")


def _level(value, where: str) -> None:
    if value not in LEVELS:
        raise _Wrong(where, f"one of {', '.join(LEVELS)}")


def _units(value, where: str) -> None:
    if value not in UNITS:
        raise _Wrong(where, f"one of {', '.join(UNITS)}")


def _points(value, where: str) -> None:
    if not isinstance(value, list):
        raise _Wrong(where, "a list of points")
    for point in value:
        _point(point, where)


def _point(value, where: str) -> None:
    if not isinstance(value, list) or len(value) != 2:
        raise _Wrong(where, "made of pairs of numbers")
    for number in value:
        _number(number, where)


def _record(required: dict[str, Callable], optional: dict[str, Callable] | None = None) -> Callable:
    """A table with these keys; others are let pass. An optional key that is null counts as absent."""

    def check(value, where: str) -> None:
        if not isinstance(value, dict):
            raise _Wrong(where or "it", "a table")
        for key, of in required.items():
            if key not in value:
                raise _Wrong(f"{where}.{key}", "there")
            of(value[key], f"{where}.{key}")
        for key, of in (optional or {}).items():
            if value.get(key) is not None:
                of(value[key], f"{where}.{key}")

    return check


def _list(of: Callable) -> Callable:
    def check(value, where: str) -> None:
        if not isinstance(value, list):
            raise _Wrong(where, "a list")
        for number, item in enumerate(value, 1):
            of(item, f"{where}[{number}]")

    return check


def _maybe(of: Callable) -> Callable:
    return lambda value, where: None if value is None else of(value, where)


def _quantity_of(value: Callable) -> Callable:
    def check(quantity, where: str) -> None:
        _record({"value": value, "pm95": _number})(quantity, where)
        if quantity["pm95"] < 0:
            raise _Wrong(f"{where}.pm95", "0 or more")

    return check


_quantity, _size = _quantity_of(_number), _quantity_of(_positive)
_FIN = _record(
    {"count": _whole, "root_chord_mm": _size, "span_mm": _size, "area_mm2": _size, "outline_mm": _points},
    {"tip_chord_mm": _quantity, "sweep_mm": _quantity},
)
_DRAWING = _record(
    {
        "axis": _points,
        "profile_upper": _points,
        "profile_lower": _points,
        "fins": _list(_points),
        "roots": _list(_points),
        "cp": _maybe(_point),
        "cp_band": _maybe(_points),
        "balance": _maybe(_point),
        "cutout": _maybe(_point),
        "references": _list(_record({"label": _text, "outline": _points})),
        "mm_per_px": _positive,
        "stations": _list(_record({"words": _text, "x_mm": _number, "point": _point})),
    }
)
_PIECE = _record(
    {
        "kind": _text,
        **dict.fromkeys(("from_mm", "to_mm", "fore_diameter_mm", "aft_diameter_mm", "misfit_mm"), _number),
    }
)
_STEP = _record({"action": _text, "cp_pm95_calibers_now": _number, "cp_pm95_calibers_then": _number})
_HAND = _record(
    {"name": _text, "by_hand_mm": _number, "by_photo_mm": _quantity, "agrees": _flag},
    {"likely_slip": _maybe(_text)},
)
_PHOTO = _record(
    {"file": _text, "length_mm": _quantity, "max_diameter_mm": _quantity, "cp": _record({"x_mm": _quantity})}
)
_READINGS = _list(
    _record(
        {"name": _text}
        | dict.fromkeys(("cp_x_mm", "cn_alpha_per_rad", "difference_mm", "difference_calibers"), _number)
    )
)
_METHODS = _record({"at_mach_0": _READINGS, "words": _list(_text)}, {"mach": _number, "at_mach": _READINGS})
_CROSSWIND = _record(
    dict.fromkeys(("wind_mps", "rod_speed_mps", "alpha_deg", "cp_x_mm", "forward_calibers"), _number),
    {"margin_calibers": _number},
)
_CURVES = ("alpha_deg", "cp_x_mm", "cn")


def _angle(value, where: str) -> None:
    _record({**dict.fromkeys(_CURVES, _list(_number)), "crosswind": _CROSSWIND})(value, where)
    if not value["alpha_deg"] or len({len(value[key]) for key in _CURVES}) > 1:
        raise _Wrong(where, "made of lists of one length")


_STATE = _record(
    {
        "state": _text,
        "motor": _maybe(_text),
        "mass_g": _maybe(_size),
        "balance_mm": _quantity,
        "margin_calibers": _quantity,
    }
)
_GRAMS = {"nose_weight_g": _positive, "filling": _text}
_ENDS = {"nose_weight_least_g": _number, "fin_span_mm": _positive}


def _to_do(value, where: str) -> None:
    _record({"kind": _text}, _GRAMS | _ENDS)(value, where)
    if value["kind"] not in TO_DO_KINDS:
        raise _Wrong(f"{where}.kind", f"one of {', '.join(TO_DO_KINDS)}")
    if value["kind"] in TO_DO_KINDS[:2]:
        _record(_GRAMS)(value, where)


_RESULT = _record(
    {
        "name": _text,
        "length_mm": _size,
        "max_diameter_mm": _size,
        "base_diameter_mm": _quantity,
        "fins": _list(_FIN),
        "cutout": _record({"area_mm2": _size, "centroid_mm": _quantity}, {"rolls_deg": _list(_number)}),
        "cp": _record(
            {
                "x_mm": _quantity,
                "cn_alpha_per_rad": _quantity,
                "parts": _list(_record({"part": _text, "cn_alpha_per_rad": _number, "x_mm": _number})),
            },
            {"measured_pm95_mm": _number, "method_pm95_mm": _number},
        ),
        "balance_mm": _maybe(_quantity),
        "margin_calibers": _maybe(_quantity),
        "verdict": _record({"level": _level, "text": _text}, {"headline": _text}),
        "scale": _maybe(_record({"kind": _text, "mm_per_px_at_axis": _quantity})),
        "outline_px": _points,
        "hand_checks": _list(_HAND),
        "warnings": _list(_record({"code": _text, "text": _text, "remedy": _text})),
    },
    {
        "tool_version": _text,
        "units": _units,
        "to_do": _to_do,
        "mass_g": _positive,
        "as_balanced_mm": _quantity,
        "balance_states": _list(_STATE),
        "cutout_margin_calibers": _quantity,
        "deciding_margin": _record({"calibers": _quantity, "by": _text}),
        "pieces": _list(_PIECE),
        "assumptions": _list(_text),
        "changed_by_hand": _list(_text),
        "shares": _list(_record({"source": _text, "share": _number, "cp_pm95_mm": _number})),
        "next_measurement": _STEP,
        "drawing": _DRAWING,
        "photo": _record({}, {"file": _text}),
        "photos": _list(_PHOTO),
        "methods": _METHODS,
        "angle_of_attack": _angle,
    },
)


def _differs(data: dict, geometry: Geometry) -> bool:
    """Whether the geometry is not the one the numbers were worked out from, as far as they show it."""
    if len(data["fins"]) != len(geometry.fins):
        return True
    for told, group in zip(data["fins"], geometry.fins, strict=True):
        outline = np.array(told["outline_mm"], float).reshape(-1, 2)
        if told["count"] != group.count or outline.shape != group.outline_mm.shape:
            return True
        if np.abs(outline - group.outline_mm).max() > _SAME_MM:
            return True
    length, radius = geometry.profile_mm[-1, 0], geometry.profile_mm[:, 1].max()
    sizes = ((data["length_mm"], length), (data["max_diameter_mm"], 2 * radius))
    # of several photos the numbers are of all, the geometry is of the best: their own bands apart at most
    return any(abs(told["value"] - size) > max(2 * told["pm95"], 0.01 * size) for told, size in sizes)
