"""The one door through which pictures come in: upright, 8-bit sRGB, of a size that can be worked with."""

import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pillow_heif

# A format asked for by name must be known beforehand; Pillow's own way to that, Image.init, loads forty others too.
from PIL import (  # noqa: F401
    BmpImagePlugin,
    Image,
    JpegImagePlugin,
    MpoImagePlugin,
    PngImagePlugin,
    UnidentifiedImageError,
    WebPImagePlugin,
)
from PIL.TiffImagePlugin import TiffImageFile

from digitize.errors import UnreadableRefusal
from digitize.photo.colour import to_plain_mode, to_srgb
from digitize.photo.exif import ExifFacts, read_exif
from digitize.photo.integrity import find_damage, heif_container_turns, native_stderr
from digitize.records import Photo

# The largest telephone pictures are 200 MP; what claims more than this is not a photo.
LARGEST_FILE_PX = 300_000_000
# Cameras called "50 MP" have up to 50.4; finer than this adds nothing to an outline.
LARGEST_WORKING_PX = 52_000_000
# A strip picture put together from many; its diagonal must still fit into `photo.sampling`.
LONGEST_SIDE_PX = 30_000

FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "HEIF")
_SPOKEN_FORMATS = "JPEG, HEIC, PNG, WebP, TIFF or BMP"
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

pillow_heif.register_heif_opener()
# Without a handler of its own, Pillow's log of a bad file would come out on standard error.
logging.getLogger("PIL").addHandler(logging.NullHandler())


def read_photo(path: Path | str) -> Photo:
    """Read a photo from a JPEG, HEIC/HEIF, PNG, WebP, TIFF or BMP file; the file is never written to.

    The pixels are turned upright as EXIF (or the HEIF container) says, brought to 8-bit sRGB by the embedded
    colour profile, put on an opaque ground where transparent, and made smaller by a whole number when the
    picture has more than LARGEST_WORKING_PX pixels or a side over LONGEST_SIDE_PX. Photo.notes says which of these
    was done.

    Returns a Photo whose rgb is (H, W, 3) uint8, C-contiguous. Frame: upright, centre of the top-left pixel
    at (0, 0); Photo.to_full_px leads back to the full-size picture. A picture may be too small to measure:
    that is not judged here.
    Raises UnreadableRefusal for what is missing, no picture, truncated, corrupt, or absurdly large.
    """
    path = Path(path)
    _refuse_no_file(path)
    notes: list[str] = []
    with _pillow_told(notes):
        try:
            image, facts, shrink = _decode(path, notes)
        except UnreadableRefusal:
            raise
        except UnidentifiedImageError as error:
            raise UnreadableRefusal(
                f"{path} is not a picture this reads, or its beginning is damaged",
                f"Give a {_SPOKEN_FORMATS} file",
            ) from error
        except MemoryError as error:
            raise UnreadableRefusal(
                f"{path} does not fit into this machine's memory", "Export it at a smaller size"
            ) from error
        except Exception as error:  # decoders raise nearly any kind of exception on damaged data
            raise _damaged(path, str(error) or type(error).__name__) from error
    return Photo(path, _to_array(image), shrink, facts.focal35_mm, tuple(notes))


def _decode(path: Path, notes: list[str]) -> tuple[Image.Image, ExifFacts, int]:
    """(upright sRGB image of working size, what EXIF says, shrink)."""
    with Image.open(path, formats=FORMATS) as image:
        width_px, height_px = image.size
        _refuse_absurd_size(path, width_px, height_px)
        _refuse_camera_raw(path, image)
        _note_pages(image, notes)
        shrink = whole_shrink(width_px, height_px)
        is_reduced = _decoder_reduces(image, shrink)
        heard: list[str] = []
        with native_stderr(heard):  # libtiff speaks there
            image.load()
        notes.extend(f"the reader warns: {each}" for each in dict.fromkeys(heard))
        if damage := find_damage(path, image.format):
            raise _damaged(path, damage)
        facts = read_exif(image, width_px, height_px)
        notes.extend(facts.notes)
        icc_profile = image.info.get("icc_profile")
        turn = _turn(path, image, facts)
        plain, note = to_plain_mode(image)
        notes.extend([note] if note else [])
        if turn is not None:
            plain = plain.transpose(turn)
            notes.append("turned upright as EXIF says")
        if shrink > 1:
            plain = plain if is_reduced else _box_reduced(plain, shrink)
            notes.append(f"made smaller by {shrink}, from {width_px} × {height_px} pixels as stored")
        srgb, colour_notes = to_srgb(plain, icc_profile)
        notes.extend(colour_notes)
    return srgb, facts, shrink


