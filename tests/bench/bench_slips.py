"""Which slips with a number end in a verdict that is false? Every kind of scale, alone and in pairs.

    python tests/bench/bench_slips.py [--only bramble,letter] [--slips digits,both] [--not-said] [--full] [--list]

A builder types one number of a scale wrong: ten times, 25.4 times, twice, or as little of it, two digits swapped, or
takes one size of paper for the other; the other scale of a pair is right, or in the same wrong unit. Balance point 1.5
calibers ahead of the true centre of pressure, in millimetres; no mass, no distance; the set-back said, and not said. A
slip counts as false where the verdict is fly or marginal and the centre of pressure is off by more than 0.25 caliber.

The photographs are the samples and drawn ones, one for each kind of reference and one with several. References and
outline are found once a photo (a ruler's again for each length told), and so is the shape, by the right caliper: a
slip makes the same shape at another size, so of each telling only the scale is solved anew, and held against the
others, by the command's own functions. --full fits the shape for each telling too, as the command does, ten times as
slowly. Of a false one it is said whether the centre of pressure is too far aft, which is the unsafe side.
"""

import argparse
import json
import multiprocessing
import tempfile
from collections import defaultdict
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
from coverage import truth_of
from score_samples import POSES, reference_option
from score_samples import truth_of as sample_truth
from scoring import REPOSITORY, Truth, one_thread

FALSE_CALIBERS = 0.25
MARGIN_CALIBERS = 1.5
FACTORS = {"x 10": 10.0, "x 25.4": 25.4, "x 2": 2.0, "/ 2": 0.5, "/ 25.4": 1 / 25.4, "/ 10": 0.1}
OTHER_PAPER = {"a4": "letter", "letter": "a4"}
DRAWN = {"white": 21, "wood": 22, "card": 23, "a4": 24, "letter": 25, "checker": 26, "sheet": 27}
"""Kind of reference -> seed of its drawn photograph."""
SEVERAL = 28
INCH_RULER = "ruler=304.8mm"
"""Of the sample that tells all in inches; it lies level with the axis."""


@dataclass(frozen=True)
class Claim:
    """One --scale with its number apart: kind, words before it, the number in mm (None: a bare kind)."""

    kind: str
    head: str
    number_mm: float | None

    def text(self, number_mm: float | None = None) -> str:
        return self.head if self.number_mm is None else f"{self.head}{number_mm or self.number_mm:.6g}mm"


@dataclass(frozen=True)
class Shot:
    """One photograph and what is right about it. told: other options of `measure`."""

    name: str
    path: Path
    truth: Truth
    told: dict
    references: tuple[str, ...]
    behind_mm: float


@dataclass(frozen=True)
class Outcome:
    """What one slip came to. level: the verdict's, or 'exit N'; off, band: calibers of the centre of pressure, its
    error and half the measured part of its band."""

    shot: str
    kinds: tuple[str, ...]
    behind_said: bool
    slip: str
    words: str
    level: str
    off: float
    band: float
    why: str

    @property
    def passed(self) -> bool:
        return self.level in ("fly", "marginal")

    @property
    def false(self) -> bool:
        """A band that reaches over the truth has said so."""
        return self.passed and abs(self.off) > max(FALSE_CALIBERS, self.band)

    @property
    def unsafe(self) -> bool:
        return self.false and self.off > 0


def claim_of(text: str) -> Claim:
    """A right --scale, its number apart from the rest."""
    kind = text.partition("=")[0]
    if "=" not in text:
        return Claim(kind, text, None)
    number = text.replace(",", "=").replace("x", "=").split("=")[-1]
    return Claim(kind, text[: len(text) - len(number)], float(number.removesuffix("mm")))


def slips_of(claim: Claim) -> dict[str, str]:
    """Every slip of one claim: its name -> the text typed."""
    if claim.number_mm is None:
        other = OTHER_PAPER.get(claim.kind)
        return {} if other is None else {"other paper": other}
    slips = {name: claim.text(claim.number_mm * factor) for name, factor in FACTORS.items()}
    digits = f"{claim.number_mm:g}"
    places = [k for k, sign in enumerate(digits) if sign.isdigit()]
    for one, two in pairwise(places):
        swapped = list(digits)
        swapped[one], swapped[two] = swapped[two], swapped[one]
        number = float("".join(swapped))
        text = claim.text(number) if number else ""
        if text and number != claim.number_mm and text not in slips.values():
            slips["digits swapped" + " " * len(slips)] = text
    return slips


