"""Score `digitize measure` on a folder of photographs that come with their truth.

    python tests/bench/score_samples.py FOLDER [--only d01,d04] [--tell reference,caliper,both] [--keep DIR]

FOLDER holds NAME.jpg and NAME.json. Each JSON holds the truth and, under `user_says`, all a builder knows.
Every photo is told in three ways: the reference alone, the caliper diameter alone, and both.
"""

import argparse
import json
import re
import tempfile
from pathlib import Path

import numpy as np
from scoring import Row, Truth, absolute_errors, inside_share, measure_and_score, one_thread

TELLINGS = ("reference", "caliper", "both")
POSES = {"one fin in the photo plane": "in-plane", "diagonal": "diagonal", "resting on two fins": "resting"}


def truth_of(sample: dict) -> Truth:
    """The numbers to score against."""
    return Truth(
        cp_mm=sample["cp_mm"],
        max_diameter_mm=sample["max_diameter_mm"],
        length_mm=sample["length_mm"],
        cutout_centroid_mm=sample["cutout_centroid_mm"],
        fins=tuple((s["count"], s["planform_area_mm2"], s["span_mm"]) for s in sample["fin_sets"]),
        tilt_deg=sample.get("axis_tilt_from_image_plane_deg", 0.0),
    )


def reference_option(says: dict, squares: list[int] | None) -> str | None:
    """The value of --scale for the reference the user names in words."""
    words = (says.get("reference") or "").lower()
    if "ruler" in words:
        return f"ruler={re.search(r'([0-9.]+) mm', words)[1]}mm"
    if "checker" in words:
        size = re.search(r"([0-9.]+) mm", words)[1]
        return f"checker={squares[0]}x{squares[1]}x{float(size):g}mm"
    for word, kind in (("a4", "a4"), ("letter", "letter"), ("card", "card"), ("sheet", "sheet")):
        if word in words:
            return kind
    return None


def told(sample: dict, telling: str) -> dict | None:
    """Options of `measure` for one photo; None when the builder has no such thing to tell."""
    says = sample["user_says"]
    reference = reference_option(says, (sample.get("reference") or {}).get("squares"))
    scale = []
    if telling in ("reference", "both") and reference:
        scale.append(reference)
    if telling in ("caliper", "both"):
        scale.append(f"tube={says['max_diameter_mm_calipers']}mm")
    if not scale or (telling == "both" and len(scale) < 2):
        return None
    pose = says["roll_pose"]
    angle = re.search(r"(-?[0-9.]+) ?deg", pose)
    options = {
        "scale": scale,
        "distance": f"{says['camera_distance_m']}m",
        "fins": ",".join(str(s["count"]) for s in sample["fin_sets"]),
        "pose": POSES.get(pose) or f"{angle[1]}deg",
        "nose": says["nose_points"],
        "thickness": ",".join(f"{t}mm" for t in says["fin_thickness_mm"]),
    }
    if reference and telling != "caliper" and says.get("reference_place") == "at the height of the rocket axis":
        options["behind"] = "0mm"
    return options


def line(row: Row, truth: Truth) -> str:
    """One row of the table."""
    head = f"{row.name:10} {row.telling:9} exit {row.outcome.exit_code:<2} {row.outcome.seconds:5.1f} s"
    if not row.scores:
        return f"{head}  {row.outcome.words[:150]}"
    cp = row.scores["cp"]
    cells = [f"cp {cp.error:+.3f} ±{cp.pm95:.3f} cal {'in ' if cp.inside else 'OUT'}"]
    for name in ("length", "diameter", "area", "span", "area2", "span2", "centroid"):
        if name in row.scores:
            s = row.scores[name]
            cells.append(f"{name} {s.error:+.2f}{'' if s.inside else '!'}")
    return f"{head}  {'  '.join(cells)}  tilt {truth.tilt_deg:+.1f}  {','.join(row.warnings)}"


def summary(rows: list[Row], telling: str) -> str:
    """The lines under the table: what the set as a whole comes to."""
    mine = [r for r in rows if r.telling == telling]
    errors = absolute_errors(mine, "cp")
    if not len(errors):
        return f"{telling}: 0 of {len(mine)} answered"
    wrong = [r.name for r in mine if r.scores and abs(r.scores["cp"].error) > 0.25 and not r.scores["cp"].inside]
    medians = ", ".join(
        f"{name} {np.median(found):.2f} %"
        for name in ("length", "diameter", "area", "span")
        if len(found := absolute_errors(mine, name))
    )
    inside = ", ".join("{} {}/{}".format(q, *inside_share(mine, q)) for q in quantities(mine))
    return (
        f"{telling}: {len(errors)} of {len(mine)} answered; CP error median {np.median(errors):.3f}, "
        f"worst {errors.max():.3f} caliber; medians {medians}\n   inside the band: {inside}\n"
        f"   wrong by over 0.25 caliber with a band that misses: {', '.join(wrong) or 'none'}"
    )


def quantities(rows: list[Row]) -> list[str]:
    """Names of all scores in these rows, in order of appearance."""
    return list(dict.fromkeys(name for row in rows for name in row.scores))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", help="names, comma-separated")
    parser.add_argument("--tell", default=",".join(TELLINGS), help="ways of telling, comma-separated")
    parser.add_argument("--keep", type=Path, help="keep the results folders here")
    given = parser.parse_args()
    one_thread()
    files = sorted(f for f in given.folder.glob("*.json") if f.with_suffix(".jpg").exists())
    if given.only:
        files = [f for f in files if f.stem in given.only.split(",")]
    rows = []
    with tempfile.TemporaryDirectory() as temporary:
        for telling in given.tell.split(","):
            for file in files:
                sample = json.loads(file.read_text())
                options = told(sample, telling)
                if options is None:
                    continue
                out = (given.keep or Path(temporary)) / f"{file.stem}-{telling}"
                truth = truth_of(sample)
                row = measure_and_score(file.stem, telling, file.with_suffix(".jpg"), options, truth, out)
                rows.append(row)
                print(line(row, truth), flush=True)
            print(summary(rows, telling), flush=True)


if __name__ == "__main__":
    main()
