"""What the benchmark scripts share: run one `measure`, compare its result with the truth, print a table.

A run takes the options as typed and reads `result.json` back: a benchmark sees what a user gets.
"""

import json
import os
import sys
import time
import traceback
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

REPOSITORY = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(REPOSITORY), str(REPOSITORY / "tests")]


@dataclass(frozen=True)
class Truth:
    """The true numbers of one photographed rocket: millimetres, square millimetres, from the nose tip.

    fins: (count, area of one fin, span of one fin from its root), one a group, nose to tail.
    tilt_deg: of the axis out of the photo's plane, positive with the nose nearer to the camera.
    """

    cp_mm: float
    max_diameter_mm: float
    length_mm: float
    cutout_centroid_mm: float
    fins: tuple[tuple[int, float, float], ...]
    tilt_deg: float = 0.0


@dataclass(frozen=True)
class Outcome:
    """One run: exit code, seconds, `result.json` as a dict (None unless the exit code is 0), last words."""

    exit_code: int
    seconds: float
    result: dict | None
    words: str


@dataclass(frozen=True)
class Score:
    """One compared quantity: error = measured - true, and half the 95 % band; unit: caliber or percent."""

    error: float
    pm95: float
    unit: str

    @property
    def inside(self) -> bool:
        return abs(self.error) <= self.pm95


@dataclass(frozen=True)
class Row:
    """One photograph told in one way."""

    name: str
    telling: str
    outcome: Outcome
    scores: dict[str, Score] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


def command_line(photo: Path, told: dict) -> str:
    """What a user would type. told: option name without dashes -> value or list of values."""
    words = ["digitize", "measure", str(photo)]
    for option, value in told.items():
        for one in value if isinstance(value, list) else [value]:
            words += [f"--{option}", str(one)]
    return " ".join(words)


def run(photo: Path, told: dict, out: Path) -> Outcome:
    """Measure one photo inside this process with the options as a user types them."""
    from digitize.errors import Refusal
    from digitize.pipeline import measure
    from digitize.request.options import measure_options

    started = time.perf_counter()
    code, result, words = 0, None, ""
    try:
        options = measure_options([photo], **told, out=out, quiet=True)
        measure(options, lambda *_: None)
        result = json.loads((out / "result.json").read_text())
    except Refusal as refusal:
        code, words = int(refusal.exit_code), refusal.line()
    except Exception as defect:  # a traceback is a defect of the tool, and must not end the benchmark
        place = traceback.extract_tb(defect.__traceback__)[-1]
        code, words = 70, f"{type(defect).__name__}: {defect} ({Path(place.filename).name}:{place.lineno})"
    return Outcome(code, time.perf_counter() - started, result, words)


def _score(quantity: dict, true: float, one: float, unit: str) -> Score:
    """Error and band of one `{value, pm95}`, divided by `one` unit."""
    return Score((quantity["value"] - true) / one, quantity["pm95"] / one, unit)


def measured_part(cp: dict) -> dict:
    """The centre of pressure with the band of the measurement alone: the truth comes by the headline's own method."""
    return {"value": cp["x_mm"]["value"], "pm95": cp["measured_pm95_mm"]}


def compare(result: dict, truth: Truth) -> dict[str, Score]:
    """Scores by name: cp and centroid in calibers, the rest in percent; fins by group as area, area2, ..."""
    caliber = truth.max_diameter_mm
    percent = {
        "length": (result["length_mm"], truth.length_mm),
        "diameter": (result["max_diameter_mm"], truth.max_diameter_mm),
    }
    if len(result["fins"]) == len(truth.fins):
        for index, (fin, (_, area_mm2, span_mm)) in enumerate(zip(result["fins"], truth.fins, strict=True)):
            group = str(index + 1) if index else ""
            percent[f"area{group}"] = (fin["area_mm2"], area_mm2)
            percent[f"span{group}"] = (fin["span_mm"], span_mm)
    return {
        "cp": _score(measured_part(result["cp"]), truth.cp_mm, caliber, "cal"),
        "centroid": _score(result["cutout"]["centroid_mm"], truth.cutout_centroid_mm, caliber, "cal"),
        **{name: _score(measured, true, true / 100, "%") for name, (measured, true) in percent.items()},
    }


def measure_and_score(name: str, telling: str, photo: Path, told: dict, truth: Truth, out: Path) -> Row:
    """Run and compare; a result that can't be compared counts as a defect."""
    out.mkdir(parents=True, exist_ok=True)
    outcome = run(photo, told, out)
    if outcome.result is None:
        return Row(name, telling, outcome)
    codes = tuple(w["code"] for w in outcome.result["warnings"])
    return Row(name, telling, outcome, compare(outcome.result, truth), codes)


def inside_share(rows: list[Row], quantity: str) -> tuple[int, int]:
    """How many scores of this quantity lie inside their band, of how many."""
    scores = [row.scores[quantity] for row in rows if quantity in row.scores]
    return sum(s.inside for s in scores), len(scores)


def absolute_errors(rows: list[Row], quantity: str) -> np.ndarray:
    """(n,) absolute errors of the answered rows."""
    return np.array([abs(row.scores[quantity].error) for row in rows if quantity in row.scores])


def one_thread() -> None:
    """Keep each worker to one core: many small arrays gain nothing from threads."""
    import cv2

    os.environ["OMP_NUM_THREADS"] = "1"
    cv2.setNumThreads(1)
