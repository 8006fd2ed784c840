"""Score the silhouette finder against exact masks.

    python tests/bench/score_silhouette.py FOLDER [NAME ...]

FOLDER holds NAME.jpg, NAME.json (reference.corners_px) and NAME.mask.png (coverage 0..255).
Edge error: signed distance from each outline point to the mask's half-coverage line, outside positive.
"""

import json
import sys
import time
from pathlib import Path

import cv2
import numpy as np
from scipy.spatial import cKDTree
from skimage.measure import find_contours

from digitize.errors import Refusal
from digitize.outline.silhouette import find_silhouette
from digitize.records import Photo, ReferencePoints


def load(folder: Path, name: str):
    """Photo, references, mask (float 0..1), truth."""
    truth = json.loads((folder / f"{name}.json").read_text())
    rgb = cv2.imread(str(folder / f"{name}.jpg"), cv2.IMREAD_COLOR)[..., ::-1].copy()
    mask = cv2.imread(str(folder / f"{name}.mask.png"), cv2.IMREAD_GRAYSCALE) / 255.0
    return rgb, references_of(truth), mask, truth


def references_of(truth: dict) -> list[ReferencePoints]:
    """Outlines to leave out: of `reference`, or of each of `references` (a list of corners)."""
    one = truth.get("reference") or {}
    outlines = [np.array(c, float) for c in [one.get("corners_px"), *truth.get("references", [])] if c]
    return [ReferencePoints("other", "", c, c, 1.0, 0.0, c) for c in outlines]


def true_edge(mask: np.ndarray) -> np.ndarray:
    """Points of the half-coverage line, x and y, every 0.25 px or so."""
    lines = [line[:, ::-1] for line in find_contours(mask, 0.5) if len(line) > 60]
    dense = []
    for line in lines:
        steps = np.linspace(0, 1, 4, endpoint=False)
        dense.append((line[:-1, None] + steps[None, :, None] * np.diff(line, axis=0)[:, None]).reshape(-1, 2))
    return np.concatenate(dense)


def edge_errors(outline: np.ndarray, mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Signed distance of each outline point from the true edge (outside positive); distance of each true edge
    point from the outline."""
    edge = true_edge(mask)
    distance = cKDTree(edge).query(outline)[0]
    xy = outline.astype(np.float32)
    inside = cv2.remap(mask.astype(np.float32), xy[:, :1].copy(), xy[:, 1:].copy(), cv2.INTER_LINEAR)[:, 0]
    steps = np.linspace(0, 1, 8, endpoint=False)
    closing = np.roll(outline, -1, 0) - outline
    dense = (outline[:, None] + steps[None, :, None] * closing[:, None]).reshape(-1, 2)
    missed = cKDTree(dense).query(edge)[0]
    return np.where(inside > 0.5, -distance, distance), missed


def part_of(points: np.ndarray, truth: dict) -> np.ndarray:
    """0 nose third, 1 body, 2 fins (and tail)."""
    tip, tail = (np.array(truth[key]) for key in ("nose_tip_px", "tail_px"))
    along = (tail - tip) / np.linalg.norm(tail - tip)
    x_mm = (points - tip) @ along / np.linalg.norm(tail - tip) * truth["length_mm"]
    fins_from = min((p[0] for s in truth["fin_sets"] for p in s["planform"]), default=truth["length_mm"])
    return np.where(x_mm < truth["length_mm"] / 3, 0, np.where(x_mm < fins_from - 3, 1, 2))


def numbers(error: np.ndarray) -> str:
    if not len(error):
        return "-"
    size = np.abs(error)
    return (
        f"{error.mean():+6.2f} {size.mean():5.2f} {np.percentile(size, 95):5.2f} {size.max():6.1f} "
        f"{np.mean(size > 1) * 100:5.1f}%"
    )


def main(folder: Path, names: list[str]) -> None:
    names = names or sorted(p.name.removesuffix(".mask.png") for p in folder.glob("*.mask.png"))
    print("name   IoU     sec | whole: mean |mean| p95 max >1px | missed p95 max | nose | body | fins")
    for name in names:
        rgb, references, mask, truth = load(folder, name)
        start = time.perf_counter()
        try:
            found = find_silhouette(Photo(Path(name), rgb), references)
        except Refusal as refusal:
            print(f"{name}: refused: {refusal.line()}")
            continue
        seconds = time.perf_counter() - start
        true = mask > 0.5
        iou = (found.mask & true).sum() / (found.mask | true).sum()
        error, missed = edge_errors(found.outline_px, mask)
        part = part_of(found.outline_px, truth)
        pieces = " | ".join(numbers(error[part == k]) for k in range(3))
        codes = ",".join(w.code for w in found.warnings)
        print(
            f"{name} {iou:.4f} {seconds:5.2f} | {numbers(error)} | {np.percentile(missed, 95):5.2f} "
            f"{missed.max():5.1f} | {pieces} {codes}"
        )


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