# --- photographs ------------------------------------------------------------------------------------------


def sample_shot(file: Path) -> Shot:
    """One of the samples."""
    sample = json.loads(file.read_text())
    says, truth = sample["user_says"], sample_truth(sample)
    reference = reference_option(says, (sample.get("reference") or {}).get("squares")) or INCH_RULER
    level = reference == INCH_RULER or says.get("reference_place") == "at the height of the rocket axis"
    told = {
        "fins": ",".join(str(s["count"]) for s in sample["fin_sets"]),
        "nose": says["nose_points"],
        "thickness": ",".join(f"{s['thickness_mm']}mm" for s in sample["fin_sets"]),
    }
    if "roll_pose" in says:
        told["pose"] = POSES[says["roll_pose"]]
    name = file.stem.split("-")[0]
    # what lies under a rocket lies as deep as its fins reach, or its body; a drawn truth knows no more here
    return Shot(name, file.with_suffix(".jpg"), truth, told, (reference,), 0.0 if level else np.nan)


def drawn_shot(kind: str, seed: int, folder: Path) -> Shot:
    """A drawn photograph with one reference of this kind."""
    from drawing import draw, save
    from drawing.occasions import random_scene

    rng = np.random.default_rng(seed)
    while True:
        scene, told = random_scene(rng, width_px=2000, telling="reference", reference=kind, pose="in-plane")
        if len(scene.rocket.fins) == 1:
            break
    path = folder / f"{kind}.jpg"
    save(draw(scene), path)
    scale = told.pop("scale")
    told = {name: value for name, value in told.items() if name not in ("behind", "distance")}
    return Shot(kind, path, truth_of(scene), told, tuple(scale), scene.references[0].behind_mm)


def several_shot(folder: Path) -> Shot:
    """A drawn photograph with a ruler, a card and a checkerboard, all on the ground."""
    from drawing import Reference, draw, save
    from drawing.occasions import random_scene

    rng = np.random.default_rng(SEVERAL)
    while True:
        scene, told = random_scene(rng, width_px=2400, telling="caliper", pose="in-plane", f35_mm=28)
        if len(scene.rocket.fins) == 1 and told["nose"] != "up" and 380 < scene.rocket.length_mm < 520:
            break
    aside = 0.3 * scene.rocket.length_mm
    behind = scene.backdrop_mm - 0.5
    objects = (
        Reference("white", (0, aside), behind, length_mm=200),
        Reference("card", (-aside, -aside), behind, turn_deg=3),
        Reference("checker", (aside, -aside), behind),
    )
    scene = replace(scene, references=objects)
    path = folder / "several.jpg"
    save(draw(scene), path)
    told = {name: value for name, value in told.items() if name not in ("behind", "distance", "scale")}
    return Shot("several", path, truth_of(scene), told, ("ruler=200mm", "card", "checker=7x5x15mm"), behind)


def shot_named(name: str, folder: Path) -> Shot:
    if name == "several":
        return several_shot(folder)
    if name in DRAWN:
        return drawn_shot(name, DRAWN[name], folder)
    return sample_shot(next((REPOSITORY / "samples").glob(f"{name}-*.json")))


# --- slips ------------------------------------------------------------------------------------------------


