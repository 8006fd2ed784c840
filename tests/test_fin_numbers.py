"""The number of fins as said, held against the silhouette. Outlines are exact, of drawn rockets whose number is known;
what people type wrong is from memory.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from drawing import DrawnFins
from silhouettes import ROCKET_A, prior_of, scene_a, silhouette_of, turned, with_fins

from digitize.errors import Refusal
from digitize.pipeline import fit_photo
from digitize.records import Photo
from digitize.request.options import measure_options
from digitize.result.fin_doubts import OTHER_NUMBER
from digitize.result.from_photo import assemble
from digitize.solid.numbers import CLEARLY


def scene_of(count: int, roll_deg: float, distance_mm: float = 420.0):
    return replace(scene_a(distance_mm), rocket=turned(ROCKET_A, count, roll_deg))


@cache
def told(count: int, roll_deg: float, fins: str, pose: str | None = None):
    """(Measured, Result) of rocket A with so many fins at this roll, told others."""
    return of_scene(scene_of(count, roll_deg), fins, pose)


def of_scene(scene, fins: str, pose: str | None = None):
    words = {"fins": fins, "thickness": "2mm", "balance": "212mm", **({} if pose is None else {"pose": pose})}
    options = measure_options([Path("a.jpg")], scale=["tube=24mm"], **words)
    photo = Photo(Path("a.jpg"), np.zeros((1200, 1800, 3), np.uint8), focal35_mm=28.0)
    measured = fit_photo(photo, options, prior_of(scene.camera), (), silhouette_of(scene))
    return measured, assemble(measured, options)


def named(result) -> list[str]:
    return [w.text for w in result.warnings if w.code == OTHER_NUMBER]


@pytest.mark.parametrize(("count", "roll_deg"), [(3, 0.0), (3, 30.0), (3, 15.0), (4, 0.0), (4, 45.0), (6, 0.0)])
def test_the_right_number_flies_however_the_fins_stand(count, roll_deg):
    measured, result = told(count, roll_deg, str(count))
    assert result.verdict_level == "fly" and not named(result)
    assert measured.rivals == () and measured.solid.fins[0].cost < CLEARLY  # so none was tried


@pytest.mark.parametrize(
    ("count", "roll_deg", "wrong"),
    [(3, 30.0, 4), (3, 30.0, 6), (4, 0.0, 6), (4, 0.0, 3), (6, 0.0, 4)],
)
def test_a_number_the_picture_speaks_against_is_look_again_and_the_better_one_named(count, roll_deg, wrong):
    """Three fins, two of them 30 degrees toward the camera and one hidden, look like four from afar; from near, by
    their perspective, they don't. Six in the plane may as well be three: two at 30 degrees are hidden beside them."""
    measured, result = told(count, roll_deg, str(wrong))
    assert result.verdict_level == "look again"
    (text,) = named(result)
    right = {f"{count} fins", "3 fins"} if count == 6 else {f"{count} fins"}
    assert any(text.startswith(words) for words in right) and f"the {wrong} that were said" in text
    assert measured.solid.geometry.fins[0].count == wrong  # what was said is not changed
    (rival,) = measured.rivals
    assert rival.cost + CLEARLY < measured.solid.fins[0].cost
    true_x = told(count, roll_deg, str(count))[1].cp_x_mm.value
    if count != 6:
        assert abs(true_x - result.cp_x_mm.value) < result.cp_x_mm.pm95  # the band reaches there


@pytest.mark.parametrize("wrong", [4, 6])
def test_a_number_that_leaves_a_fin_over_is_refused(wrong):
    """Three fins with one flat are not alike on both sides."""
    with pytest.raises(Refusal, match="fits no fin") as refused:
        told(3, 0.0, str(wrong))
    assert "--fins" in refused.value.remedy


def test_a_number_said_with_its_pose_is_held_against_the_picture_too():
    """Four flat ones, told eight in the plane: the pose is right, and half the fins are not there."""
    assert told(4, 0.0, "8", "in-plane")[1].verdict_level == "look again"
    assert told(4, 0.0, "4", "in-plane")[1].verdict_level == "fly"


def test_of_two_groups_the_one_with_the_wrong_number_is_named():
    front = DrawnFins(3, np.array([[120.0, 12.0], [135.0, 34.0], [150.0, 34.0], [150.0, 12.0]]), 2.0, 30.0)
    aft = replace(ROCKET_A.fins[0], count=4, roll_deg=0.0)
    scene = replace(scene_a(), rocket=with_fins(ROCKET_A, front, aft))
    assert not named(of_scene(scene, "3,4")[1])
    (text,) = named(of_scene(scene, "3,6")[1])
    assert text.startswith("4 fins in group 2 ")
