"""Exact outlines and reference points of drawn scenes, without a picture: the solver without the finders."""

from dataclasses import replace

import numpy as np
import shapely
from drawing import Camera, DrawnFins, Pose, Reference, Rocket, Scene, solids
from drawing import references as faces
from drawing.raster import coverage
from scipy.ndimage import gaussian_filter, gaussian_filter1d
from skimage.measure import find_contours

from digitize.aero.components import centre_of_pressure, exposed_planform
from digitize.aero.fins import planform
from digitize.photo.camera import CameraPrior, camera_prior
from digitize.records import FinGroup, Geometry, ReferencePoints, Silhouette
from digitize.solid.adjust import EDGE_BIAS_PX, GivenSizes
from digitize.solid.measure import GivenFins, Solid, measure_solid

SIZE_PX, FOCAL35_MM = (1800, 1200), 28.0
POINT_SIGMA_PX = 0.1
LENS_BLUR_PX = 0.7
SIZE_SIGMA = {"a4": 2e-3, "letter": 2e-3, "card": 1e-3}


def camera_at(
    distance_mm: float, focal35_mm: float = FOCAL35_MM, aside_mm=(0.0, 0.0), k1: float = 0.0, size_px=SIZE_PX
) -> Camera:
    """Looks straight along z from this distance."""
    return Camera(size_px, Camera.focal_px_of(focal35_mm, size_px), (*aside_mm, -distance_mm), k1=k1)


def outline_of(scene: Scene) -> np.ndarray:
    """(n, 2) pixels: the half-way level of the exact coverage, blurred by a lens. Without that a level
    between pixels covered wholly or not at all is off by up to 0.09 pixel along rows and columns.
    """
    camera = scene.camera

    def see(points_mm):
        return camera.ideal(points_mm) * camera.focal_px

    shape = solids.silhouette(scene.rocket, scene.pose, see, np.array(camera.centre_mm))
    bent = shapely.transform(shapely.segmentize(shape, 4.0), lambda xy: camera.bend(xy / camera.focal_px))
    cover = coverage(bent, camera.size_px)
    seen = gaussian_filter(np.pad(cover.alpha, 4), LENS_BLUR_PX)
    contour = max(find_contours(seen, 0.5), key=len)[:-1]
    return contour[:, ::-1] - 4 + [cover.x0, cover.y0]


def as_seen(scene: Scene) -> Scene:
    """The scene with its body narrower by what an edge finder is expected to miss of a limb, so that what is
    left is the solver's own error. test_solid weighs that expectation itself."""
    rocket = scene.rocket
    short_mm = -EDGE_BIAS_PX * np.linalg.norm(scene.camera.centre_mm) / scene.camera.focal_px
    radius = rocket.profile_mm[:, 1]
    narrower = np.column_stack([rocket.profile_mm[:, 0], np.maximum(radius - short_mm, 0.8 * radius)])
    return replace(scene, rocket=replace(rocket, profile_mm=narrower))


def silhouette_of(scene: Scene, noise_px: float = 0.0, rng: np.random.Generator | None = None) -> Silhouette:
    """The scene's silhouette; noise_px: of the edge, along its normal, correlated over some ten pixels."""
    outline = outline_of(as_seen(scene))
    if noise_px:
        tangent = np.roll(outline, -3, axis=0) - np.roll(outline, 3, axis=0)
        normal = np.column_stack([-tangent[:, 1], tangent[:, 0]]) / np.linalg.norm(tangent, axis=1)[:, None]
        rough = gaussian_filter1d(rng.standard_normal(len(outline)), 10.0, mode="wrap")
        outline = outline + noise_px / rough.std() * rough[:, None] * normal
    return as_silhouette(outline, scene.camera.size_px)


def as_silhouette(outline_px: np.ndarray, size_px) -> Silhouette:
    """An outline (n, 2) as a stage's record; the solver does not look at the mask."""
    return Silhouette(outline_px, np.full(len(outline_px), POINT_SIGMA_PX), np.zeros(size_px[::-1], bool))


def points_of(
    scene: Scene, reference: Reference, noise_px: float = 0.0, rng: np.random.Generator | None = None
) -> ReferencePoints:
    """What a perfect finder would read off a reference of the scene."""
    if reference.kind in faces.RULER_MARGIN_MM:
        true_mm = faces.graduations_mm(reference)[::10]
        told_mm = np.column_stack([np.arange(len(true_mm)) * 10.0, np.zeros(len(true_mm))])
        kind = "ruler"
    elif reference.kind == "checker":
        true_mm = told_mm = faces.checker_corners_mm(reference)
        kind = "checker"
    else:
        true_mm = told_mm = faces.corners_mm(reference)
        kind = reference.kind
    plane = reference.plane()
    seen = scene.camera.project(plane.world(true_mm))
    if noise_px:
        seen = seen + noise_px * rng.standard_normal(seen.shape)
    return ReferencePoints(
        kind=kind,
        label=kind,
        points_px=seen,
        points_mm=told_mm,
        sigma_px=max(noise_px, POINT_SIGMA_PX),
        size_sigma=SIZE_SIGMA.get(reference.kind, 5e-4),
        outline_px=scene.camera.project(plane.world(faces.corners_mm(reference))),
    )