class Bench:
    """One photograph with what was found in it."""

    def __init__(self, shot: Shot, full: bool):
        from digitize.photo.read import read_photo
        from digitize.pipeline import camera_of, silhouette_of
        from digitize.request.options import measure_options
        from digitize.result.from_photo import assemble

        self.shot, self.photo, self.found = shot, read_photo(shot.path), {}
        references = tuple(r for text in shot.references for r in self.reference(text))
        self.silhouette = silhouette_of(self.photo, references, lambda *_: None)
        self.prior = camera_of(self.photo, measure_options([shot.path]))
        first = references[0]
        ends = first.points_px[[0, -1]], first.points_mm[[0, -1]]
        pixels = self.photo.to_full_px(ends[0]).ravel()
        points = f"points={','.join(f'{p:.1f}' for p in pixels)},"
        truth = shot.truth
        self.claims = [claim_of(text) for text in shot.references] + [
            Claim("points", points, round(float(np.linalg.norm(np.subtract(*ends[1]))), 1)),
            claim_of(f"tube={truth.max_diameter_mm:.1f}mm"),
            claim_of(f"length={truth.length_mm:.0f}mm"),
        ]
        self.base = self.full_result = None
        if not full:
            options = measure_options([shot.path], scale=[f"tube={truth.max_diameter_mm:.1f}mm"], **self.told())
            self.base = self.fitted(options, ())
            self.full_result = assemble(self.base, options)

    def reference(self, text: str):
        """What one --scale finds in the picture, each text looked for once. Raises ScaleRefusal."""
        from digitize.errors import ScaleRefusal
        from digitize.pipeline import references_of
        from digitize.request.options import measure_options

        if text not in self.found:
            try:
                self.found[text] = references_of(self.photo, measure_options([self.shot.path], scale=[text]))
            except ScaleRefusal as refusal:
                self.found[text] = refusal
        if isinstance(self.found[text], ScaleRefusal):
            raise self.found[text]
        return self.found[text]

    def fitted(self, options, references):
        """The photo, measured: in full, or the first one's shape at the size that these scales give it."""
        from digitize.pipeline import agreement_of, fit_photo, given_sizes
        from digitize.result.as_shown import times_as_large
        from digitize.solid.adjust import adjust
        from digitize.solid.agreement import check_roughly
        from digitize.solid.measure import unsaid_set_back
        from digitize.solid.start import start_depth

        if self.base is None:
            return fit_photo(self.photo, options, self.prior, references, self.silhouette)
        solid = self.base.solid
        first = solid.adjusted.problem
        given = replace(given_sizes(options), tilt=first.given.tilt, plane_tilt=first.given.plane_tilt)
        problem = replace(first, references=references, given=given)
        problem = replace(problem, start_depth_mm=start_depth(problem))
        check_roughly(problem)
        if references and given.behind_mm is None:
            problem = replace(problem, given=unsaid_set_back(problem, solid.stations))
        adjusted = adjust(problem)
        agreement = agreement_of(adjusted, options)
        times = float(adjusted.pose().depth_mm / solid.adjusted.pose().depth_mm)
        sized = replace(times_as_large(solid, times), adjusted=adjusted)
        return replace(
            self.base, references=references, solid=sized, warnings=agreement.warnings, factors=agreement.factors
        )

    def outcome(self, kinds: tuple[str, ...], scale: list[str], slip: str, behind_said: bool) -> Outcome:
        """Measure with these scales."""
        from digitize.errors import Refusal
        from digitize.pipeline import check_band
        from digitize.request.options import measure_options
        from digitize.result.from_photo import assemble

        truth, told = self.shot.truth, self.told()
        if behind_said:
            told["behind"] = f"{self.shot.behind_mm:.0f}mm"
        level, off, band, why = "", np.nan, np.nan, ""
        try:
            options = measure_options([self.shot.path], scale=scale, **told)
            references = tuple(r for text in scale for r in self.reference(text))
            result = assemble(self.fitted(options, references), options, self.full_result)
            check_band(result, options)
            level, off = result.verdict_level, (result.cp_x_mm.value - truth.cp_mm) / truth.max_diameter_mm
            band = result.methods.measured_pm95_mm / truth.max_diameter_mm
            why = ",".join(warning.code for warning in result.warnings)
        except Refusal as refusal:
            level, why = f"exit {int(refusal.exit_code)}", refusal.line()
        words = " ".join(scale) + (f" behind {told['behind']}" if behind_said else "")
        return Outcome(self.shot.name, kinds, behind_said, slip, words, level, float(off), float(band), why)

    def told(self) -> dict:
        """What is told beside the scales."""
        truth = self.shot.truth
        return {**self.shot.told, "balance": f"{truth.cp_mm - MARGIN_CALIBERS * truth.max_diameter_mm:.0f}mm"}

    def every(self, beginning: tuple[str, ...], not_said: bool):
        """Outcomes of all slips whose names begin so, alone and in pairs; and of what is right, slip ''. not_said: with
        the set-back not said alone."""
        said = [True, False] if np.isfinite(self.shot.behind_mm) and not not_said else [False]
        for size in (1, 2):
            for claims in combinations(self.claims, size):
                kinds = tuple(sorted(claim.kind for claim in claims))
                flat = set(kinds) <= {"tube", "length"}
                for behind in [False] if flat else said:
                    yield self.outcome(kinds, [c.text() for c in claims], "", behind)
                    for scale, slip in slipped(claims):
                        if slip.startswith(beginning):
                            yield self.outcome(kinds, scale, slip, behind)


