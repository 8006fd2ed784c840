"""Reading good files: pixels upright, colours and depth right, focal length, reduction.

Outside checks: numpy's own transposes for the eight orientations (meanings after the EXIF standard, CIPA
DC-008, from memory), OpenCV as a second reader, and published colour matrices.
"""

import struct

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from digitize.photo import read
from digitize.photo.read import read_photo

# What is stored for `upright` to be shown; the tag names the visual sides of (row 0, column 0).
STORED = {
    1: lambda upright: upright,  # top, left
    2: lambda upright: upright[:, ::-1],  # top, right
    3: lambda upright: upright[::-1, ::-1],  # bottom, right
    4: lambda upright: upright[::-1],  # bottom, left
    5: lambda upright: upright.transpose(1, 0, 2),  # left, top
    6: lambda upright: upright.transpose(1, 0, 2)[::-1],  # right, top
    7: lambda upright: upright.transpose(1, 0, 2)[::-1, ::-1],  # right, bottom
    8: lambda upright: upright.transpose(1, 0, 2)[:, ::-1],  # left, bottom
}
ORIENTATIONS = tuple(STORED)


def upright_picture(width_px: int = 96, height_px: int = 64) -> np.ndarray:
    """Four quarters of different colours, no symmetry; sizes in whole JPEG and HEVC blocks."""
    rgb = np.zeros((height_px, width_px, 3), np.uint8)
    half_h, half_w = height_px // 2, width_px // 2
    rgb[:half_h, :half_w] = (200, 40, 40)
    rgb[:half_h, half_w:] = (40, 180, 60)
    rgb[half_h:, :half_w] = (50, 60, 190)
    rgb[half_h:, half_w:] = (210, 210, 200)
    return rgb


def exif_bytes(orientation: int | None = None, **tags) -> bytes:
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    exif.get_ifd(0x8769).update({int(name[1:], 16): value for name, value in tags.items()})
    return exif.tobytes()


def save(path, rgb: np.ndarray, **options):
    Image.fromarray(np.ascontiguousarray(rgb)).save(path, **options)
    return path


def assert_same(got: np.ndarray, wanted: np.ndarray, levels: float) -> None:
    assert got.shape == wanted.shape
    assert np.abs(got.astype(int) - wanted.astype(int)).mean() <= levels


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize(
    ("name", "options", "levels"),
    [
        ("a.jpg", {"quality": 95, "subsampling": 0}, 2),
        ("a.png", {}, 0),
        ("a.webp", {"lossless": True}, 0),
        ("a.heic", {"quality": 90, "chroma": 444}, 3),
    ],
)
def test_all_eight_orientations(tmp_path, orientation, name, options, levels):
    stored = STORED[orientation](upright_picture())
    path = save(tmp_path / name, stored, exif=exif_bytes(orientation), **options)
    photo = read_photo(path)
    assert_same(photo.rgb, upright_picture(), levels)
    assert photo.rgb.dtype == np.uint8
    assert photo.rgb.flags.c_contiguous
    assert photo.shrink == 1


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("compression", ["raw", "tiff_lzw"])
def test_tiff_is_turned_once(tmp_path, orientation, compression):
    stored = STORED[orientation](upright_picture())
    path = save(tmp_path / "a.tif", stored, compression=compression, tiffinfo={274: orientation})
    assert_same(read_photo(path).rgb, upright_picture(), 0)


@pytest.mark.parametrize("orientation", ORIENTATIONS[1:])
def test_heic_turned_only_by_exif(tmp_path, orientation):
    """The container says nothing; EXIF does. Made by changing the one EXIF entry of a finished file."""
    stored = STORED[orientation](upright_picture())
    path = save(tmp_path / "a.heic", stored, exif=exif_bytes(1), quality=90, chroma=444)
    data = path.read_bytes()
    entry = struct.pack("<HHIHH", 0x0112, 3, 1, 1, 0)
    big_entry = struct.pack(">HHIHH", 0x0112, 3, 1, 1, 0)
    assert data.count(entry) + data.count(big_entry) == 1
    data = data.replace(entry, struct.pack("<HHIHH", 0x0112, 3, 1, orientation, 0))
    data = data.replace(big_entry, struct.pack(">HHIHH", 0x0112, 3, 1, orientation, 0))
    assert b"irot" not in data
    assert b"imir" not in data
    path.write_bytes(data)
    assert_same(read_photo(path).rgb, upright_picture(), 3)


