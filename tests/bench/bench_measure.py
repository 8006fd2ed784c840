"""Seconds and peak memory of the whole command, beside a plain script and the bare decode of the same file, in one run.

    python tests/bench/bench_measure.py samples/bramble-white-ruler.jpg [--megapixels 12] [--repeat 5]
        [--options "--scale ruler=300mm --behind 0mm --fins 4"]

The photo is enlarged to the size asked. The plain script does what one would write by hand to get an outline: read,
one GrabCut at 1500 px from a rectangle, findContours. All run as fresh processes, one after the other and round again,
so that other work on the machine falls on each alike; processor time counts, because that work does not add to it.
Then the stages of one more run.
"""

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

DECODE = "import sys, cv2; print(cv2.imread(sys.argv[1]).shape)"
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
STAGES = """
import json, sys, time
from digitize.cli import main
from digitize.threads import one_thread_for_blas
one_thread_for_blas()
from digitize import pipeline
spent = {"starting, imports": time.process_time()}
def timed(name, words):
    inner = getattr(pipeline, name)
    def run(*args, **kwargs):
        begun = time.process_time()
        try:
            return inner(*args, **kwargs)
        finally:
            spent[words] = spent.get(words, 0.0) + time.process_time() - begun
    setattr(pipeline, name, run)
for name, words in (
    ("read_photo", "reading"), ("references_of", "scale"), ("find_silhouette", "outline"), ("fit_photo", "solid"),
    ("assemble", "bands"), ("write_results", "results and pictures"),
):
    timed(name, words)
code = main(sys.argv[1:])
spent["all else"] = time.process_time() - sum(spent.values())
print(json.dumps(spent), file=sys.stderr)
sys.exit(code)
"""


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


def enlarged(photo: Path, megapixels: float, folder: Path) -> Path:
    """The photo at this size, with its EXIF."""
    picture = Image.open(photo)
    share = (megapixels * 1e6 / (picture.width * picture.height)) ** 0.5
    size = (round(picture.width * share), round(picture.height * share))
    large = folder / "photo.jpg"
    picture.resize(size, Image.Resampling.BICUBIC).save(large, quality=92, exif=picture.getexif())
    return large


def stages(command: list[str]) -> dict[str, float]:
    """Processor seconds of each stage of one run."""
    done = subprocess.run([sys.executable, "-c", STAGES, *command, "--quiet"], capture_output=True, text=True)
    return json.loads(done.stderr.splitlines()[-1])


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo", type=Path)
    parser.add_argument("--megapixels", type=float, default=12.0)
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--options", default="--scale tube=33.2mm --fins 4")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        large = enlarged(given.photo, given.megapixels, Path(folder))
        command = ["measure", str(large), *given.options.split(), "--out", str(Path(folder) / "out")]
        rows = []
        for _ in range(given.repeat):
            rows.append([cost(DECODE, [str(large)]), cost(PLAIN, [str(large)]), cost(DIGITIZE, command)])
            (decode_s, _), (plain_s, _), (ours_s, _) = rows[-1]
            print(
                f"decode {decode_s:6.2f} s   plain script {plain_s:6.2f} s   digitize {ours_s:6.2f} s   "
                f"of the script {ours_s / plain_s:5.2f}   of the decode {ours_s / decode_s:6.1f}",
                flush=True,
            )
        (decode_s, decode_mb), (plain_s, plain_mb), (ours_s, ours_mb) = (
            [statistics.median(values) for values in zip(*column, strict=True)] for column in zip(*rows, strict=True)
        )
        print(
            f"median: decode {decode_s:.2f} s, {decode_mb:.0f} MB; plain script {plain_s:.2f} s, {plain_mb:.0f} MB; "
            f"digitize {ours_s:.2f} s, {ours_mb:.0f} MB; {ours_s / plain_s:.2f} of the script, "
            f"{ours_s / decode_s:.1f} times the decode\n"
        )
        spent = stages(command)
        for words, seconds in spent.items():
            print(f"{words:22} {seconds:6.2f} s {100 * seconds / sum(spent.values()):4.0f} %")


if __name__ == "__main__":
    main()
