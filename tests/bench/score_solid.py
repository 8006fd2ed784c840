"""The solid alone: right outlines are given in place of the finder's, and every hurdle after it is scored.

    python tests/bench/score_solid.py hand FOLDER [--pose POSE]   outlines drawn by hand on real photographs
    python tests/bench/score_solid.py masks FOLDER [--unsaid]     exact masks of rendered photographs, with their truth
    python tests/bench/score_solid.py drawn [--photos N --seed S --loose --unsaid]   drawn silhouettes, with their truth

hand: NAME.json holds outline_px, nose_tip_px, tail_px, body_diameter_px, fins_count, est_error_px; NAME.jpg or .png is
the photo, of which only size and EXIF are used. Told are a tube diameter, the number of fins and a balance point;
--pose adds one. masks: NAME.mask.png and NAME.json as for score_samples.py. drawn: rockets of drawing.occasions;
--loose turns each fin by N(0, 2 deg), scales it by N(0, 1.5 %), bends the outline by 2 px in places and bites into it.
--unsaid leaves the pose out. --only: names or seeds, with commas.
"""

import argparse
import json
import sys
import time
import traceback
from dataclasses import replace
from pathlib import Path

import numpy as np
from score_samples import told as sample_told
from score_samples import truth_of as sample_truth
from scoring import Truth, compare, one_thread

TUBE_MM, BALANCE_SHARE = 60.0, 0.6
"""Told where nobody knows the diameter: the scale is not what is judged."""
MARGIN_CALIBERS = 1.5
"""The balance point told of rockets whose truth is known lies so far ahead of the centre of pressure."""
FIN_TURN_DEG, FIN_SCALE, WOBBLE_PX, BITE_CALIBERS = 2.0, 0.015, 2.0, 0.25


def solve(photo, options, outline_px, sigma_px, references=None):
    """(result as written, measured) or (words of the refusal, None), and the processor's seconds it took."""
    from digitize.errors import Refusal
    from digitize.pipeline import camera_of, check_band, fit_photo, references_of
    from digitize.records import Silhouette
    from digitize.result.from_photo import assemble
    from digitize.result.to_json import to_dict

    began = time.process_time()
    silhouette = Silhouette(outline_px, np.full(len(outline_px), sigma_px), np.zeros(photo.rgb.shape[:2], bool))
    try:
        if references is None:
            references = references_of(photo, options)
        began = time.process_time()
        measured = fit_photo(photo, options, camera_of(photo, options), references, silhouette)
        fitted = time.process_time() - began
        result = assemble(measured, options)
        check_band(result, options)
        return json.loads(json.dumps(to_dict(result))), measured, fitted
    except Refusal as refusal:
        return f"exit {int(refusal.exit_code)}: {refusal.what}", None, time.process_time() - began
    except Exception as defect:  # a defect must not end the benchmark
        place = traceback.extract_tb(defect.__traceback__)[-1]
        return f"exit 70: {type(defect).__name__}: {defect} ({Path(place.filename).name}:{place.lineno})", None, 0.0


def dense(outline, step: float = 1.0) -> np.ndarray:
    """A polygon (n, 2) with points at most `step` apart."""
    a, b = np.asarray(outline, float), np.roll(np.asarray(outline, float), -1, axis=0)
    counts = np.maximum(np.ceil(np.linalg.norm(b - a, axis=1) / step).astype(int), 1)
    return np.vstack([p + (q - p) * np.arange(n)[:, None] / n for p, q, n in zip(a, b, counts, strict=True)])


def seen_words(result: dict, measured) -> str:
    """Roll of fin 1, how well it is known, what stays unexplained, for each group."""
    offset = measured.solid.adjusted.pose().roll_offset_rad()
    parts = []
    for trace in measured.solid.fins:
        roll = np.degrees(trace.roll_rad - offset) % (360 / trace.given.count)
        sigma = np.degrees(trace.roll_sigma_rad)
        parts.append(f"{trace.given.count} fins at {roll:5.1f}\u00b1{sigma:.1f} deg, misfit {trace.unexplained:.1%}")
    codes = ",".join(w["code"] for w in result["warnings"])
    return f"{'; '.join(parts)}  [{result['verdict']['level']}] {codes}"


# --- outlines drawn by hand -------------------------------------------------------------------------------


