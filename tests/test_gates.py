"""What the linter and the type checker say of the project: nothing."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

GATES = (
    ("ruff", "check"),
    ("ruff", "format", "--check"),
    ("mypy",),
)


@pytest.mark.parametrize("gate", GATES, ids=" ".join)
def test_the_gate_is_clean(gate):
    """Each as it is configured in pyproject.toml, over the whole project."""
    run = subprocess.run([sys.executable, "-m", *gate], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
