"""The renderer is checked before anything is checked with it.

By closed-form pinhole geometry, OpenCV's own projection, exact areas, and places read back from the pixels.
"""

import cv2
import numpy as np
import pytest
import shapely
from drawing import Camera, DrawnFins, Light, Paint, Pose, Reference, Rocket, Scene, draw, save
from drawing import references as objects
from drawing.occasions import random_scene
from drawing.raster import coverage, linear
from PIL import Image, ImageOps

from digitize.request.options import measure_options

TUBE = Rocket(np.array([[0.0, 0.0], [0.01, 12.5], [160.0, 12.5]]))
EVEN = Light(shadow=0.0, gradient=(0.0, 0.0))


def looking_at(distance_mm: float, size_px=(800, 400), focal_px=2000.0, aside_mm=(0.0, 0.0), k1=0.0) -> Camera:
    return Camera(size_px, focal_px, (*aside_mm, -distance_mm), k1=k1)


def plain(rocket: Rocket, camera: Camera, **more) -> Scene:
    """A scene without noise, blur or shadow."""
    return Scene(rocket, camera, light=EVEN, lens_blur_px=0.0, noise=0.0, **more)


# Source: computed from pinhole geometry (tangent rays to a circle).
@pytest.mark.parametrize(
    ("distance_mm", "aside_mm", "wide_percent"),
    [(500, 0, 0.0313), (1000, 300, 4.4119)],
    ids=["near", "off axis"],
)
def test_a_cylinder_is_seen_wider_than_it_is(distance_mm, aside_mm, wide_percent):
    camera = looking_at(distance_mm, (300, 1500), aside_mm=(0, aside_mm))
    drawn = draw(plain(TUBE, camera))
    across_px = drawn.alpha[:, 140:160].sum(0).mean()
    seen_mm = across_px * distance_mm / camera.focal_px
    assert (seen_mm / 25 - 1) * 100 == pytest.approx(wide_percent, abs=0.01)


# Source: similar triangles; 20 mm at 1500 mm is 1.333 %.
def test_a_reference_set_back_reads_small_by_dz_over_z():
    places = [Reference("card", (0.0, 0.0), behind_mm=behind) for behind in (0.0, 20.0)]
    drawn = draw(plain(TUBE, looking_at(1500), references=tuple(places)))
    level, behind = (np.linalg.norm(corners[1] - corners[0]) for corners in drawn.corners_px)
    assert (level / behind - 1) * 100 == pytest.approx(1.3333, abs=1e-3)


# Source: the cosine; 3 degrees 0.137 %, 10 degrees 1.519 % (from so far that perspective plays no part).
@pytest.mark.parametrize(("tilt_deg", "short_percent"), [(3, 0.137), (-10, 1.519)])
def test_a_tilted_axis_is_short_by_one_minus_cosine(tilt_deg, short_percent):
    drawn = draw(plain(TUBE, looking_at(1e6, focal_px=4e6), pose=Pose(tilt_deg=tilt_deg)))
    seen_mm = np.linalg.norm(drawn.tail_px - drawn.nose_tip_px) * drawn.mm_per_px
    assert (1 - seen_mm / 160) * 100 == pytest.approx(short_percent, abs=1e-3)


def test_the_nearer_end_of_a_tilted_tube_is_wider():
    drawn = draw(plain(TUBE, looking_at(400), pose=Pose(tilt_deg=8)))
    columns = np.flatnonzero(drawn.alpha.max(0))
    nose, tail = (drawn.alpha[:, columns[i]].sum() for i in (40, -40))
    assert 1.02 < nose / tail < 1.12  # nose nearer by 160 sin 8 of 400 at the very ends: 5.7 %


# Source: OpenCV's projectPoints, with the same k1.
@pytest.mark.parametrize("k1", [0.0, -0.03, 0.02])
def test_projection_agrees_with_opencv(k1):
    camera = Camera((2400, 1600), 2000.0, (30.0, -40.0, -700.0), (0.05, -0.1, 0.2), k1)
    points = np.random.default_rng(0).uniform(-200, 200, (50, 3))
    matrix = np.array([[2000.0, 0, 1199.5], [0, 2000.0, 799.5], [0, 0, 1]])
    turn = np.array(camera.turn_rad)
    shift = -camera.rotation @ np.array(camera.centre_mm)
    theirs, _ = cv2.projectPoints(points, turn, shift, matrix, np.array([k1, 0, 0, 0]))
    assert camera.project(points) == pytest.approx(theirs[:, 0], abs=1e-6)
    assert camera.unbend(camera.project(points)) == pytest.approx(camera.ideal(points), abs=1e-9)


