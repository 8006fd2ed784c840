"""The number of fins told wrong: does the picture say so? A table of what was told by what is true.

    python tests/bench/bench_fin_counts.py [FOLDER ...] [--drawn 12] [--list] [--jobs 2]

FOLDERs hold NAME.jpg and NAME.json as `score_samples.py` reads them; samples/ if none is said. Drawn rockets have one
group of 3, 4 or 6 fins, each in four rolls: one fin flat, half a gap turned, a quarter, and any; they are outlines with
rough edges, without a picture. All are told every number, with the pose said and not. The balance point lies 1.5
calibers ahead of the true centre of pressure. An answer is false where the verdict is fly or marginal and the centre
of pressure is off by more than 0.25 caliber and more than the measured part of its band. References and outline are
found once a photo.
"""

import argparse
import json
import multiprocessing
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from coverage import truth_of
from score_samples import told as sample_told
from score_samples import truth_of as sample_truth
from scoring import REPOSITORY, Truth, one_thread

COUNTS = (2, 3, 4, 5, 6, 8)
POSES = ("in-plane", "diagonal", "quarter", "any")
FALSE_CALIBERS, MARGIN_CALIBERS = 0.25, 1.5
FIRST_SEED, EDGE_PX = 7000, 0.35


@dataclass(frozen=True)
class Outcome:
    """What one telling came to. level: the verdict's, or 'exit N'; off, band: calibers of the centre of pressure, its
    error and half the measured part of its band; costs: of each group's fit."""

    name: str
    true: str
    told: str
    pose: str
    level: str
    off: float
    band: float
    costs: tuple[float, ...]
    why: str

    @property
    def passed(self) -> bool:
        return self.level in ("fly", "marginal")

    @property
    def false(self) -> bool:
        return self.passed and abs(self.off) > max(FALSE_CALIBERS, self.band)


def every(name: str, seen: tuple, told: dict, truth: Truth, counts=COUNTS):
    """Outcomes of one photo told every number, with the pose said and not. seen: (photo, camera's prior, references,
    silhouette)."""
    from digitize.errors import Refusal
    from digitize.pipeline import check_band, fit_photo
    from digitize.request.options import measure_options
    from digitize.result.from_photo import assemble

    photo, prior, references, silhouette = seen
    right = tuple(int(n) for n in told["fins"].split(","))
    told = {**told, "balance": f"{truth.cp_mm - MARGIN_CALIBERS * truth.max_diameter_mm:.0f}mm"}
    tellings = [right, *(right[:k] + (n,) + right[k + 1 :] for k in range(len(right)) for n in counts if n != right[k])]
    for counts in tellings:
        for pose in ("said", "not said"):
            words = {**told, "fins": ",".join(map(str, counts))}
            if pose == "not said":
                words.pop("pose", None)
            level, off, band, costs, why = "", np.nan, np.nan, (), ""
            try:
                options = measure_options([photo.path], **words)
                measured = fit_photo(photo, options, prior, references, silhouette)
                result = assemble(measured, options)
                check_band(result, options)
                level, off = result.verdict_level, (result.cp_x_mm.value - truth.cp_mm) / truth.max_diameter_mm
                band = result.methods.measured_pm95_mm / truth.max_diameter_mm
                costs = tuple(float(trace.cost) for trace in measured.solid.fins)
                why = ",".join(warning.code for warning in result.warnings)
            except Refusal as refusal:
                level, why = f"exit {int(refusal.exit_code)}", refusal.line()[:90]
            yield Outcome(name, told["fins"], words["fins"], pose, level, float(off), float(band), costs, why)


def of_sample(file: Path) -> list[Outcome]:
    """One photo with a JSON beside it."""
    from digitize.errors import Refusal
    from digitize.photo.read import read_photo
    from digitize.pipeline import camera_of, references_of, silhouette_of
    from digitize.request.options import measure_options

    one_thread()
    sample, path = json.loads(file.read_text()), file.with_suffix(".jpg")
    told = next(t for way in ("both", "caliper", "reference") if (t := sample_told(sample, way)))
    options, photo = measure_options([path], **told), read_photo(path)
    try:
        references = references_of(photo, options)
        seen = photo, camera_of(photo, options), references, silhouette_of(photo, references, lambda *_: None)
    except Refusal as refusal:
        print(f"{file.stem}: {refusal.line()}")
        return []
    return list(every(file.stem.split("-")[0], seen, told, sample_truth(sample)))


