"""How often is each reference found in drawn photographs, and how true are its points?

    python tests/bench/score_references.py [--photos 10] [--seed 1] [--width 2400] [--kinds steel,card]

Found points are carried through the true camera onto the object's true plane and laid over their nominal
places: the scale error is that of size, the misfit what is left, in pixels of the photo.
"""

import argparse
import tempfile
from pathlib import Path

import numpy as np
import scoring
from drawing import Scene, draw, save
from drawing.occasions import random_scene

from digitize.errors import Refusal
from digitize.photo.read import read_photo
from digitize.photo.references import find_reference
from digitize.request.parsers import parse_scale

KINDS = ("steel", "white", "wood", "card", "a4", "letter", "checker", "sheet")


def fit(scene: Scene, points_px: np.ndarray, points_mm: np.ndarray) -> tuple[float, float]:
    """Relative error of size, and misfit in pixels, of points found on the scene's first reference."""
    ideal = scene.camera.unbend(points_px)
    seen = scene.references[0].plane().seen_through(scene.camera, ideal[:, 0], ideal[:, 1])
    seen, nominal = ((np.stack(p, -1) if isinstance(p, list) else p).astype(float) for p in (seen, points_mm))
    seen, nominal = (p - p.mean(0) for p in (seen, nominal))
    # Best turn and scale (Umeyama), as complex numbers.
    seen, nominal = seen @ [1, 1j], nominal @ [1, 1j]
    factor = (seen * nominal.conj()).sum() / (np.abs(nominal) ** 2).sum()
    misfit_mm = np.sqrt(np.mean(np.abs(seen - factor * nominal) ** 2))
    pixel_mm = np.linalg.norm(scene.camera.centre_mm) / scene.camera.focal_px
    return float(np.abs(factor) - 1), float(misfit_mm / pixel_mm)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--photos", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--width", type=int, default=2400)
    parser.add_argument("--kinds", default=",".join(KINDS))
    given = parser.parse_args()
    scoring.one_thread()
    for kind in given.kinds.split(","):
        fits, lines = [], []
        for seed in range(given.seed * 1_000_000, given.seed * 1_000_000 + given.photos):
            rng = np.random.default_rng(seed)
            scene, told = random_scene(rng, reference=kind, telling="reference", width_px=given.width)
            with tempfile.TemporaryDirectory() as folder:
                file = Path(folder) / "photo.jpg"
                save(draw(scene), file)
                photo = read_photo(file)
            try:
                found = find_reference(photo, parse_scale(told["scale"][0]))[0]
            except Refusal as refusal:
                per_mm = scene.camera.focal_px / np.linalg.norm(scene.camera.centre_mm)
                lines.append(f"   {seed} {scene.background}, {per_mm:.1f} px a mm: {refusal.what}")
                continue
            fits.append(fit(scene, photo.to_full_px(found.points_px), found.points_mm))
        size, misfit = np.abs(fits).T if fits else np.full((2, 1), np.nan)
        print(
            f"{kind:8} found {len(fits)} of {given.photos}; size off by {100 * np.median(size):.4f} %, "
            f"worst {100 * size.max():.4f}; misfit px median {np.median(misfit):.3f}"
        )
        print("\n".join(lines), flush=True)


if __name__ == "__main__":
    main()