def test_the_grid_of_rays_is_that_of_pixel_centres():
    camera = looking_at(700, (640, 480), k1=-0.03)
    x, y = camera.ideal_grid((100, 50, 333, 300))
    at = camera.bend(np.stack([x, y], -1).astype(float))
    columns, rows = np.meshgrid(np.arange(100, 333), np.arange(50, 300))
    assert np.abs(at - np.stack([columns, rows], -1)).max() < 2e-3


# Source: plane geometry. A 40 x 200 px rectangle has 8000 px, whatever its place between the pixels.
@pytest.mark.parametrize("corner", [(10.0, 20.0), (10.25, 20.5), (9.5, 19.5)])
def test_coverage_has_the_area_and_place_of_the_rectangle(corner):
    x, y = corner
    cover = coverage(shapely.box(x, y, x + 40, y + 200), (100, 300))
    assert cover.alpha.sum() == pytest.approx(8000, abs=1e-2)
    row = np.zeros(100)
    row[cover.x0 : cover.box[2]] = cover.alpha[5]
    # Pixel 10 covers 9.5 to 10.5.
    assert row[10] == pytest.approx(10.5 - max(x, 9.5), abs=1e-6)
    assert (row * np.arange(100)).sum() / row.sum() == pytest.approx(x + 20, abs=0.01)


# Source: shapely's area and centroid.
def test_coverage_of_a_polygon_with_a_hole():
    rng = np.random.default_rng(3)
    turn = np.sort(rng.uniform(0, 2 * np.pi, 40))
    star = shapely.Polygon(np.column_stack([np.cos(turn), np.sin(turn)]) * rng.uniform(20, 60, (40, 1)) + 70)
    shape = star.difference(shapely.box(60, 65, 75.3, 80.7))
    cover = coverage(shape, (150, 150))
    alpha = np.zeros((150, 150))
    cover.of(alpha)[:] = cover.alpha
    rows, columns = np.mgrid[:150, :150]
    assert alpha.sum() == pytest.approx(shape.area, rel=1e-5)
    assert (alpha * columns).sum() / alpha.sum() == pytest.approx(shape.centroid.x, abs=1e-3)
    assert (alpha * rows).sum() / alpha.sum() == pytest.approx(shape.centroid.y, abs=1e-3)
    outside = coverage(shapely.box(-50, -50, 10, 10), (150, 150))
    assert outside.alpha.sum() == pytest.approx(10.5**2, abs=1e-3)  # only what lies in the picture


def step_at(line: np.ndarray) -> float:
    """Where a line of pixels steps from its first value to its last, by how much of it is like the last."""
    like_last = ((line - line[0]) / (line[-1] - line[0])).sum()
    return len(line) - 0.5 - like_last


@pytest.mark.parametrize("k1", [0.0, 0.03])
def test_edges_of_a_sheet_lie_in_the_picture_where_its_corners_say(k1):
    camera = looking_at(900, (1200, 800), 1500.0, aside_mm=(0.0, -13.7), k1=k1)
    sheet = Reference("a4", (3.3, 5.1), behind_mm=30.0, turn_deg=3.0)
    far = Rocket(TUBE.profile_mm)
    scene = plain(far, camera, references=(sheet,), pose=Pose((0, -200, 0)), background_colour=(60, 60, 60))
    light = linear(draw(scene).rgb)[..., 1]
    plane = sheet.plane()
    for share in (0.2, 0.5, 0.8):
        edge = camera.project(plane.world(np.array([[-148.5, (share - 0.5) * 210]])))[0]
        column, row = int(edge[0]), round(edge[1])
        seen = column - 6 + step_at(light[row, column - 6 : column + 7])
        slope = np.tan(np.radians(3.0))  # the edge leans: bring it to the row looked at
        assert seen == pytest.approx(edge[0] + (row - edge[1]) * slope, abs=0.02)


def test_graduations_of_a_ruler_lie_where_the_truth_says():
    camera = looking_at(800, (1800, 500), 3600.0)
    ruler = Reference("white", (0.0, 30.0), length_mm=300)
    scene = plain(TUBE, camera, references=(ruler,), pose=Pose((0, -30, 0)))
    dark = 1 - linear(draw(scene).rgb)[..., 1]
    inward = np.array([0.0, 7.0])  # where only the centimetre lines reach
    at = camera.project(ruler.plane().world(objects.graduations_mm(ruler)[::10] + inward))
    off = []
    for x, y in at:
        window = dark[round(y), round(x) - 4 : round(x) + 5] - dark[round(y), round(x) - 4]
        off.append((window * np.arange(-4, 5)).sum() / window.sum() + round(x) - x)
    assert abs(np.mean(off)) < 0.03
    assert np.max(np.abs(off)) < 0.12


FIN = np.array([[110.0, 12.5], [130.0, 52.5], [150.0, 52.5], [150.0, 12.5]])


