"""The network's file, and one look through it.

Made by `digitize.training.train` from generated pictures alone; eye.json beside it says how, and how well it did on
pictures of kinds that it was never shown.
"""

import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from digitize.errors import OutlineRefusal

FILE = Path(__file__).with_name("eye.onnx")
SHA256 = "23f2751b95d66f44c704790c0bb7220c29353df6e5073bb8c012b9852f8607d2"
HEIGHT, WIDTH = 512, 768
"""Of the pictures it was trained on, px."""


@dataclass(frozen=True)
class Parts:
    """(H, W) probabilities, 0..1, of a pixel of one look. rocket and body: whole, also where something stands before
    them; fins: seen; hidden: rocket behind something; nose: the foremost eighth of the body."""

    rocket: np.ndarray
    body: np.ndarray
    fins: np.ndarray
    hidden: np.ndarray
    nose: np.ndarray


@cache
def loaded_network():
    data = FILE.read_bytes()
    if hashlib.sha256(data).hexdigest() != SHA256:
        raise OutlineRefusal(
            f"{FILE.name}, the file that finds the rocket, is damaged or not the one of this version",
            "Install digitize again",
        )
    return cv2.dnn.readNetFromONNX(np.frombuffer(data, np.uint8))


def predict(rgb: np.ndarray, strokes: np.ndarray | None = None) -> Parts:
    """What is seen in a picture (H, W, 3) uint8, sRGB, H and W multiples of 32.

    strokes: (2, H, W) bool, where a person said rocket, and not rocket. Raises OutlineRefusal if the file is damaged.
    """
    planes = np.zeros((1, 5, *rgb.shape[:2]), np.float32)
    planes[0, :3] = rgb.transpose(2, 0, 1) / 255.0
    if strokes is not None:
        planes[0, 3:] = strokes
    network = loaded_network()
    network.setInput(planes)
    return Parts(*network.forward()[0])
