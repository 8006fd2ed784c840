"""A rocket seen by a pinhole of the tests' own, for the page's tests: true pixels without looking for any outline."""

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from digitize.records import FinGroup, Geometry
from digitize.trace.session import Session

WIDTH, HEIGHT, FOCAL35_MM, DEPTH_MM = 1600, 1000, 39, 900.0
FOCAL_PX = FOCAL35_MM / 43.267 * np.hypot(WIDTH, HEIGHT)  # by the diagonal of 36 x 24 mm, CIPA DCG-001
SEDGE = Geometry(
    "sedge",
    np.array([[0.0, 0.0], [40.0, 9.0], [90.0, 15.0], [420.0, 15.0]]),
    (FinGroup(4, np.array([[340.0, 15.0], [380.0, 55.0], [420.0, 55.0], [415.0, 15.0]]), 2.0),),
)
ASKED = {"scale": ["tube=30mm"], "fins": "4", "balance": "250mm", "mass": "150g"}


def seen(x_mm, y_mm, nose_left=True) -> np.ndarray:
    """(n, 2) pixels of points in the plane through the axis square to the view: x from the nose tip, y up."""
    x = (np.asarray(x_mm, float) - 210.0) * (1 if nose_left else -1)
    centre = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
    return centre + np.stack([x, -np.asarray(y_mm, float) + 0 * x], -1) * FOCAL_PX / DEPTH_MM


def limb(x_mm, radius_mm) -> np.ndarray:
    """(n, 2) pixels of the body's upper edge: the grazing ray touches nearer to the camera than the axis is."""
    r = np.asarray(radius_mm, float)
    grazing = r / np.sqrt(1 - (r / DEPTH_MM) ** 2)
    return seen(x_mm, grazing)


def drawn() -> dict:
    """What a careful hand sets of it: nose tip, aft end, the upper edge."""
    profile = SEDGE.profile_mm[1:]
    return {
        "tip_px": seen(0.0, 0.0).tolist(),
        "aft_px": rim().tolist(),
        "body_px": limb(profile[:, 0], profile[:, 1]).tolist(),
    }


def rim() -> np.ndarray:
    """(2,) where the aft edge crosses the axis: its nearest point to the camera is seen farther out."""
    centre = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
    return centre + np.array([210.0 * FOCAL_PX / (DEPTH_MM - 15.0), 0.0])


def fin_px() -> np.ndarray:
    """(m, 2) the fin in the photo's plane, upper side."""
    return seen(*SEDGE.fins[0].outline_mm.T)


def photo_file(folder: Path, name="sedge.jpg") -> Path:
    """A plain picture with the rocket in grey: nothing in it is looked for."""
    picture = Image.new("RGB", (WIDTH, HEIGHT), (205, 210, 214))
    pen = ImageDraw.Draw(picture)
    upper = limb(*SEDGE.profile_mm[1:].T)
    body = np.concatenate([seen([0.0], [0.0]), upper, mirrored(upper)[::-1]])
    for shape in (body, fin_px(), mirrored(fin_px())):
        pen.polygon([tuple(p) for p in shape], fill=(70, 90, 120))
    folder.mkdir(parents=True, exist_ok=True)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = FOCAL35_MM  # FocalLengthIn35mmFilm, Exif 2.3
    picture.save(folder / name, quality=92, exif=exif)
    return folder / name


def mirrored(points_px: np.ndarray) -> np.ndarray:
    """(n, 2) on the other side of the axis."""
    return np.column_stack([points_px[:, 0], HEIGHT - 1 - points_px[:, 1]])


def drawn_session(folder: Path, texts: dict = ASKED) -> Session:
    """A session in this folder, its rocket drawn by hand, a fin too."""
    session = Session(folder / "results")
    session.load_photo(photo_file(folder))
    session.begin(texts, drawn())
    session.change({"do": "draw-fin", "points": fin_px().tolist(), "count": 4})
    return session
