"""The list of rockets and photos: what it may say, how it goes with the command line, what is refused."""

from pathlib import Path

import pytest

from digitize.errors import UnreadableRefusal, UsageRefusal
from digitize.option_records import BalancePoint, Pose, ScaleOption
from digitize.request.options import MeasureOptions, measure_options
from digitize.request.photo_list import folder_name, photos_of, read_shots

LIST = """
camera = "camera.toml"
[[rocket]]
name = "bracken"
fins = 3
balance = "250mm"
scale = "tube=41.6mm"
hand = ["span=52mm"]
[[rocket.photo]]
file = "bracken-1.jpg"
[[rocket.photo]]
file = "bracken-2.jpg"
pose = "30deg"
scale = ["a4", "ruler=300mm"]
[[rocket]]
fins = "3,4"
[[rocket.photo]]
file = "sub/teasel.png"
nose = "left"
sheet-bar = "99.2mm"
scale = ["sheet"]
"""


def shots(tmp_path, text=LIST, **typed):
    path = tmp_path / "shots.toml"
    path.write_text(text)
    return read_shots(measure_options([], shots=path, **typed))


def test_a_whole_list(tmp_path):
    bracken, teasel = shots(tmp_path, distance="1.5m", pose="diagonal")
    assert len(bracken) == 2 and len(teasel) == 1
    first, second = bracken
    tube = ScaleOption("tube", 41.6, text="tube=41.6mm")
    assert first == MeasureOptions(
        photo=(tmp_path / "bracken-1.jpg",),
        scales=(tube,),
        distance_mm=1500.0,
        fins=(3,),
        pose=Pose("diagonal"),
        balance=BalancePoint(250.0),
        hand=(("span", 52.0),),
        camera=tmp_path / "camera.toml",
        name="bracken",
    )
    assert second.pose == Pose("angle", 30.0)
    assert [claim.text for claim in second.scales] == ["tube=41.6mm", "a4", "ruler=300mm"]
    assert (teasel[0].name, teasel[0].fins, teasel[0].nose) == ("teasel", (3, 4), "left")
    assert teasel[0].photo == (tmp_path / "sub" / "teasel.png",) and teasel[0].sheet_bar_mm == 99.2


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('pose = "30deg"', 'angle = "30deg"', r"rocket 1, photo 2 \(bracken-2.jpg\): 'angle' is not known"),
        ('pose = "30deg"', 'balance = "30mm"', "'balance' is not known"),
        ('name = "bracken"', 'nam = "bracken"', "rocket 1: 'nam' is not known"),
        ("camera =", "lens =", "'lens' is not known"),
        ('"30deg"', '"30"', "photo 2.*--pose: '30' is not a pose"),
        ('"250mm"', '"250"', "rocket 1: --balance: '250' has no unit"),
        ('"250mm"', "250", "rocket 1: balance is not text"),
        ('"250mm"', '"2m"', None),
        ("fins = 3\n", "fins = true\n", "fins is not text"),
        ('scale = "tube=41.6mm"', "scale = [41.6]", "scale is not text"),
        ('scale = ["a4", "ruler=300mm"]', 'scale = "tube=41mm"', "photo 2.*tube was given twice"),
        ('scale = ["a4", "ruler=300mm"]', 'scale = "length=0.2m"', "photo 2.*beyond the body"),
        ('scale = ["sheet"]', 'scale = ["a4"]', "rocket 2, photo 1.*--sheet-bar was given without the sheet"),
        ("bracken-2.jpg", "bracken-1.jpg", "rocket 1: .*bracken-1.jpg was given twice"),
        ('file = "bracken-1.jpg"', "", "rocket 1, photo 1: file is not text"),
        ('"bracken-1.jpg"', '"bracken\\u0000.jpg"', "file is not text"),
        ('fins = "3,4"', 'name = "Bracken"', "rocket 2: another rocket is called 'Bracken'"),
        ("[[rocket.photo]]\nfile", "[[rocket.foto]]\nfile", "'foto' is not known"),
        ('name = "bracken"', "seed = -1", "seed is not a whole number"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(tmp_path, old, new, says):
    text = LIST.replace(old, new, 1)
    assert text != LIST
    if says is None:
        assert shots(tmp_path, text)[0][0].balance_mm == 2000.0
        return
    with pytest.raises(UsageRefusal, match=says) as refused:
        shots(tmp_path, text)
    assert str(tmp_path) in refused.value.what and "\n" not in refused.value.line()


@pytest.mark.parametrize("text", ["", "rocket = 3", "rocket = []", "[[rocket]]\nname = 'a'", "rocket = [1]"])
def test_nothing_to_measure(tmp_path, text):
    with pytest.raises(UsageRefusal, match=r"has no \[\[rocket"):
        shots(tmp_path, text)


def test_no_file_and_no_toml(tmp_path):
    with pytest.raises(UnreadableRefusal, match=r"none\.toml"):
        read_shots(measure_options([], shots=tmp_path / "none.toml"))
    with pytest.raises(UnreadableRefusal, match=r"shots\.toml"):
        shots(tmp_path, "[[rocket")


def test_photos_on_the_command_line_share_their_options():
    options = measure_options([Path("a.jpg"), Path("b.jpg")], scale=["a4"])
    first, second = photos_of(options)
    assert (first.photo, second.photo) == ((Path("a.jpg"),), (Path("b.jpg"),))
    assert first.scales == second.scales == options.scales
    with pytest.raises(UsageRefusal, match="given twice"):
        photos_of(measure_options([Path("a.jpg"), Path("x/../a.jpg")]))


@pytest.mark.parametrize(
    ("name", "folder"),
    [("Red Campion", "red-campion"), ("../..", "rocket"), ("a/b\\c:d", "a-b-c-d"), ("é", "é")],
)
def test_folder_names(name, folder):
    assert folder_name(name) == folder
