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
    sure: (n,) bool, far from the ground's colours; edge_step: the colour step at which a border becomes cheap."""

    figure: np.ndarray
    evidence: np.ndarray
    unlike: np.ndarray
    sure: np.ndarray
    edge_step: float


def first_look(patches: Patches, excluded: np.ndarray) -> Look:
    """Figure is what differs from the ground seen along the frame.

    Raises OutlineRefusal when nothing does.
    """
    frame = frame_patches(patches, excluded)
    unlike = unlike_ground(patches, frame)
    usual = max(0.25, float(np.percentile(unlike[frame], 99)))
    foreign = unlike[(unlike > 3 * usual) & ~excluded]
    if len(foreign) < 10:
        raise OutlineRefusal("Nothing in the picture stands out from the ground", ADVICE)
    threshold = float(np.sqrt(2 * usual * np.median(foreign)))
    evidence = np.clip(np.log(unlike / threshold + 1e-6), -1, 1)
    evidence[excluded] = -1
    steady = patches.step[frame[patches.pairs].all(1)]
    edge_step = max(2.0, 3 * float(np.median(steady)))
    figure = minimum_cut(patches, evidence, _STIFFNESS, edge_step)
    return Look(figure, evidence, unlike, figure & (unlike > 1.2 * threshold), edge_step)


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
    figure = thin_out(np.flatnonzero(((inside & strange) | core) & ~excluded), _MOST_KNOWN)
    ground = thin_out(np.flatnonzero(near & ~inside & ~before.figure & ~core), _MOST_KNOWN)
    judged = np.flatnonzero(near)
    evidence = np.full(len(along), -1.0)
    if len(ground) > 10 and len(figure) > 10:
        banded = np.column_stack([patches.features, along / (0.05 * (end - start))])
        place = patches.centre_px / (0.15 * max(patches.label.shape))
        for part in np.array_split(judged, 1 + len(judged) // 1000):
            to_figure = plain_distance(banded[part], banded[figure])
            to_ground = shaded_distance(patches.features[part], patches.features[ground])
            to_ground = np.hypot(to_ground, plain_distance(place[part], place[ground]))
            nearer = (_few_nearest(to_ground, part, ground) + 0.3) / (
                _few_nearest(to_figure, part, figure) + 0.3
            )
            evidence[part] = np.clip(np.log(nearer), -1, 1)
    chosen = minimum_cut(patches, np.where(core, 3, evidence), _STIFFNESS, before.edge_step)
    return Look(chosen, evidence, before.unlike, before.sure, before.edge_step)


def _few_nearest(distance: np.ndarray, row: np.ndarray, column: np.ndarray, few: int = 4) -> np.ndarray:
    """Mean of the few smallest in each row, a patch's distance to itself not counted."""
    distance = np.where(row[:, None] == column[None], np.inf, distance)
    few = min(few, distance.shape[1] - 1)
    return np.partition(distance, few - 1, axis=1)[:, :few].mean(1)
