"""Whatever is done to a file's bytes, reading ends in a Photo or an UnreadableRefusal, and in silence.

Python warnings are errors in this project's tests, so a leaking one fails here.
"""

from io import BytesIO

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from digitize.errors import UnreadableRefusal
from digitize.photo.read import read_photo


def tiny_files() -> dict[str, bytes]:
    colours = Image.fromarray(np.random.default_rng(5).integers(0, 256, (24, 32, 3)).astype(np.uint8))
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769).update({0x920A: 4.2, 0xA405: 26, 0xA002: 32, 0xA003: 24})
    plans = {
        "jpeg": (colours, "JPEG", {"exif": exif, "quality": 85}),
        "progressive jpeg": (colours, "JPEG", {"progressive": True}),
        "cmyk jpeg": (colours.convert("CMYK"), "JPEG", {}),
        "png": (colours, "PNG", {"exif": exif}),
        "palette png": (colours.quantize(16), "PNG", {"transparency": 3}),
        "16 bit png": (Image.fromarray(np.arange(768, dtype=np.uint16).reshape(24, 32)), "PNG", {}),
        "webp": (colours, "WEBP", {"exif": exif}),
        "tiff": (colours, "TIFF", {"tiffinfo": {274: 6}}),
        "lzw tiff": (colours, "TIFF", {"compression": "tiff_lzw"}),
        "jpeg tiff": (colours, "TIFF", {"compression": "jpeg"}),
        "bmp": (colours, "BMP", {}),
        "heic": (colours.resize((64, 64)), "HEIF", {"exif": exif}),
    }
    files = {}
    for name, (image, picture_format, options) in plans.items():
        buffer = BytesIO()
        image.save(buffer, format=picture_format, **options)
        files[name] = buffer.getvalue()
    return files


FILES = tiny_files()
EDITS = st.lists(
    st.tuples(st.floats(0, 1, exclude_max=True), st.sampled_from(["flip", "set", "cut", "add"]), st.integers(0, 255)),
    min_size=1,
    max_size=5,
)


def edited(data: bytes, edits) -> bytes:
    """Edits at shares of the file's length; half of them fall into its first part, where headers are."""
    content = bytearray(data)
    for share, action, value in edits:
        if not content:
            break
        at = int((share * 2 if share < 0.5 else (share - 0.5) * 0.2) * len(content))
        if action == "flip":
            content[at] ^= 1 << (value % 8)
        elif action == "set":
            content[at] = value
        elif action == "cut":
            del content[at : at + value]
        else:
            content[at:at] = bytes([value]) * (value % 16 + 1)
    return bytes(content)


@pytest.mark.parametrize("name", FILES)
@settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(edits=EDITS)
def test_any_bytes_end_in_a_photo_or_a_refusal(tmp_path, name, edits):
    path = tmp_path / "fuzzed"
    path.write_bytes(edited(FILES[name], edits))
    try:
        photo = read_photo(path)
    except UnreadableRefusal as refusal:
        assert "\n" not in refusal.line()
    else:
        assert photo.rgb.dtype == np.uint8
        assert photo.rgb.ndim == 3
        assert photo.rgb.shape[2] == 3
        assert photo.rgb.flags.c_contiguous


def test_the_unedited_files_are_read(tmp_path):
    for name, data in FILES.items():
        (tmp_path / "plain").write_bytes(data)
        shape = read_photo(tmp_path / "plain").rgb.shape
        assert shape in ((32, 24, 3), (24, 32, 3), (64, 64, 3)), name
