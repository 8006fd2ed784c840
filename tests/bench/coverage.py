"""Are the 95 % bands true? Draw many photographs with known truth, measure each, count.

    python tests/bench/coverage.py --photos 300 --seed 1 [--jobs 2] [--fix telling=both pose=in-plane]
    python tests/bench/coverage.py --only 1000017 --keep DIR

Every photograph is drawn from its own seed, printed with the worst ones, so that `--only` draws it again;
`--keep` leaves the photo, the command line and the results folder behind. `--fix` holds choices fixed
(fields of drawing.occasions.Choices).
"""

import argparse
import multiprocessing
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scoring import Row, Truth, absolute_errors, command_line, inside_share, measure_and_score, one_thread

QUANTITIES = ("cp", "length", "diameter", "area", "span", "area2", "span2", "centroid")


@dataclass(frozen=True)
class Task:
    """One photograph to draw and measure."""

    seed: int
    fixed: dict
    keep: Path | None


@dataclass(frozen=True)
class Case:
    """One measured photograph with what it was, for grouping."""

    seed: int
    row: Row
    groups: dict[str, str]
    command: str


def truth_of(scene) -> Truth:
    """True numbers: the classic method on the true shape, so that the photo is judged, not the formula."""
    from digitize.aero.components import centre_of_pressure
    from digitize.geometry.side_area import cutout
    from digitize.records import FinGroup, Geometry

    rocket = scene.rocket
    groups = tuple(FinGroup(f.count, f.outline_mm, f.thickness_mm) for f in rocket.fins)
    geometry = Geometry("drawn", rocket.profile_mm, groups)
    return Truth(
        cp_mm=centre_of_pressure(geometry).x_mm,
        max_diameter_mm=rocket.max_diameter_mm,
        length_mm=rocket.length_mm,
        cutout_centroid_mm=cutout(geometry, [f.roll_deg for f in rocket.fins])[1],
        fins=tuple((f.count, f.area_mm2(rocket), f.span_mm(rocket)) for f in rocket.fins),
        tilt_deg=scene.pose.tilt_deg,
    )


def measure_one(task: Task) -> Case:
    """Draw, save, measure, compare."""
    from drawing import draw, save
    from drawing.occasions import random_scene

    one_thread()
    scene, told = random_scene(np.random.default_rng(task.seed), **task.fixed)
    kinds = "+".join(text.split("=")[0] for text in told["scale"])
    with tempfile.TemporaryDirectory() as temporary:
        folder = task.keep / str(task.seed) if task.keep else Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        photo = folder / "photo.jpg"
        save(draw(scene), photo)
        command = command_line(photo, told)
        if task.keep:
            (folder / "told.txt").write_text(command + "\n")
        row = measure_and_score(str(task.seed), kinds, photo, told, truth_of(scene), folder / "results")
    groups = {
        "told": "tube+reference" if kinds.endswith("+tube") else kinds.replace("length", "tape"),
        "pose": told["pose"],
        "fins": told["fins"],
        "background": scene.background,
        "set-back": told.get("behind", "not told") if scene.references else "no reference",
    }
    if groups["told"] not in ("tube+reference", "tube", "tape"):
        groups["told"] = "reference"
    if groups["set-back"] not in ("0mm", "not told", "no reference"):
        groups["set-back"] = "told"
    return Case(task.seed, row, groups, command)


def quantity_line(name: str, rows: list[Row]) -> str:
    """Errors and bands of one quantity. band/scatter: 1 when bands are as wide as the errors call for."""
    scores = [r.scores[name] for r in rows if name in r.scores]
    errors = absolute_errors(rows, name)
    if not scores:
        return f"{name:22}   none"
    sigma = np.array([s.pm95 for s in scores]) / 1.96
    inside, of = inside_share(rows, name)
    mean_ratio = np.sqrt(np.mean(sigma**2)) / np.sqrt(np.mean(errors**2))
    middle_ratio = np.median(sigma) / (1.4826 * np.median(errors))
    bias = np.median([s.error for s in scores])
    return (
        f"{name:22} {scores[0].unit:3} n {of:3}  error median {np.median(errors):.4f}  p95 "
        f"{np.percentile(errors, 95):.4f}  bias {bias:+.4f}  inside {100 * inside / of:5.1f} %  "
        f"band/scatter rms {mean_ratio:.2f} middle {middle_ratio:.2f}"
    )


