"""Marks by hand and the eye, on drawn photographs whose exact silhouette is known (tests/drawing)."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawing import draw
from drawing.occasions import random_scene
from scipy.ndimage import distance_transform_edt

from digitize.eye.inference import STROKE_LENGTH_PX, STROKE_PX, drawn_strokes, whole_view
from digitize.outline import region
from digitize.outline.marked import NOTHING_MARKED, Marked
from digitize.outline.region import find_region, first_pass
from digitize.outline.silhouette import find_silhouette
from digitize.records import Photo

VIEW = whole_view(512, 768)  # a photo of the look's own size: its pixels are the look's


def box(left, top, right, bottom) -> np.ndarray:
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], float)


@pytest.mark.parametrize(
    "polygon", [box(100, 100, 400, 300), box(50, 200, 700, 206), box(0, 0, 767, 511), box(300, 300, 312, 310)]
)
def test_a_mark_is_told_in_strokes_as_the_network_knows_them(polygon):
    """Half widths to 5.5 px and lengths to 75 px are what it was trained with (training/strokes.py)."""
    rocket, other = drawn_strokes(VIEW, ((polygon,), ()))
    assert rocket.any() and not other.any()
    rows, columns = np.nonzero(rocket)
    inside = (columns >= polygon[:, 0].min()) & (columns <= polygon[:, 0].max()) & (rows >= polygon[:, 1].min())
    assert inside.all() and (rows <= polygon[:, 1].max()).all()
    assert distance_transform_edt(rocket).max() <= STROKE_PX + 1.5
    count, labels = cv2.connectedComponents(rocket.astype(np.uint8), connectivity=8)
    for k in range(1, count):
        y, x = np.nonzero(labels == k)
        assert np.hypot(np.ptp(x), np.ptp(y)) <= STROKE_LENGTH_PX + 1


def test_nothing_marked_tells_nothing():
    assert drawn_strokes(VIEW, ((), ())) is None


@pytest.fixture(scope="module")
def unseen_fin():
    """(rgb, true mask, mask of the largest fin seen): fins of the ground's colour, the largest with half of what is
    left of its contrast, so that the eye does not see it."""
    scene, _ = random_scene(np.random.default_rng(27), width_px=1400)
    scene = replace(scene, references=(), paint=replace(scene.paint, fins=scene.background_colour))
    picture = draw(scene)
    true = picture.alpha > 0.5
    bare = draw(replace(scene, rocket=replace(scene.rocket, fins=(), lug=None)))
    _, labels, stats, _ = cv2.connectedComponentsWithStats((true & ~(bare.alpha > 0.5)).astype(np.uint8))
    fin = labels == 1 + np.argmax(stats[1:, cv2.CC_STAT_AREA])
    around = cv2.dilate(fin.astype(np.uint8), np.ones((9, 9)))[..., None] > 0
    faint = (0.5 * bare.rgb + 0.5 * picture.rgb).round().astype(np.uint8)
    return np.where(around, faint, picture.rgb), true, fin


def seen(rgb, marked=NOTHING_MARKED):
    return find_silhouette(Photo(Path("drawn.png"), rgb), [], marked=marked).mask


def border_of(mask) -> np.ndarray:
    lines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return cv2.approxPolyDP(lines[0], 6, True)[:, 0].astype(float)


def stroke_in(mask) -> np.ndarray:
    """(4, 2) a strip 10 px wide through the middle of a region, along it."""
    y, x = np.nonzero(distance_transform_edt(mask) > 0.5 * distance_transform_edt(mask).max())
    points = np.column_stack([x, y]).astype(float)
    centre = points.mean(0)
    along = np.linalg.svd(points - centre, full_matrices=False)[2][0]
    half = 0.8 * np.ptp((points - centre) @ along) / 2 * along
    across = 5 * np.array([-along[1], along[0]])
    return centre + [-half - across, half - across, half + across, -half + across]


def share_and_harm(rgb, true, fin, marked) -> tuple[float, float]:
    """How much of the fin is seen; the overlap with the truth away from it."""
    found = seen(rgb, marked)
    away = ~cv2.dilate(fin.astype(np.uint8), np.ones((25, 25))).astype(bool)
    return (found & fin).sum() / fin.sum(), (found & true & away).sum() / ((found | true) & away).sum()


@pytest.mark.slow
def test_a_marked_fin_is_rocket_and_all_else_stays(unseen_fin):
    rgb, true, fin = unseen_fin
    missed, before = share_and_harm(rgb, true, fin, NOTHING_MARKED)
    assert missed < 0.1, "the picture is to show a fin that is not seen"
    share, after = share_and_harm(rgb, true, fin, Marked(rocket=(border_of(fin),)))
    assert share > 0.93 and abs(after - before) < 0.01


@pytest.mark.slow
def test_a_stroke_mends_more_than_it_covers(unseen_fin):
    rgb, true, fin = unseen_fin
    stroke = stroke_in(fin)
    _, before = share_and_harm(rgb, true, fin, NOTHING_MARKED)
    share, after = share_and_harm(rgb, true, fin, Marked(rocket=(stroke,)))
    covered = cv2.fillPoly(np.zeros(fin.shape, np.uint8), [np.round(stroke).astype(np.int32)], 1)
    assert share > 3 * (covered.astype(bool) & fin).sum() / fin.sum() and abs(after - before) < 0.01


@pytest.mark.slow
def test_a_mark_does_not_look_at_the_whole_photo_again(unseen_fin, monkeypatch):
    rgb, _, fin = unseen_fin
    marked, first = Marked(rocket=(border_of(fin),)), first_pass(rgb)
    whole = find_region(rgb, marked)

    def never(*_):
        raise AssertionError("looked at the whole photo again")

    monkeypatch.setattr(region, "predicted", never)
    monkeypatch.setattr(region, "pyramid_of", never)
    again = find_region(rgb, marked, first)
    assert np.array_equal(again.rocket, whole.rocket) and again.unsteady == whole.unsteady


@pytest.mark.slow
def test_what_is_marked_away_is_no_rocket(unseen_fin):
    """Half of the body cut off by hand: the mark decides, sensible or not."""
    rgb, true, _ = unseen_fin
    y, x = np.nonzero(true)
    middle = (x.min() + x.max()) / 2
    half = box(middle, y.min() - 20, x.max() + 20, y.max() + 20)
    inside = seen(rgb, Marked(other=(half,)))[:, round(middle) + 30 :]
    assert inside.sum() < 0.02 * true.sum()
