"""Files in and out: written whole or not at all; TOML read, or one clear line why not."""

import os
import tempfile
import tomllib
from contextlib import suppress
from pathlib import Path

from digitize.errors import UnreadableRefusal, UsageRefusal


def read_toml(path: Path, kind: str) -> dict:
    """What a TOML file holds; kind: what it should be, for the message. Raises UnreadableRefusal."""
    try:
        content = Path(path).read_bytes()
    except (OSError, ValueError) as error:  # a zero byte in a name is a ValueError
        raise _not_toml(path, kind, error) from None
    return parse_toml(content, path, kind)


def parse_toml(content: bytes, name: str | Path, kind: str) -> dict:
    """The same from the file's content; name: how the message calls it. Raises UnreadableRefusal."""
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:  # both decoders' errors are ValueErrors
        raise _not_toml(name, kind, error) from None


def _not_toml(name: str | Path, kind: str, error: Exception) -> UnreadableRefusal:
    reason = getattr(error, "strerror", None) or str(error)
    if isinstance(error, RecursionError):
        reason = "it is nested too deeply"
    what = f"{name}: no {kind} can be read from it ({' '.join(reason.split())})"
    return UnreadableRefusal(what, f"Give the path of a {kind} in TOML")


def replace_file(path: Path, content: bytes) -> None:
    """Write beside the place and move there, so no half file is ever seen. Raises OSError or ValueError."""
    handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(beside, 0o666 & ~_umask())
        os.replace(beside, path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise


def replace_own_file(path: Path, content: bytes, is_ours) -> None:
    """The same for a file named by the user, which may only replace one this tool made.

    is_ours: tells it from the bytes already there. Raises UsageRefusal.
    """
    _check_replaceable(path, is_ours)
    try:
        replace_file(path, content)
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None


def check_own_file(path: Path, is_ours) -> None:
    """Raise UsageRefusal where `replace_own_file` would; worth calling before the work is done."""
    _check_replaceable(path, is_ours)
    try:
        _try_to_write(path.parent)
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None


_CHOOSE = "Choose another name with --out"


def _check_replaceable(path: Path, is_ours) -> None:
    try:
        if os.path.lexists(path) and not (path.is_file() and is_ours(path.read_bytes())):
            raise UsageRefusal(f"{path} exists and was not written by this tool", _CHOOSE)
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None


def _unwritable(path: Path, error: Exception) -> UsageRefusal:
    reason = getattr(error, "strerror", None) or str(error)
    return UsageRefusal(f"{path}: can't be written ({reason.lower()})", _CHOOSE)


def check_folder(folder: Path, remedy: str = "choose another folder with --out") -> None:
    """Raise UsageRefusal unless the folder is there or can be made, and files can be written in it; nothing is left.

    It is tried, since only that tells: a name may be too long, a disk full or read-only, a folder somebody else's.
    """
    folder, made = Path(folder), []
    try:
        for place in reversed([folder, *folder.parents]):
            if not os.path.isdir(place):
                os.mkdir(place)
                made.append(place)
        _try_to_write(folder)
    except (OSError, ValueError) as error:
        if isinstance(error, FileExistsError):
            raise UsageRefusal(f"{folder}: {place} is a file, not a folder", remedy) from None
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageRefusal(f"{folder}: can't be written ({reason.lower()})", remedy) from None
    finally:
        for place in reversed(made):
            with suppress(OSError):  # somebody else has put something there meanwhile
                os.rmdir(place)


def _try_to_write(folder: Path) -> None:
    with tempfile.NamedTemporaryFile(prefix=".digitize-", dir=folder) as file:
        file.write(b"1")
        file.flush()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
