"""Where the rocket is: what the eye sees in two looks, and how far the looks agree."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from skimage.measure import find_contours

from digitize.errors import OutlineRefusal
from digitize.eye.inference import Pyramid, View, filled, near_view, predicted, predicted_twice, pyramid_of, whole_view
from digitize.eye.network import HEIGHT, WIDTH, Parts
from digitize.outline.advice import ADVICE
from digitize.outline.marked import NOTHING_MARKED, Marked
from digitize.records import Warn
from digitize.refused import carrying

_SURE_PX = 40
"""A rocket seen by fewer pixels of a look than this is none."""
_IN_LINE = 0.35
"""A piece whose middle lies within this share of the piece's own length from another's axis may belong to it."""
_RIVAL, _BESIDE = 0.5, 0.15
"""Of the most prominent rocket: a second one this large is asked about, one this large is named."""
_ROUGH_PX = 1.5
"""A look's own border is good to about so many of its pixels."""
_AGAIN = 3
"""So often at most the second look is had again where the rocket runs out of it."""


@dataclass(frozen=True)
class Region:
    """What the eye saw of one rocket. rocket, body, fins, nose: (H, W) probabilities in pixels of `view`, means of
    the look and its mirror image, 0 where it is another thing; apart: (H, W) half their difference; unsteady: by
    what share of
    the rocket the two looks differ; lopsided: the second look and its mirror image; unsure: probability that is on the
    wrong side of one half, summed, as a share of the rocket; warnings: other rockets left out."""

    view: View
    rocket: np.ndarray
    body: np.ndarray
    fins: np.ndarray
    nose: np.ndarray
    apart: np.ndarray
    unsteady: float
    lopsided: float
    unsure: float
    warnings: tuple[Warn, ...] = ()


@dataclass(frozen=True)
class FirstPass:
    """The look at a whole photo, which marks made in it later need not have again. rocket: (H, W) probability."""

    pyramid: Pyramid
    view: View
    rocket: np.ndarray


def first_pass(rgb: np.ndarray) -> FirstPass:
    """Of a picture (H, W, 3) uint8."""
    pyramid, view = pyramid_of(rgb), whole_view(*rgb.shape[:2])
    return FirstPass(pyramid, view, predicted(pyramid, view).rocket)


def find_region(rgb: np.ndarray, marked: Marked = NOTHING_MARKED, first: FirstPass | None = None) -> Region:
    """The most prominent rocket of a picture (H, W, 3) uint8; first: of this picture, if it was had before.

    Raises OutlineRefusal where no rocket is seen, or two alike.
    """
    first = first or first_pass(rgb)
    mask, warnings = _first_found(first, marked)
    points = first.view.to_photo(np.argwhere(mask)[:, ::-1])
    for _ in range(_AGAIN):
        view = near_view(np.vstack([points, *marked.rocket]))
        twice = predicted_twice(first.pyramid, view, (marked.rocket, marked.other))
        both = _mean(twice)
        own = _one_rocket(both.rocket, view.to_view(points))
        points = view.to_photo(np.argwhere(own)[:, ::-1])
        if not _runs_out(own, view, rgb.shape[:2]):
            break
    earlier = _brought(mask.astype(np.float32), first.view, view) > 0.5
    rocket = np.where(cv2.dilate(own.astype(np.uint8), np.ones((5, 5))) > 0, both.rocket, 0.0)
    rocket = _as_marked(rocket, view, marked)
    seen, mirrored = (np.where(own, look.rocket, 0.0) > 0.5 for look in twice)
    return Region(
        view,
        rocket,
        both.body * own,
        both.fins * own,
        both.nose * own,
        np.abs(twice[0].rocket - twice[1].rocket) / 2,
        unsteady=_differing(
            _as_marked(earlier, view, marked), _as_marked(own, view, marked), _ROUGH_PX * first.view.scale / view.scale
        ),
        lopsided=_differing(seen, mirrored, _ROUGH_PX),
        unsure=float(np.minimum(rocket, 1 - rocket).sum() / max((rocket > 0.5).sum(), 1)),
        warnings=warnings,
    )


