"""Draw the sample with the inch ruler again:  python tests/draw_inch_sample.py

Writes samples/yarrow-inch-ruler.jpg and its truth, worked out here from the drawn numbers by closed forms, not by the
tool: slopes and places of a cone and of clipped fins (the equations of NARAM-8, 1966, with the body's factor), the
side view's area and centroid as polygons.
"""

import json
from pathlib import Path

import numpy as np
import shapely
from drawing import Camera, DrawnFins, Light, Paint, Pose, Reference, Rocket, Scene, draw, save

SAMPLES = Path(__file__).parents[1] / "samples"
NAME = "yarrow"
INCH = 25.4
NOSE, LENGTH, DIAMETER = 4.25 * INCH, 16.5 * INCH, 1.375 * INCH
ROOT, TIP, SPAN, SWEEP, COUNT, THICKNESS = 2.5 * INCH, 1.25 * INCH, 1.75 * INCH, 1.5 * INCH, 3, 0.125 * INCH
FORE, RADIUS = LENGTH - ROOT, DIAMETER / 2
AWAY_MM = 850.0


def scene() -> Scene:
    """One fin up, the nose to the left, a 12-inch ruler below at the height of the axis."""
    red, black = (190, 40, 40), (34, 34, 36)
    out = RADIUS + SPAN
    outline = np.array([[FORE, RADIUS], [FORE + SWEEP, out], [FORE + SWEEP + TIP, out], [LENGTH, RADIUS]])
    profile = np.array([[0.0, 0.0], [NOSE, RADIUS], [LENGTH, RADIUS]])
    rocket = Rocket(profile, (DrawnFins(COUNT, outline, THICKNESS, 0.0),))
    size = (2400, 1600)
    return Scene(
        rocket,
        Camera(size, Camera.focal_px_of(50, size), (20.0, 30.0, -AWAY_MM), (0.01, -0.012, 0.008), 0.004),
        Pose((0.0, 0.0, 0.0), 181.0, 0.3),
        Paint(body=(236, 236, 232), fins=red, bands=((0.0, NOSE, red), (300.0, 312.0, black)), gloss=0.35),
        references=(Reference("inch", (5.0, 92.0), 0.0, -1.5, (0.4, -0.3), 12 * INCH),),
        background="mat",
        background_colour=(58, 92, 112),
        backdrop_mm=62.0,
        light=Light(shadow_softness_px=30.0, shadow=0.4),
        lens_blur_px=0.8,
        noise=0.004,
        jpeg_quality=90,
        seed=12,
    )  # fmt: skip


def truth() -> dict:
    """What was drawn, and what follows from it."""
    middle = np.hypot(SPAN, SWEEP + TIP / 2 - ROOT / 2)  # length of the fin's mid-chord line
    plain = 4 * COUNT * (SPAN / DIAMETER) ** 2 / (1 + np.sqrt(1 + (2 * middle / (ROOT + TIP)) ** 2))
    fins = (1 + RADIUS / (SPAN + RADIUS)) * plain
    at = FORE + SWEEP / 3 * (ROOT + 2 * TIP) / (ROOT + TIP) + (ROOT + TIP - ROOT * TIP / (ROOT + TIP)) / 6
    slope = 2 + fins
    fin = np.array(scene().rocket.fins[0].outline_mm)
    lower = fin * [1, -0.5]  # the other two, 60 degrees out of the picture, one behind the other
    body = [[0, 0], [NOSE, RADIUS], [LENGTH, RADIUS], [LENGTH, -RADIUS], [NOSE, -RADIUS]]
    view = shapely.union_all([shapely.Polygon(body), shapely.Polygon(fin), shapely.Polygon(lower)])
    return {
        "rocket": NAME,
        "what": "clipped delta fins, blue mat, white inch ruler level with the axis",
        "user_says": {"number_of_fins": COUNT, "fin_sets": 1, "nose_points": "left", "max_diameter_in_calipers": 1.375},
        "length_mm": round(LENGTH, 6),
        "max_diameter_mm": DIAMETER,
        "base_diameter_mm": DIAMETER,
        "cp_mm": round(float((2 * 2 / 3 * NOSE + fins * at) / slope), 6),
        "cn_alpha_per_rad": round(float(slope), 6),
        "cutout_area_mm2": round(view.area, 6),
        "cutout_centroid_mm": round(view.centroid.x, 6),
        "fin_sets": [
            {
                "count": COUNT,
                "thickness_mm": THICKNESS,
                "root_chord_mm": ROOT,
                "span_mm": round(SPAN, 6),
                "planform_area_mm2": round((ROOT + TIP) / 2 * SPAN, 6),
                "planform": fin.round(6).tolist(),
            }
        ],
        "reference": {"kind": "ruler"},
    }


def main() -> None:
    name = SAMPLES / f"{NAME}-inch-ruler"
    save(draw(scene()), name.with_suffix(".jpg"))
    name.with_suffix(".json").write_text(json.dumps(truth(), indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
