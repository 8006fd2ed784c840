"""Random photographs with what their builder would say of them: the stuff of the coverage study."""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from . import references, solids
from .camera import Camera
from .invented import random_paint, random_rocket
from .scene import DrawnFins, Light, Pose, Reference, Rocket, Scene

BACKGROUNDS = {
    "sheet": [(216, 216, 212), (180, 188, 198), (120, 150, 190)],
    "wall": [(214, 212, 204), (196, 202, 210)],
    "wood": [(188, 140, 90), (120, 84, 62)],
    "concrete": [(172, 166, 156)],
    "mat": [(30, 96, 82)],
}
SIZE_SIGMA = {
    "a4": 1e-3,
    "letter": 1e-3,
    "card": 5e-4,
    "sheet": 5e-4,
    "checker": 5e-4,
}  # of trimming or printing; rulers: 2e-4
CALIPER_MM, TAPE_MM, SETBACK_MM, ROLL_DEG, TILT_DEG = 0.04, 0.4, 1.5, 1.5, 1.5


@dataclass(frozen=True)
class Choices:
    """What a study may hold fixed; None is drawn at random.

    telling: 'reference', 'caliper', 'both' or 'tape'. pose: an option of `measure`, as 'in-plane' or '30deg'.
    """

    width_px: int = 2400
    telling: str | None = None
    pose: str | None = None
    count: int | None = None
    background: str | None = None
    reference: str | None = None
    f35_mm: int | None = None
    k1: float | None = None
    tilt_deg: float | None = None


def random_scene(rng: np.random.Generator, **fixed) -> tuple[Scene, dict[str, str | list[str]]]:
    """One photograph and what is told of it: option of `measure` (without dashes) -> value or list of values.

    fixed: fields of Choices. The rocket fills 60 to 80 % of the picture's long side.
    """
    while True:
        scene, told = _any_scene(rng, Choices(**fixed))
        if told is not None and _room_for(scene, _rocket_seen(scene)):
            return scene, told


def _any_scene(rng: np.random.Generator, choices: Choices) -> tuple[Scene, dict | None]:
    """A photograph that may cut off the rocket; nothing is told when its reference finds no room."""
    count = choices.count or int(rng.choice([3, 4, 4, 6], p=[0.45, 0.2, 0.2, 0.15]))
    pose_said = choices.pose or str(rng.choice(["in-plane", "diagonal", "resting"], p=[0.7, 0.15, 0.15]))
    rocket = random_rocket(rng, count, said_roll_deg(pose_said, count, rng) + rng.normal(0, ROLL_DEG))
    nose = str(rng.choice(["left", "right", "up"], p=[0.45, 0.45, 0.1]))
    heading = {"left": 180.0, "right": 0.0, "up": 90.0}[nose] + rng.normal(0, 2.5)
    tilt, backdrop = _stance(rng, rocket, pose_said)
    pose = Pose((0.0, 0.0, 0.0), heading, tilt if choices.tilt_deg is None else choices.tilt_deg)
    camera, f35 = _camera(rng, rocket, nose == "up", choices)
    background = choices.background or str(rng.choice(list(BACKGROUNDS), p=[0.3, 0.2, 0.2, 0.15, 0.15]))
    colours = BACKGROUNDS[background]
    colour = colours[int(rng.integers(len(colours)))]
    telling = choices.telling or str(rng.choice(["reference", "caliper", "both", "tape"], p=[0.35, 0.2, 0.35, 0.1]))
    scene = Scene(
        rocket,
        camera,
        pose,
        random_paint(rng, rocket, colour),
        background=background,
        background_colour=colour,
        backdrop_mm=backdrop,
        light=_light(rng),
        lens_blur_px=float(rng.uniform(0.5, 1.1)),
        noise=float(rng.uniform(0.002, 0.008)),
        jpeg_quality=int(rng.integers(86, 96)),
        seed=int(rng.integers(2**31)),
    )
    needed = telling in ("reference", "both")
    if needed or rng.random() < 0.3:
        scene = replace(scene, references=_reference(rng, scene, choices.reference))
    if needed and not scene.references:
        return scene, None
    return scene, _told(rng, scene, telling, pose_said, nose, f35)


def said_roll_deg(pose: str, count: int, rng: np.random.Generator) -> float:
    """Roll of fin 1 under a pose of `measure`; of an odd number in the plane, the one fin is up or down."""
    gap = 360 / count
    if pose == "in-plane":
        return 180.0 * int(rng.integers(2)) if count % 2 else 0.0
    return {"diagonal": gap / 2, "resting": -90 + gap / 2}.get(pose) or float(pose.removesuffix("deg"))


def _stance(rng: np.random.Generator, rocket: Rocket, pose: str) -> tuple[float, float]:
    """Tilt of the axis (deg, nose nearer) and the backdrop's place behind the axis's middle (mm)."""
    fins = rocket.fins[-1]
    radius = rocket.max_diameter_mm / 2
    if pose == "resting":
        # Two fin tips and the first place of the body that a straight edge from them meets.
        tip = fins.outline_mm[np.argmax(fins.outline_mm[:, 1])]
        height = max(tip[1] * np.cos(np.pi / fins.count), radius)
        ahead = rocket.profile_mm[rocket.profile_mm[:, 0] < tip[0] - radius]
        slope = float(np.min((height - ahead[:, 1]) / (tip[0] - ahead[:, 0])))
        tilt = -np.arctan(slope)
        below = (tip[0] - rocket.length_mm / 2) * np.sin(tilt) + height * np.cos(tilt)
        return float(np.degrees(tilt)), float(below)
    deepest = max([radius, *(_depth(group) for group in rocket.fins)])
    return float(rng.normal(0, TILT_DEG)), deepest + float(rng.uniform(5, 50))