def report(cases: list[Case]) -> str:
    """The whole table."""
    rows = [case.row for case in cases]
    answered = [row for row in rows if row.scores]
    codes = Counter(row.outcome.exit_code for row in rows)
    seconds = np.median([row.outcome.seconds for row in rows])
    lines = [
        f"{len(answered)} of {len(rows)} answered; exit codes {dict(sorted(codes.items()))}; "
        f"median {seconds:.1f} s a photo; warnings {dict(Counter(w for r in rows for w in r.warnings))}",
        *(quantity_line(name, rows) for name in QUANTITIES),
        "",
        "centre of pressure by",
    ]
    for group in cases[0].groups:
        for value in sorted({case.groups[group] for case in cases}):
            mine = [case.row for case in cases if case.groups[group] == value]
            share = f"{sum(bool(r.scores) for r in mine)}/{len(mine)}"
            text = quantity_line("cp", mine).removeprefix(f"{'cp':22}")
            lines.append(f"  {group}: {value:16} answered {share:8}{text}")
    scored = sorted((c for c in cases if c.row.scores), key=lambda c: -abs(c.row.scores["cp"].error))
    lines += ["", "largest errors of the centre of pressure:", *map(case_line, scored[:5])]
    for name in ("cp", "area", "span", "length", "diameter"):
        lines += ["", f"truth farthest outside its band, {name}:"]
        lines += [case_line(c, name) for c in farthest_outside(scored, name)[:8]]
    refused = [c for c in cases if not c.row.scores]
    lines += [
        "",
        "not answered:",
        *(f"  {c.seed} exit {c.row.outcome.exit_code} {c.row.outcome.words}" for c in refused),
    ]
    return "\n".join(lines)


def farthest_outside(cases: list[Case], name: str) -> list[Case]:
    """Cases whose truth is outside the band of one quantity, the farthest in bands first."""
    missed = [c for c in cases if name in c.row.scores and not c.row.scores[name].inside]
    return sorted(missed, key=lambda c: -abs(c.row.scores[name].error) / max(c.row.scores[name].pm95, 1e-9))


def case_line(case: Case, name: str = "cp") -> str:
    score = case.row.scores[name]
    said = case.command.split("photo.jpg ")[1]
    ground = case.groups["background"]
    return (
        f"  {case.seed} {name} {score.error:+.3f} \u00b1{score.pm95:.3f} {score.unit}  {ground}  {said}  "
        f"{','.join(case.row.warnings)}"
    )


def number_or_text(text: str) -> int | float | str:
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--photos", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--only", type=int, help="the seed of one photograph")
    parser.add_argument("--keep", type=Path, help="leave photos and results here")
    parser.add_argument("--fix", nargs="*", default=[], metavar="NAME=VALUE")
    given = parser.parse_args()
    fixed = {name: number_or_text(value) for name, value in (pair.split("=") for pair in given.fix)}
    seeds = [given.only] if given.only else [given.seed * 1_000_000 + n for n in range(given.photos)]
    tasks = [Task(seed, fixed, given.keep) for seed in seeds]
    with multiprocessing.get_context("spawn").Pool(given.jobs) as pool:
        cases = []
        for case in pool.imap(measure_one, tasks):
            cases.append(case)
            if given.only:
                print(case.command)
            elif len(cases) % 20 == 0:
                print(f"{len(cases)} of {len(tasks)}", flush=True)
    print(report(cases))


if __name__ == "__main__":
    main()
