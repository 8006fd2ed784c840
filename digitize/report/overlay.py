"""The photo with what was found on it, as a dimensioned drawing: `draw_overlay`.

Full colour is what was taken for the rocket; everything else is paled toward paper, so a part that was missed
shows at once. Every mark carries its words; the strip below names the lines by their pattern.
"""

import cv2
import numpy as np

from digitize.report import raster
from digitize.report.drawable import drawable
from digitize.report.layout import FINE_PX, LETTER_PX, PHOTO_LONG_SIDE_PX, Label, Plan, plan_sheet
from digitize.report.titleblock import (
    AXIS_PATTERN,
    MODEL_PATTERN,
    REFERENCE_PATTERN,
    draw_title_block,
    title_block_height,
)
from digitize.report.upright import around_the_rocket, upright
from digitize.result_records import Result
from digitize.units.sentences import in_its_units

LONGEST_SIDE_PX = 2400
MARGIN_PX = 1.2 * LETTER_PX
TALL_PX = (620, 1100)  # of the photo in the tall picture: least, as its words need room; most
TALL_WIDTH_PX = 14 * LETTER_PX  # of the photo there; with its words it is then some 27 letters wide
_PALE = 0.30  # share of paper in the ground around the rocket


@in_its_units
def draw_overlay(rgb: np.ndarray, shrink: int, result: Result) -> np.ndarray:
    """The dimensioned picture as (h, w, 3) uint8, at most LONGEST_SIDE_PX long.

    rgb: (H, W, 3) uint8, the working picture; shrink: its whole-number reduction from the full-size photo, in
    whose pixels result.drawing and result.outline_px are given; result: what result.json holds.
    """
    result = drawable(result)
    sheet = _sheet(rgb, shrink, result, PHOTO_LONG_SIDE_PX)
    sheet_height, width = sheet.shape[:2]
    canvas = np.full((sheet_height + title_block_height(width), width, 3), raster.PAPER, np.uint8)
    canvas[:sheet_height] = sheet
    draw_title_block(canvas, sheet_height, result)
    if max(canvas.shape[:2]) > LONGEST_SIDE_PX:
        factor = LONGEST_SIDE_PX / max(canvas.shape[:2])
        canvas = cv2.resize(canvas, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return canvas


@in_its_units
def draw_tall(rgb: np.ndarray, shrink: int, result: Result) -> np.ndarray | None:
    """The rocket alone, nose up, as (h, w, 3) uint8: for a screen held upright, whose width leaves the words of the
    whole picture too small to read. Arguments as for `draw_overlay`; None where there is no axis to turn it by.
    """
    result = drawable(result)
    if result.drawing is None:
        return None
    turns, turned = upright(result, result.drawing, (rgb.shape[1] * shrink, rgb.shape[0] * shrink))
    rgb = np.rot90(rgb, turns)
    crop, cropped = around_the_rocket(turned, rgb.shape, shrink)
    height, width = rgb[crop].shape[:2]
    return _sheet(rgb[crop], shrink, cropped, float(np.clip(TALL_WIDTH_PX * max(height / width, 1.0), *TALL_PX)))


def _sheet(rgb: np.ndarray, shrink: int, result: Result, long_side_px: float) -> np.ndarray:
    """The photo with shape, rule and words."""
    plan, (width, height) = plan_sheet(rgb.shape, shrink, result, MARGIN_PX, long_side_px)
    canvas = np.full((height, width, 3), raster.PAPER, np.uint8)
    _lay_photo(canvas, rgb, plan, result)
    drawing = result.drawing
    if drawing:
        _draw_shape(canvas, plan, result, drawing)
        _draw_rule(canvas, plan)
        for label in plan.labels:
            _draw_leader(canvas, plan, label)
        for label in plan.labels:
            _draw_words(canvas, label)
    return canvas


def _lay_photo(canvas, rgb, plan: Plan, result) -> None:
    zoom = plan.placing.zoom
    shape = (round(rgb.shape[1] * zoom), round(rgb.shape[0] * zoom))
    how = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
    photo = cv2.resize(np.ascontiguousarray(rgb), shape, interpolation=how)
    left, top = (round(v) for v in plan.placing.corner)
    ground = canvas[top : top + shape[1], left : left + shape[0]]
    pale = cv2.addWeighted(photo, 1 - _PALE, np.full_like(photo, raster.PAPER), _PALE, 0)
    inside = np.zeros(photo.shape[:2], np.uint8)
    outline = result.outline_px
    if len(outline) > 2:
        points = plan.placing.to_canvas(outline) - [left, top]
        cv2.fillPoly(inside, [np.round(points).astype(np.int32)], 255)
    else:
        inside[:] = 255
    ground[:] = np.where(inside[..., None] > 0, photo, pale)
    raster.line(canvas, plan.photo_corners, 1, raster.SOFT_COLOUR, closed=True)


def _draw_shape(canvas, plan: Plan, result, drawing) -> None:
    place = plan.placing.to_canvas
    for reference in drawing.references:
        raster.line(canvas, place(reference.outline), FINE_PX, raster.LINE_COLOUR, FINE_PX, True, REFERENCE_PATTERN)
    if len(result.outline_px) > 2:
        raster.line(canvas, place(result.outline_px), FINE_PX, raster.LINE_COLOUR, FINE_PX, closed=True)
    for line in (drawing.profile_upper, drawing.profile_lower, *drawing.fins):
        if len(line) > 1:
            raster.line(canvas, place(line), FINE_PX, raster.MODEL_COLOUR, FINE_PX * 0.7, pattern=MODEL_PATTERN)
    for root in drawing.roots:
        if len(root) > 1:
            raster.line(canvas, place(root), FINE_PX * 1.5, raster.LINE_COLOUR, FINE_PX)
    if plan.frame is not None:
        frame = plan.frame
        over = 1.2 * LETTER_PX
        ends = [frame.xy(-over, 0), frame.xy(frame.length_px + over, 0)]
        raster.line(canvas, ends, FINE_PX * 0.6, raster.LINE_COLOUR, FINE_PX * 0.7, pattern=AXIS_PATTERN)


def _draw_rule(canvas, plan: Plan) -> None:
    rule = plan.rule
    if rule is None:
        return
    raster.area(canvas, rule.corners, raster.PAPER, 0.88)
    if rule.band is not None:
        raster.area(canvas, rule.band, raster.CP_COLOUR, 0.35)
    raster.line(canvas, rule.corners, 1, raster.LINE_COLOUR, closed=True)
    raster.line(canvas, rule.corners[:2], FINE_PX, raster.LINE_COLOUR)
    for start, end, is_major in rule.ticks:
        raster.line(canvas, [start, end], FINE_PX if is_major else 1, raster.LINE_COLOUR)
    size = round(LETTER_PX * 0.72)
    for text, centre in rule.numbers:
        raster.paste(canvas, raster.plaque(((text, 1.0),), size, opacity=0), centre, rule.turn_deg)


def _draw_leader(canvas, plan: Plan, label: Label) -> None:
    """A plumb line from the point named to its words; the kind of point decides how it ends."""
    if label.kind == "reference":
        return
    colour = raster.CP_COLOUR if label.kind == "cp" else raster.LINE_COLOUR
    width = FINE_PX * (1.2 if label.kind == "cp" else 0.8)
    raster.line(canvas, [label.foot, label.knee, label.near], width, colour, FINE_PX * 0.7)
    inward = -_unit(label.knee - label.foot)
    if label.kind == "cp":
        raster.arrowhead(canvas, label.foot, inward, LETTER_PX * 1.05, colour)
    elif label.kind == "cutout":
        raster.arrowhead(canvas, label.foot, inward, LETTER_PX * 0.9, colour, hollow=True)
    elif label.kind == "balance":
        raster.arrowhead(canvas, label.foot, -inward, LETTER_PX * 0.9, colour)
    if label.kind in ("cp", "balance", "cutout", "root"):
        raster.dot(canvas, label.foot, LETTER_PX * 0.16, colour)


def _draw_words(canvas, label: Label) -> None:
    colour = raster.CP_COLOUR if label.kind == "cp" else raster.LINE_COLOUR
    raster.paste(canvas, raster.plaque(label.lines, round(LETTER_PX), colour), label.centre, label.turn_deg)


def _unit(vector) -> np.ndarray:
    return vector / max(float(np.hypot(*vector)), 1e-9)