def hand_row(path: Path, pose: str | None) -> tuple[str, float | None]:
    """(line, error of length over diameter in per cent or None)."""
    from digitize.photo.read import read_photo
    from digitize.request.options import measure_options

    hand = json.loads(path.read_text())
    picture = next(p for p in (path.with_suffix(s) for s in (".jpg", ".png")) if p.exists())
    said = hand.get("said_of_it_mm") or ""
    tube = float(said.split("diameter")[1].split(",")[0].split()[0]) if "diameter" in said else TUBE_MM
    photo = read_photo(picture)
    drawn = np.hypot(*np.subtract(hand["nose_tip_px"], hand["tail_px"])) / hand["body_diameter_px"]
    options = measure_options(
        [picture], scale=[f"tube={tube:g}mm"], fins=str(hand["fins_count"]), pose=pose,
        balance=f"{BALANCE_SHARE * drawn * tube:.0f}mm", quiet=True,
    )  # fmt: skip
    outline = photo.to_working_px(dense(hand["outline_px"], photo.shrink))
    result, measured, seconds = solve(photo, options, outline, hand["est_error_px"] / photo.shrink)
    head = f"{path.stem} {hand['fins_count']} fins, {hand['fin_lies']:22} {seconds:4.1f} s"
    if measured is None:
        return f"{head} {result}", None
    diameter, length = result["max_diameter_mm"], result["length_mm"]
    off = 100 * (length["value"] / diameter["value"] / drawn - 1)
    cp = result["cp"]["x_mm"]
    line = (
        f"{head} L/D {off:+5.1f} %  diameter {diameter['value']:.1f}\u00b1{diameter['pm95']:.1f} of {tube:g}  "
        f"CP {cp['value'] / length['value']:.3f}L \u00b1{cp['pm95'] / tube:.2f} cal  {seen_words(result, measured)}"
    )
    return line, off


def score_hand(folder: Path, only, pose: str | None) -> None:
    files = [f for f in sorted(folder.glob("*.json")) if f.stem != "sources" and (not only or f.stem in only)]
    offs = []
    for file in files:
        line, off = hand_row(file, pose)
        offs.append(off)
        print(line, flush=True)
    answered = np.array([off for off in offs if off is not None])
    print(f"{len(answered)} of {len(files)} answered; L/D within 5 %: {int((np.abs(answered) < 5).sum())}")


# --- exact masks ------------------------------------------------------------------------------------------


def mask_outline(path: Path) -> np.ndarray:
    """(n, 2) the half-way level of a coverage picture."""
    import cv2
    from skimage.measure import find_contours

    alpha = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE).astype(float) / 255
    return max(find_contours(alpha, 0.5), key=len)[:-1, ::-1]


def score_masks(folder: Path, only, unsaid: bool) -> None:
    from digitize.photo.read import read_photo
    from digitize.request.options import measure_options

    files = [f for f in sorted(folder.glob("*.mask.png")) if not only or f.name.split(".")[0] in only]
    for telling in ("reference", "caliper", "both"):
        errors = []
        for file in files:
            name = file.name.split(".")[0]
            sample = json.loads((folder / f"{name}.json").read_text())
            told = sample_told(sample, telling)
            if told is None:
                continue
            if unsaid:
                told.pop("pose")
            photo = read_photo(folder / f"{name}.jpg")
            told["balance"] = balance_of(sample_truth(sample))
            options = measure_options([photo.path], **told, quiet=True)
            outline = photo.to_working_px(mask_outline(file))
            errors.append(_truth_row(f"{name} {telling:9}", photo, options, outline, 0.2, sample_truth(sample)))
        _summary(telling, errors)


def balance_of(truth: Truth) -> str:
    return f"{truth.cp_mm - MARGIN_CALIBERS * truth.max_diameter_mm:.1f}mm"


def _truth_row(head: str, photo, options, outline, sigma_px, truth: Truth, references=None):
    """Prints one row; (CP error in calibers, whether inside its band) or None."""
    result, measured, seconds = solve(photo, options, outline, sigma_px, references)
    if measured is None:
        print(f"{head} {seconds:4.1f} s {result}", flush=True)
        return None
    scores = compare(result, truth)
    cp = scores["cp"]
    rest = {name: s for name, s in scores.items() if name not in ("cp", "centroid")}
    cells = " ".join(f"{name} {s.error:+.2f}{'' if s.inside else '!'}" for name, s in rest.items())
    inside = "in " if cp.inside else "OUT"
    print(f"{head} {seconds:4.1f} s cp {cp.error:+.3f} \u00b1{cp.pm95:.3f} {inside} {cells}  "
          f"{seen_words(result, measured)}", flush=True)  # fmt: skip
    return cp.error, cp.inside, cp.pm95, result["verdict"]["level"] == "look again"


def _summary(what: str, rows) -> None:
    found = [row for row in rows if row is not None]
    if not found:
        print(f"{what}: 0 of {len(rows)} answered")
        return
    off, inside, half, doubted = (np.array(column) for column in zip(*found, strict=True))
    gross = int((~inside & (np.abs(off) > 0.25) & ~doubted).sum())
    print(
        f"{what}: {len(found)} of {len(rows)} answered; CP error median {np.median(np.abs(off)):.3f}, worst "
        f"{np.abs(off).max():.3f}; inside {np.mean(inside):.1%}; median band {np.median(half):.3f}; look again "
        f"{int(doubted.sum())}; over 0.25 caliber, outside the band and no doubt said: {gross}"
    )