def slipped(claims: tuple[Claim, ...]):
    """(scales as typed, the slip's name) with one claim wrong, or all of them by the same factor."""
    right = [claim.text() for claim in claims]
    for k, claim in enumerate(claims):
        for name, text in slips_of(claim).items():
            yield [*right[:k], text, *right[k + 1 :]], name.strip()
    if len(claims) > 1 and all(claim.number_mm is not None for claim in claims):
        for name in ("x 10", "x 25.4", "/ 25.4", "/ 10"):  # a unit is taken wrong for both alike, a radius is not
            yield [claim.text(claim.number_mm * FACTORS[name]) for claim in claims], f"both {name}"


def of_one(name: str, beginning: tuple[str, ...], not_said: bool, full: bool) -> list[Outcome]:
    from digitize.errors import Refusal

    one_thread()
    with tempfile.TemporaryDirectory() as folder:
        try:
            bench = Bench(shot_named(name, Path(folder)), full)
        except Refusal as refusal:  # a reference that the drawn photo hides says nothing of slips
            print(f"{name}: {refusal.line()}", flush=True)
            return []
        return list(bench.every(beginning, not_said))


def table(outcomes: list[Outcome]) -> str:
    """Slip x combination: how many are false, of how many."""
    cells: dict = defaultdict(list)
    for outcome in outcomes:
        told = "+".join(outcome.kinds)
        if not set(outcome.kinds) <= {"tube", "length"}:
            told += ", set-back said" if outcome.behind_said else ", set-back not said"
        cells[told, outcome.slip].append(outcome)
    slips = list(dict.fromkeys(outcome.slip for outcome in outcomes))
    rows = sorted({told for told, _ in cells}, key=lambda told: (told.count("+"), told))
    lines = ["false verdicts of all; '' is without a slip", f"{'':42}" + "".join(f"{s or 'right':>15}" for s in slips)]
    for told in rows:
        shown = [cells.get((told, slip), []) for slip in slips]
        lines.append(f"{told:42}" + "".join(
            f"{f'{sum(o.false for o in found)}/{len(found)}' if found else '':>15}" for found in shown
        ))  # fmt: skip
    for size, words in ((1, "alone"), (2, "in pairs")):
        mine = [o for o in outcomes if len(o.kinds) == size and o.slip]
        counted = f"{sum(o.false for o in mine)} of {len(mine)} slips end in a false fly or marginal"
        lines.append(f"{words}: {counted}, {sum(o.unsafe for o in mine)} of them too far aft")
    right = [o for o in outcomes if not o.slip]
    passed = sum(o.passed for o in right)
    lines.append(f"without a slip: {passed} of {len(right)} end in fly or marginal")
    return "\n".join(lines)


def line(o: Outcome) -> str:
    """One outcome."""
    head = f"{'FALSE' if o.false else '-----'} {o.shot:9} {o.slip:15} {o.words:60} {o.level:11}"
    return f"{head} {o.off:+8.2f} \u00b1 {o.band:.2f} {o.why}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--only", help="names of photographs, comma-separated")
    parser.add_argument("--slips", default="", help="beginnings of the slips' names, comma-separated; all if not said")
    parser.add_argument("--not-said", action="store_true", help="only with the set-back not said")
    parser.add_argument("--full", action="store_true", help="fit the shape for each telling too")
    parser.add_argument("--list", action="store_true", help="every outcome, a line each, not the false ones only")
    parser.add_argument("--jobs", type=int, default=1)
    given = parser.parse_args()
    samples = sorted(file.stem.split("-")[0] for file in (REPOSITORY / "samples").glob("*-*.json"))
    names = given.only.split(",") if given.only else [*samples, *DRAWN, "several"]
    outcomes: list[Outcome] = []
    one = partial(of_one, beginning=tuple(given.slips.split(",")), not_said=given.not_said, full=given.full)
    with multiprocessing.get_context("spawn").Pool(given.jobs) as pool:
        for found in pool.imap(one, names) if given.jobs > 1 else map(one, names):
            outcomes += found
            for o in found:
                if given.list or o.false or not (o.slip or o.passed):
                    print(line(o), flush=True)
    print(table(outcomes))


if __name__ == "__main__":
    main()
