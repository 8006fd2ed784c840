"""A results folder opened on the page: the session it goes on with, and how to begin it."""

import json
from dataclasses import replace
from pathlib import Path

from digitize.errors import UnreadableRefusal, UsageRefusal
from digitize.report.folder import RESULT
from digitize.request.option_table import KEPT
from digitize.trace.history import history_of, read_history
from digitize.trace.session import Session


def open_folder(folder: Path, camera: Path | None = None) -> tuple[Session, dict]:
    """A session on a results folder, and what to begin it with; camera: a calibration in place of the one kept.

    Raises UsageRefusal, UnreadableRefusal.
    """
    data = read_history(folder)
    if data is None:
        photo, texts = _from_result(folder)
        data = {"photo": photo, "asked": texts, "saved_at": 0}
    kept = history_of(data)
    path = _photo_path(folder, data.get("photo"))
    session = Session(folder, path)

    def with_camera(of):
        return replace(of, texts=_with_camera(folder, of.texts, camera))

    def as_form(texts: dict) -> dict:
        return session.cameras.as_form({k: v for k, v in texts.items() if k in KEPT})

    begun = [with_camera(beginning) for beginning in kept.beginnings]
    begun = [replace(b, texts=session.option_texts(as_form(b.texts))) for b in begun]
    kept = replace(kept, beginnings=tuple(begun), states=tuple(map(with_camera, kept.states)))
    now = kept.beginning if kept.states else begun[-1]
    session.texts = now.texts
    session.load_photo(path)
    begin = {"texts": as_form(now.texts), "drawn": now.drawn, "regions": now.regions, "pulls": now.pulls, "kept": kept}
    return session, begin


def _from_result(folder: Path) -> tuple[str, dict]:
    try:
        data = json.loads((folder / RESULT).read_text("utf-8"))
        if data.get("photos"):
            one = folder / "photo-1"
            raise UsageRefusal(f"{folder} holds the result of several photos", f"open one of them: {one}")
        photo = data["photo"]
        return str(photo["path"]), dict(photo["asked"])
    except OSError:
        raise UsageRefusal(
            f"{folder} holds no {RESULT}, so it is not a results folder",
            "give a photo, or the folder that measure has written",
        ) from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise UsageRefusal(
            f"{folder / RESULT} does not say which photo it came from", "measure the photo again, or give the photo"
        ) from None


def _photo_path(folder: Path, said) -> Path:
    """The photo where it was, or under its name in the folder or beside it."""
    name = Path(str(said)).name
    for path in (Path(str(said)), folder / name, folder.parent / name):
        if path.is_file():
            return path
    raise UnreadableRefusal(
        f"the photo {name} is no longer where it was measured, {Path(str(said)).parent}",
        f"put it back, or into {folder}",
    )


def _with_camera(folder: Path, texts: dict, camera: Path | None) -> dict:
    """The words with the calibration given now, or the kept one where it lies now: where it was, or in the folder."""
    if camera is not None:
        return {**texts, "camera": str(Path(camera).resolve())}
    if "camera" not in texts:
        return texts
    was = Path(str(texts["camera"]))
    here = folder / was.name
    return {**texts, "camera": str(here.resolve() if not was.is_file() and here.is_file() else was)}
