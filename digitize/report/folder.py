"""The results folder: result.json, geometry.toml, overlay.png, outline.svg, report.html, report.pdf if asked for; or
refused.png, where there is no result.

Everything is made in memory first, then each file is written beside its place and moved there whole. Only
those names are ever written, and never over a file that this tool did not make.
"""

import io
import json
import os
from pathlib import Path

import numpy as np
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from digitize.errors import ExitCode, Refusal, UsageRefusal
from digitize.files import check_folder, replace_file
from digitize.geometry.toml import standing, to_toml
from digitize.margin.cautions import CAUTIONS
from digitize.records import Geometry
from digitize.report.beside import beside
from digitize.report.page import foot, report_html, sections, tall_jpg_of
from digitize.report.svg import outline_svg
from digitize.result.from_json import Saved
from digitize.result.schema import SCHEMA
from digitize.result.to_json import dumps, to_dict
from digitize.result_records import Result

RESULT, GEOMETRY, OVERLAY, OUTLINE, REPORT = NAMES = (
    "result.json",
    "geometry.toml",
    "overlay.png",
    "outline.svg",
    "report.html",
)
PDF = "report.pdf"
REFUSED = "refused.png"
OWN = (*NAMES, PDF)
_REFUSED_NOTE = ("Software", "digitize measure: refused")
"""Written into refused.png, so that it is known again as ours."""


def write_results(
    out_dir: Path,
    result: Result,
    geometry: Geometry,
    rgb: np.ndarray | None = None,
    shrink: int = 1,
    input_path: Path | None = None,
    pdf_paper: str | None = None,
) -> Path:
    """Write the results folder and return its path.

    rgb: (H, W, 3) uint8, the working picture, `shrink` times smaller than the photo result.drawing speaks of;
    None when there was no photo: then there is no overlay.png. input_path: the photo or geometry file the
    result came from, never overwritten; a geometry.toml solved in its own folder stays as its writer left it.
    pdf_paper: 'a4' or 'letter' for the report as PDF too.
    Raises UsageRefusal if the folder can't be used or written.
    """
    out_dir = Path(out_dir)
    check_out_dir(out_dir, input_path)
    contents = _contents(out_dir, result, geometry, rgb, shrink, input_path, pdf_paper)
    if input_path is not None and _same_file(out_dir / GEOMETRY, input_path):
        del contents[GEOMETRY]
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
        for name in OWN:
            if name in contents:
                replace_file(out_dir / name, contents[name])
        for name in (OVERLAY, PDF):
            if name not in contents:  # one of an earlier run would show other numbers than the report beside it
                (out_dir / name).unlink(missing_ok=True)
        (out_dir / REFUSED).unlink(missing_ok=True)
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
    check_folder(out_dir, choose)
    try:
        taken = [name for name in (*OWN, REFUSED) if os.path.lexists(out_dir / name)]
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageRefusal(f"{out_dir}: can't be used ({reason.lower()})", choose) from None
    for name in taken:
        if name != GEOMETRY and input_path is not None and _same_file(out_dir / name, input_path):
            raise UsageRefusal(f"{out_dir / name} is the file being measured; it would be overwritten", choose)
        if not (out_dir / name).is_file():
            raise UsageRefusal(f"{out_dir / name} is not a file", choose)
    if input_path is not None and GEOMETRY in taken and _same_file(out_dir / GEOMETRY, input_path):
        taken.remove(GEOMETRY)
    if REFUSED in taken:
        taken.remove(REFUSED)
        if not _is_our_refused(out_dir / REFUSED):
            raise UsageRefusal(f"{out_dir / REFUSED} was not written by this tool", choose)
    if taken and not _is_ours(out_dir / RESULT):
        raise UsageRefusal(f"{out_dir / taken[0]} was not written by this tool", choose)


def write_refused(out_dir: Path, refusal: Refusal) -> Path | None:
    """The picture of a photo that was refused, with what was seen of it; gives its path.

    None, and nothing is written, where no photo was looked at, the refusal is about something else (usage, the file),
    or the folder can't be written: the refusal itself is what has to be said.
    """
    path, seen = Path(out_dir) / REFUSED, refusal.seen
    about_the_photo = refusal.exit_code in (ExitCode.SCALE, ExitCode.OUTLINE, ExitCode.GEOMETRY)
    if not about_the_photo or seen is None or seen.photo is None:
        return None
    try:
        check_out_dir(out_dir, seen.photo.path)
        Path(out_dir).mkdir(parents=True, exist_ok=True)
        replace_file(path, _refused_png(refusal))
    except (OSError, ValueError, UsageRefusal):
        return None
    return path