def prior_of(camera: Camera, focal35_mm: float | None = None) -> CameraPrior:
    """What the photo's file would tell of the camera: the true focal length unless given."""
    if focal35_mm is None:
        focal35_mm = camera.focal_px * 43.267 / float(np.hypot(*camera.size_px))
    return camera_prior(*camera.size_px, focal35_mm)


def given_fins(rocket: Rocket) -> tuple[GivenFins, ...]:
    """The fins as a user would say them, standing as they do."""
    return tuple(
        GivenFins(group.count, (float(np.radians(group.roll_deg)),), group.thickness_mm) for group in rocket.fins
    )


def solve(
    scene: Scene,
    given: GivenSizes,
    *,
    silhouette: Silhouette | None = None,
    fins: tuple[GivenFins, ...] | None = None,
    references: tuple[ReferencePoints, ...] | None = None,
    focal35_mm: float | None = None,
    nose: str | None = None,
    resting: bool = False,
) -> Solid:
    """The solid behind the scene's exact silhouette and reference points."""
    return measure_solid(
        "drawn",
        prior_of(scene.camera, focal35_mm),
        silhouette or silhouette_of(scene),
        tuple(points_of(scene, r) for r in scene.references) if references is None else references,
        given,
        given_fins(scene.rocket) if fins is None else fins,
        nose,
        resting,
    )


def geometry_of(rocket: Rocket) -> Geometry:
    """The drawn rocket as components."""
    groups = tuple(FinGroup(g.count, np.asarray(g.outline_mm, float), g.thickness_mm) for g in rocket.fins)
    return Geometry("drawn", rocket.profile_mm, groups)


# Rocket A of the check values: cone nose 60, diameter 24, tube to 300, three fins; all millimetres.
PROFILE_A = np.array([[0.0, 0.0], [60.0, 12.0], [300.0, 12.0]])
FIN_A = np.array([[250.0, 12.0], [280.0, 52.0], [310.0, 52.0], [300.0, 12.0]])
CP_A_MM = 248.54225
"""By the component method of J. S. Barrowman, 1966; computed (regression)."""
ROCKET_A = Rocket(PROFILE_A, (DrawnFins(3, FIN_A, 2.0),))


def scene_a(distance_mm: float = 420.0, **camera) -> Scene:
    """Rocket A, nose left, square to the camera."""
    return Scene(ROCKET_A, camera_at(distance_mm, **camera), Pose())


def with_fins(rocket: Rocket, *groups: DrawnFins) -> Rocket:
    """The same body with other fins."""
    return replace(rocket, fins=groups)


CALIPER_A = GivenSizes(tube_mm=24.0)  # what a caliper says of rocket A
THREE = GivenFins(3, (0.0, np.pi), 2.0)
"""One group of three, one flat in the picture on either side."""


def errors(scene, solid) -> dict:
    """cp: caliber; length, diameter, areas: per cent; base_mm."""
    rocket, found = scene.rocket, solid.geometry
    true = geometry_of(rocket)
    areas = [
        planform(exposed_planform(found.profile_mm, group.outline_mm)).area_mm2 / drawn.area_mm2(rocket)
        for group, drawn in zip(found.fins, rocket.fins, strict=True)
    ]
    return {
        "cp": (centre_of_pressure(found).x_mm - centre_of_pressure(true).x_mm) / rocket.max_diameter_mm,
        "length": 100 * (found.profile_mm[-1, 0] / rocket.length_mm - 1),
        "diameter": 100 * (2 * found.profile_mm[:, 1].max() / rocket.max_diameter_mm - 1),
        "areas": 100 * (np.array(areas) - 1),
        "base_mm": found.profile_mm[-1, 1] - rocket.profile_mm[-1, 1],
    }


def check(scene, given=None, *, cp=0.03, length=0.25, area=1.5, **how):
    """Solve and hold to bounds; the errors of a real grid are never all nought, one may be by chance."""
    given = given or GivenSizes(tube_mm=scene.rocket.max_diameter_mm)
    solid = solve(scene, given, **how)
    off = errors(scene, solid)
    assert np.hypot(off["cp"], np.abs(off["areas"]).max() / 100) > 1e-5, off
    assert abs(off["cp"]) < cp, off
    assert abs(off["length"]) < length, off
    assert abs(off["diameter"]) < 0.3, off
    assert np.abs(off["areas"]).max() < area, off
    return solid


def turned(rocket: Rocket, count: int, roll_deg: float) -> Rocket:
    """The rocket with this number of its fins at this roll."""
    return with_fins(rocket, replace(rocket.fins[0], count=count, roll_deg=roll_deg))
