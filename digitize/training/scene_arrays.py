"""Where each number of a random scene lies in its block of floats. Said once, for Python and for raycast.cu."""

PICTURE = (512, 768)
"""Height and width of every training picture, and of what the network looks at, px."""
MOST_PROFILE, MOST_SECTIONS, MOST_FINS, MOST_CORNERS, MOST_LUGS, MOST_DECALS = 64, 8, 16, 28, 2, 4
MOST_MATERIALS, MOST_THINGS, MOST_LIGHTS = 48, 32, 3
MATERIAL_SIZE, THING_SIZE, PLANFORM_SIZE = 28, 24, 8 + 2 * MOST_CORNERS
COLLAGES, COLLAGE_PX = 48, 512
NOSE_SHARE = 0.12
"""The foremost share of the body, labelled as nose: it tells which way the rocket points."""
PLANES = ("red", "green", "blue", "rocket", "body", "fins", "hidden", "nose", "other", "shade")
"""rocket and body: whole, what stands before them included; fins: visible; hidden: rocket with something before it."""
LABELS = PLANES[3:]

MATERIAL_KINDS = (
    "PLAIN", "SPECKLED", "WOOD", "PLANKS", "GRID", "STRIPES", "CHECKS", "BRICK", "TILES", "GRASS", "COLLAGE",
    "WEAVE", "RULER",
    "PRINT", "GRAVEL", "FADE", "SKY", "MARKERS", "ROLL_PATTERN", "SPIRAL", "BLOTCHES", "CARD", "LETTERING",
)  # fmt: skip
KIND = {name: k for k, name in enumerate(MATERIAL_KINDS)}

_PARTS = (
    ("CAMERA", 16),  # place, right, down, forward, focal length px, principal point px, radial term
    ("LIGHTS", 8 * MOST_LIGHTS),  # direction, colour, half width (tangent), -
    ("LIGHT_ALL", 10),  # sky, bounce from below, depth of contact shadows, colour of nothing
    ("N_LIGHTS", 1),
    ("ROOM", 3),  # what gloss mirrors from above: number of a collage, how much of it, scale
    ("WALL_AT", 6),  # a point and the normal of a second plane
    ("WALL_ON", 1),
    (
        "ROCKET",
        18,
    ),  # nose tip, its three axes, then numbers of: profile points, fins, lugs; largest radius; sections, decals
    ("N_THINGS", 1),
    ("PROFILE", 2 * MOST_PROFILE),
    ("SECTIONS", 2 * MOST_SECTIONS),
    ("FINS", 8 * MOST_FINS),
    ("PLANFORMS", 2 * PLANFORM_SIZE),
    ("LUGS", 8 * MOST_LUGS),
    ("DECALS", 8 * MOST_DECALS),
    ("MATERIALS", MATERIAL_SIZE * MOST_MATERIALS),
    ("THINGS", THING_SIZE * MOST_THINGS),
)
AT = {}
SCENE_SIZE = 0
for _name, _size in _PARTS:
    AT[_name] = SCENE_SIZE
    SCENE_SIZE += _size


def defines() -> dict[str, float]:
    """Every name raycast.cu leaves open, with its value."""
    sizes = {
        "SCENE_SIZE": SCENE_SIZE,
        "MATERIAL_SIZE": MATERIAL_SIZE,
        "THING_SIZE": THING_SIZE,
        "PLANFORM_SIZE": PLANFORM_SIZE,
        "COLLAGE_PX": COLLAGE_PX,
        "N_PLANES": len(PLANES),
        "NOSE_SHARE": f"{NOSE_SHARE}f",
    }
    return {**AT, **KIND, **sizes}
