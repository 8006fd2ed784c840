"""A calibration from drawn checkerboards of a known lens, its file, and what it says of a photo.

The boards are placed in the picture by OpenCV's own lens model, the general-purpose reference, not
by the code under test.
"""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawing import Camera, DrawnFins, Rocket, Scene, draw, save
from PIL import Image

from digitize import cli
from digitize.errors import ScaleRefusal, UnreadableRefusal, UsageRefusal
from digitize.photo.calibration import (
    CameraFile,
    calibrate,
    calibrated_prior,
    read_camera,
    write_camera,
)
from digitize.records import Photo

FOCAL_PX, K1, SIZE, FINER = 770.0, -0.06, (800, 600), 2
SQUARES, SQUARE_MM = (9, 6), 25.0
SLANTS_DEG = [(25, 0), (-25, 5), (0, 28), (4, -28), (20, 20), (-18, 24), (12, -30)]
EXAMPLE = CameraFile(3150.5, -0.012, 4000, 3000, 0.006, 0.004, 8, 0.31)


@cache
def rays() -> np.ndarray:
    """(3, n) directions of FINER x FINER samples in every pixel, the lens undone by OpenCV."""
    matrix = np.array([[FOCAL_PX, 0, (SIZE[0] - 1) / 2], [0, FOCAL_PX, (SIZE[1] - 1) / 2], [0, 0, 1]])
    x, y = np.meshgrid(*[(np.arange(n * FINER) + 0.5) / FINER - 0.5 for n in SIZE])
    stop = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 40, 1e-10)
    distortion = np.array([K1, 0, 0, 0.0])
    flat = cv2.undistortPoints(np.stack([x, y], -1).reshape(-1, 1, 2), matrix, distortion, criteria=stop)
    return np.vstack([flat.reshape(-1, 2).T, np.ones(x.size)]).astype(np.float32)


def draw_board(slant_deg, turn_deg, centre_mm, seed) -> np.ndarray:
    """(h, w) uint8: the board seen by the lens, with blur and noise."""
    turn = cv2.Rodrigues(np.radians([0.0, 0, turn_deg]))[0]
    rotation = cv2.Rodrigues(np.radians([*slant_deg, 0.0]))[0] @ turn
    x, y, scale = np.linalg.inv(np.column_stack([rotation[:, :2], centre_mm])).astype(np.float32) @ rays()
    x, y = x / scale / SQUARE_MM + SQUARES[0] / 2, y / scale / SQUARE_MM + SQUARES[1] / 2
    dark = (x.astype(int) + y.astype(int)) % 2 == 0
    dark &= (x > 0) & (x < SQUARES[0]) & (y > 0) & (y < SQUARES[1])
    samples = np.where(dark, np.float32(40), np.float32(215)).reshape(SIZE[1], FINER, SIZE[0], FINER)
    grey = cv2.GaussianBlur(samples.mean((1, 3)), (0, 0), 0.7)
    noise = np.random.default_rng(seed).normal(0, 2.0, grey.shape)
    return np.clip(grey + noise, 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def boards(tmp_path_factory) -> list[Path]:
    """Photos of the board at all slants; the third one was taken with the camera upright."""
    folder, rng, paths = tmp_path_factory.mktemp("boards"), np.random.default_rng(5), []
    for k, slant in enumerate(SLANTS_DEG):
        centre = (*rng.uniform(-60, 60, 2), rng.uniform(400, 520))
        grey = draw_board(slant, rng.uniform(-20, 20), centre, k)
        paths.append(folder / f"board{k}.png")
        Image.fromarray(np.rot90(grey) if k == 2 else grey).save(paths[-1])
    return paths


@pytest.fixture(scope="module")
def found(boards) -> CameraFile:
    return calibrate(boards, SQUARES, SQUARE_MM, lambda words: None)


def test_known_lens_is_found(found):
    assert (found.width_px, found.height_px, found.photos) == (*SIZE, len(SLANTS_DEG))
    assert abs(found.focal_px / FOCAL_PX - 1) < 0.003
    assert abs(found.k1 - K1) < 0.005
    assert 0.005 < found.rms_px < 0.2


def test_its_bands_hold_the_truth_and_are_not_wider_than_focusing_calls_for(found):
    assert abs(np.log(found.focal_px / FOCAL_PX)) < 1.96 * found.focal_sigma
    assert abs(found.k1 - K1) < 1.96 * found.k1_sigma
    assert 0.004 <= found.focal_sigma < 0.008
    assert 0.001 < found.k1_sigma < 0.01


def test_command_writes_a_file_that_reads_back(boards, found, tmp_path, capsys):
    path = tmp_path / "camera.toml"
    argv = ["camera", *map(str, boards), "--checker", "9x6x25mm", "--out", str(path), "--quiet"]
    assert cli.main(argv) == 0
    out, err = capsys.readouterr()
    assert err == "" and str(path) in out and f"{found.focal_px:.1f} pixels" in out
    assert read_camera(path).focal_px == pytest.approx(found.focal_px)


def test_nothing_but_a_calibration_is_overwritten(tmp_path):
    path = tmp_path / "camera.toml"
    for calibration in (EXAMPLE, replace(EXAMPLE, photos=9)):
        write_camera(path, calibration)
        assert read_camera(path) == calibration
    path.write_text("mine = 1\n")
    with pytest.raises(UsageRefusal, match="not written by this tool"):
        write_camera(path, EXAMPLE)
    assert path.read_text() == "mine = 1\n"


def test_too_few_photos(boards, tmp_path, capsys):
    said = []
    with pytest.raises(ScaleRefusal, match="in 4 of 5 photos"):
        calibrate([*boards[:4], tmp_path / "none.jpg"], SQUARES, SQUARE_MM, said.append)
    assert any("none.jpg does not exist" in words for words in said)
    assert cli.main(["camera", str(boards[0]), "--checker", "9x6x25mm", "--quiet"]) == 4
    assert cli.main(["camera", str(boards[0]), "--checker", "9x6x25"]) == 2


def test_boards_square_to_the_camera_fix_no_focal_length(tmp_path):
    paths = []
    for k in range(5):
        paths.append(tmp_path / f"flat{k}.png")
        Image.fromarray(draw_board((0, 0), 8 * k, (0, 0, 420), k)).save(paths[-1])
    with pytest.raises(ScaleRefusal, match="focal length"):
        calibrate(paths, SQUARES, SQUARE_MM, lambda words: None)


def test_photos_of_different_sizes(boards, tmp_path):
    small = tmp_path / "small.png"
    with Image.open(boards[0]) as picture:
        picture.resize((400, 300)).save(small)
    with pytest.raises(UsageRefusal, match="400 x 300"):
        calibrate([*boards[:4], small], SQUARES, SQUARE_MM, lambda words: None)


def photo(width, height, focal35_mm=None, shrink=1) -> Photo:
    return Photo(Path("a.jpg"), np.zeros((height, width, 3), np.uint8), shrink, focal35_mm)


@pytest.mark.parametrize(("width", "height"), [(4000, 3000), (3000, 4000), (2000, 1500)])
def test_prior_of_a_photo_of_another_size_or_turned(width, height):
    prior = calibrated_prior(EXAMPLE, photo(width, height), "camera.toml")
    # half the pixels, half the focal length; the radial term has no unit
    assert prior.camera.focal_px == pytest.approx(3150.5 * max(width, height) / 4000)
    assert tuple(prior.camera.centre_px) == ((width - 1) / 2, (height - 1) / 2)
    assert (prior.camera.k1, prior.k1_sigma, prior.log_focal_sigma) == (-0.012, 0.004, 0.006)


def test_prior_refuses_another_shape_and_another_lens():
    with pytest.raises(UsageRefusal, match="another shape"):
        calibrated_prior(EXAMPLE, photo(4000, 2250), "camera.toml")
    # 3150.5 px over a diagonal of 5000 px is 27.3 mm on the 43.27 mm diagonal of the 36 x 24 mm frame
    with pytest.raises(UsageRefusal, match="27 mm equivalent"):
        calibrated_prior(EXAMPLE, photo(4000, 3000, focal35_mm=52), "camera.toml")
    calibrated_prior(EXAMPLE, photo(4000, 3000, focal35_mm=26), "camera.toml")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("focal_px = 3150.5", "focal_px"),
        ("width_px = 4000", "width_px"),
        ("width_px = 4000.5", "whole number"),
        ("focal_px = nan", "focal_px"),
        ("focal_px = 'long'", "focal_px"),
        ("focal_px = 31.5", "picture's size"),
        ("focal_sigma = -0.1", "focal_sigma"),
        ("k1 = 40.0", "not a believable one"),
        ("k2 = 0.1", "k2"),
        ("k1 =", "camera calibration"),
    ],
)
def test_a_file_that_is_wrong_is_named_with_its_fault(tmp_path, change, says):
    path = tmp_path / "camera.toml"
    write_camera(path, EXAMPLE)
    lines = path.read_text().splitlines()
    key = change.split(" =")[0]
    kept = [line for line in lines if not line.startswith(f"{key} =")]
    # the first two are left out, the rest put in
    path.write_text("\n".join(kept if change in lines else [*kept, change]))
    with pytest.raises(UnreadableRefusal, match=says) as refused:
        read_camera(path)
    assert "\n" not in refused.value.line()


