"""The sample photographs measured by the commands of samples/README.md, each only once for all tests."""

import json
import re
import shlex
import tempfile
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


@cache
def _parent():
    return tempfile.TemporaryDirectory()  # goes with the process


@cache
def measured(name):
    """(results folder, result.json); the folder is shared, so nothing may be written into it."""
    folder = Path(_parent().name) / name / "results"
    return folder, measured_in(folder, SAMPLES / f"{name}.jpg", COMMANDS[name])
