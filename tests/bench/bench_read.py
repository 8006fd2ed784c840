"""Processor seconds and peak memory of reading JPEGs of 12, 48 and 200 MP, beside Pillow alone.

Pillow alone: open, load, convert to RGB, array; neither turned nor checked nor reduced.
Run by hand: python tests/bench/bench_read.py
Each step runs in a process of its own, so that the peak is its own; libraries loaded are in the figure. Linux
hands a parent's peak on to its children, which is why the picture too is written by a child.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image

SIZES_PX = {"12 MP": (4032, 3024), "48 MP": (8064, 6048), "200 MP": (16320, 12240)}


def write_photo(path: str, size_px: tuple[int, int], progressive: bool) -> None:
    """A smooth scene with a photo's kind of noise, turned by EXIF."""
    random = np.random.default_rng(1)
    coarse = Image.fromarray(random.integers(40, 220, (30, 40, 3)).astype(np.uint8))
    picture = coarse.resize(size_px, Image.Resampling.BICUBIC)
    tile = random.integers(0, 16, (1024, 1024, 3)).astype(np.uint8)
    noise = np.tile(tile, (size_px[1] // 1024 + 1, size_px[0] // 1024 + 1, 1))[: size_px[1], : size_px[0]]
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.fromarray(np.asarray(picture) + noise).save(path, quality=90, exif=exif, progressive=progressive)


def read_with_pillow(path: str) -> np.ndarray:
    Image.MAX_IMAGE_PIXELS = None
    with Image.open(path) as image:
        image.load()
        return np.array(image.convert("RGB"))


def read_once(how: str, path: str) -> None:
    """In the child process: prints seconds and peak MB."""
    if how == "digitize":
        from digitize.photo.read import read_photo

        read = read_photo
    else:
        read = read_with_pillow
    started = time.process_time()
    read(path)
    seconds = time.process_time() - started
    # kilobytes on Linux, bytes on macOS
    unit = 2**20 if sys.platform == "darwin" else 2**10
    print(f"{seconds:.2f} {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit:.0f}")


def in_child(*arguments: str) -> str:
    command = [sys.executable, __file__, "--child", *arguments]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def measured(how: str, path: Path, repeats: int = 3) -> tuple[float, float]:
    """(best seconds, largest peak in MB)."""
    runs = [[float(word) for word in in_child(how, str(path)).split()] for _ in range(repeats)]
    return min(run[0] for run in runs), max(run[1] for run in runs)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--child", nargs="+", help=argparse.SUPPRESS)
    parser.add_argument("--progressive", action="store_true", help="progressive JPEGs")
    options = parser.parse_args()
    if options.child:
        how, path, *size = options.child
        if how == "write":
            write_photo(path, SIZES_PX[size[0]], size[1] == "progressive")
        else:
            read_once(how, path)
        return
    print(f"{'':8}{'digitize':>22}{'Pillow alone':>22}{'ratio of seconds':>20}")
    with tempfile.TemporaryDirectory() as folder:
        for name in SIZES_PX:
            path = Path(folder) / "photo.jpg"
            in_child("write", str(path), name, "progressive" if options.progressive else "baseline")
            ours, theirs = measured("digitize", path), measured("pillow", path)
            cells = [f"{seconds:8.2f} s {megabytes:7.0f} MB" for seconds, megabytes in (ours, theirs)]
            print(f"{name:8}{cells[0]:>22}{cells[1]:>22}{ours[0] / theirs[0]:>20.2f}", flush=True)


if __name__ == "__main__":
    main()
