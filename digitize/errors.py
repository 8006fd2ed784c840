"""Exit codes, and the one kind of exception a user may see.

Every refusal says what was wrong, where, and what to do next, in one line each.
"""

from enum import IntEnum
from typing import Any


class ExitCode(IntEnum):
    """The contract's exit codes."""

    OK = 0
    USAGE = 2
    UNREADABLE = 3
    SCALE = 4
    OUTLINE = 5
    GEOMETRY = 6
    DEFECT = 70


class Refusal(Exception):
    """The tool declines to give a number.

    what: what was wrong and where (one line); remedy: what to do next (one line); seen: what was seen of the photo
    that is refused (`refused.Seen`), None where none was looked at.
    """

    exit_code = ExitCode.DEFECT
    seen: Any = None  # a refused.Seen, which is made of records that this lowest layer doesn't know

    def __init__(self, what: str, remedy: str):
        super().__init__(what)
        self.what = what
        self.remedy = remedy

    def worded(self, what: str, remedy: str) -> "Refusal":
        """The same refusal in other words."""
        same = type(self)(what, remedy)
        same.seen = self.seen
        return same

    def line(self) -> str:
        """The one line shown to the user."""
        remedy = self.remedy.rstrip(".")
        return f"{self.what.rstrip('.')}. {remedy[:1].upper()}{remedy[1:]}."


class UsageRefusal(Refusal):
    """The command line, or a value on it, is not understood."""

    exit_code = ExitCode.USAGE


class UnreadableRefusal(Refusal):
    """An input file can't be read."""

    exit_code = ExitCode.UNREADABLE


class ScaleRefusal(Refusal):
    """The scale is missing or not believable."""

    exit_code = ExitCode.SCALE


class OutlineRefusal(Refusal):
    """No trustworthy outline was found in the picture."""

    exit_code = ExitCode.OUTLINE


class FinsRefusal(OutlineRefusal):
    """What stands out from the body is not the fins that were looked for."""


class GeometryRefusal(Refusal):
    """The geometry can't be used for what was asked."""

    exit_code = ExitCode.GEOMETRY


# What OpenCV loads from the system, and the Debian package that holds it.
_SYSTEM_LIBRARIES = {
    "libGL.so": "libgl1",
    "libgthread-2.0": "libglib2.0-0",
    "libglib-2.0": "libglib2.0-0",
    "libgobject-2.0": "libglib2.0-0",
    "libSM.so": "libsm6",
    "libXext.so": "libxext6",
    "libXrender.so": "libxrender1",
}


def defect_words(error: Exception) -> str:
    """One line for an error nobody foresaw; a missing system library is named with its package."""
    if isinstance(error, ImportError):
        for library, package in _SYSTEM_LIBRARIES.items():
            if library in str(error):
                return (
                    f"OpenCV needs the system library {library}, which is missing. "
                    f"Install it, on Debian or Ubuntu with: apt-get install {package}."
                )
    words = " ".join(str(error).split()) or "no message"
    return (
        f"a defect in the tool itself ({type(error).__name__}: {words}). "
        "Please report it, with the command and the output under DIGITIZE_DEBUG=1."
    )
