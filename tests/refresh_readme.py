"""Bring the README's sample output and picture up to date:  python tests/refresh_readme.py

Runs what the README shows, in this process, and writes what came of it: the blocks after an
`<!-- output of digitize ... -->` comment, and samples/bramble-overlay.png, a smaller copy of the overlay.
"""

import contextlib
import io
import os
import re
import shlex
import tempfile
from pathlib import Path

from PIL import Image

from digitize import cli

ROOT = Path(__file__).parents[1]
PICTURE = ROOT / "samples" / "bramble-overlay.png"
PICTURE_WIDTH_PX = 1200
PICTURE_COLOURS = 128
OUTPUT_BLOCK = re.compile(
    r"((?:<!-- made in (?P<folder>[^\n]*) by digitize (?P<first>[^\n]*) -->\n)?"
    r"<!-- output of digitize (?P<words>[^\n]*) -->\n```\n)(?P<shown>.*?)(?P<end>```)",
    re.DOTALL,
)
SAMPLE_COMMAND = re.compile(r"<!-- command 1 -->\n```sh\n.* \.venv/bin/digitize (?P<words>[^\n]*)\n```")


def output_of(words: list[str]) -> str:
    """What the command prints on standard output. Raises RuntimeError if it fails."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        code = cli.main(words)
    if code:
        raise RuntimeError(f"digitize {' '.join(words)}: exit {code}")
    return printed.getvalue()


def shown_by(match: re.Match) -> str:
    """What a block's command prints; where it works on a results folder, that is made first, out of the way."""
    words, folder = shlex.split(match["words"]), match["folder"]
    if folder is None:
        return output_of(words)
    with tempfile.TemporaryDirectory() as made:
        output_of([*shlex.split(match["first"]), "--out", made])
        return output_of([made if word == folder else word for word in words]).replace(made, folder)


def with_output(text: str) -> str:
    """The README's text with every output block as the code gives it now."""
    return OUTPUT_BLOCK.sub(lambda m: m[1] + shown_by(m).rstrip() + "\n" + m["end"], text)


def make_picture(readme: str) -> None:
    """The sample's overlay, small enough for a page."""
    words = shlex.split(SAMPLE_COMMAND.search(readme)["words"])
    with tempfile.TemporaryDirectory() as folder:
        words[words.index("--out") + 1] = folder
        output_of(words)
        with Image.open(Path(folder) / "overlay.png") as overlay:
            size = PICTURE_WIDTH_PX, round(overlay.height * PICTURE_WIDTH_PX / overlay.width)
            small = overlay.convert("RGB").resize(size, Image.Resampling.LANCZOS)
    few = small.quantize(PICTURE_COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    few.save(PICTURE, optimize=True)


def main() -> None:
    os.chdir(ROOT)  # the README's paths are from there
    readme = ROOT / "README.md"
    text = with_output(readme.read_text("utf-8"))
    readme.write_text(text, "utf-8")
    make_picture(text)
    print(f"{readme.name}, {PICTURE.relative_to(ROOT)} ({PICTURE.stat().st_size // 1000} kB)")


if __name__ == "__main__":
    main()
