"""True-size templates laid out on sheets of paper: the cut-out, and one fin of each group.

Frame of a piece: millimetres, x to the right (the nose on the left), y up, its lower left corner at (0, 0). Frame of a
sheet: millimetres from its lower left corner.
"""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from digitize.aero.components import exposed_planform
from digitize.errors import UsageRefusal
from digitize.geometry import side_area
from digitize.records import Geometry
from digitize.result.from_json import Saved
from digitize.sizes import PAPERS_MM

EDGE_MM = 10.0
"""What printers leave white at the edge, and a little."""
FOOT_MM = 24.0
"""Under the drawing, for the check bar and the words."""
OVERLAP_MM = 12.0
"""Enough to glue on, and for a cross to lay sheet on sheet by: by eye."""
BAR_MM = 100.0
"""Length of the bar to check the print by: what any ruler has."""
_LONGEST_NAME = 30
"""Of what the foot of a sheet of Letter paper holds beside the rest."""


@dataclass(frozen=True)
class Mark:
    """A point of a piece to be found on the cardboard. place: (x, y)."""

    words: str
    place: tuple[float, float]


@dataclass(frozen=True)
class Piece:
    """One thing to cut. key: for its file name; outlines: closed (n, 2) each, the first the cut line, others holes or
    further parts; lines: (2, 2) each, to be drawn but not cut; area_mm2, centroid: of what is cut."""

    key: str
    title: str
    outlines: tuple[np.ndarray, ...]
    area_mm2: float
    centroid: tuple[float, float]
    marks: tuple[Mark, ...] = ()
    lines: tuple[np.ndarray, ...] = ()

    def size(self) -> np.ndarray:
        """(width, height)."""
        return np.vstack(self.outlines).max(axis=0)


@dataclass(frozen=True)
class Sheet:
    """One sheet of paper. size_mm: width, height; window_mm: (2, 2) lower left and upper right of what is drawn;
    origin_mm: where the piece's (0, 0) lies; row from the bottom and column from the left, from 0, of rows and columns;
    crosses_mm: (k, 2) register marks that neighbouring sheets share; words: what the sheet is."""

    piece: Piece
    size_mm: tuple[float, float]
    window_mm: np.ndarray
    origin_mm: np.ndarray
    row: int
    column: int
    rows: int
    columns: int
    crosses_mm: np.ndarray
    words: str


def pieces_of(saved: Saved) -> tuple[Piece, ...]:
    """What to cut for a results folder, its fins standing as in its cut-out. Raises UsageRefusal."""
    rolls = saved.result.cutout_rolls_deg or (0.0,) * len(saved.geometry.fins)
    if len(rolls) != len(saved.geometry.fins):
        raise UsageRefusal(f"{saved.folder}: its cut-out is of another geometry", "Measure or solve again with --out")
    return pieces(saved.geometry, rolls, saved.result.cp_x_mm.value)


def pieces(geometry: Geometry, rolls_deg, cp_x_mm: float) -> tuple[Piece, ...]:
    """The cut-out, fins standing at rolls_deg (one for each group) as they were photographed, and each group's fin."""
    return (_cutout(geometry, rolls_deg, cp_x_mm), *(_fin(geometry, k) for k in range(len(geometry.fins))))


def _cutout(geometry: Geometry, rolls_deg, cp_x_mm: float) -> Piece:
    shape = side_area.silhouette(geometry, rolls_deg)
    low = np.array(shape.bounds[:2])
    marks = (
        Mark("the card should balance here", (shape.centroid.x - low[0], shape.centroid.y - low[1])),
        Mark("centre of pressure", (cp_x_mm - low[0], -low[1])),
    )
    length = float(geometry.profile_mm[-1, 0])
    axis = np.array([[0.0, 0.0], [length, 0.0]]) - low
    title = f"{_short(geometry.name)}: the cut-out"
    return Piece("cutout", title, _rings(shape, low), shape.area, marks[0].place, marks, (axis,))


