"""Files that can't or mustn't be read: each is refused with exit code 3 and one line, before harm is done."""

import logging
import os
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from digitize.errors import UnreadableRefusal
from digitize.photo.read import read_photo

FORMATS = {
    "a.jpg": {"quality": 90},
    "progressive.jpg": {"quality": 90, "progressive": True},
    "a.png": {},
    "a.webp": {"quality": 90},
    "lossless.webp": {"lossless": True},
    "a.tif": {},
    "lzw.tif": {"compression": "tiff_lzw"},
    "a.bmp": {},
    "a.heic": {"quality": 80},
}


def textured(width_px: int = 256, height_px: int = 192) -> Image.Image:
    """Busy enough that damage anywhere in the data shows."""
    coarse = np.random.default_rng(3).integers(0, 256, (24, 32, 3)).astype(np.uint8)
    return Image.fromarray(coarse).resize((width_px, height_px), Image.Resampling.BICUBIC)


def refusal(path) -> UnreadableRefusal:
    with pytest.raises(UnreadableRefusal) as caught:
        read_photo(path)
    line = caught.value.line()
    assert int(caught.value.exit_code) == 3
    assert "\n" not in line
    assert len(caught.value.remedy) > 10
    assert str(path).split("/")[-1] in line
    return caught.value


# --- no file, no picture -----------------------------------------------------------------------------------


def test_missing_folder_empty(tmp_path):
    assert "does not exist" in refusal(tmp_path / "no.jpg").what
    assert "folder" in refusal(tmp_path).what
    (tmp_path / "empty.jpg").touch()
    assert "empty" in refusal(tmp_path / "empty.jpg").what
    assert "can't be opened" in refusal(tmp_path / ("x" * 5000)).what


def test_no_permission(tmp_path, monkeypatch):
    path = tmp_path / "a.jpg"
    textured().save(path)

    def denied(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")  # chmod does not hold for the superuser

    monkeypatch.setattr(Path, "open", denied)
    assert "may not be read" in refusal(path).what


def test_special_file_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    assert "ordinary file" in refusal(tmp_path / "pipe.jpg").what


@pytest.mark.parametrize(
    "content",
    [b"x", b"hello, this is no picture\n" * 50, b"%PDF-1.7\n", b"GIF89a", b"\xff\xd8\xff", bytes(5000)],
)
def test_no_picture(tmp_path, content):
    path = tmp_path / "a.jpg"
    path.write_bytes(content)
    assert "not a picture" in refusal(path).what


def test_wrong_suffix_does_not_matter(tmp_path):
    textured().save(tmp_path / "a.png")
    (tmp_path / "a.png").rename(tmp_path / "a.jpg")
    assert read_photo(tmp_path / "a.jpg").rgb.shape == (192, 256, 3)


@pytest.mark.parametrize("tags", [{254: 1}, {50706: b"\x01\x04\x00\x00"}])
def test_camera_raw_is_not_read_by_its_preview(tmp_path, tags):
    textured().save(tmp_path / "a.dng", format="TIFF", tiffinfo=tags)
    assert "raw" in refusal(tmp_path / "a.dng").what


# --- truncated and corrupt ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FORMATS)
@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.98])
def test_truncated(tmp_path, name, share):
    textured().save(tmp_path / name, **FORMATS[name])
    data = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(data[: int(len(data) * share)])
    refusal(tmp_path / name)


@pytest.mark.parametrize("name", ["a.jpg", "progressive.jpg", "a.png", "a.heic", "a.webp", "a.bmp"])
def test_last_byte_missing(tmp_path, name):
    textured().save(tmp_path / name, **FORMATS[name])
    data = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(data[:-1])
    refusal(tmp_path / name)


@pytest.mark.parametrize("restart", [0, 4])
def test_jpeg_with_a_part_missing_inside(tmp_path, restart):
    """It ends as it should, and Pillow reads it without a word, with a grey or shifted part."""
    path = tmp_path / "a.jpg"
    textured(512, 384).save(path, quality=90, restart_marker_blocks=restart)
    data = path.read_bytes()
    middle = len(data) // 2
    path.write_bytes(data[:middle] + data[middle + 3000 :])
    with Image.open(path) as image:
        image.load()
    assert "damaged" in refusal(path).what


