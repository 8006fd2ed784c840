"""The picture that a refused photo leaves: where it should be, true to place, ours alone. Bounds are our own."""

import io
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from digitize import cli, pipeline
from digitize.errors import GeometryRefusal, OutlineRefusal, ScaleRefusal, UnreadableRefusal, UsageRefusal
from digitize.records import Photo, ReferencePoints
from digitize.refused import Findings, carrying
from digitize.report.folder import REFUSED, check_out_dir, write_refused
from digitize.report.refused_picture import LONGEST_SIDE_PX, draw_refused

SQUARE = np.array([[100.0, 60.0], [300.0, 60.0], [300.0, 140.0], [100.0, 140.0]])


def bare(folder, name="bare.png"):
    rgb = np.random.default_rng(3).normal(180, 6, (400, 600, 3)).clip(0, 255).astype(np.uint8)
    Image.fromarray(rgb).save(folder / name)
    return folder / name


def photo(shape=(200, 400, 3)) -> Photo:
    return Photo(Path("grey.png"), np.full(shape, 128, np.uint8))


def refusal(kind=OutlineRefusal, **seen):
    with pytest.raises(kind) as raised, carrying(photo=photo(), **seen):
        raise kind("It is wrong", "do it again")
    return raised.value


def run(capsys, *words):
    code = cli.main(["measure", *map(str, words)])
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1, "one line, on standard error"
    return code, err


def test_bare_ground_leaves_its_picture_and_the_line_says_where(tmp_path, capsys):
    path, out = bare(tmp_path), tmp_path / "out"
    code, line = run(capsys, path, "--scale", "tube=30mm", "--out", out, "--quiet")
    assert code == 5
    assert f"{out / REFUSED} shows what was seen" in line and f"digitize trace {path} sets it right by hand" in line
    assert [p.name for p in out.iterdir()] == [REFUSED]
    with Image.open(out / REFUSED) as picture:
        assert picture.format == "PNG" and max(picture.size) <= 2000
        assert picture.size[1] > picture.size[0] * 400 / 600, "words below the photo"
        shown = np.asarray(picture.convert("RGB").resize((600, round(picture.size[1] * 600 / picture.size[0]))), float)
    assert abs(shown[:300].mean() - 180) < 2


def test_without_a_scale_the_photo_is_shown(tmp_path, capsys):
    out = tmp_path / "out"
    code, line = run(capsys, bare(tmp_path), "--out", out, "--quiet")
    assert code == 4 and REFUSED in line and (out / REFUSED).is_file()


def test_one_of_several_leaves_it_in_its_own_folder(tmp_path, capsys):
    out = tmp_path / "out"
    code, line = run(capsys, bare(tmp_path), bare(tmp_path, "b.png"), "--scale", "tube=30mm", "--out", out, "--quiet")
    assert code == 5 and str(out / "photo-1" / REFUSED) in line and (out / "photo-1" / REFUSED).is_file()


def test_each_rocket_of_a_list_leaves_it_in_its_own_folder(tmp_path, capsys):
    bare(tmp_path)
    bare(tmp_path, "b.png")
    rocket = '[[rocket]]\nname = "{0}"\nscale = "tube=30mm"\n[[rocket.photo]]\nfile = "{1}"\n'
    (tmp_path / "list.toml").write_text(rocket.format("one", "bare.png") + rocket.format("two", "b.png"))
    out = tmp_path / "out"
    code = cli.main(["measure", "--shots", str(tmp_path / "list.toml"), "--jobs", "1", "--out", str(out), "--quiet"])
    told = capsys.readouterr().out
    assert code == 5
    for name in ("one", "two"):
        assert (out / name / REFUSED).is_file() and str(out / name / REFUSED) in told


def test_photos_that_cant_be_combined_leave_one_each(tmp_path, monkeypatch):
    def shot(name):
        outline = SimpleNamespace(outline_px=SQUARE)
        measured = SimpleNamespace(photo=replace(photo(), path=tmp_path / name), references=(), silhouette=outline)
        return SimpleNamespace(measured=measured)

    def combine(_):
        raise GeometryRefusal("They are other rockets", "check")

    monkeypatch.setattr(pipeline, "combine", combine)
    folders = [tmp_path / "photo-1", tmp_path / "photo-2"]
    with pytest.raises(GeometryRefusal) as raised:
        pipeline.combined_result([shot("a.jpg"), shot("b.jpg")], folders)
    assert all((folder / REFUSED).is_file() for folder in folders)
    line = raised.value.line()
    assert str(folders[0] / REFUSED) in line and "a.jpg" in line and str(folders[1]) not in line


