"""A small renderer: photographs of invented rockets whose every number is known.

`draw(scene)` gives the picture and its truth; `save(drawn, path)` writes a JPEG as a phone would.

World frame: millimetres, x right, y down, z away from the camera; a camera that is not turned looks along z.
Pixels: the centre of the top-left pixel is (0, 0).
"""

from .camera import Camera
from .render import Drawn, draw, save
from .scene import DrawnFins, Light, Lug, Paint, Pose, Reference, Rocket, Scene

__all__ = [
    "Camera",
    "Drawn",
    "DrawnFins",
    "Light",
    "Lug",
    "Paint",
    "Pose",
    "Reference",
    "Rocket",
    "Scene",
    "draw",
    "save",
]