def _depth(fins: DrawnFins) -> float:
    """How far the fins reach away from the camera, from the axis."""
    angles = np.radians(fins.roll_deg + np.arange(fins.count) * 360 / fins.count)
    return float(fins.outline_mm[:, 1].max() * np.max(-np.sin(angles)))


def _camera(rng: np.random.Generator, rocket: Rocket, upright: bool, choices: Choices) -> tuple[Camera, int]:
    long, short = choices.width_px, round(choices.width_px * 2 / 3)
    size = (short, long) if upright else (long, short)
    f35 = choices.f35_mm or int(rng.integers(24, 81))
    # What EXIF holds is rounded and nominal.
    focal = Camera.focal_px_of(f35, size) * (1 + rng.normal(0, 0.01))
    overall = max([rocket.length_mm, *(g.outline_mm[:, 0].max() for g in rocket.fins)])
    distance = overall * focal / (rng.uniform(0.6, 0.8) * long)
    turn = np.radians(rng.normal(0, [1.2, 1.2, 1.5]))
    k1 = float(np.clip(rng.normal(0, 0.008), -0.02, 0.02)) if choices.k1 is None else choices.k1
    straight = Camera(size, focal, (0, 0, 0), tuple(turn), k1)
    aside = rng.uniform(-0.03, 0.03, 2) * overall
    centre = straight.rotation.T @ -np.array([*aside, distance])
    return replace(straight, centre_mm=tuple(centre)), f35


def _light(rng: np.random.Generator) -> Light:
    hard = rng.random() < 0.2
    return Light(
        direction=(float(rng.uniform(-0.5, 0.5)), float(rng.uniform(0.1, 0.6)), 1.0),
        shadow_softness_px=float(rng.uniform(0.8, 2.5) if hard else rng.uniform(10, 35)),
        shadow=float(rng.uniform(0.35, 0.6) if hard else rng.uniform(0.1, 0.4)),
        gradient=tuple(rng.uniform(-0.2, 0.2, 2)),
    )


def _rocket_seen(scene: Scene) -> shapely.Geometry:
    """The rocket in ideal coordinates."""
    eye = np.array(scene.camera.centre_mm)
    return solids.silhouette(scene.rocket, scene.pose, scene.camera.ideal, eye, finest=1e-6)


def _room_for(scene: Scene, seen: shapely.Geometry) -> bool:
    """Whether something seen stays clear of the picture's border."""
    half = (np.array(scene.camera.size_px) * 0.48 - 10) / scene.camera.focal_px
    return bool(shapely.box(*-half, *half).contains(seen))


def _reference(rng: np.random.Generator, scene: Scene, kind: str | None) -> tuple[Reference, ...]:
    """A reference that fits beside the rocket, on the backdrop or raised to the axis; none if none fits."""
    see, rocket = scene.camera.ideal, _rocket_seen(scene)
    clear = 25 / scene.camera.focal_px
    every = ["steel", "white", "wood", "card", "a4", "letter", "checker", "sheet"]
    behind = float(rng.choice([0.0, scene.backdrop_mm - 0.5]))
    lean = tuple(rng.normal(0, 1.0, 2)) if behind == 0 else (0.0, 0.0)
    for name in [kind] if kind else [str(k) for k in rng.permutation(every)]:
        for _ in range(25):
            there = Reference(
                name,
                tuple(rng.uniform(-1, 1, 2) * scene.rocket.length_mm * [0.4, 0.45]),
                behind,
                turn_deg=float(rng.normal(0, 4) + 90 * int(rng.integers(2))),
                lean_deg=lean,
                length_mm=float(rng.choice([150, 200, 300])),
                stretch=1 + float(rng.normal(0, SIZE_SIGMA.get(name, 2e-4))),
            )
            seen = shapely.Polygon(see(there.plane().world(references.corners_mm(there))))
            if _room_for(scene, seen) and seen.distance(rocket) > clear:
                return (there,)
    return ()


def _told(
    rng: np.random.Generator, scene: Scene, telling: str, pose: str, nose: str, f35: int
) -> dict[str, str | list[str]]:
    """What the builder says, with a builder's errors."""
    rocket = scene.rocket
    scale = []
    told: dict[str, str | list[str]] = {"scale": scale}
    if telling in ("reference", "both"):
        for reference in scene.references:
            scale.append(_option(reference))
            if reference.behind_mm == 0:
                told["behind"] = "0mm"
            elif rng.random() < 0.7:
                told["behind"] = f"{reference.behind_mm + rng.normal(0, SETBACK_MM):.0f}mm"
    if telling in ("caliper", "both"):
        scale.append(f"tube={rocket.max_diameter_mm + rng.normal(0, CALIPER_MM):.2f}mm")
    if telling == "tape":
        scale.append(f"length={rocket.length_mm + rng.normal(0, TAPE_MM):.0f}mm")
    if rng.random() < 0.7:
        distance = np.linalg.norm(scene.camera.centre_mm) * (1 + rng.normal(0, 0.03))
        told["distance"] = f"{distance / 1000:.1f}m"
    told["fins"] = ",".join(str(group.count) for group in rocket.fins)
    told["pose"] = pose
    told["nose"] = nose
    told["thickness"] = f"{rocket.fins[-1].thickness_mm:g}mm"
    return told


def _option(reference: Reference) -> str:
    if reference.kind in references.RULER_MARGIN_MM:
        return f"ruler={reference.length_mm:g}mm"
    if reference.kind == "checker":
        across, down = reference.squares
        return f"checker={across}x{down}x{reference.square_mm:g}mm"
    return reference.kind
