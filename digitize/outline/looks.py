"""Which patches are figure: first against the ground along the frame, then against what the first look found."""

from dataclasses import dataclass

import numpy as np

from digitize.errors import OutlineRefusal
from digitize.outline.advice import ADVICE
from digitize.outline.body import Body
from digitize.outline.cut import minimum_cut
from digitize.outline.ground import frame_patches, plain_distance, shaded_distance, thin_out, unlike_ground
from digitize.outline.patches import Patches

_STIFFNESS = 2.0
_MOST_KNOWN = 800


@dataclass(frozen=True)
class Look:
    """Per patch. figure: (n,) bool; evidence: (n,) -1 ground .. 1 figure; unlike: (n,) unlikeness to the ground;
    sure: (n,) bool, far from the ground's colours; threshold: of unlike, for the first figure; edge_step: the
    colour step at which a border becomes cheap."""

    figure: np.ndarray
    evidence: np.ndarray
    unlike: np.ndarray
    sure: np.ndarray
    threshold: float
    edge_step: float


def first_looks(patches: Patches, excluded: np.ndarray) -> list[Look]:
    """Figure is what differs from the ground seen along the frame; by how much, in two ways.

    The lower threshold lies half way, in ratio, from the ground's own scatter to what is usual among foreign
    patches, the higher to what is strong among them: which is right depends on shadows and on other objects in
    the picture, and shows in the shapes that result. Raises OutlineRefusal when nothing differs.
    """
    frame = frame_patches(patches, excluded)
    unlike = unlike_ground(patches, frame)
    usual = max(0.25, float(np.percentile(unlike[frame], 99)))
    foreign = unlike[(unlike > 3 * usual) & ~excluded]
    if len(foreign) < 10:
        raise OutlineRefusal("Nothing in the picture stands out from the ground", ADVICE)
    steady = patches.step[frame[patches.pairs].all(1)]
    edge_step = max(2.0, 3 * float(np.median(steady)))
    looks = []
    for among in (50, 75):
        threshold = min(float(np.sqrt(2 * usual * np.percentile(foreign, among))), 4 * max(usual, 0.5))
        evidence = np.clip(np.log(unlike / threshold + 1e-6), -1, 1)
        evidence[excluded] = -1
        figure = minimum_cut(patches, evidence, _STIFFNESS, edge_step)
        looks.append(
            Look(figure, evidence, unlike, figure & (unlike > 1.2 * threshold), threshold, edge_step)
        )
    return looks


def look_again(look: Look, label: np.ndarray, patches: Patches) -> Look:
    """A look's findings on other patches of the same picture. label: the old patches' numbers there."""
    return Look(
        patches.mean(look.figure[label]) > 0.5,
        patches.mean(look.evidence[label]),
        patches.mean(look.unlike[label]),
        patches.mean(look.sure[label]) > 0.5,
        look.threshold,
        look.edge_step,
    )


def second_look(patches: Patches, before: Look, body: Body, mask: np.ndarray, excluded: np.ndarray) -> Look:
    """Figure told from the rocket's own colours at the same place along its axis, and the ground's near by.

    Only patches near the body are judged; the others are ground.
    """
    along, across = body.axis.along_across(patches.centre_px)
    start, end = body.limbs.along_px[[0, -1]]
    core = patches.mean(body.core) > 0.5
    inside = patches.mean(mask) > 0.5
    near = (np.abs(across) < 8 * body.half_px) & ~excluded
    near &= (along > start - 2 * body.half_px) & (along < end + 2 * body.half_px)
    strange = before.sure
    if core.any():
        strange = before.sure & (before.unlike > min(3.0, 0.35 * float(np.median(before.unlike[core]))))
    # A band of the ground's own colour across the body is body; at the body's ends it may be the ground.
    some = np.flatnonzero(body.limbs.half_px > 0)
    first, last = body.limbs.along_px[some[[0, -1]]] if len(some) else (start, end)
    amid = (along > first + body.half_px) & (along < last - body.half_px)
    held = core & amid
    mixed = _beside_the_other(patches, inside)
    # The ends prove nothing by themselves: shadows touch them. What is rocket there has its like further in.
    inner = (along > first + 0.5 * body.half_px) & (along < last - 0.5 * body.half_px)
    figure = thin_out(np.flatnonzero(inside & ((strange & ~mixed & inner) | held) & ~excluded), _MOST_KNOWN)
    ground = thin_out(np.flatnonzero(near & ~inside & ~before.figure & ~core & ~mixed), _MOST_KNOWN)
    evidence = np.full(len(along), -1.0)
    # What no shade of the frame's ground comes near is not ground, though its like be nowhere else on the rocket.
    strongly = np.clip(np.log(before.unlike / (2 * before.threshold) + 1e-6), 0, 1)
    if len(ground) > 10 and len(figure) > 10:
        # Beside an edge the picture without thin things is a mixture: there the picture itself must do.
        edgy = _at_an_edge(patches, before.edge_step)
        place = patches.centre_px / (0.15 * max(patches.label.shape))
        for which, views in ((near & edgy, 1), (near & ~edgy, 2)):
            colour = patches.features[:, : 3 * views]
            banded = np.column_stack([colour / np.sqrt(views), along / (0.05 * (end - start))])
            part = np.flatnonzero(which)
            to_figure = plain_distance(banded[part], banded[figure])
            to_ground = shaded_distance(colour[part], colour[ground])
            to_ground = np.hypot(to_ground, plain_distance(place[part], place[ground]))
            nearer = (_few_nearest(to_ground, part, ground) + 0.3) / (
                _few_nearest(to_figure, part, figure) + 0.3
            )
            evidence[part] = np.clip(np.log(nearer) + strongly[part], -1, 1)
    chosen = minimum_cut(patches, np.where(held, 3, evidence), _STIFFNESS, before.edge_step)
    return Look(chosen, evidence, before.unlike, before.sure, before.threshold, before.edge_step)


def _beside_the_other(patches: Patches, inside: np.ndarray) -> np.ndarray:
    """(n,) bool: patches that touch one on the other side of the region's border, and may be a mixture."""
    first, second = patches.pairs[inside[patches.pairs[:, 0]] != inside[patches.pairs[:, 1]]].T
    result = np.zeros(len(inside), bool)
    result[first] = result[second] = True
    return result


def _at_an_edge(patches: Patches, edge_step: float) -> np.ndarray:
    """(n,) bool: patches with a strong step on some side."""
    result = np.zeros(len(patches.area_px), bool)
    result[patches.pairs[patches.step > edge_step].ravel()] = True
    return result


def _few_nearest(distance: np.ndarray, row: np.ndarray, column: np.ndarray, few: int = 4) -> np.ndarray:
    """Mean of the few smallest in each row, a patch's distance to itself not counted."""
    distance = np.where(row[:, None] == column[None], np.inf, distance)
    few = min(few, distance.shape[1] - 1)
    return np.partition(distance, few - 1, axis=1)[:, :few].mean(1)
