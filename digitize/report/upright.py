"""The picture's marks turned with the photo, so that the nose points up, and cropped to the rocket.

Points are (x, y) in pixels of the full-size photo, the centre of the top-left pixel at (0, 0); a quarter turn is
counterclockwise, as NumPy's rot90 turns the picture.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from digitize.result_records import Drawing, Result

_ROOM = 0.07  # of the rocket's length, left free round it


def upright(result: Result, drawing: Drawing, size_px: tuple[int, int]) -> tuple[int, Result]:
    """(how often the photo has to be turned so that the nose is up, the result with its drawing turned as often).
    size_px: (width, height) of the full-size photo; the references are left out."""
    across, down = np.asarray(drawing.axis[0], float) - drawing.axis[1]
    turns = (1 if across > 0 else 3) if abs(across) > abs(down) else (0 if down <= 0 else 2)

    def turned(points: np.ndarray) -> np.ndarray:
        width, height = size_px
        for _ in range(turns):
            points = np.column_stack([points[:, 1], width - 1 - points[:, 0]])
            width, height = height, width
        return points

    return turns, _moved(result, drawing, turned)


def around_the_rocket(result: Result, shape: tuple[int, ...], shrink: int) -> tuple[tuple[slice, slice], Result]:
    """(rows and columns of the working picture round the rocket, the result with its marks in that part).

    shape: of the working picture, already turned. What needs room beside the rocket, fins' words and the reference's,
    is left out: it stands in the whole picture. Raises ValueError where there is no drawing.
    """
    drawing = result.drawing
    if drawing is None:
        raise ValueError("there is no drawing to crop to")
    parts = (result.outline_px, drawing.axis, drawing.profile_upper, drawing.profile_lower, *drawing.fins)
    points = np.vstack([np.asarray(part, float).reshape(-1, 2) for part in parts]) / shrink
    room = _ROOM * float(np.hypot(*(drawing.axis[0] - drawing.axis[1]))) / shrink
    largest = np.array(shape[1::-1])
    low = np.clip(np.floor(points.min(axis=0) - room), 0, largest - 1).astype(int)
    high = np.clip(np.ceil(points.max(axis=0) + room) + 1, low + 1, largest).astype(int)
    moved = _moved(result, drawing, lambda points: points - low * shrink)
    return (slice(low[1], high[1]), slice(low[0], high[0])), replace(moved, fins=())


def _moved(result: Result, drawing: Drawing, move: Callable[[np.ndarray], np.ndarray]) -> Result:
    def lines(points) -> np.ndarray:
        return move(np.asarray(points, float).reshape(-1, 2))

    def mark(point: np.ndarray | None) -> np.ndarray | None:
        return None if point is None else lines(point)[0]

    drawn = replace(
        drawing,
        axis=lines(drawing.axis),
        profile_upper=lines(drawing.profile_upper),
        profile_lower=lines(drawing.profile_lower),
        fins=tuple(map(lines, drawing.fins)),
        roots=tuple(map(lines, drawing.roots)),
        cp=mark(drawing.cp),
        cp_band=None if drawing.cp_band is None else lines(drawing.cp_band),
        balance=mark(drawing.balance),
        cutout=mark(drawing.cutout),
        references=(),
        stations=tuple(replace(station, point=lines(station.point)[0]) for station in drawing.stations),
    )
    return replace(result, drawing=drawn, outline_px=lines(result.outline_px))