def _first_found(first: FirstPass, marked: Marked) -> tuple[np.ndarray, tuple[Warn, ...]]:
    """(the rocket's region in the first look, words about others). Where the marks are about something else than what
    was seen, the whole picture is looked at once more, with them."""
    try:
        seen = _as_marked(first.rocket, first.view, replace(marked, rocket=()))
        mask, warnings = _most_prominent(seen, first.view, marked)
        near = near_view(first.view.to_photo(np.argwhere(mask)[:, ::-1]))
        if all(((p > 0) & (p < (WIDTH, HEIGHT))).all() for p in map(near.to_view, marked.rocket)):
            return mask, warnings
    except OutlineRefusal:
        if marked == NOTHING_MARKED:
            raise
    again = predicted(first.pyramid, first.view, (marked.rocket, marked.other)).rocket
    return _most_prominent(again, first.view, marked)


def _nothing() -> OutlineRefusal:
    return OutlineRefusal("No rocket was found in the picture", ADVICE)


def _mean(twice: tuple[Parts, Parts]) -> Parts:
    return Parts(*((a + b) / 2 for a, b in zip(*(vars(look).values() for look in twice), strict=True)))


def _differing(a: np.ndarray, b: np.ndarray, rough_px: float) -> float:
    """Share of two regions that only one of them has, but for a rim of rough_px, which no look is sure of."""
    size = 2 * int(np.ceil(rough_px)) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    grown = [cv2.dilate(mask.astype(np.uint8), kernel) > 0 for mask in (a, b)]
    return float(((a & ~grown[1]) | (b & ~grown[0])).sum() / max((a | b).sum(), 1))


def border_px(view: View, plane: np.ndarray) -> np.ndarray | None:
    """(n, 2) photo pixels: where a look's plane (H, W) passes one half, round its longest piece; None if it is
    empty."""
    lines = find_contours(np.pad(plane, 2).astype(np.float32), 0.5)
    return view.to_photo(max(lines, key=len)[:-1, ::-1] - 2) if lines else None


def _pieces(probability: np.ndarray) -> list[np.ndarray]:
    """Masks of what is more likely rocket than not, in one piece each, the surest and largest first."""
    count, labels = cv2.connectedComponents((probability > 0.5).astype(np.uint8), connectivity=8)
    weight = np.bincount(labels.ravel(), probability.ravel(), count)
    order = [k for k in np.argsort(-weight) if k > 0 and weight[k] > _SURE_PX]
    return [labels == k for k in order[:8]]


def _most_prominent(probability: np.ndarray, view: View, marked: Marked) -> tuple[np.ndarray, tuple[Warn, ...]]:
    """(the rocket's region, words about others)."""
    pieces = _pieces(probability)
    if not pieces:
        raise _nothing()
    if marked.rocket:  # the one that was marked
        on = np.any([filled(view, polygon) for polygon in marked.rocket], axis=0)
        pieces.sort(key=lambda piece: -int((piece & on).sum()))
    chosen, others = pieces[0], []
    for piece in pieces[1:]:
        if _in_line(chosen, piece):
            chosen = chosen | piece
        else:
            others.append(piece)
    if not others or marked.rocket:
        return chosen, ()
    share = max(float(piece.sum() / chosen.sum()) for piece in others)
    if share > _RIVAL:
        alike = [piece for piece in others if piece.sum() > _RIVAL * chosen.sum()]
        with carrying(rockets_px=tuple(border_px(view, piece) for piece in (chosen, *alike))):
            raise OutlineRefusal(
                "More than one rocket is in the picture, and none is clearly the one that is meant",
                "Photograph one rocket alone, or mark the one by hand",
            )
    if share > _BESIDE:
        text = "Something else that may be a rocket is in the picture; the largest was measured"
        return chosen, (Warn("OTHER_ROCKET", text, "Look at the picture (overlay.png) whether it is the one you mean"),)
    return chosen, ()


