"""`digitize trace`: a local page to see, correct and re-solve an outline."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from digitize.commands.option_types import OutOption, UnitsOption, refusing_in_units


@refusing_in_units
def trace(
    start: Annotated[
        Path | None,
        typer.Argument(
            metavar="PHOTO_OR_RESULT_DIR",
            help="Give a photo or a results folder; without it the page asks for a photo.",
        ),
    ] = None,
    port: Annotated[
        int, typer.Option(metavar="N", min=0, max=65535, help="Choose the port on this machine; 0 takes any free one.")
    ] = 0,
    no_open: Annotated[bool, typer.Option("--no-open", help="Only print the address, open no browser.")] = False,
    camera: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Give a calibration of the camera, as for measure.")
    ] = None,
    out: OutOption = None,
    units: UnitsOption = None,
    phone: Annotated[
        bool, typer.Option("--phone", help="Serve the page to the local network too, for a phone.")
    ] = False,
) -> None:
    """Opens a page in your browser to do it all by mouse.

    Choose the photo, tell the scale, see the answer, and drag right what is wrong. The page is served to this machine
    only, unless you say --phone.
    """
    from digitize.errors import UsageRefusal
    from digitize.photo.calibration import read_camera
    from digitize.report.folder import check_out_dir
    from digitize.request.parsers import parse_units
    from digitize.trace.history import read_history
    from digitize.trace.reopened import open_folder
    from digitize.trace.serve import serve
    from digitize.trace.shelf import NEW, free_folder

    shown_units = parse_units(units)
    network = _network() if phone else ()
    if camera is not None:
        read_camera(camera)
    if start is not None and start.is_dir():
        if out is not None:
            raise UsageRefusal("--out was given with a results folder", "leave it out: changes go to that folder")
        check_out_dir(start)
        session, begin = open_folder(start, camera)
        session.begin_in_background(**begin)
    elif start is None:
        folder = out or free_folder(Path(NEW))
        check_out_dir(folder)
        session = _new(folder, camera)
    else:
        folder = out or Path(f"{start.stem}-digitized")
        check_out_dir(folder, start)
        history = read_history(folder) if folder.is_dir() else None
        if history is not None and Path(str(history.get("photo"))).absolute() == start.absolute():
            session, begin = open_folder(folder, camera)
            session.begin_in_background(**begin)
        else:
            session = _new(folder, camera)
            session.load_photo(start)
    session.units = shown_units or session.units
    serve(session, port, _print_addresses, not no_open, network)


def _new(folder: Path, camera: Path | None):
    """A session that begins here, with the calibration if one was given. Raises UnreadableRefusal."""
    from digitize.trace.session import Session

    session = Session(folder)
    if camera is not None:
        session.choose_camera(camera)
    return session


def _network():
    """This machine's addresses in local networks. Raises UsageRefusal."""
    from digitize.trace.addresses import local_addresses  # what it needs is needed for this alone

    return local_addresses()


def _print_addresses(address: str, phone=None) -> None:
    """phone: where the page is in the local network (`Phone`), None: nowhere."""
    sys.stdout.write(f"{address}\nOpen this address on this machine. Ctrl-C ends it; every change is kept.\n")
    if phone is not None:
        from digitize.trace.phone import on_the_terminal

        sys.stdout.write(on_the_terminal(phone, sys.stdout))
    sys.stdout.flush()
