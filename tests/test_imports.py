"""What is loaded to start a command: an answer to --help comes at once, and nothing loads what it may not need."""

import os
import subprocess
import sys

import pytest

from digitize.threads import usable_cores


def loaded(code):
    """Names of the top two levels of every module in a fresh process after running code."""
    code += "\nimport sys; print(*{'.'.join(name.split('.')[:2]) for name in sys.modules})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


def test_help_loads_no_numbers_and_no_pictures():
    names = loaded("import contextlib, io\nfrom digitize.cli import main\n"
                   "with contextlib.redirect_stdout(io.StringIO()):\n    assert main(['--help']) == 0")  # fmt: skip
    assert "typer.main" in names or "typer" in names
    assert not names & {"numpy", "cv2", "scipy", "PIL", "shapely", "skimage", "reportlab"}


@pytest.mark.parametrize(
    ("module", "unwanted"),
    [
        ("digitize.pipeline", {"scipy", "reportlab", "svglib", "starlette", "uvicorn", "matplotlib"}),
        ("digitize.photo.references", {"scipy", "skimage", "reportlab"}),
        ("digitize.result.from_geometry", {"scipy", "skimage", "reportlab", "cv2"}),
    ],
)
def test_what_is_seldom_needed_waits_until_it_is(module, unwanted):
    names = loaded(f"import {module}")
    assert module.rsplit(".", 1)[0] in names
    assert not names & unwanted


PRINT_THREADS = "import os, numpy; print(os.environ['OPENBLAS_NUM_THREADS'], len(os.listdir('/proc/self/task')))"


@pytest.mark.parametrize(("said", "threads"), [(None, 1), ("2", 2)])
def test_blas_has_one_thread_unless_the_user_says_otherwise(said, threads):
    """The kernel counts them (Linux): those of a library that waits by spinning would take OpenCV's cores."""
    before = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    code = f"from digitize.threads import one_thread_for_blas\none_thread_for_blas()\n{PRINT_THREADS}"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        env=before | ({} if said is None else {"OPENBLAS_NUM_THREADS": said}),
    )  # fmt: skip
    assert done.stdout.split() == [str(threads), str(min(threads, usable_cores()))]


def test_the_command_line_says_so_before_numpy_is_loaded():
    code = "from digitize.cli import main\nassert main(['--help']) == 0\n" + PRINT_THREADS
    env = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env)
    assert done.stdout.splitlines()[-1].split() == ["1", "1"]
