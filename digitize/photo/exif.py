"""What EXIF says that measuring needs: how the picture is turned, and the focal length.

Tags and units after the EXIF standard (CIPA DC-008). EXIF is often broken; nothing here raises for that.
"""

from dataclasses import dataclass
from math import hypot, isfinite

from PIL import Image

_ORIENTATION = 0x0112
_EXIF_IFD = 0x8769
_FOCAL_MM = 0x920A
_WIDTH_PX, _HEIGHT_PX = 0xA002, 0xA003
_PLANE_X_RESOLUTION, _PLANE_Y_RESOLUTION, _PLANE_UNIT = 0xA20E, 0xA20F, 0xA210
_DIGITAL_ZOOM = 0xA404
_FOCAL_35MM = 0xA405
_UNIT_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}  # 4 and 5 are not in the standard but in use

FRAME_35MM_DIAGONAL_MM = hypot(36.0, 24.0)  # 43.267
FOCAL35_RANGE_MM = (5.0, 2000.0)
"""Millimetres equivalent, from fisheye to the longest telephoto lenses: beyond it the tag is broken. No source."""
_SENSOR_DIAGONAL_RANGE_MM = (4.0, 65.0)  # from a telephone's front camera to medium format
_SAME_ASPECT = 0.01  # relative; rounding to whole blocks stays below it


@dataclass(frozen=True)
class ExifFacts:
    """orientation: 1 to 8 as EXIF numbers them. focal35_mm: 35 mm-equivalent by the diagonal, or None."""

    orientation: int = 1
    focal35_mm: float | None = None
    notes: tuple[str, ...] = ()


def read_exif(image: Image.Image, width_px: int, height_px: int) -> ExifFacts:
    """EXIF of a loaded image. width_px, height_px: of the stored full-size picture, turned or not."""
    try:
        exif = image.getexif()
        orientation_tag = exif.get(_ORIENTATION, 1)
        tags = dict(exif.get_ifd(_EXIF_IFD))
    except Exception as error:  # Pillow's EXIF parser raises almost anything on broken data
        note = f"EXIF is broken and was left out, the picture is taken as stored ({type(error).__name__})"
        return ExifFacts(notes=(note,))
    notes = []
    if image.info.get("exif") and not len(exif):
        notes.append("EXIF is broken and was left out, the picture is taken as stored")
    if orientation_tag in range(1, 9):
        orientation = int(orientation_tag)
    else:
        orientation = 1
        notes.append("EXIF orientation is not one of 1 to 8; the picture is taken as stored")
    focal35_mm, focal_note = _focal35(tags, width_px, height_px)
    if focal_note:
        notes.append(focal_note)
    return ExifFacts(orientation, focal35_mm, tuple(notes))


def _number(tags: dict, tag: int) -> float:
    """A tag's value as a positive finite number, else 0."""
    try:
        value = float(tags.get(tag, 0))
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return 0.0
    return value if isfinite(value) and value > 0 else 0.0


def _focal35(tags: dict, width_px: int, height_px: int) -> tuple[float | None, str | None]:
    """(35 mm-equivalent focal length or None, a note or None).

    A picture cut out of a larger one keeps the larger one's EXIF; where the sizes show it, the focal length
    is dropped, because it holds for the diagonal of the whole.
    """
    focal35_mm, how = _number(tags, _FOCAL_35MM), None
    if not FOCAL35_RANGE_MM[0] <= focal35_mm <= FOCAL35_RANGE_MM[1]:
        focal35_mm = _focal35_from_sensor(tags)
        how = f"35 mm-equivalent focal length {focal35_mm:.1f} mm worked out from the sensor's size in EXIF"
    if not FOCAL35_RANGE_MM[0] <= focal35_mm <= FOCAL35_RANGE_MM[1]:
        return None, None
    was_px = sorted((_number(tags, _WIDTH_PX), _number(tags, _HEIGHT_PX)))
    now_px = sorted((width_px, height_px))
    if was_px[0] and abs(was_px[1] / was_px[0] * now_px[0] / now_px[1] - 1) > _SAME_ASPECT:
        taken = f"{was_px[1]:.0f} × {was_px[0]:.0f}"
        return None, f"cropped from {taken} pixels by EXIF; its focal length is not used"
    zoom = _number(tags, _DIGITAL_ZOOM)
    if zoom > 1.05:
        return None, f"digital zoom {zoom:.2g} by EXIF; its focal length is not used"
    return focal35_mm, how


def _focal35_from_sensor(tags: dict) -> float:
    """From the focal length in mm and the sensor's pixels per length; 0 when the tags don't allow it."""
    unit_mm = _UNIT_MM.get(int(_number(tags, _PLANE_UNIT)) or 2)
    x_per_unit, y_per_unit = _number(tags, _PLANE_X_RESOLUTION), _number(tags, _PLANE_Y_RESOLUTION)
    if not (unit_mm and x_per_unit and y_per_unit):
        return 0.0
    diagonal_mm = unit_mm * hypot(_number(tags, _WIDTH_PX) / x_per_unit, _number(tags, _HEIGHT_PX) / y_per_unit)
    low_mm, high_mm = _SENSOR_DIAGONAL_RANGE_MM
    if not low_mm <= diagonal_mm <= high_mm:  # a picture made smaller, or a slip in the unit
        return 0.0
    return _number(tags, _FOCAL_MM) * FRAME_35MM_DIAGONAL_MM / diagonal_mm