def _refuse_no_file(path: Path) -> None:
    try:
        if not path.exists():
            raise UnreadableRefusal(f"{path} does not exist", "Check the name and the folder")
        if not path.is_file():
            what = "a folder" if path.is_dir() else "not an ordinary file"
            raise UnreadableRefusal(f"{path} is {what}", "Give the picture file itself")
        with path.open("rb") as file:
            if not file.read(1):
                raise UnreadableRefusal(f"{path} is empty (0 bytes)", "Copy it again from the camera")
    except PermissionError as error:
        raise UnreadableRefusal(f"{path} may not be read by this user", "Change its permissions, or copy it") from error
    except (OSError, ValueError) as error:  # a name too long, a loop of links, a zero byte in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise UnreadableRefusal(f"{path} can't be opened: {reason}", "Check the name") from error


def _damaged(path: Path, reason: str) -> UnreadableRefusal:
    return UnreadableRefusal(
        f"{path} is truncated or damaged: {' '.join(reason.split())}",
        "Copy it again from the camera, or export it anew as JPEG",
    )


def _refuse_absurd_size(path: Path, width_px: int, height_px: int) -> None:
    """Judged by the header, before any pixel is decoded."""
    if width_px * height_px > LARGEST_FILE_PX:
        raise UnreadableRefusal(
            f"{path} claims {width_px} × {height_px} pixels, more than {LARGEST_FILE_PX // 10**6} million",
            "If it is a real photo, export it at a smaller size",
        )


def _refuse_camera_raw(path: Path, image: Image.Image) -> None:
    """Most camera raw files are TIFF by structure, and their first picture is only a small preview."""
    if not isinstance(image, TiffImageFile):
        return
    is_dng = 50706 in image.tag_v2  # DNGVersion (DNG specification)
    is_preview = bool(image.tag_v2.get(254, 0) & 1)  # NewSubfileType (TIFF 6.0): a reduced copy of another
    if is_dng or is_preview:
        raise UnreadableRefusal(f"{path} is a camera raw file", "Export it as JPEG or TIFF")


def _note_pages(image: Image.Image, notes: list[str]) -> None:
    pages = getattr(image, "n_frames", 1)
    if pages > 1:
        which = "main one" if image.format in ("HEIF", "MPO") else "first"
        notes.append(f"{pages} pictures in the file, the {which} is used")


def whole_shrink(width_px: int, height_px: int) -> int:
    """Powers of two, because the JPEG decoder reduces by those."""
    shrink = 1
    while width_px * height_px / shrink**2 > LARGEST_WORKING_PX or max(width_px, height_px) / shrink > LONGEST_SIDE_PX:
        shrink *= 2
    return shrink


def _decoder_reduces(image: Image.Image, shrink: int) -> bool:
    """Let the JPEG decoder reduce while it decodes: the same grid of blocks, a fraction of the memory.

    Only where the blocks come out whole, so that they also do after turning.
    """
    size = (image.width // shrink, image.height // shrink)
    if image.format not in ("JPEG", "MPO") or shrink == 1:
        return False
    if image.width % shrink or image.height % shrink:
        return False
    image.draft(image.mode, size)
    return image.size == size


def _turn(path: Path, image: Image.Image, facts: ExifFacts) -> Image.Transpose | None:
    """How to turn the decoded pixels. Pillow has already turned TIFF files and removed the tag."""
    orientation = facts.orientation
    if image.format == "HEIF" and not heif_container_turns(path):
        # The HEIF reader follows the container only, and sets EXIF's own word to 1.
        orientation = image.info.get("original_orientation") or 1
    return _TURNS.get(orientation)


def _box_reduced(image: Image.Image, shrink: int) -> Image.Image:
    """Means of whole blocks counted from the upright picture's top left; what remains at the end is cut."""
    width_px, height_px = image.width // shrink * shrink, image.height // shrink * shrink
    return image.reduce(shrink, box=(0, 0, width_px, height_px))


def _to_array(image: Image.Image) -> np.ndarray:
    """(H, W, 3) uint8, filled in strips because a copy of the whole at once costs as much again."""
    rgb = np.empty((image.height, image.width, 3), np.uint8)
    for top in range(0, image.height, 256):
        bottom = min(top + 256, image.height)
        rgb[top:bottom] = np.asarray(image.crop((0, top, image.width, bottom)))
    return rgb


@contextmanager
def _pillow_told(notes: list[str]) -> Iterator[None]:
    """Pillow's warnings go to the notes, and its own size limit gives way to LARGEST_FILE_PX, for a while."""
    limit = Image.MAX_IMAGE_PIXELS
    try:
        Image.MAX_IMAGE_PIXELS = None
        with warnings.catch_warnings(record=True) as heard:
            warnings.simplefilter("always")
            yield
    finally:
        Image.MAX_IMAGE_PIXELS = limit
    words = dict.fromkeys(" ".join(str(each.message).split()) for each in heard)
    notes.extend(f"the reader warns: {each}" for each in words)
