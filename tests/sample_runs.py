"""The sample photographs measured by the commands of samples/README.md, each only once for all tests and workers."""

import json
import re
import shlex
import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path

from digitize import cli

SAMPLES = Path(__file__).parents[1] / "samples"


def commands():
    """{sample: options as typed, without --out}, from samples/README.md."""
    lines = re.findall(r"^digitize measure .*$", (SAMPLES / "README.md").read_text("utf-8"), re.MULTILINE)
    words = [shlex.split(line)[2:] for line in lines]
    return {Path(w[0]).stem: w[1 : w.index("--out")] + w[w.index("--out") + 2 :] for w in words}


COMMANDS = commands()
NAMES = sorted(COMMANDS)


def measured_in(folder, photo, options):
    """result.json of one run, which must succeed."""
    code = cli.main(["measure", str(photo), *options, "--out", str(folder), "--quiet"])
    assert code == 0, f"exit {code}"
    return json.loads((folder / "result.json").read_text())


place: Path | None = None
"""A folder that all workers of a run share; conftest.py sets it."""


@cache
def measured(name):
    """(results folder, result.json); the folder is shared, so nothing may be written into it.

    Measured aside and moved into its place whole: no worker waits for another, and none sees half of a folder.
    """
    shared = place / name
    if not shared.exists():
        place.mkdir(exist_ok=True)
        aside = Path(tempfile.mkdtemp(dir=place, prefix="aside-"))
        measured_in(aside / "results", SAMPLES / f"{name}.jpg", COMMANDS[name])
        with suppress(OSError):  # another worker was as quick
            aside.rename(shared)
    return shared / "results", json.loads((shared / "results" / "result.json").read_text())
