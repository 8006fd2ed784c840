"""The found outline pulled by hand, before the solid is fitted to it."""

from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from digitize.errors import Refusal, UsageRefusal
from digitize.pipeline import camera_of, fit_photo
from digitize.records import Photo, ReferencePoints, Silhouette
from digitize.request.options import MeasureOptions
from digitize.result.from_photo import Measured
from digitize.trace.held import off_warning, pulled_off
from digitize.trace.resolve import MANUAL_SIGMA_PX
from digitize.trace.sketch import point

MOST_PULLS = 100


@dataclass(frozen=True)
class Pull:
    """start, end: (2,) where the outline was taken and where it was let go; reach_px: how far its neighbours come
    along, less and less. Pixels of the photo they are applied to."""

    start: np.ndarray
    end: np.ndarray
    reach_px: float


def pulls_of(photo: Photo, data) -> tuple[Pull, ...]:
    """From the page's lists, in pixels of the full-size photo, to the working picture. Raises UsageRefusal."""
    try:
        if len(data) > MOST_PULLS:
            raise ValueError("too many")
        found = []
        for each in data:
            reach = float(each["reach"])
            if not 0.1 <= reach <= 5000:
                raise ValueError("reach")
            start, end = photo.to_working_px(point(each["from"])), photo.to_working_px(point(each["to"]))
            found.append(Pull(start, end, reach / photo.shrink))
        return tuple(found)
    except (KeyError, TypeError, ValueError) as error:
        raise UsageRefusal(f"the pulls are not understood ({error})", "pull again") from None


def pulled(silhouette: Silhouette, pulls: tuple[Pull, ...]) -> Silhouette:
    """The outline after all of them; where it was moved it is as good as a hand sets it."""
    outline, sigma = silhouette.outline_px, silhouette.sigma_px
    manual = np.zeros(len(outline), bool)
    for pull in pulls:
        away = np.hypot(*(outline - pull.start).T) / pull.reach_px
        weight = np.where(away < 1, np.cos(np.pi / 2 * np.minimum(away, 1)) ** 2, 0.0)
        outline = outline + weight[:, None] * (pull.end - pull.start)
        manual |= weight > 0.05
    return replace(silhouette, outline_px=outline, sigma_px=np.where(manual, MANUAL_SIGMA_PX, sigma), manual=manual)


def fit_pulled(
    photo: Photo,
    options: MeasureOptions,
    references: tuple[ReferencePoints, ...],
    silhouette: Silhouette,
    pulls: tuple[Pull, ...],
) -> Measured:
    """The solid behind the outline after the pulls; where they left the photo's edge, with that behind the outline as
    it was found beside it. Raises ScaleRefusal, OutlineRefusal."""
    prior, after = camera_of(photo, options), pulled(silhouette, pulls)
    measured = fit_photo(photo, options, prior, references, after)
    off = pulled_off(photo, silhouette, after, float(measured.solid.adjusted.pose().depth_mm / prior.camera.focal_px))
    if not off:
        return measured
    with suppress(Refusal):  # the pull may be what made it a rocket
        measured = replace(measured, as_shown=(fit_photo(photo, options, prior, references, silhouette).solid,))
    return replace(measured, silhouette=replace(after, warnings=(*after.warnings, *map(off_warning, off))))
