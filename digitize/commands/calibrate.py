"""`digitize camera`: a calibration from photos of a checkerboard."""

import sys
from pathlib import Path
from typing import Annotated

import typer


def camera(
    photos: Annotated[
        list[Path],
        typer.Argument(
            metavar="BOARD...", help="Photos of one checkerboard at different slants, five or more."
        ),
    ],
    checker: Annotated[
        str,
        typer.Option(metavar="NxMxS", help="The board: squares across, down, and a square's side: 9x6x25mm."),
    ],
    out: Annotated[
        Path, typer.Option(metavar="FILE.toml", help="File to write, for measure --camera.")
    ] = Path("camera.toml"),
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress on standard error.")] = False,
) -> None:
    """A camera's focal length and lens distortion from photos of a checkerboard, for measure --camera."""
    from digitize.commands.progress import sayer
    from digitize.files import check_own_file
    from digitize.photo.calibration import calibrate, is_camera, summary, write_camera
    from digitize.request.options import parse_scale

    board = parse_scale(f"checker={checker}")
    assert board.squares is not None and board.length_mm is not None  # else a checker's claim is refused
    check_own_file(out, is_camera)
    found = calibrate(photos, board.squares, board.length_mm, sayer(quiet))
    write_camera(out, found)
    sys.stdout.write(summary(found, out))