def test_jpeg_with_data_overwritten(tmp_path):
    """Of 20 files with 200 bytes made random, most are found out: not all can be (see photo/integrity.py)."""
    path = tmp_path / "a.jpg"
    textured(512, 384).save(path, quality=90)
    data = path.read_bytes()
    random = np.random.default_rng(11)
    found = 0
    for _ in range(20):
        at = int(random.integers(len(data) // 4, len(data) * 3 // 4))
        path.write_bytes(data[:at] + random.bytes(200) + data[at + 200 :])
        try:
            read_photo(path)
        except UnreadableRefusal:
            found += 1
    assert found >= 16


def test_harmless_oddities_of_jpeg_are_read(tmp_path):
    path = tmp_path / "a.jpg"
    textured().save(path, quality=90)
    data = path.read_bytes()
    path.write_bytes(data + b"a camera's own trailer" * 40)
    assert read_photo(path).rgb.shape == (192, 256, 3)
    path.write_bytes(data[:-2] + bytes(37) + data[-2:])  # filled up with zeros before the end mark
    assert read_photo(path).rgb.shape == (192, 256, 3)


def test_png_checksum_is_looked_at(tmp_path):
    """A byte of stored (uncompressed) pixel data is changed: only a checksum can tell."""
    path = tmp_path / "a.png"
    textured().save(path, compress_level=0)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x10
    path.write_bytes(data)
    assert "damaged" in refusal(path).what


def test_heic_whose_second_picture_is_cut_off(tmp_path):
    """The main picture is whole and libheif reads it; the file is not."""
    path = tmp_path / "a.heic"
    textured().save(path, save_all=True, append_images=[textured(320, 256)])
    path.write_bytes(path.read_bytes()[:-300])
    with Image.open(path) as image:
        image.load()
    assert "end is missing" in refusal(path).what


def test_messages_of_c_libraries_do_not_leak(tmp_path, capfd):
    for name in ("a.jpg", "lzw.tif"):
        textured().save(tmp_path / name, **FORMATS[name])
        data = bytearray((tmp_path / name).read_bytes())
        data[len(data) // 3 : len(data) // 2] = bytes(len(data) // 2 - len(data) // 3)
        (tmp_path / name).write_bytes(data)
        refusal(tmp_path / name)
    captured = capfd.readouterr()
    assert captured.out == ""
    assert captured.err == ""


def test_log_of_pillow_does_not_leak(tmp_path, capfd, monkeypatch):
    """Samples per pixel far too many: Pillow logs an error beside raising one."""
    monkeypatch.setattr(logging.getLogger(), "handlers", [])  # pytest's own; a user's run has none
    content = tiff_claiming(32, 24).replace(struct.pack("<HHII", 277, 4, 1, 1), struct.pack("<HHII", 277, 4, 1, 5000))
    (tmp_path / "a.tif").write_bytes(content)
    refusal(tmp_path / "a.tif")
    assert capfd.readouterr().err == ""


# --- absurd sizes: the header alone, nothing behind it ------------------------------------------------------


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png_claiming(width_px: int, height_px: int) -> bytes:
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width_px, height_px, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")


def bmp_claiming(width_px: int, height_px: int) -> bytes:
    return b"BM" + struct.pack("<IIIIiiHHIIiiII", 1000, 0, 54, 40, width_px, height_px, 1, 24, *[0] * 6)


def tiff_claiming(width_px: int, height_px: int) -> bytes:
    entries = {256: width_px, 257: height_px, 258: 8, 259: 1, 262: 1, 273: 8, 277: 1, 278: height_px, 279: 1}
    directory = struct.pack("<H", len(entries))
    directory += b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in entries.items())
    return b"II*\0" + struct.pack("<I", 8) + directory + bytes(4)


def jpeg_claiming(width_px: int, height_px: int, tmp_path) -> bytes:
    textured().save(tmp_path / "small.jpg")
    data = (tmp_path / "small.jpg").read_bytes()
    at = data.index(b"\xff\xc0") + 5
    return data[:at] + struct.pack(">HH", height_px, width_px) + data[at + 4 :]


def test_absurd_sizes_are_refused_by_the_header(tmp_path):
    bombs = {
        "a.png": png_claiming(60000, 60000),
        "b.png": png_claiming(1, 2**31 - 1),
        "a.bmp": bmp_claiming(60000, 60000),
        "a.tif": tiff_claiming(60000, 60000),
        "a.jpg": jpeg_claiming(60000, 60000, tmp_path),
    }
    for name, content in bombs.items():
        (tmp_path / name).write_bytes(content)
        assert "claims" in refusal(tmp_path / name).what


def test_limit_lies_between_200_and_300_million_pixels(tmp_path):
    """A 200 MP header is let through to the decoder, which then finds the data missing."""
    (tmp_path / "a.png").write_bytes(png_claiming(16384, 12288))
    assert "damaged" in refusal(tmp_path / "a.png").what
    (tmp_path / "b.png").write_bytes(png_claiming(20000, 15001))
    assert "claims" in refusal(tmp_path / "b.png").what


def test_nothing_outside_is_changed(tmp_path, monkeypatch):
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 12_345_678)
    for name, options in FORMATS.items():
        path = tmp_path / name
        textured().save(path, **options)
        before = path.read_bytes(), path.stat().st_mtime_ns
        read_photo(path)
        assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert Image.MAX_IMAGE_PIXELS == 12_345_678
    assert sorted(entry.name for entry in tmp_path.iterdir()) == sorted(FORMATS)
