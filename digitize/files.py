"""Files in and out: written whole or not at all; TOML read, or one clear line why not."""

import os
import tempfile
import tomllib
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
    choose = "Choose another name with --out"
    try:
        if os.path.lexists(path) and not (path.is_file() and is_ours(path.read_bytes())):
            raise UsageRefusal(f"{path} exists and was not written by this tool", choose)
        replace_file(path, content)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UsageRefusal(f"{path}: can't be written ({reason.lower()})", choose) from None


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
