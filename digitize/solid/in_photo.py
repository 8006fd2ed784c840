"""The measured rocket drawn back into its photo: axis, body, every fin, and the places that were worked out."""

import numpy as np

from digitize.records import Photo, Quantity, ReferencePoints
from digitize.result_records import Drawing, DrawnReference, Station
from digitize.solid.measure import Solid


def drawing_of(
    photo: Photo,
    solid: Solid,
    references: tuple[ReferencePoints, ...],
    cp_x: Quantity,
    balance_mm: Quantity | None,
    centroid: Quantity,
) -> Drawing:
    """The model projected back into the photo."""
    pose, geometry = solid.adjusted.pose(), solid.geometry
    tip_s = float(solid.adjusted.problem.ends.tip_s_mm(pose))

    def on_axis(x_mm) -> np.ndarray:
        s = np.atleast_1d(np.asarray(x_mm, float)) + tip_s
        return photo.to_full_px(pose.project(np.stack([s, 0 * s, 0 * s], -1)))

    outlines, roots = [], []
    for group, trace in zip(geometry.fins, solid.fins, strict=True):
        planform = group.outline_mm + np.array([tip_s, 0.0])
        for angle in trace.roll_rad + 2 * np.pi * np.arange(group.count) / group.count + trace.turn_rad:
            seen = photo.to_full_px(pose.project_fin(planform, angle))
            outlines.append(seen)
            roots.append(seen[[0, -1]])
    length = float(geometry.profile_mm[-1, 0])
    widest = geometry.profile_mm[:, 1] >= geometry.profile_mm[:, 1].max() - 0.01
    full_x = float(geometry.profile_mm[widest, 0][0])
    return Drawing(
        axis=on_axis([0.0, length]),
        profile_upper=photo.to_full_px(solid.knots_upper_px),
        profile_lower=photo.to_full_px(solid.knots_lower_px),
        fins=tuple(outlines),
        roots=tuple(roots),
        cp=on_axis(cp_x.value)[0],
        cp_band=on_axis([cp_x.value - cp_x.pm95, cp_x.value + cp_x.pm95]),
        balance=None if balance_mm is None else on_axis(balance_mm.value)[0],
        cutout=on_axis(centroid.value)[0],
        references=tuple(DrawnReference(r.label, photo.to_full_px(r.outline_px)) for r in references),
        mm_per_px=float(pose.depth_mm / pose.camera.focal_px) / photo.shrink,
        stations=(
            Station("nose tip", 0.0, on_axis(0.0)[0]),
            Station("full diameter from", full_x, on_axis(full_x)[0]),
            *(Station(f"fin root of group {k}", float(g.outline_mm[0, 0]), on_axis(g.outline_mm[0, 0])[0])
              for k, g in enumerate(geometry.fins, 1)),
            Station("aft end", length, on_axis(length)[0]),
        ),
    )  # fmt: skip
