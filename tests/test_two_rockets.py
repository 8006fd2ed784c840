"""Two rockets in one picture (tests/drawing, exact masks): measured, named, or asked about; marking one decides."""

from pathlib import Path

import numpy as np
import pytest
from two_rockets import two_rockets

from digitize.errors import OutlineRefusal
from digitize.outline.marked import NOTHING_MARKED, Marked
from digitize.outline.silhouette import find_silhouette
from digitize.records import Photo

pytestmark = pytest.mark.slow


def found(rgb, marked=NOTHING_MARKED):
    return find_silhouette(Photo(Path("drawn.png"), rgb), [], marked=marked)


def overlap(silhouette, alpha) -> float:
    true = alpha > 0.5
    return (silhouette.mask & true).sum() / (silhouette.mask | true).sum()


def mark_on(alpha) -> np.ndarray:
    """(4, 2) a patch on the middle of a rocket's body, as a person would set it."""
    y, x = np.nonzero(alpha > 0.9)
    return np.array([x.mean(), y.mean()]) + [[-60, -6], [60, -6], [60, 6], [-60, 6]]


@pytest.fixture(scope="module")
def alike():
    return two_rockets(1.0)


def test_two_of_a_size_are_asked_about_and_both_are_shown(alike):
    rgb, *alphas = alike
    with pytest.raises(OutlineRefusal, match="More than one rocket") as refused:
        found(rgb)
    assert "mark the one" in refused.value.remedy
    borders = refused.value.seen.rockets_px
    assert len(borders) == 2
    for alpha in alphas:
        y, x = np.nonzero(alpha > 0.5)
        low, high = np.array([x.min(), y.min()]), np.array([x.max(), y.max()])
        nearest = min(np.abs(b.min(0) - low).max() + np.abs(b.max(0) - high).max() for b in borders)
        assert nearest < 12, "its border lies on it"


@pytest.mark.parametrize("which", [0, 1])
def test_the_one_that_is_marked_is_measured(alike, which):
    rgb, *alphas = alike
    silhouette = found(rgb, Marked(rocket=(mark_on(alphas[which]),)))
    assert overlap(silhouette, alphas[which]) > 0.97
    assert not silhouette.warnings


def test_the_one_marked_as_not_rocket_is_left_out(alike):
    rgb, first, second = alike
    y, x = np.nonzero(second > 0.5)
    low, high = np.array([x.min(), y.min()]) - 10, np.array([x.max(), y.max()]) + 10
    box = np.array([low, [high[0], low[1]], high, [low[0], high[1]]], float)
    assert overlap(found(rgb, Marked(other=(box,))), first) > 0.97


def test_a_smaller_one_beside_is_named():
    rgb, first, _ = two_rockets(0.6)
    silhouette = found(rgb)
    assert overlap(silhouette, first) > 0.97
    assert [w.code for w in silhouette.warnings] == ["OTHER_ROCKET"]


def test_a_small_one_on_the_shelf_is_no_matter():
    rgb, first, _ = two_rockets(0.3)
    silhouette = found(rgb)
    assert overlap(silhouette, first) > 0.97
    assert not silhouette.warnings
