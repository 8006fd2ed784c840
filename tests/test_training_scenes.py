"""What the eye learns from: the same for a seed, in bounds, and never what is held out to choose by. (No
publication.)"""

import numpy as np
import pytest

from digitize.training import scene_arrays
from digitize.training.grounds import HELD_OUT_GROUNDS
from digitize.training.scene import scene
from digitize.training.scene_arrays import AT, KIND, MATERIAL_SIZE

SEEDS = range(40)


@pytest.fixture(scope="module")
def scenes():
    return np.stack([scene(seed) for seed in SEEDS])


def kinds_of_grounds(blocks):
    first = AT["MATERIALS"]
    return set(blocks[:, [first, first + MATERIAL_SIZE]].astype(int).ravel().tolist())


def test_a_seed_gives_the_same_scene_and_another_seed_another():
    assert (scene(3) == scene(3)).all()
    assert (scene(3) != scene(4)).any()


def test_every_number_is_finite_and_every_count_within_its_room(scenes):
    assert np.isfinite(scenes).all() and scenes.shape[1] == scene_arrays.SCENE_SIZE
    counts = scenes[:, AT["ROCKET"] + 12 : AT["ROCKET"] + 15]
    assert (counts >= [2, 2, 0]).all()
    assert (counts <= [scene_arrays.MOST_PROFILE, scene_arrays.MOST_FINS, scene_arrays.MOST_LUGS]).all()
    assert (scenes[:, AT["N_THINGS"]] <= scene_arrays.MOST_THINGS).all()


def test_parts_of_a_block_do_not_overlap():
    places = sorted(AT.values())
    assert len(set(places)) == len(places) and places[0] == 0 and places[-1] < scene_arrays.SCENE_SIZE
    assert AT["THINGS"] - AT["MATERIALS"] == MATERIAL_SIZE * scene_arrays.MOST_MATERIALS


def test_profiles_begin_at_the_nose_and_end_at_the_tail(scenes):
    for block in scenes:
        count = int(block[AT["ROCKET"] + 12])
        profile = block[AT["PROFILE"] : AT["PROFILE"] + 2 * count].reshape(-1, 2)
        assert profile[0, 0] == 0 and profile[-1, 0] == 1
        assert (np.diff(profile[:, 0]) >= 0).all() and (profile[:, 1] >= 0).all()


def test_held_out_grounds_are_never_drawn_in_training(scenes):
    names = {"gravel": "GRAVEL", "tiles": "TILES", "weave": "WEAVE", "blotches": "BLOTCHES"}
    held = {KIND[names[name]] for name in HELD_OUT_GROUNDS}
    assert not held & kinds_of_grounds(scenes)
    assert kinds_of_grounds(np.stack([scene(seed, held_out=True) for seed in SEEDS])) <= held
