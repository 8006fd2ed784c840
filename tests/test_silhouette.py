"""The outline from drawn photographs whose exact silhouette is known (tests/drawing: computed, no publication)."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from drawing import draw
from drawing.occasions import random_scene
from skimage.measure import find_contours

from digitize.errors import OutlineRefusal
from digitize.outline.axis import Axis
from digitize.outline.body import Body
from digitize.outline.limbs import Limbs
from digitize.outline.patches import colour_features
from digitize.outline.pieces import without_crumbs
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
    """The one-pixel trap would make the area too small by half a pixel along the whole outline."""
    silhouette, _, _, true, alpha = case
    perimeter = np.linalg.norm(np.diff(true, axis=0), axis=1).sum()
    trap = 0.5 * perimeter
    assert abs(enclosed(silhouette.outline_px) - float(alpha.sum())) < 0.5 * trap


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

    aside = [
        ReferencePoints(r.kind, r.label, r.points_px, r.points_mm, 1.0, 1.0, turned(r.outline_px)) for r in aside
    ]
    found = find_silhouette(photo_of(np.rot90(photo.rgb, -1)), aside)
    apart = distances(found.outline_px, turned(true))
    assert np.median(apart) < 0.35
    assert np.quantile(apart, 0.95) < 1.5


def fin_with_a_crumb(ground, fin, thin=False):
    """(region with a crumb of ground beside the fin, body, colour features) of a body with one fin."""
    rgb = np.full((300, 500, 3), ground, np.uint8)
    rgb[200:240] = (40, 40, 150)
    rgb[110:200, 300 : 312 if thin else 400] = fin
    mask = np.zeros(rgb.shape[:2], bool)
    mask[200:240] = mask[110:200, 300 : 312 if thin else 400] = True
    body = np.zeros_like(mask)
    body[198:242] = True
    crumbed = mask.copy()
    if not thin:
        crumbed[100:110, 330:345] = True
    along = np.arange(500.0)
    limbs = Limbs(along, np.full(500, 20.0))
    axis = Axis(np.array([0.0, 220.0]), np.array([1.0, 0.0]))
    return crumbed, mask, Body(axis, limbs, 20.0, body, body, body, body), colour_features(rgb)


@pytest.mark.parametrize(("ground", "fin"), [((120, 150, 190), (200, 60, 60)), ((210, 210, 205), (60, 60, 60))])
def test_ground_that_clings_to_a_fin_is_taken_off_and_the_fin_stays(ground, fin):
    crumbed, true, body, feature = fin_with_a_crumb(ground, fin)
    left = without_crumbs(crumbed, body, feature)
    assert (left & ~true).sum() < 0.1 * (crumbed & ~true).sum()
    assert (left & true).sum() == true.sum()


def test_a_thin_fin_is_no_crumb():
    mask, true, body, feature = fin_with_a_crumb((210, 210, 205), (60, 60, 60), thin=True)
    assert (without_crumbs(mask, body, feature) == true).all()


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
