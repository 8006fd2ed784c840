"""Drawn photographs of reference objects for the tests of their finders, and flat prints seen through a
camera.
"""

from pathlib import Path

import cv2
import numpy as np
from drawing import Camera, Paint, Pose, Reference, Rocket, Scene, draw
from drawing import references as faces
from drawing.camera import Plane
from drawing.raster import encode

from digitize.records import Photo

SIZE_PX, FOCAL35_MM = (1500, 1000), 50.0
MARGIN_MM = {"steel": 0.0, "white": 3.0, "wood": 6.0}  # of the drawn rulers before their first graduation
ROCKET = Rocket(profile_mm=np.array([[0, 0], [40, 10], [170, 10]], float), fins=())


def camera(distance_mm: float, turn_deg=(0.0, 0.0, 0.0), k1: float = 0.0) -> Camera:
    """Looks at the world's origin from this distance."""
    focal = Camera.focal_px_of(FOCAL35_MM, SIZE_PX)
    straight = Camera(SIZE_PX, focal, (0, 0, 0), tuple(np.radians(turn_deg)), k1)
    return Camera(SIZE_PX, focal, tuple(straight.rotation.T @ [0, 0, -distance_mm]), straight.turn_rad, k1)


def photo(rgb: np.ndarray, focal35_mm: float | None = FOCAL35_MM) -> Photo:
    return Photo(Path("drawn.jpg"), as_jpeg(rgb), 1, focal35_mm)


def as_jpeg(rgb: np.ndarray) -> np.ndarray:
    """After the loss a phone's file has."""
    code = cv2.imencode(".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 91])[1]
    return cv2.cvtColor(cv2.imdecode(code, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)


def scene(
    *references: Reference,
    ground="concrete",
    colour=(172, 166, 156),
    distance_mm=500.0,
    turn_deg=(1, -2, 1),
    k1=0.0,
):
    """A small rocket above, the references below it on the table."""
    return Scene(
        ROCKET,
        camera(distance_mm, turn_deg, k1),
        Pose((0.0, -80.0, 0.0), 180.0, 0.0),
        Paint(),
        references=references,
        background=ground,
        background_colour=colour,
        backdrop_mm=20.0,
        seed=3,
    )


def drawn(*references: Reference, **kwargs):
    """(photo, the drawing with its truth)."""
    picture = draw(scene(*references, **kwargs))
    return photo(picture.rgb), picture


def ticks_px(picture, reference: Reference, depth_mm: float = 2.0) -> np.ndarray:
    """(n, 2) pixels of a drawn ruler's millimetres, depth_mm inside its graduated edge."""
    width, height = faces.size_mm(reference)
    x = np.arange(int(reference.length_mm) + 1) + MARGIN_MM[reference.kind] - width / 2
    points = np.column_stack([x, np.full(len(x), depth_mm - height / 2)])
    return picture.scene.camera.project(reference.plane().world(points))


def corner_errors_px(points_px: np.ndarray, corners_px: np.ndarray) -> np.ndarray:
    """(4,) distances to the truth, in the cyclic order that fits best."""
    turns = [np.hypot(*(np.roll(points_px, k, axis=0) - corners_px).T) for k in range(4)]
    return min(turns, key=max)


def flat_print(
    view: Camera, *prints, ground=(0.35, 0.22, 0.12), blur_px=0.8, noise=0.004, seed=1, radius_mm=0.0
) -> np.ndarray:
    """(H, W, 3) uint8: prints lying before a camera, nine samples a pixel.

    prints: (grey (h, w) 0..1 linear, texel_mm, Plane whose origin is the print's top-left corner). radius_mm:
    of their corners.
    """
    width, height = view.size_px
    finer = 3
    light = np.full((height, width, 3), ground, np.float32)
    left, top, right, bottom = box_of(view, prints)  # all else is ground alone
    fine = np.full(((bottom - top) * finer, (right - left) * finer, 3), ground, np.float32)
    ideal = view.ideal_grid((left, top, right, bottom), finer)
    for grey, texel_mm, plane in prints:
        x, y = plane.seen_through(view, *ideal)
        values = cv2.remap(
            grey.astype(np.float32),
            x / texel_mm - 0.5,
            y / texel_mm - 0.5,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        from_middle = [
            np.abs(at - n * texel_mm / 2) - n * texel_mm / 2 + radius_mm
            for at, n in ((x, grey.shape[1]), (y, grey.shape[0]))
        ]
        inside = np.hypot(*np.maximum(from_middle, 0)) <= radius_mm
        fine[inside] = values[inside, None]
    shown = cv2.resize(fine, (right - left, bottom - top), interpolation=cv2.INTER_AREA)
    light[top:bottom, left:right] = shown
    light = cv2.GaussianBlur(light, (0, 0), blur_px)
    return encode(light + np.random.default_rng(seed).normal(0, noise, light.shape))


def box_of(view: Camera, prints) -> tuple[int, int, int, int]:
    """left, top, right, bottom of the part of the picture that the prints cover; the last two just outside."""
    share = np.linspace(0, 1, 9)  # a bent lens bends the edges
    rim = np.concatenate([np.stack(np.broadcast_arrays(*edge), -1) for edge in (
        (share, 0), (share, 1), (0, share), (1, share))])  # fmt: skip
    seen = [view.project(plane.world(rim * grey.shape[::-1] * texel_mm)) for grey, texel_mm, plane in prints]
    low, high = np.concatenate(seen).min(0) - 2, np.concatenate(seen).max(0) + 3
    return tuple(np.concatenate([np.maximum(low, 0), np.minimum(high, view.size_px)]).astype(int).tolist())


def lying(corner_mm, turn_deg: float = 0.0, lean_deg=(0.0, 0.0)) -> Plane:
    """A plane with its origin at corner_mm (3,), x turned clockwise as seen, leaned about world x and y."""
    turn, (lean_x, lean_y) = np.radians(turn_deg), np.radians(lean_deg)
    rotation = cv2.Rodrigues(np.array([0, 0, turn]))[0]
    rotation = cv2.Rodrigues(np.array([lean_x, lean_y, 0.0]))[0] @ rotation
    return Plane(np.array(corner_mm, float), rotation[:, 0], rotation[:, 1])
