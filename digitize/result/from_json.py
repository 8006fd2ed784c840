"""A results folder read back: result.json as the record it was written from, and the geometry it stands on.

The folder may have been edited, copied by halves or made by something else, so nothing in it is taken on trust:
whoever holds a Saved may use it without looking again.
"""

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from digitize.errors import GeometryRefusal, UnreadableRefusal, UsageRefusal
from digitize.files import check_own_file, replace_own_file
from digitize.geometry.toml import read_geometry
from digitize.records import Geometry
from digitize.result.description import Wrong
from digitize.result.schema import RESULT as DESCRIBED
from digitize.result.schema import SCHEMA
from digitize.result_records import Result
from digitize.units.shown_units import UNITS

RESULT, GEOMETRY = "result.json", "geometry.toml"
MADE_BY = "digitize"
PAGE_MARK = f'<meta name="generator" content="{MADE_BY}">'
"""Stands in the head of every page written into a results folder, so that only our own is ever replaced."""
_AGAIN = "Measure or solve again with --out"
_SAME_MM = 0.01


@dataclass(frozen=True)
class Saved:
    """One results folder. result: what result.json holds; geometry: from geometry.toml beside it."""

    folder: Path
    result: Result
    geometry: Geometry

    def shown_in(self, units: str | None) -> "Saved":
        """The same to be shown in these units; None: in those it was written for."""
        return self if units is None else replace(self, result=replace(self.result, units=units))


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
    result = result_of(folder / RESULT)
    try:
        geometry = read_geometry(folder / GEOMETRY)
    except GeometryRefusal as refusal:
        raise GeometryRefusal(f"{folder / GEOMETRY}: {refusal.what}", refusal.remedy) from None
    except UnreadableRefusal as refusal:
        raise UnreadableRefusal(refusal.what, _AGAIN) from None
    if _differs(result, geometry):
        raise UsageRefusal(
            f"{folder / GEOMETRY} was changed after {RESULT} was written",
            f"Solve it again first: digitize solve {folder / GEOMETRY} --out {folder}",
        )
    return Saved(folder, result, geometry)


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


def result_of(path: Path) -> Result:
    """The result that a result.json holds. Raises UnreadableRefusal where it is not as described."""
    try:
        data = json.loads(path.read_bytes().decode("utf-8-sig"), parse_constant=_no_number)
    except (OSError, ValueError, RecursionError) as error:
        reason = getattr(error, "strerror", None) or str(error) or "it is nested too deeply"
        raise UnreadableRefusal(f"{path}: not readable as JSON ({' '.join(reason.split())})", _AGAIN) from None
    if not isinstance(data, dict) or "schema" not in data or "cp" not in data:
        raise UnreadableRefusal(f"{path} was not written by this tool", "Give a results folder")
    if data["schema"] != SCHEMA or isinstance(data["schema"], bool):
        raise UnreadableRefusal(f"{path} is of schema {str(data['schema'])[:20]!r}, this tool reads {SCHEMA}", _AGAIN)
    try:
        return DESCRIBED.read(data, "")
    except Wrong as wrong:
        where, what = wrong.args
        raise UnreadableRefusal(f"{path}: {where.lstrip('.')} is not {what}", _AGAIN) from None


def _no_number(name: str) -> None:
    raise ValueError(f"{name} is not a number")


def _differs(result: Result, geometry: Geometry) -> bool:
    """Whether the geometry is not the one the numbers were worked out from, as far as they show it."""
    if len(result.fins) != len(geometry.fins):
        return True
    for fin, group in zip(result.fins, geometry.fins, strict=True):
        if fin.count != group.count or fin.outline_mm.shape != group.outline_mm.shape:
            return True
        if np.abs(fin.outline_mm - group.outline_mm).max() > _SAME_MM:
            return True
    length, radius = geometry.profile_mm[-1, 0], geometry.profile_mm[:, 1].max()
    sizes = ((result.length_mm, length), (result.max_diameter_mm, 2 * radius))
    # of several photos the numbers are of all, the geometry is of the best: their own bands apart at most
    return any(abs(told.value - size) > max(2 * told.pm95, 0.01 * size) for told, size in sizes)
