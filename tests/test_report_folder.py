"""The results folder: five files, whole or not at all, and nobody else's file ever overwritten."""

import json
import os
import stat

import numpy as np
import pytest
from PIL import Image
from report_sample import PROFILE_MM, sample_geometry, sample_picture, sample_result

from digitize.errors import ExitCode, OutlineRefusal, UsageRefusal
from digitize.geometry.toml import read_geometry
from digitize.margin.cautions import CAUTIONS
from digitize.records import Photo
from digitize.refused import Findings
from digitize.report.folder import NAMES, check_out_dir, write_refused, write_results
from digitize.result.to_json import to_dict

SIZE = (300, 400)


def _write(out_dir, **options):
    result = sample_result(180.0, SIZE)
    options.setdefault("rgb", sample_picture(result, SIZE))
    return write_results(out_dir, result, sample_geometry(), **options)


def test_all_five_files_and_nothing_else(tmp_path):
    out = _write(tmp_path / "a" / "campion-digitized")
    assert sorted(os.listdir(out)) == sorted(NAMES)
    assert json.loads((out / "result.json").read_text("utf-8")) == to_dict(sample_result(180.0, SIZE))
    assert np.array_equal(read_geometry(out / "geometry.toml").profile_mm, PROFILE_MM)
    with Image.open(out / "overlay.png") as picture:
        assert picture.format == "PNG" and max(picture.size) <= 2400
    page = (out / "report.html").read_text("utf-8")
    assert CAUTIONS[0] in page and "campion.jpg" in page
    umask = os.umask(0)
    os.umask(umask)
    assert all(stat.S_IMODE((out / name).stat().st_mode) == 0o666 & ~umask for name in NAMES)


def test_our_folder_is_updated_and_other_files_stay(tmp_path):
    out = _write(tmp_path / "out")
    (out / "notes.txt").write_text("mine")
    (out / "report.html").write_text("old")
    _write(out)
    assert (out / "notes.txt").read_text() == "mine"
    assert (out / "report.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    assert sorted(os.listdir(out)) == sorted([*NAMES, "notes.txt"])


def test_what_an_earlier_refusal_left_goes(tmp_path):
    refusal = OutlineRefusal("It is wrong", "do it again")
    refusal.seen = Findings(Photo(tmp_path / "photo.jpg", np.zeros((30, 40, 3), np.uint8)))
    assert write_refused(tmp_path, refusal).is_file()
    _write(tmp_path)
    assert sorted(os.listdir(tmp_path)) == sorted(NAMES)


def test_a_folder_with_other_things_is_fine(tmp_path):
    (tmp_path / "photo.jpg").write_bytes(b"photo")
    _write(tmp_path)
    assert (tmp_path / "photo.jpg").read_bytes() == b"photo"


@pytest.mark.parametrize("name", NAMES)
def test_a_file_that_is_not_ours_is_never_overwritten(tmp_path, name):
    (tmp_path / name).write_text("precious")
    with pytest.raises(UsageRefusal, match=name) as refused:
        _write(tmp_path)
    assert refused.value.exit_code == ExitCode.USAGE and "--out" in refused.value.remedy
    assert (tmp_path / name).read_text() == "precious"
    assert os.listdir(tmp_path) == [name]


@pytest.mark.parametrize("text", ['{"schema": 1}', "[]", "null", "[" * 100_000, "\x00", '{"schema": 2, "cp": 1}'])
def test_a_strange_result_json_is_not_ours(tmp_path, text):
    (tmp_path / "result.json").write_text(text)
    with pytest.raises(UsageRefusal, match=r"result\.json"):
        check_out_dir(tmp_path)


def test_the_photo_itself_is_never_overwritten(tmp_path):
    out = _write(tmp_path / "out")
    photo = out / "overlay.png"
    before = photo.read_bytes()
    with pytest.raises(UsageRefusal, match="overwritten"):
        _write(out, input_path=photo)
    assert photo.read_bytes() == before


def test_a_link_to_the_photo_is_never_followed(tmp_path):
    photo = tmp_path / "photo.png"
    photo.write_bytes(b"photo")
    out = _write(tmp_path / "out")
    (out / "overlay.png").unlink()
    (out / "overlay.png").symlink_to(photo)
    with pytest.raises(UsageRefusal, match="overwritten"):
        _write(out, input_path=photo)
    assert photo.read_bytes() == b"photo"


def test_solving_in_its_own_folder_keeps_the_hand_written_geometry(tmp_path):
    path = tmp_path / "geometry.toml"
    path.write_text("# my own words\n")
    out = _write(tmp_path, rgb=None, input_path=path)
    assert path.read_text() == "# my own words\n"
    assert sorted(os.listdir(out)) == sorted(set(NAMES) - {"overlay.png"})


def test_no_stale_overlay_beside_new_numbers(tmp_path):
    out = _write(tmp_path / "out")
    _write(out, rgb=None)
    assert not (out / "overlay.png").exists()


def test_out_is_a_file(tmp_path):
    path = tmp_path / "photo.jpg"
    path.write_bytes(b"photo")
    for out in (path, path / "below"):
        with pytest.raises(UsageRefusal) as refused:
            _write(out)
        assert "\n" not in refused.value.line()
    assert path.read_bytes() == b"photo"


def test_a_folder_in_a_files_place(tmp_path):
    (tmp_path / "overlay.png").mkdir()
    with pytest.raises(UsageRefusal, match="not a file"):
        _write(tmp_path)


@pytest.mark.parametrize("name", ["x" * 300, "nul\0byte"])
def test_impossible_names(tmp_path, name):
    with pytest.raises(UsageRefusal):
        _write(tmp_path / name)


def test_a_full_disk_leaves_the_old_files_whole(tmp_path, monkeypatch):
    out = _write(tmp_path / "out")
    before = {name: (out / name).read_bytes() for name in NAMES}

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(UsageRefusal, match="no space left"):
        _write(out)
    assert {name: (out / name).read_bytes() for name in os.listdir(out)} == before
