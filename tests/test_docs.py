"""The documents can't lie: every option, exit code, file and output in them is held against the code."""

import os
import re
import shlex
import subprocess
from pathlib import Path

import pytest
import typer
from refresh_readme import OUTPUT_BLOCK, PAGE_PICTURE, PICTURE, options_of, shown_by

from digitize import cli
from digitize.errors import ExitCode
from digitize.geometry.nose_shapes import NOSE_SHAPES
from digitize.geometry.toml import read_geometry
from digitize.margin.cautions import CAUTIONS
from digitize.margin.stability import LEVELS
from digitize.report.folder import NAMES as RESULT_FILES
from digitize.request.options import MeasureOptions
from digitize.request.parsers import HAND_NAMES, NOSE_DIRECTIONS, POSES, SCALE_KINDS
from digitize.request.photo_list import read_shots
from digitize.result.from_geometry import solve
from digitize.units.quantities import GRAMS_PER_UNIT, MM_PER_UNIT

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
SAMPLES = (ROOT / "samples" / "README.md").read_text("utf-8")
DOCUMENTS = {"README.md": README, "DEVELOPERS.md": DEVELOPERS, "samples/README.md": SAMPLES}
BOOK = f"{README}\n{DEVELOPERS}"  # the second holds the reference
TOML_EXAMPLES = re.findall(r"```toml\n(.*?)```", BOOK, re.DOTALL)
COMMANDS = typer.main.get_command(cli.app).commands


def section(heading):
    """The documents' text under the first heading that starts so, down to the next heading of any level."""
    match = re.search(rf"^#+ {heading}.*?$(.*?)(?=^#+ |\Z)", BOOK, re.MULTILINE | re.DOTALL)
    assert match, f"there is no section {heading!r}"
    return match[1]


def long_options(text):
    return set(re.findall(r"--[a-z][a-z-]*", text))


def readme_command(number):
    """The line after the comment, as .ci/run takes it."""
    block = re.search(rf"<!-- command {number} -->\n```sh\n([^\n]*)\n```\n", README)
    assert block, f"README has no command {number}"
    return block[1]


# --- the command line -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_s_options_are_those_in_its_table(name):
    """Neither one missing nor one too many, each said as --help says it."""
    assert f"<!-- options of digitize {name} -->\n{options_of(name)}\n\n" in DEVELOPERS
    table = re.findall(r"^\| *(`--.*?) \|", section(f"`digitize {name}"), re.MULTILINE)
    declared = {option for p in COMMANDS[name].params for option in p.opts if option.startswith("--")}
    assert long_options(" ".join(table)) == declared


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_explains_itself_and_all_its_options(name, capsys):
    assert cli.main([name, "--help"]) == 0
    assert len(capsys.readouterr().out) > 200
    assert COMMANDS[name].help
    assert all(getattr(p, "help", None) for p in COMMANDS[name].params)


def test_options_named_anywhere_exist():
    declared = {option for c in COMMANDS.values() for p in c.params for option in p.opts} | {"--help"}
    for name, text in DOCUMENTS.items():
        lines = [line for line in text.splitlines() if "digitize" in line or "`--" in line]
        lines = [line for line in lines if "tests/bench/" not in line]
        assert long_options("\n".join(lines)) <= declared, name


def test_words_an_option_takes_are_in_its_row():
    rows = dict(re.findall(r"^\| `(--[a-z-]+)[^|]*\| (.*) \|$", section("`digitize measure"), re.MULTILINE))
    for option, words in (
        ("--scale", SCALE_KINDS),
        ("--pose", POSES),
        ("--nose", NOSE_DIRECTIONS),
        ("--hand", HAND_NAMES),
    ):
        for word in words:
            assert re.search(rf"\b{word}\b", rows[option]), f"{option} {word}"
    for units in (section("Lengths, masses and commands"), section("Measuring")):
        assert ", ".join(MM_PER_UNIT) in units and ", ".join(GRAMS_PER_UNIT) in units


def test_exit_codes_are_all_there_and_no_others():
    codes = [int(code) for code in re.findall(r"^\| (\d+) \|", section("Exit codes"), re.MULTILINE)]
    assert codes == sorted(int(code) for code in ExitCode)


# --- commands to copy -------------------------------------------------------------------------------------


def test_the_two_commands_are_complete_lines():
    first, second = readme_command(1), readme_command(2)
    assert second == "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/pytest"
    assert first.startswith("python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/digitize measure ")
    words = shlex.split(first.split(" && ")[-1])
    assert (ROOT / words[2]).is_file()
    assert words[-2:] == ["--out", "results/bramble"] and "results/bramble/report.html" in README


def test_command_1_measures_as_the_samples_say():
    assert readme_command(1).split(".venv/bin/")[-1] in SAMPLES.splitlines()


@pytest.mark.parametrize("number", [1, 2])
def test_ci_takes_its_commands_from_the_readme(number):
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    function = re.search(r"^readme_command\(\) \{.*?^\}", script, re.MULTILINE | re.DOTALL)[0]
    shell = f"here={shlex.quote(str(ROOT))}; {function}; readme_command {number}"
    taken = subprocess.run(["bash", "-c", shell], capture_output=True, text=True, check=True).stdout
    assert taken.strip() == readme_command(number)
    assert f"run_readme_command {number}" in script