def test_no_file(tmp_path):
    with pytest.raises(UnreadableRefusal, match=r"(?i)no such file"):
        read_camera(tmp_path / "none.toml")


def test_a_photo_through_a_bent_lens_is_measured_straight(tmp_path, capsys):
    """The corner of this picture is shifted inward by 7 %, the rocket's ends by 1.5 %: 4.4 mm in length."""
    size, k1 = (1350, 900), -0.12
    lens = Camera(size, Camera.focal_px_of(28, size), (0.0, 0.0, -430.0), k1=k1)
    fin = DrawnFins(3, np.array([[250.0, 12.0], [280.0, 52.0], [310.0, 52.0], [300.0, 12.0]]), 2.0)
    rocket = Rocket(np.array([[0.0, 0.0], [60.0, 12.0], [300.0, 12.0]]), (fin,))
    save(draw(Scene(rocket, lens, background="sheet")), tmp_path / "photo.jpg")
    write_camera(tmp_path / "camera.toml", CameraFile(2 * lens.focal_px, k1, 2700, 1800, 0.004, 0.003, 8, 0.1))

    def length(*options):
        argv = ["measure", str(tmp_path / "photo.jpg"), "--scale", "tube=24mm", "--fins", "3", "--json"]
        assert cli.main([*argv, "--quiet", "--out", str(tmp_path / "r"), *options]) == 0
        result = json.loads(capsys.readouterr().out)
        return result["length_mm"], " ".join(result["assumptions"])

    straight, said = length("--camera", str(tmp_path / "camera.toml"))
    assert abs(straight["value"] - 300) < straight["pm95"] and 0.5 < straight["pm95"] < 6
    assert abs(straight["value"] - 300) < 1.5
    assert "camera.toml (8 photos of a checkerboard), which is the only correction of the lens made" in said
    bent, said = length()
    assert 295 < bent["value"] < 297.5 and "camera.toml" not in said