def test_heic_says_in_container_and_exif_is_turned_once(tmp_path):
    path = save(tmp_path / "a.heic", STORED[6](upright_picture()), exif=exif_bytes(6), quality=90)
    data = path.read_bytes()
    assert b"irot" in data  # the case this is about
    assert read_photo(path).rgb.shape == (64, 96, 3)


@pytest.mark.parametrize("value", [0, 9, 77])
def test_orientation_out_of_range_is_left_and_noted(tmp_path, value):
    path = save(tmp_path / "a.png", upright_picture(), exif=exif_bytes(value))
    photo = read_photo(path)
    assert_same(photo.rgb, upright_picture(), 0)
    assert any("orientation" in note for note in photo.notes)


def test_broken_exif_is_noted_and_does_not_stop(tmp_path):
    good = exif_bytes(6, xA405=26)
    for number, broken in enumerate((b"Exif\0\0\xff\xff\xff\xff" + good[10:], good[:22])):
        path = save(tmp_path / f"{number}.jpg", upright_picture(), exif=broken)
        photo = read_photo(path)
        assert photo.rgb.shape[2] == 3
        assert any("EXIF" in note for note in photo.notes)


# --- depth, colour, transparency ---------------------------------------------------------------------------


def test_16_bit_gray_is_scaled_not_clipped(tmp_path):
    """OpenCV writes the files; the truth is round(level * 255 / 65535)."""
    levels = np.linspace(0, 65535, 64 * 48).astype(np.uint16).reshape(48, 64)
    wanted = np.rint(levels.astype(float) * 255 / 65535).astype(np.uint8)
    for name in ("a.png", "a.tif"):
        assert cv2.imwrite(str(tmp_path / name), levels)
        photo = read_photo(tmp_path / name)
        for channel in range(3):
            assert np.array_equal(photo.rgb[..., channel], wanted)
        assert any("16-bit" in note for note in photo.notes)


def test_16_bit_gray_where_white_is_zero(tmp_path):
    levels = np.linspace(0, 65535, 64 * 48).astype(np.uint16).reshape(48, 64)
    Image.fromarray(levels).save(tmp_path / "a.tif", tiffinfo={262: 0})
    with Image.open(tmp_path / "a.tif") as image:
        assert image.tag_v2[262] == 0
    wanted = 255 - np.rint(levels.astype(float) * 255 / 65535).astype(np.uint8)
    assert np.array_equal(read_photo(tmp_path / "a.tif").rgb[..., 0], wanted)


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_16_bit_colour(tmp_path, name):
    """OpenCV writes; within one level, because Pillow drops the low byte."""
    ramp = np.linspace(0, 65535, 64 * 48).reshape(48, 64)
    rgb = np.stack([ramp, ramp[::-1], ramp[:, ::-1]], axis=-1).astype(np.uint16)
    assert cv2.imwrite(str(tmp_path / name), rgb[..., ::-1])
    got = read_photo(tmp_path / name).rgb.astype(float)
    assert np.abs(got - rgb / 257.0).max() <= 1.0


def test_float_gray_tiff_is_stretched_and_noted(tmp_path):
    levels = np.linspace(-1.0, 3.0, 64 * 48, dtype=np.float32).reshape(48, 64)
    Image.fromarray(levels).save(tmp_path / "a.tif")
    photo = read_photo(tmp_path / "a.tif")
    assert np.abs(photo.rgb[..., 0] - np.linspace(0, 255, 64 * 48).reshape(48, 64)).max() <= 0.51
    assert any("stretched" in note for note in photo.notes)


