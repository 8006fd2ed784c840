"""The results folder: result.json, geometry.toml, overlay.png, outline.svg, report.html.

Everything is made in memory first, then each file is written beside its place and moved there whole. Only
those five names are ever written, and never over a file that this tool did not make.
"""

import io
import json
import os
from pathlib import Path

import numpy as np
from PIL import Image

from digitize.cautions import CAUTIONS
from digitize.errors import UsageRefusal
from digitize.files import replace_file
from digitize.geometry import to_toml
from digitize.records import Geometry, Result
from digitize.report.page import report_html
from digitize.report.svg import outline_svg
from digitize.result_json import SCHEMA, dumps, to_dict
from digitize.saved import Saved
from digitize.swing_record import shown_swing

RESULT, GEOMETRY, OVERLAY, OUTLINE, REPORT = NAMES = (
    "result.json",
    "geometry.toml",
    "overlay.png",
    "outline.svg",
    "report.html",
)


def write_results(
    out_dir: Path,
    result: Result,
    geometry: Geometry,
    rgb: np.ndarray | None = None,
    shrink: int = 1,
    input_path: Path | None = None,
) -> Path:
    """Write the results folder and return its path.

    rgb: (H, W, 3) uint8, the working picture, `shrink` times smaller than the photo result.drawing speaks of;
    None when there was no photo: then there is no overlay.png. input_path: the photo or geometry file the
    result came from, never overwritten; a geometry.toml solved in its own folder stays as its writer left it.
    Raises UsageRefusal if the folder can't be used or written.
    """
    out_dir = Path(out_dir)
    check_out_dir(out_dir, input_path)
    contents = _contents(out_dir, result, geometry, rgb, shrink, input_path)
    if input_path is not None and _same_file(out_dir / GEOMETRY, input_path):
        del contents[GEOMETRY]
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
        for name in NAMES:
            if name in contents:
                replace_file(out_dir / name, contents[name])
        if OVERLAY not in contents:
            # an overlay of an earlier run would show other numbers than the report beside it
            (out_dir / OVERLAY).unlink(missing_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageRefusal(
            f"{out_dir}: the results can't be written ({reason.lower()})", "choose another folder with --out"
        ) from None
    return out_dir


def check_out_dir(out_dir: Path, input_path: Path | None = None) -> None:
    """Raise UsageRefusal unless results may go there; worth calling before the work is done."""
    out_dir = Path(out_dir)
    choose = "choose another folder with --out"
    try:
        if not out_dir.exists():
            return
        if not out_dir.is_dir():
            raise UsageRefusal(f"{out_dir} is a file, not a folder", choose)
        taken = [name for name in NAMES if os.path.lexists(out_dir / name)]
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageRefusal(f"{out_dir}: can't be used ({reason.lower()})", choose) from None
    for name in taken:
        if name != GEOMETRY and input_path is not None and _same_file(out_dir / name, input_path):
            raise UsageRefusal(
                f"{out_dir / name} is the file being measured; it would be overwritten", choose
            )
        if not (out_dir / name).is_file():
            raise UsageRefusal(f"{out_dir / name} is not a file", choose)
    if input_path is not None and GEOMETRY in taken and _same_file(out_dir / GEOMETRY, input_path):
        taken.remove(GEOMETRY)
    if taken and not _is_ours(out_dir / RESULT):
        raise UsageRefusal(f"{out_dir / taken[0]} was not written by this tool", choose)


def rewrite_report(saved: Saved) -> Path:
    """The report made again from what lies in the folder, with what was recorded since. Raises UsageRefusal."""
    path, overlay = saved.folder / REPORT, saved.folder / OVERLAY
    try:
        picture = overlay.read_bytes() if overlay.is_file() else None
        shown = (saved.data.get("photo") or {}).get("file") or GEOMETRY
        outline = outline_svg(saved.data, saved.geometry.profile_mm)
        swing = shown_swing(saved.folder)
        page = report_html({**saved.data, "swing": swing}, picture, shown, outline, CAUTIONS)
        replace_file(path, page.encode("utf-8", "replace"))
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageRefusal(f"{path}: can't be written ({reason.lower()})", "work on a copy of the folder") from None
    return path


def _contents(out_dir, result, geometry, rgb, shrink, input_path) -> dict[str, bytes]:
    data = to_dict(result)
    outline = outline_svg(data, geometry.profile_mm)
    overlay = None if rgb is None else _overlay(rgb, shrink, data)
    shown = (data.get("photo") or {}).get("file") or (input_path.name if input_path else "")
    page = report_html({**data, "swing": shown_swing(out_dir)}, overlay, shown, outline, CAUTIONS)
    texts = {RESULT: dumps(data), GEOMETRY: to_toml(geometry), OUTLINE: outline, REPORT: page}
    contents = {name: text.encode("utf-8", "replace") for name, text in texts.items()}
    return contents if overlay is None else {**contents, OVERLAY: overlay}


def _overlay(rgb: np.ndarray, shrink: int, data: dict) -> bytes:
    from digitize.report.overlay import draw_overlay  # it needs OpenCV, which solving a geometry does without

    return _png(draw_overlay(rgb, shrink, data))


def _png(picture: np.ndarray) -> bytes:
    data = io.BytesIO()
    Image.fromarray(picture).save(data, "PNG", compress_level=3)  # a third of the time for 6 % more bytes
    return data.getvalue()


def _is_ours(path: Path) -> bool:
    """Whether a result.json of this tool lies there."""
    try:
        data = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(data, dict) and data.get("schema") == SCHEMA and {"cp", "verdict"} <= data.keys()


def _same_file(one: Path, other: Path) -> bool:
    try:
        return os.path.samefile(one, other)
    except OSError:
        return False
