"""Painter's algorithm in linear light: backdrop, shadows, references, rear fins, body, front fins."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import shapely
from PIL import Image

from . import references, solids, textures
from .camera import DIAGONAL_35MM, Camera, Plane
from .raster import Coverage, coverage, encode, linear, paint
from .scene import Reference, Scene
from .shading import body_colour, flat_colour

STRING_MM = 0.8


@dataclass(frozen=True)
class Drawn:
    """A picture and its truth. rgb: (H, W, 3) uint8; alpha: (H, W) share of each pixel the rocket covers.

    nose_tip_px, tail_px: (2,) the two ends of the body's axis. mm_per_px: at the middle of the axis.
    corners_px: one (4, 2) a reference, its own top-left, top-right, bottom-right, bottom-left.
    """

    scene: Scene
    rgb: np.ndarray
    alpha: np.ndarray
    nose_tip_px: np.ndarray
    tail_px: np.ndarray
    mm_per_px: float
    corners_px: tuple[np.ndarray, ...]


class _Canvas:
    """A linear-light picture in the making."""

    def __init__(self, scene: Scene):
        self.scene = scene
        self.camera: Camera = scene.camera
        self.eye_mm = np.array(scene.camera.centre_mm)
        width, height = scene.camera.size_px
        self.image = np.empty((height, width, 3), np.float32)

    def see(self, points_mm: np.ndarray) -> np.ndarray:
        """Ideal pixels about the principal point: straight lines stay straight."""
        return self.camera.ideal(points_mm) * self.camera.focal_px

    def cover(self, shape: shapely.Geometry) -> Coverage:
        """Coverage of a shape in ideal pixels."""
        return coverage(self.bent(shape), self.camera.size_px)

    def bent(self, shape: shapely.Geometry) -> shapely.Geometry:
        """A shape in ideal pixels as the lens shows it."""
        if self.camera.k1:
            shape = shapely.segmentize(shape, 4.0)
        return shapely.transform(shape, lambda xy: self.camera.bend(xy / self.camera.focal_px))


def draw(scene: Scene) -> Drawn:
    """Draw one photograph."""
    canvas = _Canvas(scene)
    rocket_shadow, reference_shadow = _shadows(canvas)
    _paint_backdrop(canvas, rocket_shadow * reference_shadow)
    for reference in scene.references:
        lies_on_backdrop = abs(scene.backdrop_mm - reference.behind_mm) < 5
        _paint_reference(canvas, reference, rocket_shadow if lies_on_backdrop else None)
    whole = _paint_rocket(canvas)
    for station_mm in scene.strings_mm:
        _paint_string(canvas, station_mm)
    alpha = np.zeros(canvas.image.shape[:2], np.float32)
    cover = canvas.cover(whole)
    cover.of(alpha)[:] = cover.alpha
    ends = solids.to_world(scene.rocket, scene.pose, np.array([[0, 0, 0], [scene.rocket.length_mm, 0, 0]]))
    nose_px, tail_px = scene.camera.project(ends)
    depth_mm = scene.camera.to_camera(np.array(scene.pose.middle_mm))[2]
    corners = tuple(scene.camera.project(r.plane().world(references.corners_mm(r))) for r in scene.references)
    rgb = _through_lens(canvas)
    return Drawn(scene, rgb, alpha, nose_px, tail_px, depth_mm / scene.camera.focal_px, corners)


def _shadows(canvas: _Canvas) -> tuple[np.ndarray, np.ndarray]:
    """Share of light left on the backdrop, (H, W): by the rocket's shadow, by the references' shadows."""
    scene, light = canvas.scene, canvas.scene.light
    travel = np.array(light.direction) / light.direction[2]

    def see_shadow(points_mm: np.ndarray) -> np.ndarray:
        return canvas.see(points_mm + (scene.backdrop_mm - points_mm[..., 2:]) * travel)

    sun_mm = -1e6 * travel
    fins = [p for side in solids.plates(scene.rocket, scene.pose, sun_mm) for p in side]
    thin = [shapely.make_valid(shapely.Polygon(see_shadow(p.middle_layer_mm))) for p in fins]
    rocket = shapely.union_all([solids.body(scene.rocket, scene.pose, see_shadow), *thin])
    flats = [
        shapely.Polygon(see_shadow(r.plane().world(references.outline_mm(r)))).buffer(0.5) for r in scene.references
    ]
    return _shade(canvas, rocket), _shade(canvas, shapely.union_all(flats))


def _shade(canvas: _Canvas, shape: shapely.Geometry) -> np.ndarray:
    """Light left by one shadow, blurred at its edge; soft ones are made small and enlarged."""
    light = canvas.scene.light
    width, height = canvas.camera.size_px
    smaller = 4 if light.shadow_softness_px >= 8 else 1
    small = -(-width // smaller), -(-height // smaller)
    bent = shapely.transform(canvas.bent(shape), lambda xy: (xy + 0.5) / smaller - 0.5)
    shade = np.ones(small[::-1], np.float32)
    cover = coverage(bent, small)
    cover.of(shade)[:] -= light.shadow * cover.alpha
    if light.shadow_softness_px:
        shade = cv2.GaussianBlur(shade, (0, 0), light.shadow_softness_px / smaller)
    if smaller > 1:
        shade = cv2.resize(shade, (small[0] * smaller, small[1] * smaller), interpolation=cv2.INTER_LINEAR)
    return shade[:height, :width]


def _paint_backdrop(canvas: _Canvas, light_left: np.ndarray) -> None:
    scene = canvas.scene
    width, height = scene.camera.size_px
    plane = Plane(np.array([0.0, 0.0, scene.backdrop_mm]), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))
    at = plane.seen_through(scene.camera, *scene.camera.ideal_grid((0, 0, width, height)))
    canvas.image[:] = textures.background(scene.background, scene.background_colour, scene.seed, *at)
    canvas.image *= (light_left * _gradient(canvas, (0, 0, width, height)))[..., None]


def _gradient(canvas: _Canvas, box: tuple[int, int, int, int]) -> np.ndarray:
    """(h, w) brightness of a box's pixels, 1 in the picture's middle."""
    left, top, right, bottom = box
    width, height = canvas.camera.size_px
    across, down = canvas.scene.light.gradient
    x = (np.arange(left, right, dtype=np.float32) / width - 0.5) * across
    y = (np.arange(top, bottom, dtype=np.float32) / height - 0.5) * down
    return 1 + x + y[:, None]


def _paint_reference(canvas: _Canvas, reference: Reference, shade: np.ndarray | None) -> None:
    plane = reference.plane()
    cover = canvas.cover(shapely.Polygon(canvas.see(plane.world(references.outline_mm(reference)))))
    finer = 2
    at = plane.seen_through(canvas.camera, *canvas.camera.ideal_grid(cover.box, finer))
    texel_mm = np.linalg.norm(plane.origin_mm - canvas.eye_mm) / canvas.camera.focal_px / finer
    face = references.face(reference, round(texel_mm, 3))
    half = np.array(references.size_mm(reference)) / 2
    places = [(a + np.float32(h)) / np.float32(face.texel_mm) - np.float32(0.5) for a, h in zip(at, half, strict=True)]
    colour = cv2.remap(face.texels, *places, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    colour = cv2.resize(colour, cover.alpha.shape[::-1], interpolation=cv2.INTER_AREA)
    light = _gradient(canvas, cover.box)
    if shade is not None:
        light = light * cover.of(shade)
    paint(canvas.image, cover, colour * light[..., None])


def _paint_rocket(canvas: _Canvas) -> shapely.Geometry:
    """Paint it and return all it covers, in ideal pixels."""
    scene, eye = canvas.scene, canvas.eye_mm
    rocket, pose = scene.rocket, scene.pose
    behind, before = solids.plates(rocket, pose, eye)
    shapes = [_paint_fin(canvas, plate) for plate in behind]
    lug_before = rocket.lug and solids.faces_eye(rocket, pose, rocket.lug.x0_mm, rocket.lug.angle_deg, eye)
    if rocket.lug and not lug_before:
        shapes.append(_paint_lug(canvas))
    shapes.append(_paint_body(canvas))
    if lug_before:
        shapes.append(_paint_lug(canvas))
    shapes += [_paint_fin(canvas, plate) for plate in before]
    return shapely.union_all(shapes)


def _paint_fin(canvas: _Canvas, plate: solids.Plate) -> shapely.Geometry:
    scene = canvas.scene
    whole, face = solids.plate_shapes(plate, canvas.see, canvas.eye_mm)
    towards_eye = plate.normal * np.sign(plate.normal @ (canvas.eye_mm - plate.middle_mm))
    edge_normal = towards_eye + solids.outward(scene.pose, 0) + np.array([0, 0, -0.5])
    for shape, normal in ((whole, edge_normal), (face, towards_eye)):
        cover = canvas.cover(shape)
        colour = flat_colour(linear(scene.paint.fins), normal, scene.light, scene.paint.gloss)
        paint(canvas.image, cover, colour * _gradient(canvas, cover.box)[..., None])
    return whole


def _paint_body(canvas: _Canvas) -> shapely.Geometry:
    scene, camera = canvas.scene, canvas.camera
    shape = solids.body(scene.rocket, scene.pose, canvas.see)
    cover = canvas.cover(shape)
    colour = body_colour(scene, *camera.ideal_grid(cover.box))
    tail_mm = solids.to_world(scene.rocket, scene.pose, np.array([scene.rocket.length_mm, 0, 0]))
    aft = scene.pose.axes()[0]
    if aft @ (canvas.eye_mm - tail_mm) > 0:
        disc = canvas.cover(solids.aft_disc(scene.rocket, scene.pose, canvas.see))
        inside = Coverage(disc.alpha, disc.x0 - cover.x0, disc.y0 - cover.y0)
        paint(colour, inside, flat_colour(linear(scene.paint.base), aft, scene.light, 0.0))
    paint(canvas.image, cover, colour * _gradient(canvas, cover.box)[..., None])
    return shape


def _paint_lug(canvas: _Canvas) -> shapely.Geometry:
    scene = canvas.scene
    shape = solids.lug(scene.rocket, scene.pose, canvas.see)
    normal = solids.outward(scene.pose, scene.rocket.lug.angle_deg)
    paint(canvas.image, canvas.cover(shape), flat_colour(linear(scene.paint.body), normal, scene.light, 0.0))
    return shape


def _paint_string(canvas: _Canvas, station_mm: float) -> None:
    """A string from above the picture, once around the body's front."""
    scene = canvas.scene
    rocket = scene.rocket
    radius = float(rocket.radius_mm(station_mm))
    angle = np.radians(np.linspace(0, 180, 40))
    loop = np.column_stack([np.full(40, station_mm), radius * np.cos(angle), radius * np.sin(angle)])
    loop = solids.to_world(rocket, scene.pose, loop)
    above = loop[0] + np.array([0, -3000.0, 0])
    width = STRING_MM / 2 * canvas.camera.focal_px / np.linalg.norm(loop[0] - canvas.eye_mm)
    string = shapely.LineString(canvas.see(np.vstack([above, loop]))).buffer(width)
    paint(canvas.image, canvas.cover(string), linear((190, 175, 140)))