def _in_line(piece: np.ndarray, other: np.ndarray) -> bool:
    """Whether another piece lies ahead of or behind a slender one, as where something hides the middle of a rocket."""
    y, x = np.nonzero(piece)
    points = np.stack([x, y], 1).astype(float)
    centre = points.mean(0)
    spread, axes = np.linalg.eigh(np.cov(points.T))
    if spread[1] < 9 * spread[0]:
        return False
    half = np.sqrt(12 * spread) / 2  # of a bar with that spread
    b, a = np.nonzero(other)
    arm = np.array([a.mean(), b.mean()]) - centre
    across, along = np.abs(axes.T @ arm)
    return bool(across < _IN_LINE * half[1] and across < 2 * half[0] and along < 2.5 * half[1])


def _one_rocket(probability: np.ndarray, around: np.ndarray) -> np.ndarray:
    """The region of the second look that meets what the first found (n, 2), small breaks closed.

    Raises OutlineRefusal where the second look sees nothing.
    """
    x, y = np.clip(np.round(around).astype(int), 0, np.array(probability.shape[::-1]) - 1).T
    before = np.zeros(probability.shape, bool)
    before[y, x] = True
    pieces = sorted(_pieces(probability), key=lambda piece: -int((piece & before).sum()))
    if not pieces:
        raise _nothing()
    chosen = pieces[0]
    for piece in pieces[1:]:
        if _in_line(chosen, piece):
            chosen = _bridged(chosen, piece)
    return chosen


def _bridged(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Two pieces of one body and what lies straight between them."""
    both = (one | other).astype(np.uint8)
    for size in (5, 11, 21, 41):
        closed = cv2.morphologyEx(both, cv2.MORPH_CLOSE, np.ones((size, size), np.uint8))
        count, _ = cv2.connectedComponents(closed)
        if count == 2:
            return closed > 0
    return one


def _runs_out(own: np.ndarray, view: View, shape: tuple[int, int]) -> bool:
    """Whether the region reaches the look's border where the photo goes on."""
    rim = np.argwhere(own)
    rim = rim[(rim == 0).any(1) | (rim == np.array(own.shape) - 1).any(1)]
    if not len(rim):
        return False
    x, y = view.to_photo(rim[:, ::-1]).T
    return bool(((x > 2) & (y > 2) & (x < shape[1] - 3) & (y < shape[0] - 3)).any())


def _brought(plane: np.ndarray, from_view: View, to_view: View) -> np.ndarray:
    """A plane of one look in another's pixels, 0 where it does not reach."""
    turn = np.linalg.inv(from_view.turn) @ to_view.turn
    shift = np.linalg.inv(from_view.turn) @ (to_view.shift - from_view.shift)
    matrix, size = np.column_stack([turn, shift]), plane.shape[::-1]
    return cv2.warpAffine(plane, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)


def _as_marked(rocket: np.ndarray, view: View, marked: Marked) -> np.ndarray:
    """What a hand has marked decides, whatever the eye makes of it."""
    result = rocket.copy()
    for polygons, value in ((marked.rocket, 1.0), (marked.other, 0.0)):
        for polygon in polygons:
            result[filled(view, polygon)] = value
    return result


def without(region: Region, polygons: tuple[np.ndarray, ...]) -> Region:
    """The region with less weight on polygons (n, 2), photo pixels, that are known to be other things: where the eye is
    undecided beside a ruler or a card, it is the ruler or the card."""
    rocket = region.rocket
    for polygon in polygons:
        rocket = np.where(filled(region.view, polygon), np.minimum(rocket, 0.6 * region.rocket), rocket)
    return replace(region, rocket=rocket)
