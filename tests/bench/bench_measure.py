"""Seconds and peak memory of the whole command on a 12 MP photo, beside a plain script, in one run.

    python tests/bench/bench_measure.py samples/bramble-white-ruler.jpg [--megapixels 12] [--repeat 3]

The photo is enlarged to the size asked. The plain script does what one would write by hand to get an outline: read,
one GrabCut at 1500 px from a rectangle, findContours. Both run as processes of their own; user time counts, because
other work on the machine does not add to it.
"""

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

PLAIN = """
import sys, cv2, numpy as np
picture = cv2.imread(sys.argv[1])
share = 1500 / max(picture.shape[:2])
small = cv2.resize(picture, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
mask = np.zeros(small.shape[:2], np.uint8)
h, w = mask.shape
cv2.grabCut(small, mask, (w // 50, h // 50, w - w // 25, h - h // 25), np.zeros((1, 65)), np.zeros((1, 65)), 5,
            cv2.GC_INIT_WITH_RECT)
print(len(cv2.findContours(((mask & 1) * 255).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]))
"""
DIGITIZE = "import sys; from digitize.cli import main; sys.exit(main(sys.argv[1:]))"


def cost(code: str, arguments: list[str]) -> tuple[float, float]:
    """(processor seconds, peak memory in MB) of one child process."""
    child = (
        "import resource, subprocess, sys\n"
        f"command = [sys.executable, '-c', {code!r}, *sys.argv[1:]]\n"
        "code = subprocess.run(command, stdout=subprocess.DEVNULL).returncode\n"
        "use = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        "print(code, use.ru_utime + use.ru_stime, use.ru_maxrss / 1024)"
    )
    done = subprocess.run([sys.executable, "-c", child, *arguments], capture_output=True, text=True, check=True)
    code_out, seconds, megabytes = done.stdout.split()
    if code_out != "0":
        raise SystemExit(f"the command ended with exit code {code_out}: {done.stderr[-300:]}")
    return float(seconds), float(megabytes)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo", type=Path)
    parser.add_argument("--megapixels", type=float, default=12.0)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--options", default="--scale tube=33.2mm --fins 4")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        picture = Image.open(given.photo)
        exif = picture.getexif()
        share = (given.megapixels * 1e6 / (picture.width * picture.height)) ** 0.5
        large = Path(folder) / "photo.jpg"
        size = (round(picture.width * share), round(picture.height * share))
        picture.resize(size, Image.Resampling.BICUBIC).save(large, quality=92, exif=exif)
        rows = []
        for _ in range(given.repeat):
            plain = cost(PLAIN, [str(large)])
            ours = cost(DIGITIZE, ["measure", str(large), *given.options.split(), "--out", str(Path(folder) / "out")])
            rows.append((plain, ours))
        for (plain_s, plain_mb), (ours_s, ours_mb) in rows:
            print(
                f"plain {plain_s:6.2f} s {plain_mb:6.0f} MB   digitize {ours_s:6.2f} s {ours_mb:6.0f} MB   "
                f"ratio {ours_s / plain_s:5.2f}"
            )


if __name__ == "__main__":
    main()