def of_drawn(number: int) -> list[Outcome]:
    """One drawn rocket after another: the number says how many fins, and how they stand."""
    from drawing.occasions import random_scene
    from silhouettes import prior_of, silhouette_of

    from digitize.records import Photo

    one_thread()
    rng = np.random.default_rng(FIRST_SEED + number)
    rocket, way = divmod(number, len(POSES))
    count = (3, 4, 3, 4, 6)[rocket % 5]
    gap = 360 / count
    pose = {"quarter": f"{gap / 4:g}deg", "any": f"{rng.uniform(0, gap):.0f}deg"}.get(POSES[way], POSES[way])
    while True:
        scene, told = random_scene(rng, width_px=1600, telling="caliper", pose=pose, count=count)
        if len(scene.rocket.fins) == 1:
            break
    width, height = scene.camera.size_px
    photo = Photo(Path("drawn.jpg"), np.zeros((height, width, 3), np.uint8))
    outline = silhouette_of(scene, EDGE_PX, rng)
    outline = replace(outline, sigma_px=np.full(len(outline.outline_px), EDGE_PX))
    seen = photo, prior_of(scene.camera), (), outline
    return list(every(f"drawn {number} {pose}", seen, told, truth_of(scene), (3, 4, 6)))


def line(o: Outcome) -> str:
    """One outcome."""
    word = "FALSE" if o.false else "fine " if o.passed else "-----"
    costs = "+".join(f"{cost:.1f}" for cost in o.costs)
    head = f"{word} {o.name:18} true {o.true:4} told {o.told:4} pose {o.pose:8} {o.level:11}"
    return f"{head} {o.off:+6.2f} \u00b1 {o.band:.2f} cost {costs:9} {o.why}"


def table(outcomes: list[Outcome]) -> str:
    """Told by true: false / fly or marginal but near enough / look again / do not fly / refused."""
    cells: dict = defaultdict(Counter)
    for o in outcomes:
        kind = "false" if o.false else "near" if o.passed else "refused" if o.level.startswith("exit") else o.level
        cells[o.pose, o.true, o.told][kind] += 1
    kinds = ("false", "near", "look again", "do not fly", "refused")
    lines = [f"{'pose':9}{'true':6}{'told':6}" + "".join(f"{kind:>12}" for kind in kinds)]
    for (pose, true, told), found in sorted(cells.items()):
        mark = "  <- right" if true == told else ""
        lines.append(f"{pose:9}{true:6}{told:6}" + "".join(f"{found[kind] or '':>12}" for kind in kinds) + mark)
    for words, mine in (
        ("right number", [o for o in outcomes if o.true == o.told]),
        ("wrong number", [o for o in outcomes if o.true != o.told]),
    ):
        answered = sum(o.passed for o in mine)
        lines.append(f"{words}: {sum(o.false for o in mine)} false, {answered} fly or marginal, of {len(mine)}")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--drawn", type=int, default=12, help="drawn rockets, each in four rolls")
    parser.add_argument("--list", action="store_true", help="every outcome, a line each, not the false ones only")
    parser.add_argument("--jobs", type=int, default=1)
    given = parser.parse_args()
    folders = given.folders or [REPOSITORY / "samples"]
    files = [file for folder in folders for file in sorted(folder.glob("*.json")) if file.with_suffix(".jpg").exists()]
    outcomes: list[Outcome] = []
    with multiprocessing.get_context("spawn").Pool(given.jobs) as pool:
        tasks = [(of_sample, file) for file in files] + [(of_drawn, n) for n in range(given.drawn * len(POSES))]
        for found in pool.imap(_do, tasks) if given.jobs > 1 else map(_do, tasks):
            outcomes += found
            for o in found:
                if given.list or o.false or (o.true == o.told and not o.passed):
                    print(line(o), flush=True)
    print(table(outcomes))


def _do(task) -> list[Outcome]:
    of, what = task
    return of(what)


if __name__ == "__main__":
    main()
