"""A rocket's centre of pressure from its components, part by part.

Fins on a narrowing tail need one body radius for the fin-body factor and for the span. NARAM-8 says only 'the
body radius between the fins'; here it is the mean radius along the root, which is a choice, not a citation.
`other_readings` shows how much the choice matters.
"""

from collections.abc import Sequence

import numpy as np

from digitize.aero import batch, body, fins
from digitize.errors import GeometryRefusal
from digitize.records import CentreOfPressure, FinGroup, Geometry, PartLoad

# A rise or fall of the radius smaller than this share of the largest is unevenness of a tube, not a part.
_UNEVENNESS = 0.02


def centre_of_pressure(geometry: Geometry) -> CentreOfPressure:
    """Centre of pressure at small angle of attack and low speed, with its parts from nose to tail.

    Parts of the body are found from the profile alone (nose, shoulder, boat-tail; a tube has no share), so a
    geometry read back from its file gives the same parts. Raises GeometryRefusal if the slope is not
    positive.
    """
    profile_x, profile_r = geometry.profile_mm.T
    groups = [_with_planform(_fin_arrays(geometry, group)) for group in geometry.fins]
    x_mm, slope = batch.cp_batch(profile_x, profile_r[None], groups)
    if not np.isfinite(x_mm[0]):
        raise GeometryRefusal(
            "the parts' normal forces add up to nothing, so there is no centre of pressure",
            "add the fins to the geometry, or check the diameters of the tail",
        )
    parts = (*_body_parts(profile_x, profile_r), *_fin_parts(geometry, groups))
    return CentreOfPressure(float(x_mm[0]), float(slope[0]), parts)


def other_readings(geometry: Geometry) -> dict[str, float]:
    """Centre of pressure (mm) with other choices of the body radius at the fins.

    Keys: 'root leading edge', 'root middle', 'root trailing edge': the body's radius there instead of the
    mean.
    """
    profile_x, profile_r = geometry.profile_mm.T
    readings = {}
    for name, share in (("root leading edge", 0.0), ("root middle", 0.5), ("root trailing edge", 1.0)):
        groups = []
        for group in geometry.fins:
            x_le, x_te = group.outline_mm[0, 0], group.outline_mm[-1, 0]
            radius = np.interp(x_le + share * (x_te - x_le), profile_x, profile_r)
            groups.append(_fin_arrays(geometry, group, radius))
        readings[name] = float(batch.cp_batch(profile_x, profile_r[None], groups)[0][0])
    return readings


def exposed_planform(profile_mm, outline_mm):
    """The fin outside the body as a closed polygon (m, 2): the outline, then back along the body's surface.

    profile_mm: (n, 2); outline_mm: (k, 2) from the root's leading edge round to the root's trailing edge. On
    a narrowing tail the surface is not the straight line between the two.
    """
    profile_x, profile_r = profile_mm.T
    x_le, x_te = outline_mm[0, 0], outline_mm[-1, 0]
    between = profile_mm[(profile_x > x_le) & (profile_x < x_te)][::-1]
    ends = [[x, np.interp(x, profile_x, profile_r)] for x in (x_te, x_le)]
    return np.concatenate([outline_mm, ends[:1], between, ends[1:]])


def mean_root_radius(profile_mm, x_le_mm: float, x_te_mm: float) -> float:
    """The body's radius averaged along the root, millimetres; exact for a profile of straight pieces."""
    profile_x, profile_r = profile_mm.T
    inside = (profile_x > x_le_mm) & (profile_x < x_te_mm)
    x = np.concatenate([[x_le_mm], profile_x[inside], [x_te_mm]])
    r = np.concatenate(
        [
            [np.interp(x_le_mm, profile_x, profile_r)],
            profile_r[inside],
            [np.interp(x_te_mm, profile_x, profile_r)],
        ]
    )
    return float(np.trapezoid(r, x) / (x_te_mm - x_le_mm))


def _fin_arrays(geometry: Geometry, group: FinGroup, radius_mm: float | None = None) -> batch.FinArrays:
    """A fin group as a batch of one: count, closed polygon, body radius, span beyond that radius."""
    outline = group.outline_mm
    if radius_mm is None:
        radius_mm = mean_root_radius(geometry.profile_mm, outline[0, 0], outline[-1, 0])
    polygon = exposed_planform(geometry.profile_mm, outline)
    span_mm = outline[:, 1].max() - radius_mm
    return group.count, polygon[None], np.array([radius_mm]), np.array([span_mm])


def _with_planform(group: batch.FinArrays) -> batch.FinArrays:
    """It is used twice and takes the longest."""
    return group[0], fins.planform(group[1]), *group[2:]


def _fin_parts(geometry: Geometry, groups: Sequence[batch.FinArrays]):
    area = body.reference_area(geometry.profile_mm[:, 1])
    for k, (group, arrays) in enumerate(zip(geometry.fins, groups, strict=True)):
        name = f"fins ({group.count})" if len(geometry.fins) == 1 else f"fins {k + 1} ({group.count})"
        slope, x_mm = batch.fin_load(*arrays, area)
        yield PartLoad(name, float(slope[0]), float(x_mm[0]), fin_group=k)


def part_spans(geometry: Geometry) -> list[tuple[int, int, str]]:
    """(first, behind the last, name) of each body part, indices into the loads of `body.segment_loads`."""
    profile_x, profile_r = geometry.profile_mm.T
    starts = _part_starts(profile_x, profile_r)
    ends = [*(start for start, _ in starts[1:]), len(profile_x)]
    return [(start, end, name) for (start, name), end in zip(starts, ends, strict=True)]


def _body_parts(profile_x, profile_r):
    """Nose, shoulders and boat-tails; each takes the tube behind it with it."""
    slopes, moments = body.segment_loads(profile_x, profile_r)
    parts = _part_starts(profile_x, profile_r)
    for (start, name), (stop, _) in zip(parts, [*parts[1:], (len(slopes), "")], strict=True):
        slope, moment = slopes[start:stop].sum(), moments[start:stop].sum()
        if slope != 0:
            yield PartLoad(name, float(slope), float(moment / slope))


def _part_starts(profile_x, profile_r) -> list[tuple[int, str]]:
    """Each body part's first index into the loads of `body.segment_loads`, and its name.

    Read from the nose: a new part begins where the radius turns back by more than a tube's unevenness, or
    moves on by more than that after having stayed level for a diameter.
    """
    largest = profile_r.max()
    uneven = _UNEVENNESS * largest
    parts = [(0, "nose")]
    going, extreme, level = 1, profile_r[0], None
    for i in range(1, len(profile_r)):
        turned = going * (extreme - profile_r[i]) > uneven
        moved_on = level is not None and going * (profile_r[i] - level) > uneven
        if turned or moved_on:
            going = -going if turned else going
            corner = i - 1
            while corner > 0 and going * (profile_r[corner] - profile_r[corner - 1]) > 0:
                corner -= 1
            parts.append((corner + 1, _numbered("shoulder" if going > 0 else "boat-tail", parts)))
            level = None
        extreme = profile_r[i] if turned else going * max(going * extreme, going * profile_r[i])
        if level is None and profile_x[i] > 2 * largest:
            a_diameter_before = np.interp(profile_x[i] - 2 * largest, profile_x, profile_r)
            level = extreme if abs(profile_r[i] - a_diameter_before) < uneven / 2 else None
    return parts


def _numbered(name: str, parts: list[tuple[int, str]]) -> str:
    earlier = sum(part.split()[0] == name for _, part in parts)
    return name if earlier == 0 else f"{name} {earlier + 1}"