def _fin(geometry: Geometry, k: int) -> Piece:
    group = geometry.fins[k]
    shape = shapely.make_valid(shapely.Polygon(exposed_planform(geometry.profile_mm, group.outline_mm)))
    low = np.array(shape.bounds[:2])
    centre = (shape.centroid.x - low[0], shape.centroid.y - low[1])
    number = f" of group {k + 1}" if len(geometry.fins) > 1 else ""
    title = f"{_short(geometry.name)}: fin{number}, {group.count} alike; the lower edge is glued to the body"
    return Piece(f"fin-{k + 1}", title, _rings(shape, low), shape.area, centre, (Mark("centroid", centre),))


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1]}\u2026"


def _rings(shape, low) -> tuple[np.ndarray, ...]:
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    parts.sort(key=lambda part: -part.area)
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    return tuple(np.array(ring.coords)[:-1, :2] - low for ring in rings)


def sheets(piece: Piece, paper: str) -> tuple[Sheet, ...]:
    """The piece on as few sheets as it takes, upright or across; from left to right and bottom to top.

    Neighbouring sheets show the same OVERLAP_MM, with the same crosses in it. Sheets that would be empty are left out.
    """
    upright = PAPERS_MM[paper]
    wide = piece.size()[0] > piece.size()[1]
    across = upright[::-1]
    return min((_tiled(piece, size) for size in ((across, upright) if wide else (upright, across))), key=len)


def _tiled(piece: Piece, size_mm: tuple[float, float]) -> tuple[Sheet, ...]:
    low = np.array([EDGE_MM, EDGE_MM + FOOT_MM])
    room = np.array(size_mm) - EDGE_MM - low
    # each further sheet shows OVERLAP_MM of the one before again
    counts = np.maximum(np.ceil((piece.size() - OVERLAP_MM) / (room - OVERLAP_MM)).astype(int), 1)
    columns, rows = (int(count) for count in counts)
    step = room - OVERLAP_MM
    cuts = [step[axis] * np.arange(1, count) + OVERLAP_MM / 2 for axis, count in enumerate(counts)]
    inked, found = shapely.union_all([shapely.Polygon(outline) for outline in piece.outlines]), []
    for row in range(rows):
        for column in range(columns):
            # along what one sheet holds, in its middle
            origin = np.where(counts > 1, low - step * [column, row], low + (room - piece.size()) / 2)
            window = np.array([low, low + room])
            if columns * rows > 1 and not inked.intersects(shapely.box(*(window - origin).ravel())):
                continue
            found.append(
                Sheet(piece, size_mm, window, origin, row, column, rows, columns,
                      _crosses(cuts, origin, window), piece.title)
            )  # fmt: skip
    named = (f"{piece.title}{_place(number, sheet, len(found))}" for number, sheet in enumerate(found, 1))
    return tuple(replace(sheet, words=words) for sheet, words in zip(found, named, strict=True))


def _place(number: int, sheet: Sheet, of: int) -> str:
    """Which of several sheets one is."""
    if of == 1:
        return ""
    words = f", sheet {number} of {of}"
    if sheet.rows == 1:
        return words
    return f"{words}: row {sheet.row + 1} from the bottom, column {sheet.column + 1} from the left"


def _crosses(cuts, origin, window) -> np.ndarray:
    """Register marks on this sheet: on every cut line, near both ends of the window and in its middle."""
    low, high = window
    marks = []
    for axis, places in enumerate(cuts):
        other = 1 - axis
        for place in places + origin[axis]:
            if low[axis] <= place <= high[axis]:
                # the other coordinate is the same on both neighbours, which are shifted along one axis only
                for share in (0.08, 0.5, 0.92):
                    point = np.zeros(2)
                    point[axis], point[other] = place, low[other] + share * (high[other] - low[other])
                    marks.append(point)
    return np.array(marks).reshape(-1, 2)
