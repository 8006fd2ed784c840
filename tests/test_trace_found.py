"""What was found in a photo is kept beside the results and never sought twice; what is doubtful is not taken up."""

import dataclasses
import json

import numpy as np
import pytest
from trace_scene import photo_file

from digitize.photo.read import read_photo
from digitize.records import ReferencePoints, Silhouette, Warn
from digitize.trace import found_file, photo_cache
from digitize.trace.found_file import FOUND, keep_found, recall_found
from digitize.trace.photo_cache import PhotoCache

TEXTS = {"scale": ["ruler=300mm"]}
MARKED = [{"rocket": True, "points": [[1, 1], [9, 1], [9, 9]]}]
SAID = (Warn("RULER_LENGTH", "280 marks", "Look at it"),)
RULER = ReferencePoints(
    "ruler", "ruler, 300 mm", np.array([[10.1, 20.7], [1 / 3, 55.0]]), np.array([[0.0, 0.0], [300.0, 0.0]]),
    0.03, 0.0005, np.array([[0.0, 0.0], [90.0, 0.0], [90.0, 9.0]]), SAID,
)  # fmt: skip
CORNERS = np.array([[100.0, 100.0], [900.0, 110.0], [1000 / 3, 300.0]])


def outlined(photo, body):
    mask = found_file.fill(CORNERS, photo.rgb.shape[:2])
    return Silhouette(CORNERS, np.array([0.1, 0.2, 1 / 7]), mask, SAID, nose_px=CORNERS[0], body_px=body)


@pytest.fixture
def searched(tmp_path, monkeypatch):
    """(photo, folder, list of searches made): both searches stand in for the real ones."""
    made = []
    monkeypatch.setattr(photo_cache, "references_of", lambda photo, options: made.append("scale") or (RULER,))
    monkeypatch.setattr(photo_cache, "first_pass", lambda rgb: None)
    monkeypatch.setattr(
        photo_cache, "silhouette_of",
        lambda photo, *rest: made.append("outline") or outlined(photo, CORNERS + 1.5 if len(made) < 3 else None),
    )  # fmt: skip
    return read_photo(photo_file(tmp_path)), tmp_path, made


def find(cache, regions=()):
    return cache.find(TEXTS, None, regions, lambda stage: None)


def same(one, other):
    for field in dataclasses.fields(one):
        a, b = getattr(one, field.name), getattr(other, field.name)
        assert np.array_equal(a, b) if isinstance(a, np.ndarray) else a == b, field.name


def test_a_folder_opens_again_without_a_search(searched):
    photo, folder, made = searched
    first = PhotoCache(photo)
    before = [find(first), find(first, MARKED)]
    assert made == ["scale", "outline", "outline"]
    keep_found(folder, first)
    again = PhotoCache(photo)
    recall_found(folder, again)
    after = [find(again), find(again, MARKED)]
    assert made == ["scale", "outline", "outline"]
    for (references, outline), (kept, kept_outline) in zip(before, after, strict=True):
        same(references[0], kept[0])
        same(outline, kept_outline)
    assert not again.news


@pytest.mark.parametrize(
    "change",
    [
        {"version": "0.0"}, {"photo_sha256": "0" * 64}, {"made_by": "mine"},
        {"references": []}, {"references": {"k": [{"kind": "ruler"}]}}, {"outlines": {"k": {}}},
    ],
)  # fmt: skip
def test_what_is_doubtful_is_sought_again(searched, change):
    photo, folder, made = searched
    cache = PhotoCache(photo)
    find(cache)
    keep_found(folder, cache)
    data = json.loads((folder / FOUND).read_text())
    (folder / FOUND).write_text(json.dumps({**data, **change}))
    again = PhotoCache(photo)
    recall_found(folder, again)
    assert (again.references, again.outlines) == ({}, {})
    find(again)
    assert made == ["scale", "outline"] * 2


@pytest.mark.parametrize("value", ["NaN", "1e9", '"x"', "null", "[1, 2]"])
def test_a_number_that_can_be_none_is_not_believed(searched, value):
    photo, folder, _ = searched
    cache = PhotoCache(photo)
    find(cache)
    keep_found(folder, cache)
    text = (folder / FOUND).read_text()
    for known in ("10.1", "0.03", "100.0"):
        (folder / FOUND).write_text(text.replace(known, value, 1))
        again = PhotoCache(photo)
        recall_found(folder, again)
        assert (again.references, again.outlines) == ({}, {}), known


def test_a_file_of_somebody_else_stays(searched):
    photo, folder, _ = searched
    (folder / FOUND).write_text("mine")
    cache = PhotoCache(photo)
    find(cache)
    keep_found(folder, cache)
    assert (folder / FOUND).read_text() == "mine"