def test_ci_can_be_run_and_stops_at_the_first_failure():
    path = ROOT / ".ci" / "run"
    assert os.access(path, os.X_OK)
    assert path.read_text("utf-8").splitlines()[0].endswith("bash")
    assert "set -euo pipefail" in path.read_text("utf-8").splitlines()
    assert all(f in path.read_text("utf-8") for f in RESULT_FILES)


def test_the_readme_states_the_python_it_needs():
    wanted = re.search(r'requires-python = ">=([\d.]+)"', (ROOT / "pyproject.toml").read_text("utf-8"))[1]
    assert f"Python {wanted} or later" in README


# --- outputs, files, words --------------------------------------------------------------------------------


def test_sample_output_comes_from_the_code(monkeypatch):
    monkeypatch.chdir(ROOT)
    assert OUTPUT_BLOCK.search(README)
    blocks = list(OUTPUT_BLOCK.finditer(BOOK))
    assert len(blocks) >= 5
    for block in blocks:
        assert shown_by(block).rstrip() == block["shown"].rstrip()


@pytest.mark.parametrize("picture", [PICTURE, PAGE_PICTURE], ids=lambda path: path.name)
def test_the_pictures_are_small_and_shown(picture):
    assert 20_000 < picture.stat().st_size < 300_000
    assert f"](samples/{picture.name})" in README


def test_the_readme_is_read_in_ten_minutes_and_names_every_command():
    """At most 12 KB; the rest is in the reference and in --help."""
    assert 6_000 < len(README.encode()) <= 12 * 1024
    assert [name for name in COMMANDS if f"`digitize {name}" not in section("Measuring")] == []
    for words in ("pipx", "Activate.ps1", "source .venv/bin/activate", "--phone", "messenger"):
        assert words in README
    jargon = r"\b(set-back|variance|misfit|haack|vortex lattice|normal-force slope)\b"
    assert not re.search(jargon, README, re.IGNORECASE)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_files_named_exist(name):
    """Links, and paths in backquotes; results folders and files people write are not there yet."""
    text, folder = DOCUMENTS[name], (ROOT / name).parent
    links = re.findall(r"\]\(([^)#:]+)\)", text)
    quoted = re.findall(r"`((?:digitize|tests|samples|\.ci)/[\w./-]*)`", text)
    assert [link for link in links if not (folder / link).exists()] == []
    assert [path for path in quoted if not (ROOT / path).exists()] == []


def test_geometry_examples_are_read_and_solved(tmp_path):
    examples = [example for example in TOML_EXAMPLES if "[[rocket]]" not in example]
    assert len(examples) == 2
    for example in examples:
        (tmp_path / "geometry.toml").write_text(example, "utf-8")
        rocket = read_geometry(tmp_path / "geometry.toml")
        assert 0.5 < solve(rocket).cp_x_mm.value / rocket.profile_mm[-1, 0] < 1


def test_the_list_of_photos_is_read(tmp_path):
    (example,) = [example for example in TOML_EXAMPLES if "[[rocket]]" in example]
    (tmp_path / "shots.toml").write_text(example, "utf-8")
    ((one, two),) = read_shots(MeasureOptions(shots=tmp_path / "shots.toml"))
    assert (one.photo[0].name, two.photo[0].name) == ("bracken-1.jpg", "bracken-2.jpg")
    assert one.scales == two.scales and one.pose != two.pose


def test_all_shapes_are_listed():
    text = section("Writing a geometry by hand")
    assert all(f"`{shape}`" in text for shape in (*NOSE_SHAPES, "tube", "frustum"))


def test_cautions_and_levels_are_the_tool_s_own():
    assert [line[2:] for line in section("Cautions").splitlines() if line.startswith("* ")] == list(CAUTIONS)
    levels = re.findall(r"^\* \*\*(.*?)\*\*:", section("What the answer means"), re.MULTILINE)
    assert tuple(levels) == LEVELS


def test_result_files_are_explained():
    for text in (section("`digitize measure"), section("Measuring")):
        assert all(f"`{name}`" in text for name in RESULT_FILES)


def test_the_module_table_names_every_module():
    modules = sorted(
        p.relative_to(ROOT).as_posix() for p in (ROOT / "digitize").rglob("*.py") if p.name != "__init__.py"
    )
    table = set(re.findall(r"^\| `([\w/.]+\.py)` \|", DEVELOPERS, re.MULTILINE))
    listed = set(re.findall(r"`([a-z_0-9/]+\.py)`", DEVELOPERS))
    assert [m for m in modules if m.removeprefix("digitize/") not in listed | table] == []


def test_the_benchmarks_are_listed():
    scripts = [p for p in (ROOT / "tests" / "bench").glob("*.py") if "__main__" in p.read_text("utf-8")]
    assert len(scripts) > 3
    assert [p.name for p in scripts if f"`tests/bench/{p.name}" not in DEVELOPERS] == []


def test_dependencies_are_explained():
    text = (ROOT / "pyproject.toml").read_text("utf-8")
    block = re.search(r"^dependencies = \[(.*?)\]", text, re.MULTILINE | re.DOTALL)[1]
    test = re.search(r"^test = \[(.*?)\]", text, re.MULTILINE)[1]
    names = re.findall(r'"([a-z-]+)>=', block + test)
    assert names and all(f"`{name}`" in DEVELOPERS for name in names)