def test_10_bit_heif(tmp_path):
    ramp = np.tile(np.linspace(0, 65535, 128), (64, 1)).astype(np.uint16)
    rgb = np.repeat(ramp[..., None], 3, axis=-1)
    heif = pillow_heif.from_bytes(mode="RGB;16", size=(128, 64), data=rgb.tobytes())
    heif.save(tmp_path / "a.heif", quality=95, chroma=444)
    assert pillow_heif.open_heif(tmp_path / "a.heif").info["bit_depth"] == 10
    got = read_photo(tmp_path / "a.heif").rgb.astype(float)
    assert np.abs(got - rgb / 257.0).mean() < 2.0
    assert np.abs(got - rgb / 257.0).max() < 6.0


def test_gray_8_bit_and_black_and_white(tmp_path):
    gray = np.arange(64 * 48, dtype=np.uint8).reshape(48, 64)
    Image.fromarray(gray).save(tmp_path / "a.bmp")
    assert np.array_equal(read_photo(tmp_path / "a.bmp").rgb[..., 1], gray)
    Image.fromarray(gray > 127).save(tmp_path / "b.png")
    assert np.array_equal(read_photo(tmp_path / "b.png").rgb[..., 1], np.where(gray > 127, 255, 0))


def test_palette_with_a_transparent_entry(tmp_path):
    image = Image.new("P", (64, 48), 0)
    image.putpalette([10, 20, 30, 120, 40, 40, 0, 0, 0])
    image.paste(1, (16, 16, 48, 32))
    image.save(tmp_path / "a.png", transparency=0)
    rgb = read_photo(tmp_path / "a.png").rgb
    assert tuple(rgb[0, 0]) == (255, 255, 255)
    assert tuple(rgb[20, 20]) == (120, 40, 40)


@pytest.mark.parametrize(("object_level", "fill"), [(30, 255), (250, 0)])
@pytest.mark.parametrize("mode", ["LA", "RGBA"])
def test_transparent_ground_keeps_clear_of_the_object(tmp_path, object_level, fill, mode):
    """A white rocket cut out by a telephone must not vanish on a white ground."""
    image = Image.new("RGBA", (64, 48), (0, 0, 0, 0))
    image.paste((object_level,) * 3 + (255,), (16, 16, 48, 32))
    image.convert(mode).save(tmp_path / "a.png")
    photo = read_photo(tmp_path / "a.png")
    assert tuple(photo.rgb[0, 0]) == (fill,) * 3
    assert tuple(photo.rgb[20, 20]) == (object_level,) * 3
    assert any("transparent" in note for note in photo.notes)


def test_half_transparent_pixel_is_mixed(tmp_path):
    image = Image.new("RGBA", (64, 48), (20, 40, 60, 255))
    image.putpixel((5, 5), (20, 40, 60, 128))
    image.save(tmp_path / "a.png")
    wanted = np.array([20, 40, 60]) * 128 / 255 + 255 * 127 / 255  # over white: Porter and Duff 1984
    assert np.abs(read_photo(tmp_path / "a.png").rgb[5, 5] - wanted).max() <= 1


def test_opaque_alpha_changes_nothing(tmp_path):
    rgba = np.dstack([upright_picture(), np.full((64, 96), 255, np.uint8)])
    photo = read_photo(save(tmp_path / "a.png", rgba))
    assert_same(photo.rgb, upright_picture(), 0)
    assert photo.notes == ()


def test_cmyk_jpeg_against_opencv(tmp_path):
    Image.fromarray(upright_picture()).convert("CMYK").save(tmp_path / "a.jpg", quality=95)
    photo = read_photo(tmp_path / "a.jpg")
    assert_same(photo.rgb, cv2.imread(str(tmp_path / "a.jpg"))[..., ::-1], 3)
    assert_same(photo.rgb, upright_picture(), 4)
    assert any("CMYK" in note for note in photo.notes)


# Red, green and blue in XYZ of the D50 profile space: Adobe RGB (1998) specification, annex B; sRGB after
# B. Lindbloom's table. Both from memory; rows are X, Y, Z.
ADOBE_RGB_D50 = np.array([[0.60974, 0.20528, 0.14919], [0.31111, 0.62567, 0.06322], [0.01947, 0.06087, 0.74457]])
SRGB_D50 = np.array(
    [[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]]
)
ADOBE_GAMMA = 563 / 256


