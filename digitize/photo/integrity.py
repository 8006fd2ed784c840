"""Damage that a decoder passes over in silence.

Pillow gives back a JPEG whose data ran out with a grey area, and a file whose last part was cut off without a
word. A silhouette taken from such a picture would look sound, so the damage is searched for here.
What can't be found: a changed bit after which a JPEG's code falls back in step (the picture differs in a few
blocks), and damage inside HEIC, WebP, BMP and uncompressed TIFF data, which carry no check and whose decoders
patch over it.
"""

import os
import re
import struct
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np

# libjpeg's words (jerror.h) for compressed data that is out of step, missing or left over.
_JPEG_DAMAGE = re.compile(
    r"premature end|bad huffman code|bad arithmetic code|bad progression|inconsistent progression"
    r"|found marker|extraneous bytes",
    re.IGNORECASE,
)
_JPEG_LEFT_OVER = re.compile(r"(\d+) extraneous bytes before marker 0xd9")
_CONTAINERS = {b"meta", b"iprp", b"ipco"}


def find_damage(path: Path, picture_format: str | None) -> str | None:
    """What is wrong with the file's data, in a few words; None when nothing was found.

    picture_format: as Pillow names it. WebP, BMP and TIFF are not in need: Pillow sees when they are cut off.
    """
    checks = {"JPEG": _jpeg_damage, "MPO": _jpeg_damage, "PNG": _png_damage, "HEIF": _heif_damage}
    check = checks.get(picture_format or "")
    return check(path) if check else None


@contextmanager
def native_stderr(heard: list[str]) -> Iterator[None]:
    """Collects into `heard` what C libraries write to the process's standard error meanwhile.

    The whole process's: keep it short, and let no other thread write its progress then.
    """
    with tempfile.TemporaryFile() as sink:
        try:
            saved = os.dup(2)
        except OSError:  # a process without standard error: there is nothing to listen to
            yield
            return
        os.dup2(sink.fileno(), 2)
        try:
            yield
        finally:
            os.dup2(saved, 2)
            os.close(saved)
            sink.seek(0)
            heard.extend(sink.read().decode("utf-8", "replace").splitlines())


def _jpeg_damage(path: Path) -> str | None:
    """libjpeg's own complaints, which OpenCV lets through to standard error and Pillow swallows.

    Decoded at 1/8 size: the compressed data is still gone through in full, in a tenth of the time.
    """
    data = path.read_bytes()
    heard: list[str] = []
    flags = cv2.IMREAD_REDUCED_GRAYSCALE_8 | cv2.IMREAD_IGNORE_ORIENTATION
    with native_stderr(heard):
        try:
            cv2.imdecode(np.frombuffer(data, np.uint8), flags)
        except cv2.error:  # a size limit of OpenCV's own; Pillow is the judge of whether it can be read
            return None
    for complaint in heard:
        left_over = _JPEG_LEFT_OVER.search(complaint)
        if left_over and b"\0" * int(left_over[1]) + b"\xff\xd9" in data:
            continue  # some cameras fill up with zeros before the end mark: harmless
        if _JPEG_DAMAGE.search(complaint):
            return complaint.removeprefix("Corrupt JPEG data: ").strip()
    return None


def _png_damage(path: Path) -> str | None:
    """The end mark (PNG specification, 11.2.5). Pillow checks the sums of the data, but not that it ends."""
    return None if b"IEND\xaeB`\x82" in path.read_bytes() else "its end is missing"


def _boxes(data: bytes, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Boxes (kind, start of content, end) of an ISO base media file (ISO/IEC 14496-12, 4.2)."""
    while start + 8 <= end:
        size, kind = struct.unpack_from(">I4s", data, start)
        header = 8
        if size == 1 and start + 16 <= end:
            size, header = struct.unpack_from(">Q", data, start + 8)[0], 16
        if size == 0:
            size = end - start
        if size < header:
            return
        yield kind, start + header, start + size
        start += size


def _heif_damage(path: Path) -> str | None:
    """Boxes reaching past the end. libheif decodes what is left, if the main picture comes first."""
    data = path.read_bytes()
    end = max((stop for _, _, stop in _boxes(data, 0, len(data))), default=0)
    return "its end is missing" if end > len(data) else None


def heif_container_turns(path: Path) -> bool:
    """Whether a HEIF file's container says how the picture is turned ('irot' or 'imir' properties).

    By ISO/IEC 23008-12 the container's word holds and decoders follow it; an EXIF orientation beside it is
    for information only. Files turned by EXIF alone have neither property.
    """
    return _holds_turn(path.read_bytes(), 0, None)


def _holds_turn(data: bytes, start: int, end: int | None) -> bool:
    for kind, first, stop in _boxes(data, start, len(data) if end is None else end):
        if kind in (b"irot", b"imir"):
            return True
        content = first + 4 if kind == b"meta" else first  # 'meta' has a version before its boxes
        if kind in _CONTAINERS and _holds_turn(data, content, min(stop, len(data))):
            return True
    return False