def rewrite_report(saved: Saved) -> Path:
    """The report made again from what lies in the folder, with what was recorded since. Raises UsageRefusal."""
    path, overlay, pdf = saved.folder / REPORT, saved.folder / OVERLAY, saved.folder / PDF
    try:
        picture = overlay.read_bytes() if overlay.is_file() else None
        tall = tall_jpg_of(path.read_text("utf-8", "replace")) if picture and path.is_file() else None
        paper = paper_of(pdf.read_bytes()) if pdf.is_file() else None
        shown = _photo_name(saved.result) or GEOMETRY
        outline = outline_svg(saved.result, saved.geometry.profile_mm)
        for name, content in _reports(saved.folder, saved.result, (picture, tall), shown, outline, paper).items():
            replace_file(saved.folder / name, content)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageRefusal(f"{path}: can't be written ({reason.lower()})", "work on a copy of the folder") from None
    return path


def paper_of(pdf: bytes) -> str | None:
    """The paper of a report of ours, None if it is somebody else's."""
    from digitize.report.pdf import is_report  # loading what lays out a PDF takes a sixth of a second

    if not is_report(pdf):
        return None
    return "letter" if b"/MediaBox [ 0 0 612 792 ]" in pdf else "a4"


def saved_paper(folder: Path) -> str | None:
    """The paper of the report as PDF that lies there, so that saving makes it anew."""
    try:
        return paper_of((folder / PDF).read_bytes())
    except OSError:
        return None


def _contents(out_dir, result, geometry, rgb, shrink, input_path, pdf_paper) -> dict[str, bytes]:
    if len(result.cutout_rolls_deg) == len(geometry.fins):
        geometry = standing(geometry, result.cutout_rolls_deg)
    outline = outline_svg(result, geometry.profile_mm)
    overlay, tall = (None, None) if rgb is None else _overlays(rgb, shrink, result)
    shown = _photo_name(result) or (input_path.name if input_path else "")
    texts = {RESULT: dumps(to_dict(result)), GEOMETRY: to_toml(geometry), OUTLINE: outline}
    contents = {name: text.encode("utf-8", "replace") for name, text in texts.items()}
    contents |= _reports(out_dir, result, (overlay, tall), shown, outline, pdf_paper)
    return contents if overlay is None else {**contents, OVERLAY: overlay}


def _reports(folder: Path, result: Result, pictures, shown: str, outline: str, pdf_paper) -> dict[str, bytes]:
    """The report's files, with what lies in the folder of swing test and nose weight. pictures: the whole one and the
    tall one, None where there is none."""
    found, (overlay, tall) = beside(folder, result), pictures
    page = report_html(result, overlay, shown, outline, CAUTIONS, found, tall)
    contents = {REPORT: page.encode("utf-8", "replace")}
    if pdf_paper is not None:
        from digitize.report.pdf import report_pdf

        first, details = sections(result, overlay, shown, outline, CAUTIONS, found)
        contents[PDF] = report_pdf(first, details, f"{result.name}: centre of pressure", pdf_paper, foot(result))
    return contents


def _photo_name(result: Result) -> str:
    return (result.photo and result.photo.file) or ""


def _overlays(rgb: np.ndarray, shrink: int, result: Result) -> tuple[bytes, bytes | None]:
    """The whole picture as PNG, and the rocket alone, upright, as JPEG."""
    from digitize.report.overlay import draw_overlay, draw_tall  # they need OpenCV, which solving a geometry does not

    tall = draw_tall(rgb, shrink, result)
    return _png(draw_overlay(rgb, shrink, result)), None if tall is None else _jpeg(tall)


def _jpeg(picture: np.ndarray) -> bytes:
    data = io.BytesIO()
    Image.fromarray(picture).save(data, "JPEG", quality=85)
    return data.getvalue()


def _png(picture: np.ndarray) -> bytes:
    import cv2  # as in _overlays

    # fast filters and least effort, but without run lengths: half of Pillow's time for 6 % more bytes
    how = [cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_DEFAULT]
    return cv2.imencode(".png", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), how)[1].tobytes()


def _refused_png(refusal: Refusal) -> bytes:
    from digitize.report.refused_picture import draw_refused

    note = PngInfo()
    note.add_text(*_REFUSED_NOTE)
    data = io.BytesIO()
    Image.fromarray(draw_refused(refusal)).save(data, "PNG", compress_level=3, pnginfo=note)
    return data.getvalue()


def _is_our_refused(path: Path) -> bool:
    """Whether a picture of a refusal of ours lies there."""
    try:
        with Image.open(path) as picture:
            return picture.info.get(_REFUSED_NOTE[0]) == _REFUSED_NOTE[1]
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return False


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
