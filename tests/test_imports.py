"""What is loaded to start a command: an answer to --help comes at once, and nothing loads what it may not need."""

import subprocess
import sys

import pytest


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
        ("digitize.pipeline", {"reportlab", "svglib", "starlette", "uvicorn", "matplotlib"}),
        ("digitize.photo.references", {"scipy", "skimage", "reportlab"}),
        ("digitize.solve", {"scipy", "skimage", "reportlab", "cv2"}),
    ],
)
def test_what_is_seldom_needed_waits_until_it_is(module, unwanted):
    names = loaded(f"import {module}")
    assert module.rsplit(".", 1)[0] in names
    assert not names & unwanted
