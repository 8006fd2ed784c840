"""The command line: exit codes, what goes to which stream, and that every option explains itself."""

import json
import os
import shlex
import subprocess
import sys

import pytest
import typer
from rockets import LARGE_FINS, rocket_toml

from digitize import cli
from digitize.commands.examples import EXAMPLES
from digitize.errors import OutlineRefusal

EXAMPLE = rocket_toml("example", LARGE_FINS, more="")
VERBS = frozenset(
    ("Add", "Begin", "Choose", "Describe", "Give", "Name", "Only", "Print", "Record", "Say", "Serve", "Show", "Write")
)
PROGRAM = "import sys; from digitize.cli import main; sys.exit(main())"


@pytest.fixture
def geometry(tmp_path):
    path = tmp_path / "geometry.toml"
    path.write_text(EXAMPLE)
    return str(path)


def run(capsys, *argv):
    code = cli.main(list(argv))
    return code, *capsys.readouterr()


def test_solve_prints_the_summary(capsys, geometry):
    code, out, err = run(capsys, "solve", geometry, "--balance", "200mm", "--mass", "180g")
    assert (code, err) == (0, "")
    assert "FLY" in out and "248.5" in out


def test_solve_prints_json_and_nothing_else(capsys, geometry):
    code, out, err = run(capsys, "solve", geometry, "--json", "--name", "sorrel", "--pose", "resting")
    data = json.loads(out)
    assert (code, err, data["name"], data["schema"]) == (0, "", "sorrel", 1)
    assert data["cp"]["x_mm"]["value"] == pytest.approx(248.54225, abs=1e-4)  # rocket A (regression)


def test_solve_writes_a_folder_whose_geometry_gives_the_same(capsys, geometry, tmp_path):
    code, first, _ = run(capsys, "solve", geometry, "--json", "--out", str(tmp_path / "r"))
    assert code == 0
    assert (tmp_path / "r" / "result.json").read_text() == first
    _, second, _ = run(capsys, "solve", str(tmp_path / "r" / "geometry.toml"), "--json")
    assert second == first


@pytest.mark.parametrize(
    ("argv", "code", "says"),
    [
        (["solve", "{tmp}/none.toml"], 3, "none.toml"),
        (["solve", "{tmp}"], 3, "{tmp}"),
        (["solve", "{bad}"], 6, "negative"),
        (["solve", "{geometry}", "--balance", "200"], 2, "mm, cm, m, in, ft"),
        (["solve", "{geometry}", "--balance", "1m"], 2, "beyond the body"),
        (["solve", "{geometry}", "--mass", "-1g"], 2, "--mass"),
        (["solve", "{geometry}", "--pose", "upside-down"], 2, "--pose"),
        (["solve", "{geometry}", "--wings", "3"], 2, "--wings"),
        (["solve"], 2, "GEOMETRY.toml"),
        (["measure"], 2, "no photo"),
        (["measure", "a.jpg", "--scale", "coin"], 2, "checker"),
        (["measure", "a.jpg", "--scale"], 2, "--scale"),
        (["measure", "a.jpg", "--seed", "x"], 2, "--seed"),
        (["fly"], 2, "fly"),
        ([], 2, "command"),
    ],
)
def test_what_is_wrong_is_one_line_on_standard_error(capsys, geometry, tmp_path, argv, code, says):
    (tmp_path / "bad.toml").write_text(EXAMPLE.replace("[60, 12]", "[60, -12]"))
    names = {"tmp": tmp_path, "bad": tmp_path / "bad.toml", "geometry": geometry}
    got, out, err = run(capsys, *(word.format(**names) for word in argv))
    assert (got, out) == (code, "")
    assert err.startswith("digitize: ") and err.count("\n") == 1
    assert says.format(**names) in err


@pytest.mark.parametrize(
    ("error", "code", "says"),
    [
        (OutlineRefusal("no rocket was found", "give another photo"), 5, "no rocket was found"),
        (KeyboardInterrupt(), 130, "interrupted"),
        (ZeroDivisionError("a\nb"), 70, "ZeroDivisionError: a b"),
        (ImportError("libGL.so.1: cannot open shared object file"), 70, "apt-get install libgl1"),
        (ImportError("libgthread-2.0.so.0: cannot open shared object file"), 70, "libglib2.0-0"),
        (ImportError("No module named 'x'"), 70, "report it"),
    ],
)
def test_exit_codes_of_what_happens_inside(capsys, monkeypatch, geometry, error, code, says):
    def fail(*args, **kwargs):
        raise error

    monkeypatch.setattr("digitize.result.from_geometry.solve", fail)
    got, out, err = run(capsys, "solve", geometry)
    assert (got, out) == (code, "")
    assert err.count("\n") == 1 and says in err


