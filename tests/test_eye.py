"""The eye's file and its looks. Truth: drawn scenes (tests/drawing) and geometry; no publication."""

import hashlib
import json

import numpy as np
import pytest
from drawing import draw
from drawing.occasions import random_scene

from digitize.errors import OutlineRefusal
from digitize.eye import network
from digitize.eye.inference import near_view, predicted, predicted_twice, pyramid_of, whole_view

STORY = json.loads(network.FILE.with_suffix(".json").read_text())


@pytest.fixture(scope="module")
def seen():
    """(picture, true coverage, pyramid, view of the whole, what the eye sees there)."""
    scene, _ = random_scene(np.random.default_rng(11), width_px=1200, background="sheet")
    picture = draw(scene)
    pyramid, view = pyramid_of(np.ascontiguousarray(picture.rgb)), whole_view(*picture.rgb.shape[:2])
    return picture, pyramid, view, predicted(pyramid, view)


def test_the_file_is_the_one_that_was_written_of():
    data = network.FILE.read_bytes()
    assert hashlib.sha256(data).hexdigest() == network.SHA256 == STORY["sha256"]
    assert len(data) <= 8_000_000
    assert STORY["held_out"]["median_rocket"] > 0.9


def test_a_damaged_file_is_one_line(monkeypatch, tmp_path):
    damaged = tmp_path / "eye.onnx"
    damaged.write_bytes(network.FILE.read_bytes()[:-1])
    monkeypatch.setattr(network, "FILE", damaged)
    network.loaded_network.cache_clear()
    with pytest.raises(OutlineRefusal, match="damaged"):
        network.predict(np.zeros((64, 64, 3), np.uint8))
    network.loaded_network.cache_clear()


@pytest.mark.parametrize(("height", "width"), [(300, 400), (4000, 3000), (100, 5000), (777, 778)])
def test_the_first_look_shows_the_whole_photo(height, width):
    view = whole_view(height, width)
    corners = np.array([[0, 0], [width - 1, 0], [0, height - 1], [width - 1, height - 1]], float)
    in_look = view.to_view(corners)
    assert (in_look >= -0.5).all() and (in_look <= [network.WIDTH - 0.5, network.HEIGHT - 0.5]).all()
    assert np.allclose(view.to_photo(in_look), corners)
    # it fills the look one way or the other, and no photo is shown mirrored
    assert max(np.ptp(in_look, axis=0) / [network.WIDTH - 1, network.HEIGHT - 1]) > 0.99
    assert np.linalg.det(view.turn) > 0


def test_the_second_look_lies_along_what_was_found():
    turn = np.radians(35)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    points = np.array([[900.0, 700.0] + a * along + b * across for a in (-400, 400) for b in (-30, 30)])
    in_look = near_view(points).to_view(points)
    assert np.ptp(in_look[:, 0]) == pytest.approx(network.WIDTH / 1.16, rel=0.01)
    assert np.ptp(in_look[:, 1]) == pytest.approx(network.WIDTH / 1.16 * 60 / 800, rel=0.02)


def test_a_look_finds_the_rocket_and_which_end_is_the_nose(seen):
    picture, _, view, parts = seen
    y, x = np.nonzero(parts.rocket > 0.5)
    points = np.round(view.to_photo(np.stack([x, y], 1))).astype(int)
    inside = picture.alpha[np.clip(points[:, 1], 0, None), np.clip(points[:, 0], 0, None)] > 0.5
    assert inside.mean() > 0.95
    assert len(points) * view.scale**2 == pytest.approx(picture.alpha.sum(), rel=0.1)
    nose = view.to_photo(np.argwhere(parts.nose > 0.5)[:, ::-1]).mean(0)
    fins = view.to_photo(np.argwhere(parts.fins > 0.5)[:, ::-1]).mean(0)
    reach = np.ptp(points, axis=0).max()
    assert 0.6 * reach < np.hypot(*(nose - fins)) < 1.05 * reach


def test_the_mirror_image_is_seen_alike_but_not_the_same(seen):
    _, pyramid, view, _ = seen
    first, second = predicted_twice(pyramid, view)
    a, b = first.rocket > 0.5, second.rocket > 0.5
    assert 0.95 < (a & b).sum() / (a | b).sum() <= 1
    assert np.abs(first.rocket - second.rocket).max() > 0.01


def test_a_stroke_changes_what_it_lies_on(seen):
    """Over the body: 'not rocket' takes it away there; the nose, far from it, stays."""
    _, pyramid, view, parts = seen
    y, x = np.nonzero(parts.body > 0.9)
    middle = np.array([np.median(x), np.median(y)])
    bar = view.to_photo(middle + np.array([[-25, -3], [25, -3], [25, 3], [-25, 3]], float))
    marked = predicted(pyramid, view, ((), (bar,)))
    at = tuple(np.round(middle[::-1]).astype(int))
    assert parts.rocket[at] > 0.9 and marked.rocket[at] < parts.rocket[at] - 0.3
    nose = parts.nose > 0.9
    assert marked.rocket[nose].mean() > 0.9
