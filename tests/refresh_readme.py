"""Bring the documents' sample output and pictures up to date:  python tests/refresh_readme.py

Runs what README.md and DEVELOPERS.md show, in this process, and writes what came of it: the blocks after an
`<!-- output of digitize ... -->` comment, the tables of options after `<!-- options of digitize ... -->`,
samples/bramble-overlay.png, a smaller copy of the overlay, and
samples/page.png, the page of `digitize trace` with that sample measured (where there is a Chromium).
"""

import contextlib
import io
import os
import re
import shlex
import tempfile
from pathlib import Path

import typer
from PIL import Image

from digitize import cli
from digitize.request.option_table import OPTIONS

ROOT = Path(__file__).parents[1]
PICTURE = ROOT / "samples" / "bramble-overlay.png"
PAGE_PICTURE = ROOT / "samples" / "page.png"
PICTURE_WIDTH_PX = 1200
PICTURE_COLOURS = 128
PAGE_WORDS = {
    "scale": ["ruler=300mm", "tube=33.2mm"], "behind": "0mm", "fins": "4", "balance": "415mm", "mass": "180g"
}  # fmt: skip
"""What is told on the page, so that its picture shows what to do about a margin that is too small."""
OUTPUT_BLOCK = re.compile(
    r"((?:<!-- made in (?P<folder>[^\n]*) by digitize (?P<first>[^\n]*) -->\n)?"
    r"<!-- output of digitize (?P<words>[^\n]*) -->\n```\n)(?P<shown>.*?)(?P<end>```)",
    re.DOTALL,
)
OPTION_TABLE = re.compile(r"(<!-- options of digitize (?P<command>\w+) -->\n)(?:\|[^\n]*\n)*")
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


def options_of(command: str) -> str:
    """The rows of a command's options as its --help has them; what `measure` has alike is named and no more."""
    commands = typer.main.get_command(cli.app).commands
    measures = {option.name: option.help for option in commands["measure"].params}
    rows, alike = [], []
    for option in commands[command].params:
        if option.param_type_name != "option":
            continue
        said = f"`{' '.join([option.opts[0], *([option.metavar] if option.metavar and not option.is_flag else [])])}`"
        if command != "measure" and measures.get(option.name) == option.help:
            alike.append(said)
            continue
        more = OPTIONS[option.name].more if command == "measure" else ""
        rows.append(f"| {said} | {' '.join(filter(None, [option.help, more]))} |")
    rows += [f"| {', '.join(alike)} | As for `measure`. |"] if alike else []
    return "\n".join(["| option | meaning |", "|---|---|", *rows])


def with_options(text: str) -> str:
    """The text with every table of options as the code has them now."""
    return OPTION_TABLE.sub(lambda m: f"{m[1]}{options_of(m['command'])}\n", text)


def make_picture(readme: str) -> None:
    """The sample's overlay, small enough for a page."""
    words = shlex.split(SAMPLE_COMMAND.search(readme)["words"])
    with tempfile.TemporaryDirectory() as folder:
        words[words.index("--out") + 1] = folder
        output_of(words)
        with Image.open(Path(folder) / "overlay.png") as overlay:
            size = PICTURE_WIDTH_PX, round(overlay.height * PICTURE_WIDTH_PX / overlay.width)
            small = overlay.convert("RGB").resize(size, Image.Resampling.LANCZOS)
    save_small(small, PICTURE)


def save_small(picture: Image.Image, path: Path) -> None:
    """With few colours, as a PNG."""
    few = picture.convert("RGB").quantize(PICTURE_COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    few.save(path, optimize=True)


def make_page_picture() -> None:
    """The page in a real browser, as it is once the sample is measured."""
    from playwright.sync_api import sync_playwright
    from trace_page import CHROMIUM, FLAGS, Served

    from digitize.trace.session import Session

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        session = Session(Path(folder) / "bramble")
        session.load_photo(ROOT / "samples" / "bramble-white-ruler.jpg")
        session.begin(PAGE_WORDS)
        with Served(session) as served:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            page = browser.new_page(viewport={"width": 1400, "height": 900})
            page.goto(served.url)
            page.wait_for_load_state("networkidle")
            page.wait_for_timeout(1500)
            shown = page.screenshot()
            browser.close()
    with Image.open(io.BytesIO(shown)) as picture:
        size = PICTURE_WIDTH_PX, round(picture.height * PICTURE_WIDTH_PX / picture.width)
        save_small(picture.resize(size, Image.Resampling.LANCZOS), PAGE_PICTURE)


def main() -> None:
    os.chdir(ROOT)  # the README's paths are from there
    for path in (ROOT / "DEVELOPERS.md", ROOT / "README.md"):
        text = with_options(with_output(path.read_text("utf-8")))
        path.write_text(text, "utf-8")
    make_picture(text)
    make_page_picture()
    for picture in (PICTURE, PAGE_PICTURE):
        print(f"{picture.relative_to(ROOT)} ({picture.stat().st_size // 1000} kB)")


if __name__ == "__main__":
    main()
