"""Where results can't go is said before the work, for every command that writes; TOML that can't be read."""

import errno
import os
from pathlib import Path

import pytest

from digitize import cli, files
from digitize.errors import UsageRefusal
from digitize.files import check_folder, check_own_file

SAMPLES = Path(__file__).parents[1] / "samples"
UNWRITABLE = Path("/proc/digitize")  # nobody can make a folder there, not even root


def stopped(capsys, *words) -> tuple[int, str]:
    code = cli.main([str(word) for word in words])
    err = capsys.readouterr().err
    assert err.startswith("digitize: ") and err.count("\n") == 1
    return code, err


@pytest.fixture(params=["a file", "a file above", "nobody's", "too long"])
def no_folder(request, tmp_path):
    """A place where no folder can be made."""
    (tmp_path / "file").write_text("precious")
    if request.param == "nobody's" and not UNWRITABLE.parent.is_dir():
        pytest.fail("no /proc here: take another place nobody can write to")
    return {
        "a file": tmp_path / "file",
        "a file above": tmp_path / "file" / "below" / "results",
        "nobody's": UNWRITABLE / "results",
        "too long": tmp_path / "not there yet" / ("n" * 300),
    }[request.param]


def test_a_folder_is_refused_where_none_can_be_made_and_nothing_is_left(no_folder, tmp_path):
    with pytest.raises(UsageRefusal) as refused:
        check_folder(no_folder)
    assert str(no_folder) in refused.value.what and "--out" in refused.value.remedy
    assert os.listdir(tmp_path) == ["file"] and (tmp_path / "file").read_text() == "precious"


def test_a_folder_that_can_be_made_or_is_there_is_left_as_it_was(tmp_path):
    check_folder(tmp_path / "one" / "two")
    assert os.listdir(tmp_path) == []
    check_folder(tmp_path)
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize(
    "command",
    [
        ("measure", "none.jpg", "--scale", "tube=41.6mm"),
        ("solve", "none.toml"),
        ("trace", "none.jpg", "--no-open"),
        ("trace", "--no-open"),
    ],
)
def test_commands_refuse_the_folder_before_they_read_anything(command, no_folder, capsys):
    """The input is not there either: said first, it would have been looked at first."""
    code, err = stopped(capsys, *command, "--out", no_folder)
    assert code == 2 and str(no_folder) in err and "none" not in err.replace(str(no_folder), "")


def test_a_list_of_rockets_is_refused_before_the_first_is_read(tmp_path, no_folder, capsys):
    listed = '[[rocket]]\nscale = "tube=41.6mm"\n[[rocket.photo]]\nfile = "{}.jpg"\n'
    (tmp_path.parent / "many.toml").write_text(listed.format("none-1") + listed.format("none-2"))
    code, err = stopped(capsys, "measure", "--shots", tmp_path.parent / "many.toml", "--out", no_folder)
    assert code == 2 and str(no_folder) in err


def test_files_named_by_the_user_are_refused_before_the_work(no_folder, tmp_path, capsys):
    for command in (["camera", "none.jpg", "--checker", "9x6x25mm"], ["sheet"]):
        code, err = stopped(capsys, *command, "--out", no_folder / "file.toml")
        assert code == 2 and str(no_folder) in err and "none" not in err.replace(str(no_folder), "")
    mine = tmp_path / "mine.toml"
    mine.write_text("precious")
    code, err = stopped(capsys, "camera", "none.jpg", "--checker", "9x6x25mm", "--out", mine)
    assert code == 2 and "was not written by this tool" in err and mine.read_text() == "precious"


@pytest.fixture
def solved(tmp_path, capsys):
    """A results folder."""
    words = ["solve", str(SAMPLES / "rocket-a.toml"), "--balance", "200mm", "--mass", "90g"]
    assert cli.main([*words, "--out", str(tmp_path / "r")]) == 0
    capsys.readouterr()
    return tmp_path / "r"


READ_ONLY = OSError(errno.EROFS, os.strerror(errno.EROFS))


@pytest.mark.parametrize("command", ["ballast", "swing", "templates", "trace"])
def test_a_results_folder_on_a_read_only_disk_is_refused_before_the_work(command, solved, capsys, monkeypatch):
    def refuse(folder):
        raise READ_ONLY

    before = {path: path.read_bytes() for path in solved.iterdir()}
    monkeypatch.setattr(files, "_try_to_write", refuse)
    for work in (
        "plans.ballast_plan.plan_ballast",
        "plans.swing_plan.plan_of",
        "printed.patterns.sheets",
        "trace.reopened.open_folder",
    ):
        monkeypatch.setattr(f"digitize.{work}", None)  # called, it would be a defect
    code, err = stopped(capsys, command, solved)
    assert code == 2 and str(solved) in err and "read-only" in err
    assert {path: path.read_bytes() for path in solved.iterdir()} == before


def test_the_same_folder_is_used_where_it_can_be_written(solved, capsys):
    for command in ("ballast", "swing", "templates"):
        assert cli.main([command, str(solved)]) == 0, capsys.readouterr().err


def test_a_file_of_ours_may_be_replaced_and_leaves_no_trace(tmp_path):
    check_own_file(tmp_path / "new", lambda content: False)
    assert os.listdir(tmp_path) == []
    (tmp_path / "ours").write_text("ours")
    check_own_file(tmp_path / "ours", lambda content: content == b"ours")
    with pytest.raises(UsageRefusal, match="not written by this tool"):
        check_own_file(tmp_path / "ours", lambda content: False)


# --- TOML that can't be read ------------------------------------------------------------------------------

UNREADABLE = {
    "brackets": b"a = " + b"[" * 5000 + b"]" * 5000,
    "tables": b"a = " + b"{a=" * 5000 + b"1" + b"}" * 5000,
    "a number of 5000 digits": b"a = " + b"9" * 5000,
    "another encoding": 'name = "x"'.encode("utf-16"),
    "zeros": b"\0\0",
}


@pytest.mark.parametrize("what", UNREADABLE)
def test_every_reader_of_toml_refuses_in_one_line(what, tmp_path, capsys):
    path, photo = tmp_path / "bad.toml", SAMPLES / "bramble-white-ruler.jpg"
    path.write_bytes(UNREADABLE[what])
    for words in (
        ["solve", path],
        ["measure", "--shots", path, "--quiet"],
        ["measure", photo, "--scale", "card", "--camera", path, "--quiet", "--out", tmp_path / "r"],
    ):
        code, err = stopped(capsys, *words)
        assert code == 3 and "bad.toml" in err
        assert "nested too deeply" in err or what not in ("brackets", "tables")


def test_brackets_that_are_not_too_deep_are_read(tmp_path, capsys):
    (tmp_path / "some.toml").write_bytes(b"a = " + b"[" * 20 + b"]" * 20)
    assert "unknown key 'a'" in stopped(capsys, "solve", tmp_path / "some.toml")[1]