def _through_lens(canvas: _Canvas) -> np.ndarray:
    """Blur, photon noise, encoding. Noise grows with the root of the light, as photons count."""
    scene = canvas.scene
    image = canvas.image
    if scene.lens_blur_px:
        image = cv2.GaussianBlur(image, (0, 0), scene.lens_blur_px)
    if scene.noise:
        grain = np.random.default_rng(scene.seed).standard_normal(image.shape[:2], dtype=np.float32)
        spread = cv2.sqrt((image[..., 1] + 0.02) * np.float32(scene.noise**2 / 0.2))
        for channel in range(3):  # one field moved about is cheaper than three and looks the same
            image[..., channel] += np.roll(grain, 97 * channel, 0) * spread
    return encode(image)


_STORE = {  # how the upright picture is turned for storing under each EXIF orientation
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


def save(drawn: Drawn, path: Path, orientation: int = 1, focal_in_exif: bool = True) -> None:
    """Write a JPEG as a phone would, with the 35 mm-equivalent focal length rounded to whole millimetres."""
    picture = Image.fromarray(drawn.rgb)
    if orientation != 1:
        picture = picture.transpose(_STORE[orientation])
    exif = Image.Exif()
    exif[0x0112] = orientation
    if focal_in_exif:
        camera = drawn.scene.camera
        exif.get_ifd(0x8769)[0xA405] = round(camera.focal_px * DIAGONAL_35MM / float(np.hypot(*camera.size_px)))
    picture.save(path, quality=drawn.scene.jpeg_quality, exif=exif, subsampling=0)