def extent_mm(drawn) -> tuple[float, float]:
    """How far the rocket reaches up and down from its axis's row (nose left or right)."""
    rows = drawn.alpha.max(1)
    axis = (drawn.nose_tip_px[1] + drawn.tail_px[1]) / 2
    reach = [abs(half) for half in (rows_reached(rows) - axis)]
    return reach[0] * drawn.mm_per_px, reach[1] * drawn.mm_per_px


def rows_reached(rows: np.ndarray) -> np.ndarray:
    """First and last row reached, to a part of a row by how much of it is covered."""
    filled = np.flatnonzero(rows > 0)
    return np.array([filled[0] + 0.5 - rows[filled[0]], filled[-1] - 0.5 + rows[filled[-1]]])


# Source: a fin at angle p stands cos p in the picture (from so far that perspective plays no part).
@pytest.mark.parametrize("heading_deg", [180.0, 0.0])
@pytest.mark.parametrize("roll_deg", [0.0, 30.0, 75.0])
def test_a_turned_fin_shows_the_cosine_of_its_span(heading_deg, roll_deg):
    rocket = Rocket(TUBE.profile_mm, (DrawnFins(3, FIN, 0.02, roll_deg),))
    drawn = draw(plain(rocket, looking_at(1e6, focal_px=3e6), pose=Pose(heading_deg=heading_deg)))
    angles = np.radians(roll_deg + np.array([0, 120, 240]))
    up, down = extent_mm(drawn)
    assert up == pytest.approx(max(12.5, 52.5 * np.cos(angles).max()), abs=0.02)
    assert down == pytest.approx(max(12.5, -52.5 * np.cos(angles).min()), abs=0.02)


def test_fins_toward_the_camera_cover_the_body_and_those_behind_do_not():
    paint = Paint(body=(200, 30, 30), fins=(30, 30, 200), gloss=0.0)
    reds = []
    for roll_deg in (90.0, -90.0):
        one = DrawnFins(1, FIN, 3.0, roll_deg, round_edges=False)
        drawn = draw(plain(Rocket(TUBE.profile_mm, (one,)), looking_at(600), paint=paint))
        # A little before the axis at the root, where an edge-on fin of 3 mm covers the body.
        x, y = drawn.nose_tip_px + (drawn.tail_px - drawn.nose_tip_px) * 140 / 160
        reds.append(drawn.rgb[round(y), round(x)])
    toward, behind = reds
    assert toward[2] > 2 * toward[0]
    assert behind[0] > 2 * behind[2]


def test_a_square_plate_shows_its_thickness_where_a_rounded_one_does_not():
    """At the picture's edge the near face of a fin is seen larger, by half its thickness."""
    areas = []
    for round_edges in (False, True):
        fins = DrawnFins(1, FIN, 4.0, 0.0, round_edges)
        camera = looking_at(300, (1200, 900), 1200.0, aside_mm=(-60.0, 0.0))
        areas.append(draw(plain(Rocket(TUBE.profile_mm, (fins,)), camera)).alpha.sum())
    thin = DrawnFins(1, FIN, 0.01, 0.0)
    thin_area = draw(plain(Rocket(TUBE.profile_mm, (thin,)), camera)).alpha.sum()
    square, rounded = areas
    assert 1.005 < square / thin_area < 1.04
    assert 1.0 < rounded / thin_area < 1 + (square / thin_area - 1) / 2


# Source: Pillow's own reading of the EXIF orientation.
@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_file_is_upright_again_under_its_orientation(tmp_path, orientation):
    drawn = draw(plain(TUBE, looking_at(700, (300, 200), 500.0), jpeg_quality=95))
    save(drawn, tmp_path / "p.jpg", orientation)
    with Image.open(tmp_path / "p.jpg") as stored:
        upright = np.asarray(ImageOps.exif_transpose(stored), float)
        f35 = stored.getexif().get_ifd(0x8769)[0xA405]
    assert upright.shape == drawn.rgb.shape
    assert np.abs(upright - drawn.rgb).mean() < 3
    # By the diagonal: 500 px of 360.56 px, times 43.267 mm.
    assert f35 == 60


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_random_photographs_can_be_told_and_drawn_again(seed):
    first, told = random_scene(np.random.default_rng(seed), width_px=800)
    again, _ = random_scene(np.random.default_rng(seed), width_px=800)
    options = measure_options(["photo.jpg"], **told)
    assert options.fins == tuple(group.count for group in first.rocket.fins)
    one, other = draw(first), draw(again)
    assert np.array_equal(one.rgb, other.rgb)
    border = np.r_[one.alpha[0], one.alpha[-1], one.alpha[:, 0], one.alpha[:, -1]]
    assert border.max() == 0
    assert 0.01 < one.alpha.mean() < 0.4