def test_traceback_only_when_asked_for(capsys, monkeypatch, geometry):
    monkeypatch.setattr("digitize.result.from_geometry.solve", lambda *a, **k: 1 / 0)
    monkeypatch.setenv("DIGITIZE_DEBUG", "1")
    code, _, err = run(capsys, "solve", geometry)
    assert code == 70 and "Traceback" in err and "report it" in err


def test_help_explains_every_option_of_every_command(capsys):
    group = typer.main.get_command(cli.app)
    for name, command in group.commands.items():
        code, out, _ = run(capsys, name, "--help")
        assert code == 0 and command.help
        for parameter in command.params:
            assert getattr(parameter, "help", None), f"{name} {parameter.name} has no help"
            if parameter.param_type_name == "option":
                assert parameter.opts[0] in out


def test_help_begins_with_the_two_that_most_people_need_and_cuts_no_sentence_short(capsys):
    _, out, _ = run(capsys, "--help")
    listed = out[out.index("Commands:") :].split("\n\n")[0].splitlines()[1:]
    assert [line.split()[0] for line in listed] == list(EXAMPLES)[:2] + [line.split()[0] for line in listed][2:]
    assert list(EXAMPLES)[:2] == ["trace", "measure"]
    assert all(line.rstrip().endswith(".") and "..." not in line for line in listed), listed


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_command_has_examples_that_its_own_parser_takes(capsys, name):
    code, out, _ = run(capsys, name, "--help")
    assert code == 0 and "Example" in out
    command = typer.main.get_command(cli.app).commands[name]
    for example in EXAMPLES[name]:
        assert f"  {example}" in out
        program, called, *words = shlex.split(example)
        assert (program, called) == ("digitize", name)
        command.make_context(name, words, resilient_parsing=False)


def test_help_is_in_whole_sentences(capsys):
    for command in typer.main.get_command(cli.app).commands.values():
        for parameter in command.params:
            words = parameter.help
            assert words[0].isupper() and words.rstrip().endswith("."), f"{command.name} {parameter.name}: {words}"
            # a verb first: what to do, not a fragment
            assert words.split()[0].rstrip(":,") in VERBS, f"{command.name} {parameter.name}: {words}"


@pytest.mark.parametrize(
    ("argv", "help_of"),
    [
        (["measure", "a.jpg", "--wings", "3"], "digitize measure --help"),
        (["solve", "a.toml", "--wings"], "digitize solve --help"),
        (["ballast"], "digitize ballast --help"),
        (["trace", "--port", "x"], "digitize trace --help"),
        (["fly"], "digitize --help"),
    ],
)
def test_a_wrong_option_points_to_the_command_s_own_help(capsys, argv, help_of):
    code, _, err = run(capsys, *argv)
    assert code == 2 and err.rstrip().endswith(f"See {help_of}.")


def test_solve_needs_no_opencv_and_as_a_program_keeps_its_exit_code(geometry, tmp_path):
    """In a process of its own, with OpenCV made impossible to import."""
    program = f"import sys; sys.modules['cv2'] = None; {PROGRAM}"
    for more in ([], ["--out", str(tmp_path / "r")]):
        argv = [sys.executable, "-c", program, "solve", geometry, *more]
        done = subprocess.run(argv, capture_output=True, text=True)
        assert (done.returncode, done.stderr) == (0, "") and "248.5" in done.stdout
    assert (tmp_path / "r" / "report.html").is_file()
    done = subprocess.run(
        [sys.executable, "-c", program, "solve", str(tmp_path / "no")], capture_output=True, text=True
    )
    assert done.returncode == 3 and done.stdout == ""


def test_sheet_is_written_and_only_replaces_a_sheet(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "sheet", "--sheets", "2")
    made = tmp_path / "scale-sheet-a4.pdf"
    assert (code, err) == (0, "") and out.startswith("scale-sheet-a4.pdf\n")
    # A4 is 210 mm wide (ISO 216), a PDF's unit 1/72 inch (ISO 32000): 595.2756
    assert b"/MediaBox [0.0000 0.0000 595.2756 841.8898]" in made.read_bytes()
    assert b"/Count 2" in made.read_bytes()
    assert run(capsys, "sheet", "--paper", "Letter", "--out", str(made))[0] == 0
    assert b"612.0000 792.0000" in made.read_bytes() and b"/Count 1" in made.read_bytes()
    precious = tmp_path / "precious.pdf"
    precious.write_bytes(b"%PDF-1.4\nsomebody's\n")
    code, out, err = run(capsys, "sheet", "--out", str(precious))
    assert (code, out) == (2, "") and "was not written by this tool" in err
    assert precious.read_bytes() == b"%PDF-1.4\nsomebody's\n"


def test_a_terminal_without_the_signs_loses_no_answer(geometry):
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, "solve", geometry, "--balance", "200mm"],
        capture_output=True,
        env=environment,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"+-" in done.stdout and b"?" not in done.stdout
