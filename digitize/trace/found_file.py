"""What was found in the photo, kept beside the results, so that a folder opens again without a search.

It is only a memory: what is not there, damaged, of another photo or another version of the tool is searched for again.
"""

import contextlib
import hashlib
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from digitize import __version__
from digitize.files import replace_file
from digitize.outline.silhouette import fill
from digitize.records import Photo, ReferencePoints, Silhouette, Warn
from digitize.trace.history import MARK
from digitize.trace.photo_cache import PhotoCache

FOUND = "found.json"


def keep_found(folder: Path, cache: PhotoCache) -> None:
    """Write what was found since it was last written. A folder that can't be written is no reason to stop."""
    path = folder / FOUND
    if not cache.news or (path.exists() and _read(path) is None):
        return
    data = {
        "made_by": MARK,
        "version": __version__,
        "photo_sha256": _fingerprint(cache.photo),
        "references": {key: [_reference_json(one) for one in found] for key, found in cache.references.items()},
        "outlines": {key: _outline_json(found) for key, found in cache.outlines.items()},
    }
    with contextlib.suppress(OSError):
        replace_file(path, json.dumps(data).encode())
        cache.news = False


def recall_found(folder: Path, cache: PhotoCache) -> None:
    """Fill the cache with what was found in this very photo by this very version."""
    try:
        data = _read(folder / FOUND)
        if data is None or data["version"] != __version__ or data["photo_sha256"] != _fingerprint(cache.photo):
            return
        references = {key: tuple(map(_reference, found)) for key, found in data["references"].items()}
        outlines = {key: _outline(found, cache.photo.rgb.shape[:2]) for key, found in data["outlines"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return
    cache.references, cache.outlines = references, outlines


def _read(path: Path) -> dict | None:
    """The file's content, None if it is absent, broken or somebody else's."""
    try:
        data = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return data if isinstance(data, dict) and data.get("made_by") == MARK else None


def _fingerprint(photo: Photo) -> str:
    return hashlib.sha256(photo.path.read_bytes()).hexdigest()


def _reference_json(one: ReferencePoints) -> dict:
    return {
        **{name: getattr(one, name) for name in ("kind", "label", "sigma_px", "size_sigma")},
        **{name: getattr(one, name).tolist() for name in ("points_px", "points_mm", "outline_px")},
        "warnings": _warnings_json(one.warnings),
    }


def _reference(data: dict) -> ReferencePoints:
    points_px = _points(data["points_px"])
    return ReferencePoints(
        kind=str(data["kind"]),
        label=str(data["label"]),
        points_px=points_px,
        points_mm=_points(data["points_mm"], len(points_px)),
        sigma_px=_number(data["sigma_px"]),
        size_sigma=_number(data["size_sigma"]),
        outline_px=_points(data["outline_px"]),
        warnings=_warnings(data["warnings"]),
    )


def _outline_json(one: Silhouette) -> dict:
    """All but the mask, which the outline makes."""
    return {
        "outline_px": one.outline_px.tolist(),
        "sigma_px": one.sigma_px.tolist(),
        "nose_px": None if one.nose_px is None else one.nose_px.tolist(),
        "body_px": None if one.body_px is None else one.body_px.tolist(),
        "warnings": _warnings_json(one.warnings),
    }


def _outline(data: dict, shape: tuple[int, int]) -> Silhouette:
    outline_px = _points(data["outline_px"])
    nose, body = data["nose_px"], data["body_px"]
    return Silhouette(
        outline_px=outline_px,
        sigma_px=np.array([_number(one) for one in data["sigma_px"]])[: len(outline_px)].reshape(len(outline_px)),
        mask=fill(outline_px, shape),
        warnings=_warnings(data["warnings"]),
        nose_px=None if nose is None else _points([nose])[0],
        body_px=None if body is None else _points(body),
    )


def _points(data, number: int | None = None) -> np.ndarray:
    """(n, 2). Raises ValueError where that is not what there is."""
    points = np.array(data, float)
    if points.ndim != 2 or points.shape[1] != 2 or not len(points) or number not in (None, len(points)):
        raise ValueError("no points")
    if not np.isfinite(points).all() or np.abs(points).max() > 1e6:
        raise ValueError("not in a picture")
    return points


def _number(data) -> float:
    if not 0 < float(data) < 1e6:
        raise ValueError("no deviation")
    return float(data)


def _warnings_json(warnings: Sequence[Warn]) -> list[list[str]]:
    return [[one.code, one.text, one.remedy] for one in warnings]


def _warnings(data) -> tuple[Warn, ...]:
    return tuple(Warn(*(str(words) for words in one)) for one in data)
