"""The outline from drawn photographs whose exact silhouette is known (tests/drawing: computed, no publication)."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from drawing import draw
from drawing.occasions import random_scene
from skimage.measure import find_contours

from digitize.errors import OutlineRefusal
from digitize.outline.silhouette import find_silhouette
from digitize.records import Photo, ReferencePoints

pytestmark = pytest.mark.slow
WIDTH_PX = 1600


def photo_of(rgb) -> Photo:
    return Photo(Path("drawn.jpg"), np.ascontiguousarray(rgb))


def drawn(seed: int, background: str):
    """(photo, references to keep out, true outline (n, 2), true coverage) of one random scene."""
    scene, _ = random_scene(np.random.default_rng(seed), width_px=WIDTH_PX, background=background)
    picture = draw(scene)
    aside = [
        ReferencePoints("card", "card", np.zeros((0, 2)), np.zeros((0, 2)), 1.0, 1.0, np.asarray(corners))
        for corners in picture.corners_px
    ]
    true = max(find_contours(picture.alpha, 0.5), key=len)[:-1, ::-1]
    return photo_of(picture.rgb), aside, true, picture.alpha


def distances(points, outline) -> np.ndarray:
    """(n,) from points to the closed line through an outline's points, pixels."""
    line = shapely.LinearRing(outline)
    shapely.prepare(line)
    return shapely.distance(shapely.points(points), line)


def enclosed(outline) -> float:
    x, y = outline.T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


@pytest.fixture(scope="module", params=[(11, "sheet"), (12, "wall"), (13, "concrete")], ids=lambda p: p[1])
def case(request):
    photo, aside, true, alpha = drawn(*request.param)
    return find_silhouette(photo, aside), photo, aside, true, alpha


def test_the_outline_lies_on_the_edge(case):
    silhouette, _, _, true, _ = case
    apart = distances(silhouette.outline_px, true)
    assert np.median(apart) < 0.35
    assert np.quantile(apart, 0.95) < 1.5
    assert np.median(apart) > 0.005  # noise was drawn in: an exact outline would mean the truth leaked


def test_nothing_of_the_rocket_is_missed(case):
    silhouette, _, _, true, _ = case
    missed = distances(true, silhouette.outline_px)
    assert np.quantile(missed, 0.95) < 2.0


def test_the_edge_lies_between_pixels_not_on_their_centres(case):
    """The one-pixel trap would draw the whole outline half a pixel too far in."""
    silhouette, _, _, true, _ = case
    outline = silhouette.outline_px
    inside = shapely.contains_xy(shapely.Polygon(true), outline)
    outward = np.where(inside, -1, 1) * distances(outline, true)
    assert abs(np.median(outward)) < 0.2


def test_the_mask_and_the_deviations_belong_to_the_outline(case):
    silhouette, photo, _, _, _ = case
    assert silhouette.mask.shape == photo.rgb.shape[:2]
    assert silhouette.sigma_px.shape == (len(silhouette.outline_px),)
    assert (silhouette.sigma_px > 0).all()
    # the mask also holds the pixels that the outline runs through
    assert -0.002 < silhouette.mask.sum() / enclosed(silhouette.outline_px) - 1 < 0.02


def test_a_quarter_turn_turns_the_outline():
    photo, aside, true, _ = drawn(11, "sheet")
    height = photo.rgb.shape[0]

    def turned(points):  # clockwise: (x, y) -> (height - 1 - y, x)
        return np.column_stack([height - 1 - points[:, 1], points[:, 0]])

    aside = [ReferencePoints(r.kind, r.label, r.points_px, r.points_mm, 1.0, 1.0, turned(r.outline_px)) for r in aside]
    found = find_silhouette(photo_of(np.rot90(photo.rgb, -1)), aside)
    apart = distances(found.outline_px, turned(true))
    assert np.median(apart) < 0.35
    assert np.quantile(apart, 0.95) < 1.5


def noise(shape, seed=3):
    return np.random.default_rng(seed).normal(180, 6, shape).clip(0, 255).astype(np.uint8)


def test_bare_ground_is_refused():
    with pytest.raises(OutlineRefusal):
        find_silhouette(photo_of(noise((800, 1200, 3))), [])


def test_a_plain_bar_is_refused():
    rgb = noise((800, 1200, 3))
    rgb[380:420, 200:1000] = (40, 40, 150)
    with pytest.raises(OutlineRefusal):
        find_silhouette(photo_of(rgb), [])


def test_a_square_is_refused():
    rgb = noise((800, 1200, 3))
    rgb[250:550, 450:750] = (150, 40, 40)
    with pytest.raises(OutlineRefusal):
        find_silhouette(photo_of(rgb), [])
