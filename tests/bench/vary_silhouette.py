"""The silhouette finder on altered copies of photographs with exact masks: is it steady?

    python tests/bench/vary_silhouette.py FOLDER [NAME ...]

Each photograph is mirrored, turned, brightened, darkened, blurred, made noisy, made smaller, recoloured by swapping
channels, and made grey. Printed: IoU, mean signed edge error, 95th percentile, share over a pixel.
"""

import sys
from pathlib import Path

import cv2
import numpy as np
from score_silhouette import edge_errors, load

from digitize.errors import Refusal
from digitize.outline.silhouette import find_silhouette
from digitize.records import Photo, ReferencePoints


def _warp(rgb, mask, corners, matrix, size):
    move = matrix.astype(np.float64)
    turned = cv2.warpAffine(rgb, move, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REFLECT)
    mask = cv2.warpAffine(mask.astype(np.float32), move, size)
    return turned, mask, [c @ move[:, :2].T + move[:, 2] for c in corners]


def variants(rgb: np.ndarray, mask: np.ndarray, corners: list[np.ndarray]):
    """Yields name, picture, mask, reference outlines."""
    rng = np.random.default_rng(1)
    height, width = rgb.shape[:2]
    yield "mirror", rgb[:, ::-1].copy(), mask[:, ::-1].copy(), [c * [-1, 1] + [width - 1, 0] for c in corners]
    quarter = [np.stack([height - 1 - c[:, 1], c[:, 0]], 1) for c in corners]
    yield "quarter", np.rot90(rgb, -1).copy(), np.rot90(mask, -1).copy(), quarter
    matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), 10, 0.9)
    yield "turn10", *_warp(rgb, mask, corners, matrix, (width, height))
    level = np.arange(256) / 255
    for name, curve in (("bright", level**0.7), ("dark", level**1.5), ("flat", 0.25 + 0.5 * level)):
        yield name, np.round(curve * 255).astype(np.uint8)[rgb], mask, corners
    noise = rgb + rng.normal(0, 7, rgb.shape)
    yield "noise7", np.clip(np.round(noise), 0, 255).astype(np.uint8), mask, corners
    yield "blur1.2", cv2.GaussianBlur(rgb, (0, 0), 1.2), mask, corners
    half = [(c + 0.5) / 2 - 0.5 for c in corners]
    small = (width // 2, height // 2)
    yield "half", cv2.resize(rgb, small, interpolation=cv2.INTER_AREA), cv2.resize(mask, small, interpolation=3), half
    for name, order in (("swap_brg", [2, 0, 1]), ("swap_gbr", [1, 2, 0])):
        yield name, np.ascontiguousarray(rgb[..., order]), mask, corners
    yield "grey", np.repeat(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)[..., None], 3, 2), mask, corners


def main(folder: Path, names: list[str]) -> None:
    names = names or sorted(p.name.removesuffix(".mask.png") for p in folder.glob("*.mask.png"))
    for name in names:
        rgb, references, mask, _ = load(folder, name)
        corners = [r.outline_px for r in references]
        for label, picture, true, outlines in variants(rgb, mask, corners):
            known = [ReferencePoints("other", "", c, c, 1.0, 0.0, c) for c in outlines]
            try:
                found = find_silhouette(Photo(Path(name), picture), known)
            except Refusal as refusal:
                print(f"{name} {label:9s} refused: {refusal.what}", flush=True)
                continue
            iou = (found.mask & (true > 0.5)).sum() / (found.mask | (true > 0.5)).sum()
            error, _ = edge_errors(found.outline_px, true)
            print(
                f"{name} {label:9s} IoU {iou:.4f}  mean {error.mean():+6.2f}  p95 {np.percentile(abs(error), 95):6.2f}"
                f"  >1px {np.mean(abs(error) > 1) * 100:5.1f}%  {','.join(w.code for w in found.warnings)}",
                flush=True,
            )


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
