"""An address as a QR code (ISO/IEC 18004, by segno), for the terminal and for the page."""

import io
import os
from typing import TextIO

import segno

QUIET = 4
"""Modules of margin that the standard asks for."""
_BLOCKS = {(0, 0): " ", (1, 0): "\u2580", (0, 1): "\u2584", (1, 1): "\u2588"}
_DARK_ON_LIGHT, _AS_BEFORE = "\x1b[38;5;16;48;5;231m", "\x1b[0m"


def code(address: str) -> segno.QRCode:
    """Medium correction: read from a screen, off the square or with a reflection on it."""
    return segno.make(address, error="m", micro=False)


def as_svg(address: str) -> bytes:
    """Black on white with its margin, whatever the page's colours."""
    out = io.BytesIO()
    code(address).save(out, kind="svg", border=QUIET, light="#fff", xmldecl=False, svgclass=None, lineclass=None,
                       omitsize=True)  # fmt: skip
    return out.getvalue()


def as_text(address: str) -> str:
    """Two modules a letter, one above the other; dark on light on any terminal that knows colours."""
    rows = [[int(dark) for dark in row] for row in code(address).matrix_iter(border=QUIET)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    lines = ("".join(_BLOCKS[pair] for pair in zip(*rows[k : k + 2], strict=True)) for k in range(0, len(rows), 2))
    return "".join(f"{_DARK_ON_LIGHT}{line}{_AS_BEFORE}\n" for line in lines)


def can_show(out: TextIO) -> bool:
    """Whether this is a terminal with colours and block letters; a file or an old console is not."""
    if not out.isatty() or os.environ.get("TERM") == "dumb" or (os.name == "nt" and "WT_SESSION" not in os.environ):
        return False
    try:
        "".join(_BLOCKS.values()).encode(out.encoding or "ascii")
    except (UnicodeError, LookupError):
        return False
    return True