def matrix_profile(columns_xyz: np.ndarray, gamma: float) -> bytes:
    """A minimal ICC version 2 display profile (ICC.1:2001-04): three colorants and one gamma."""

    def xyz(values):
        return b"XYZ \0\0\0\0" + b"".join(struct.pack(">i", round(v * 65536)) for v in values)

    text = b"made for a test\0"
    tags = {
        b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(78),
        b"cprt": b"text\0\0\0\0" + text,
        b"wtpt": xyz((0.9642, 1.0, 0.8249)),
        b"rXYZ": xyz(columns_xyz[:, 0]),
        b"gXYZ": xyz(columns_xyz[:, 1]),
        b"bXYZ": xyz(columns_xyz[:, 2]),
    }
    tags |= dict.fromkeys(
        (b"rTRC", b"gTRC", b"bTRC"), b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    )
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for name, content in tags.items():
        content += bytes(-len(content) % 4)
        table += name + struct.pack(">II", start + len(body), len(content))
        body += content
    header = struct.pack(">I4xI4s4s4s", start + len(body), 0x02100000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2020, 1, 1, 0, 0, 0) + b"acsp" + bytes(28)
    header += struct.pack(">3i", 63190, 65536, 54061) + bytes(48)
    return header + table + body


def adobe_rgb_to_srgb(rgb: np.ndarray) -> np.ndarray:
    linear = np.linalg.solve(SRGB_D50, ADOBE_RGB_D50 @ (rgb / 255.0) ** ADOBE_GAMMA)
    linear = np.clip(linear, 0, 1)
    # IEC 61966-2-1, the sRGB transfer function
    return 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize("colour", [(100, 150, 120), (200, 180, 170), (60, 60, 90), (128, 128, 128)])
def test_colour_profile_is_applied(tmp_path, colour):
    rgb = np.full((48, 64, 3), colour, np.uint8)
    path = save(tmp_path / "a.png", rgb, icc_profile=matrix_profile(ADOBE_RGB_D50, ADOBE_GAMMA))
    photo = read_photo(path)
    assert np.abs(photo.rgb[5, 5] - adobe_rgb_to_srgb(np.array(colour))).max() <= 2
    assert any("sRGB" in note for note in photo.notes)


def test_broken_colour_profile_is_noted(tmp_path):
    path = save(tmp_path / "a.png", upright_picture(), icc_profile=b"no profile at all" * 20)
    photo = read_photo(path)
    assert_same(photo.rgb, upright_picture(), 0)
    assert any("profile" in note for note in photo.notes)


