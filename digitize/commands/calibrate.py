"""`digitize camera`: a calibration from photos of a checkerboard."""

import sys
from pathlib import Path
from typing import Annotated

import typer


def camera(
    photos: Annotated[
        list[Path],
        typer.Argument(metavar="BOARD...", help="Give five or more photos of one checkerboard at different slants."),
    ],
    checker: Annotated[
        str,
        typer.Option(
            metavar="NxMxS", help="Describe the board by squares across, squares down, and a square's side: 9x6x25mm."
        ),
    ],
    out: Annotated[Path, typer.Option(metavar="FILE.toml", help="Name the file, which measure --camera reads.")] = Path(
        "camera.toml"
    ),
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing of the progress.")] = False,
) -> None:
    """Finds a camera's lens from photos of a checkerboard.

    That is its focal length and its distortion, for measure --camera. Few people need it.
    """
    from digitize.commands.progress import progress_printer
    from digitize.files import check_own_file
    from digitize.photo.calibration import calibrate, is_camera, summary, write_camera
    from digitize.request.parsers import parse_scale

    board = parse_scale(f"checker={checker}")
    assert board.squares is not None and board.length_mm is not None  # else a checker's claim is refused
    check_own_file(out, is_camera)
    found = calibrate(photos, board.squares, board.length_mm, progress_printer(quiet))
    write_camera(out, found)
    sys.stdout.write(summary(found, out))
