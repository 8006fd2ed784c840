"""Is the outline found a rocket's, and how sure is it? Refuse what is not, warn of what may not be."""

from dataclasses import dataclass

import cv2
import numpy as np

from digitize.errors import OutlineRefusal
from digitize.outline.advice import ADVICE
from digitize.outline.region import Region
from digitize.records import Warn


@dataclass(frozen=True)
class Signs:
    """What a rocket's outline shows, 0 to 1 unless said.

    slenderness: the body's length over its mean width; weak: share of the outline that is uncertain by more than a
    pixel and WEAK_CALIBERS of the body's width; unsteady: share of the rocket by which the two looks differ; lopsided:
    by which the second look and its mirror image do; unsure: what the second look gives to the other side, as a share
    of the rocket, high also where a rocket is few pixels wide; on_frame: share of the outline on the picture's edge.
    """

    slenderness: float
    weak: float
    unsteady: float
    lopsided: float
    unsure: float
    on_frame: float


WEAK_CALIBERS = 0.02
"""Of the body's width: an outline known worse than this is warned of. By eye, no source."""
DOUBT, HOPELESS = 0.008, 0.4
UNSURE = 0.024
WEAK, TOO_WEAK = 0.1, 0.6
"""Chosen on 170 held-out generated pictures, of kinds that training never shows, hard ones on purpose: of the 63
outlines that overlap the truth by less than 0.95 these doubt all but four (0.91, of a body ten pixels wide and right to
a pixel, 0.938, 0.944 and 0.949), of the 107 others 48. Only wrong ones were above HOPELESS."""


def signs(region: Region, outline: np.ndarray, sigma_px: np.ndarray, shape: tuple[int, int]) -> Signs:
    """The signs of a region, and of its refined outline (n, 2), sigma_px (n,), in a picture of this height and
    width."""
    body = (region.body > 0.5).astype(np.uint8)
    slender, width = 0.0, 0.0
    if body.any():
        points = np.argwhere(body)[:, ::-1].astype(np.float32)
        _, sides, _ = cv2.minAreaRect(points)
        width = float(body.sum() / max(max(sides), 1.0))
        slender = max(sides) / max(width, 1e-6)
    weak = max(1.0, WEAK_CALIBERS * width * region.view.scale)
    rim = (outline < 0.6).any(1) | (outline > np.array(shape[::-1]) - 1.6).any(1)
    return Signs(
        slender, float(np.mean(sigma_px > weak)), region.unsteady, region.lopsided, region.unsure, float(rim.mean())
    )


def judge(found: Signs) -> list[Warn]:
    """Warnings about the outline. Raises OutlineRefusal when it can't be a whole rocket's, or can't be relied on."""
    if found.on_frame > 0.002:
        raise OutlineRefusal(
            "The outline found runs out of the picture", "Step back so that the whole rocket is in the frame"
        )
    for wrong, what in (
        (found.slenderness < 3, "is too stout for a rocket seen from the side"),
        (found.slenderness > 45, "is too thin for a rocket"),
        (found.weak > TOO_WEAK, "hardly stands out from the ground"),
        (max(found.unsteady, found.lopsided) > HOPELESS, "changes with how the picture is looked at"),
    ):
        if wrong:
            raise OutlineRefusal(f"No rocket was found: the best outline {what}", ADVICE)
    warnings = []
    if found.weak > WEAK:
        warnings.append(
            Warn(
                "EDGE_WEAK",
                f"The rocket's edge is hard to see along {found.weak:.0%} of its outline",
                "Put a ground of another colour behind the rocket, and light it from both sides",
            )
        )
    if max(found.unsteady, found.lopsided) > DOUBT or found.unsure > UNSURE:
        warnings.append(
            Warn(
                "OUTLINE_UNSTEADY",
                "Part of the outline could be rocket or ground",
                "Check the outline in the picture (overlay.png); a plainer ground or softer light makes it sure",
            )
        )
    return warnings
