"""The body by slender-body theory, over the real profile.

Source: J. S. and J. A. Barrowman, The Theoretical Prediction of the Center of Pressure, NARAM-8 (1966), eq.
10 and 28: a part from station 1 to station 2 has CNa = (2 / A)(S2 - S1) and acts (L S2 - V) / (S2 - S1) aft
of its front, with S the cross-section area, V the part's volume and A the reference area. Nothing in it asks
for a named shape, so it is applied to each straight piece of the profile, for which it is exact.

All functions broadcast over leading axes: profile_x and profile_r are (..., n), millimetres, x not
decreasing. Valid for slender bodies at small angle of attack and low speed.
"""

import numpy as np


def reference_area(profile_r):
    """pi d^2 / 4 of the largest body diameter, mm^2, shape (...)."""
    return np.pi * np.max(profile_r, axis=-1) ** 2


def segment_volumes(profile_x, profile_r):
    """Volume of each conical segment, mm^3, shape (..., n - 1).

    >>> segment_volumes(np.array([0.0, 3.0]), np.array([0.0, 1.0])) / np.pi
    array([1.])
    """
    fore, aft = profile_r[..., :-1], profile_r[..., 1:]
    return np.pi / 3 * np.diff(profile_x, axis=-1) * (fore**2 + fore * aft + aft**2)


def segment_loads(profile_x, profile_r):
    """Slope and moment of every segment: two arrays of shape (..., n), per radian and mm per radian.

    Entry 0 is the flat face of a profile that does not start at radius 0, entry i the segment from point i -
    1 to point i. The moment is about x = 0, so that loads add up and no segment divides by its own zero.
    """
    section = np.pi * profile_r**2
    area = reference_area(profile_r)[..., None]
    section_moment = profile_x * section
    slope = np.concatenate([section[..., :1], np.diff(section, axis=-1)], axis=-1)
    moment = np.concatenate(
        [
            section_moment[..., :1],
            np.diff(section_moment, axis=-1) - segment_volumes(profile_x, profile_r),
        ],
        axis=-1,
    )
    return 2 / area * slope, 2 / area * moment


def body_load(profile_x, profile_r):
    """The whole body's slope (per radian) and moment about x = 0 (mm per radian), each of shape (...).

    A cone on its own base area: 2 per radian at two thirds of its length.

    >>> slope, moment = body_load(np.array([0.0, 60.0]), np.array([0.0, 12.0]))
    >>> round(float(slope), 9), round(float(moment / slope), 9)
    (2.0, 40.0)
    """
    slope, moment = segment_loads(profile_x, profile_r)
    return slope.sum(axis=-1), moment.sum(axis=-1)
