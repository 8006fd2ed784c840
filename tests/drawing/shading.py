"""Colour of lit surfaces. It only has to look right: edges come from exact coverage, not from here."""

import numpy as np

from .raster import linear
from .scene import Light, Scene
from .solids import to_world


def _lit(normal_dot_light: np.ndarray, facing: float) -> np.ndarray:
    """Brightness, 1 for a surface that faces the camera under light which makes `facing` with the view."""
    return 0.42 + 0.58 * np.maximum(normal_dot_light, 0) / facing


def _to_light(light: Light) -> np.ndarray:
    back = -np.array(light.direction, float)
    return back / np.linalg.norm(back)


def flat_colour(colour: np.ndarray, normal: np.ndarray, light: Light, gloss: float) -> np.ndarray:
    """(3,) linear colour of a flat surface. normal: (3,) world, toward the eye."""
    to_light = _to_light(light)
    normal = normal / np.linalg.norm(normal)
    return colour * _lit(normal @ to_light, -to_light[2]) + 0.03 * gloss


def body_colour(scene: Scene, ideal_x: np.ndarray, ideal_y: np.ndarray) -> np.ndarray:
    """(h, w, 3) linear colour where each ray meets the body, or passes nearest to it.

    The rays are met with the surface of revolution in two steps, its radius taken where the last step ended.
    """
    rocket, pose, camera = scene.rocket, scene.pose, scene.camera
    to_rocket = np.array(pose.axes())  # world to rocket axes
    eye = (np.array(camera.centre_mm) - to_world(rocket, pose, np.zeros(3))) @ to_rocket.T
    turn = (to_rocket @ camera.rotation.T).astype(np.float32)
    ray = [row[0] * ideal_x + row[1] * ideal_y + row[2] for row in turn]
    across = np.hypot(ray[1], ray[2])
    nearest = -(eye[1] * ray[1] + eye[2] * ray[2]) / across**2
    passing = (eye[1] * ray[2] - eye[2] * ray[1]) / across
    station = eye[0] + nearest * ray[0]
    for _ in range(2):
        radius = rocket.radius_mm(station).astype(np.float32) + np.float32(1e-6)
        depth = np.sqrt(np.maximum(radius**2 - passing**2, 0)) / across
        station = eye[0] + (nearest - depth) * ray[0]
    reach = nearest - depth
    slope = np.interp(station, *_slopes(rocket.profile_mm)).astype(np.float32)
    normal = [-slope, (eye[1] + reach * ray[1]) / radius, (eye[2] + reach * ray[2]) / radius]
    colour = _painted(scene, station)
    return _illuminate(scene, colour, normal, ray, to_rocket)


def _slopes(profile_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stations and dr/dx there, for looking up."""
    step = np.diff(profile_mm, axis=0)
    keep = step[:, 0] > 0
    middle = (profile_mm[:-1, 0] + profile_mm[1:, 0]) / 2
    return middle[keep], (step[:, 1] / np.maximum(step[:, 0], 1e-9))[keep]


def _painted(scene: Scene, station_mm: np.ndarray) -> np.ndarray:
    """Body colour with its bands; their edges are soft over one pixel."""
    pixel_mm = np.linalg.norm(scene.camera.centre_mm) / scene.camera.focal_px
    colour = np.broadcast_to(linear(scene.paint.body), (*station_mm.shape, 3)).copy()
    for start, end, band in scene.paint.bands:
        share = np.clip((station_mm - start) / pixel_mm + 0.5, 0, 1)
        share -= np.clip((station_mm - end) / pixel_mm + 0.5, 0, 1)
        colour += share[..., None] * (linear(band) - colour)
    return colour


def _illuminate(scene: Scene, colour: np.ndarray, normal: list, ray: list, to_rocket: np.ndarray) -> np.ndarray:
    """Diffuse light, a highlight toward the half-way direction, and a dim reflection at grazing angles."""
    to_light = to_rocket @ _to_light(scene.light)
    length = np.sqrt(sum(r**2 for r in ray))
    half = [light - r / length for light, r in zip(to_light, ray, strict=True)]
    half_length = np.sqrt(sum(h**2 for h in half))
    size = np.sqrt(sum(n**2 for n in normal))
    diffuse = sum(n * light for n, light in zip(normal, to_light, strict=True)) / size
    shine = np.maximum(sum(n * h for n, h in zip(normal, half, strict=True)) / (size * half_length), 0)
    grazing = 1 - np.clip(-sum(n * r for n, r in zip(normal, ray, strict=True)) / (size * length), 0, 1)
    facing = float(-_to_light(scene.light)[2])
    gloss = scene.paint.gloss
    colour *= _lit(diffuse, facing)[..., None]
    colour += (gloss * (0.75 * shine**90 + 0.06 * shine**8) + 0.12 * gloss * grazing**4)[..., None]
    return colour
