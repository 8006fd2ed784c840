"""Is the outline found a rocket's, and how sure is it? Refuse what is not, warn of what may not be."""

from dataclasses import dataclass

import cv2
import numpy as np

from digitize.errors import OutlineRefusal
from digitize.outline.advice import ADVICE
from digitize.outline.axis import slice_region
from digitize.outline.coarse import Region
from digitize.records import Warn


@dataclass(frozen=True)
class Signs:
    """What a rocket's outline shows, 0 to 1 unless said.

    slenderness: length over body diameter; mirrored: share of the body's length where both sides lie equally far
    from the axis; box_filled: share of the tightest box round it; weak: share of the outline where the edge is
    uncertain by more than a pixel; steady: overlap with the region found one look earlier; on_frame: share of the
    outline on the picture's edge.
    """

    slenderness: float
    mirrored: float
    box_filled: float
    weak: float
    steady: float
    on_frame: float


def signs(region: Region, sigma_px: np.ndarray) -> Signs:
    """The signs of a region found, and of its refined outline's standard deviations."""
    mask, half = region.mask, region.half_px
    slices = slice_region(mask, region.axis)
    plain = slices.half_width_px < 1.25 * half
    even = np.abs(slices.low_px + slices.high_px) / 2 < np.maximum(1.5, 0.12 * half)
    contour = max(
        cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0], key=len
    )
    (_, (width, height), _) = cv2.minAreaRect(contour)
    rim = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    return Signs(
        slenderness=float(np.ptp(slices.along_px) / (2 * half)),
        mirrored=float(np.mean(plain & even)),
        box_filled=float(mask.sum() / max((width + 1) * (height + 1), 1)),
        weak=float(np.mean(sigma_px > 1.0)),
        steady=float((mask & region.earlier).sum() / (mask | region.earlier).sum()),
        on_frame=float(rim.sum() / len(contour)),
    )


def judge(found: Signs) -> list[Warn]:
    """Warnings about the outline. Raises OutlineRefusal when it can't be a whole rocket's, or can't be relied on."""
    if found.on_frame > 0.002:
        raise OutlineRefusal(
            "The outline found runs out of the picture", "Step back so that the whole rocket is in the frame"
        )
    for wrong, what in (
        (found.slenderness < 4, "is too stout for a rocket seen from the side"),
        (found.slenderness > 40, "is too thin for a rocket"),
        (found.mirrored < 0.45, "has no two sides that mirror each other, as a rocket's body has"),
        (found.box_filled > 0.85, "is a plain bar without a nose or fins"),
        (found.weak > 0.35, "hardly stands out from the ground"),
        (found.steady < 0.6, "changes with how the picture is looked at"),
    ):
        if wrong:
            raise OutlineRefusal(f"No rocket was found: the best outline {what}", ADVICE)
    warnings = []
    if found.weak > 0.1:
        warnings.append(
            Warn(
                "EDGE_WEAK",
                f"The rocket's edge is hard to see along {found.weak:.0%} of its outline",
                "Put a ground of another colour behind the rocket, and light it from both sides",
            )
        )
    if found.steady < 0.8:
        warnings.append(
            Warn(
                "OUTLINE_UNSTEADY",
                "Part of the outline could be rocket or ground",
                "Check the outline on the overlay; a plainer ground or softer light makes it sure",
            )
        )
    return warnings