def test_no_picture_where_no_photo_was_read(tmp_path, capsys):
    (tmp_path / "torn.jpg").write_bytes(b"\xff\xd8no")
    out = tmp_path / "out"
    code, line = run(capsys, tmp_path / "torn.jpg", "--scale", "tube=30mm", "--out", out, "--quiet")
    assert code == 3 and REFUSED not in line and not out.exists()


def test_a_picture_of_others_is_never_overwritten(tmp_path, capsys):
    out = tmp_path / "out"
    out.mkdir()
    Image.new("RGB", (4, 4)).save(out / REFUSED)
    before = (out / REFUSED).read_bytes()
    code, line = run(capsys, bare(tmp_path), "--scale", "tube=30mm", "--out", out, "--quiet")
    assert code == 2 and f"{out / REFUSED} was not written by this tool" in line
    assert write_refused(out, refusal()) is None
    assert (out / REFUSED).read_bytes() == before


def test_our_own_is_replaced(tmp_path):
    assert write_refused(tmp_path, refusal()) == tmp_path / REFUSED
    before = (tmp_path / REFUSED).read_bytes()
    check_out_dir(tmp_path)
    assert write_refused(tmp_path, refusal(outline_px=SQUARE)) == tmp_path / REFUSED
    assert (tmp_path / REFUSED).read_bytes() != before


def test_the_photo_itself_is_not_overwritten(tmp_path):
    path = tmp_path / REFUSED
    write_refused(tmp_path, refusal())
    with pytest.raises(UsageRefusal, match=r"refused\.png is the file being measured"):
        check_out_dir(tmp_path, path)


@pytest.mark.parametrize("kind", [UsageRefusal, UnreadableRefusal])
def test_other_refusals_leave_none(tmp_path, kind):
    assert write_refused(tmp_path, refusal(kind)) is None and not list(tmp_path.iterdir())


@pytest.mark.parametrize("kind", [ScaleRefusal, OutlineRefusal, GeometryRefusal])
def test_each_kind_about_a_photo_leaves_one(tmp_path, kind):
    assert write_refused(tmp_path, refusal(kind)).is_file()


def test_a_folder_that_cant_be_written_keeps_the_refusal(tmp_path):
    (tmp_path / "file").write_text("mine")
    assert write_refused(tmp_path / "file", refusal()) is None
    assert (tmp_path / "file").read_text() == "mine"


def test_what_was_seen_lies_where_it_is_in_the_photo():
    aside = ReferencePoints("card", "bank card", SQUARE, SQUARE, 1.0, 1.0, SQUARE / 2 + [200, 90])
    shown = draw_refused(refusal(outline_px=SQUARE, references=(aside,)))
    zoom = LONGEST_SIDE_PX / 400
    height = round(200 * zoom)
    marked = np.argwhere((shown[:height] != 128).any(2))
    for points in (SQUARE, aside.outline_px):
        corners = (points + 0.5) * zoom - 0.5
        for x, y in corners:
            assert np.hypot(*(marked - [y, x]).T).min() < 4
    (y0, x0), (y1, x1) = marked.min(0), marked.max(0)
    both = np.vstack([SQUARE, aside.outline_px]) * zoom
    assert np.abs([x0, y0, x1, y1] - np.r_[both.min(0), both.max(0)]).max() < 12, "and nowhere else"
    inside = shown[round(80 * zoom), round(200 * zoom)]
    assert (inside == 128).all(), "the photo itself is not tinted"


@pytest.mark.parametrize("shape", [(30, 2000, 3), (2000, 30, 3), (12, 12, 3), (3000, 4000, 3)])
def test_any_shape_of_photo_makes_a_picture_of_sensible_size(shape):
    with pytest.raises(OutlineRefusal) as raised, carrying(photo=photo(shape)):
        raise OutlineRefusal("long words " * 30, "more words \u00b1 \u00e9 " * 20)
    picture = Image.fromarray(draw_refused(raised.value))
    data = io.BytesIO()
    picture.save(data, "PNG")
    assert 400 < max(picture.size) <= 3000


def test_nearer_news_counts_and_nothing_is_lost():
    with pytest.raises(OutlineRefusal) as raised:  # noqa: SIM117 (the order is what is tested)
        with carrying(photo=photo(), outline_px=SQUARE):
            with carrying(outline_px=SQUARE + 1, rockets_px=(SQUARE,)):
                raise OutlineRefusal("It is wrong", "do it again")
    seen = raised.value.seen
    assert isinstance(seen, Findings) and seen.photo is not None
    assert seen.outline_px[0, 0] == 101 and len(seen.rockets_px) == 1
    assert raised.value.worded("so", "then").seen is seen