# --- size, pages, focal length -----------------------------------------------------------------------------


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("size_px", [(96, 64), (99, 67)])
def test_reduction_takes_whole_blocks_of_the_upright_picture(tmp_path, monkeypatch, orientation, size_px):
    monkeypatch.setattr(read, "LARGEST_WORKING_PX", 96 * 64 // 4)
    noise = np.random.default_rng(7).integers(0, 256, (size_px[1], size_px[0], 3)).astype(np.uint8)
    path = save(tmp_path / "a.png", STORED[orientation](noise), exif=exif_bytes(orientation))
    photo = read_photo(path)
    shrink = photo.shrink
    assert shrink == (2 if size_px == (96, 64) else 4)
    high, wide = size_px[1] // shrink, size_px[0] // shrink
    blocks = noise[: high * shrink, : wide * shrink].reshape(high, shrink, wide, shrink, 3).astype(float)
    assert np.abs(photo.rgb - blocks.mean(axis=(1, 3))).max() <= 1.0
    assert any("smaller" in note for note in photo.notes)


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("size_px", [(192, 128), (193, 127)])
def test_reduced_jpeg_keeps_places(tmp_path, monkeypatch, orientation, size_px):
    """A blob's centre of mass, brought back by to_full_px, is where it was drawn (0.05 of a full pixel)."""
    centre_px = np.array([61.3, 78.6])
    x, y = np.meshgrid(np.arange(size_px[0]), np.arange(size_px[1]))
    blob = np.exp(-((x - centre_px[0]) ** 2 + (y - centre_px[1]) ** 2) / (2 * 9.0**2))
    upright = np.repeat(np.rint(240 * blob).astype(np.uint8)[..., None], 3, axis=-1)
    path = save(tmp_path / "a.jpg", STORED[orientation](upright), quality=98, exif=exif_bytes(orientation))
    monkeypatch.setattr(read, "LARGEST_WORKING_PX", 192 * 128 // 4 + 500)
    photo = read_photo(path)
    assert photo.shrink == 2
    weight = np.clip(photo.rgb[..., 1].astype(float) - 4, 0, None)  # below 4 is what JPEG adds
    y, x = np.indices(weight.shape)
    found_px = np.array([(x * weight).sum(), (y * weight).sum()]) / weight.sum()
    assert np.abs(photo.to_full_px(found_px) - centre_px).max() < 0.05


def test_jpeg_is_reduced_by_its_decoder(tmp_path, monkeypatch):
    """So that 200 MP need no more memory than 50."""
    path = save(tmp_path / "a.jpg", upright_picture(192, 128))
    monkeypatch.setattr(read, "LARGEST_WORKING_PX", 192 * 128 // 4)
    monkeypatch.setattr(read, "_box_reduced", None)  # not callable: using it would fail
    assert read_photo(path).rgb.shape == (64, 96, 3)


def test_first_of_several_pages(tmp_path):
    first, second = Image.fromarray(upright_picture()), Image.new("RGB", (96, 64), (1, 2, 3))
    for name in ("a.tif", "a.png", "a.webp"):
        options = {"lossless": True} if name.endswith("webp") else {}
        first.save(tmp_path / name, save_all=True, append_images=[second], **options)
        photo = read_photo(tmp_path / name)
        assert_same(photo.rgb, upright_picture(), 0)
        assert any("2 pictures" in note for note in photo.notes)


def test_tiny_picture_is_read(tmp_path):
    assert read_photo(save(tmp_path / "a.png", upright_picture(8, 6))).rgb.shape == (6, 8, 3)


@pytest.mark.parametrize(
    ("tags", "focal35_mm"),
    [
        ({"xA405": 26}, 26),
        ({"xA405": 0}, None),  # EXIF: 0 is unknown
        ({"xA405": 4}, None),
        ({"xA405": 2001}, None),
        ({}, None),
        ({"x920A": 50.0}, None),
        # 7360 pixels on 36 mm are 5193 an inch; a full frame's equivalent is the focal length itself
        ({"x920A": 50.0, "xA20E": 5192.9, "xA20F": 5192.9, "xA210": 2, "xA002": 7360, "xA003": 4907}, 50),
        ({"x920A": 50.0, "xA20E": 2044.4, "xA20F": 2044.4, "xA210": 3, "xA002": 7360, "xA003": 4907}, 50),
        # a picture made smaller, its size in EXIF too: the sensor would be 2 mm wide
        ({"x920A": 50.0, "xA20E": 5192.9, "xA20F": 5192.9, "xA210": 2, "xA002": 480, "xA003": 320}, None),
        ({"xA405": 26, "xA002": 4032, "xA003": 2688}, 26),  # made smaller: the angle of view stays
        ({"xA405": 26, "xA002": 4032, "xA003": 3024}, None),  # cut: 4:3 became 3:2
        ({"xA405": 52, "xA404": 2.0}, None),
        ({"xA405": 52, "xA404": 1.0}, 52),
    ],
)
def test_focal_length(tmp_path, tags, focal35_mm):
    path = save(tmp_path / "a.jpg", upright_picture(), exif=exif_bytes(1, **tags))
    got = read_photo(path).focal35_mm
    assert got == (None if focal35_mm is None else pytest.approx(focal35_mm, rel=0.001))


def test_focal_length_of_heic_and_of_a_turned_picture(tmp_path):
    for name in ("a.jpg", "a.heic"):
        stored = STORED[6](upright_picture())
        exif = exif_bytes(6, xA405=26, xA002=96, xA003=64)
        assert read_photo(save(tmp_path / name, stored, exif=exif)).focal35_mm == 26