# --- drawn ------------------------------------------------------------------------------------------------


def loosened(scene, rng: np.random.Generator):
    """The scene with every fin glued and cut by hand: turned and scaled by itself."""
    fins = []
    for group in scene.rocket.fins:
        root = group.outline_mm[[0, -1]].mean(0)
        for k in range(group.count):
            outline = root + (group.outline_mm - root) * (1 + FIN_SCALE * rng.standard_normal((1, 2)))
            outline[[0, -1]] = group.outline_mm[[0, -1]]
            turn = group.roll_deg + 360 * k / group.count + FIN_TURN_DEG * rng.standard_normal()
            fins.append(replace(group, count=1, outline_mm=outline, roll_deg=turn))
    return replace(scene, rocket=replace(scene.rocket, fins=tuple(fins)))


def roughened(outline: np.ndarray, caliber_px: float, rng: np.random.Generator) -> np.ndarray:
    """The outline bent by WOBBLE_PX over stretches of half a caliber to two in six places, half of them bitten."""
    import shapely

    tangent = np.roll(outline, -3, axis=0) - np.roll(outline, 3, axis=0)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]]) / np.linalg.norm(tangent, axis=1)[:, None]
    n, bend = len(outline), np.zeros(len(outline))
    for _ in range(6):
        half, at = rng.uniform(0.25, 1.0) * caliber_px, rng.integers(n)
        away = np.abs((np.arange(n) - at + n // 2) % n - n // 2) / half
        bend += WOBBLE_PX * rng.standard_normal() * np.clip(2 - 2 * away, 0, 1)
    bent = shapely.Polygon(outline + bend[:, None] * normal).buffer(0)
    centre = outline[rng.integers(n)]
    bite = shapely.Point(centre).buffer(BITE_CALIBERS * caliber_px)
    for shape in (bent.difference(bite) if rng.random() < 0.5 else bent, bent):
        whole = max(getattr(shape, "geoms", [shape]), key=lambda part: part.area)
        if whole.area > 0.97 * bent.area:
            return np.array(shapely.segmentize(whole, 1.0).exterior.coords)[:-1]
    return outline


def score_drawn(photos: int, seed: int, loose: bool, unsaid: bool, only) -> None:
    from coverage import truth_of
    from drawing.occasions import random_scene
    from silhouettes import outline_of, points_of, silhouette_of

    from digitize.records import Photo
    from digitize.request.options import measure_options

    errors = []
    for number in [int(s) for s in only] if only else seed * 1_000_000 + np.arange(photos):
        rng = np.random.default_rng(int(number))
        scene, told = random_scene(rng)
        asked = {name: value for name, value in told.items() if not (unsaid and name == "pose")}
        focal35 = scene.camera.focal_px * 43.267 / float(np.hypot(*scene.camera.size_px))
        photo = Photo(Path("drawn.jpg"), np.zeros((*scene.camera.size_px[::-1], 3), np.uint8), 1, focal35)
        truth = truth_of(scene)
        options = measure_options([photo.path], **asked, balance=balance_of(truth), quiet=True)
        used = any(claim.kind not in ("tube", "length") for claim in options.scales)
        references = tuple(points_of(scene, r, 0.1, rng) for r in scene.references if used)
        outline, sigma = silhouette_of(scene, 0.35, rng).outline_px, 0.35
        if loose:
            caliber_px = scene.rocket.max_diameter_mm * scene.camera.focal_px / abs(scene.camera.centre_mm[2])
            outline, sigma = roughened(outline_of(loosened(scene, rng)), caliber_px, rng), 1.0
        head = f"{number} {told['pose']:8}"
        errors.append(_truth_row(head, photo, options, outline, sigma, truth, references))
    _summary("drawn", errors)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("mode", choices=("hand", "masks", "drawn"))
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--only")
    parser.add_argument("--pose")
    parser.add_argument("--unsaid", action="store_true")
    parser.add_argument("--loose", action="store_true")
    parser.add_argument("--photos", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    one_thread()
    only = given.only.split(",") if given.only else None
    if given.mode == "drawn":
        score_drawn(given.photos, given.seed, given.loose, given.unsaid, only)
    elif given.folder is None:
        sys.exit("name the folder")
    elif given.mode == "hand":
        score_hand(given.folder, only, given.pose)
    else:
        score_masks(given.folder, only, given.unsaid)


if __name__ == "__main__":
    main()
