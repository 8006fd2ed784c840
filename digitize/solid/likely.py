"""Whether a rocket of this size, seen from this far, is one that people build and photograph.

A scale that is wrong by a unit, or by radius for diameter, makes a rocket of the same shape and another size: nothing
else in the photo contradicts it. What can contradict it is what such a rocket would have to be. Outside these bounds
the tool asks; two scales that agree widen them, since big and tiny rockets exist. What a bound rests on stands beside
it; all are common practice or from memory, and generous.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Bounds:
    """(least, most) of each; None: not looked at."""

    caliber_mm: tuple[float, float]
    length_mm: tuple[float, float]
    volume_cm3: tuple[float, float]
    distance_mm: tuple[float, float]


BY_ONE_SCALE = Bounds(
    # the smallest common motor case is 13 mm across, and the body goes round it; 160 mm is already beyond any tube of
    # a rocket under 1.5 kg
    caliber_mm=(13.0, 160.0),
    # a motor of 13 x 45 mm, a parachute and a nose of two calibers need more than the one; the other is taller than a
    # person can stand beside a launch pad and load by hand
    length_mm=(130.0, 2500.0),
    # the least: twice that motor's own volume; the most: 1.5 kg, above which it is no model rocket (NFPA 1122, from
    # memory), at 0.1 g/cm3, which is a light one
    volume_cm3=(12.0, 15000.0),
    # a phone's main camera focuses from about 0.1 to 0.2 m on; the longest rocket above fills 70 % of a picture taken
    # with 85 mm (35 mm equivalent) from 8 m
    distance_mm=(200.0, 8000.0),
)
BY_TWO_SCALES = Bounds(
    # motors of 6 mm and bodies just around them exist; at the other end, what one person can still carry and launch.
    # Both scales may have been read in the same wrong unit
    caliber_mm=(7.0, 250.0),
    length_mm=(80.0, 4000.0),
    volume_cm3=(3.0, 100000.0),
    distance_mm=(150.0, 12000.0),
)
DENSITY_G_CM3 = (0.03, 1.3)
"""Lift-off mass over the body's volume. The least: a tube of 100 mm with a wall of half a millimetre of card (0.7
g/cm3) is 0.014 by itself, and nose, fins and motor at least double that; the most: denser than a solid plastic rod."""


def unlikely(profile_mm: np.ndarray, distance_mm: float | None, mass_g: float | None, confirmed: bool) -> str | None:
    """What about this rocket is not likely, in words that go on after "the rocket would", or None.

    profile_mm: (n, 2) x, radius; distance_mm: from the camera, None without a known focal length; mass_g: at lift-off,
    None if it was not said; confirmed: two scales or more agree.
    """
    bounds = BY_TWO_SCALES if confirmed else BY_ONE_SCALE
    caliber, length, volume = 2 * profile_mm[:, 1].max(), profile_mm[-1, 0], body_volume_cm3(profile_mm)
    sized = (
        ("be {} thick", caliber, bounds.caliber_mm, _size(caliber)),
        ("be {} long", length, bounds.length_mm, _size(length)),
        ("fill {}", volume, bounds.volume_cm3, _volume(volume)),
        ("have been {} from the camera", distance_mm, bounds.distance_mm, _size(distance_mm or 0.0)),
    )
    for words, value, (least, most), shown in sized:
        if value is not None and not least <= value <= most:
            return words.format(shown)
    if mass_g is None or DENSITY_G_CM3[0] <= mass_g / volume <= DENSITY_G_CM3[1]:
        return None
    return f"be {_size(length)} long and {_size(caliber)} thick, and {_mass(mass_g)} would be too " + (
        "light for that" if mass_g / volume < DENSITY_G_CM3[0] else "heavy for that"
    )


def body_volume_cm3(profile_mm: np.ndarray) -> float:
    """Of the body of revolution, straight between the points (n, 2): frustums."""
    x, r = profile_mm.T
    parts = np.diff(x) * (r[:-1] ** 2 + r[:-1] * r[1:] + r[1:] ** 2)
    return float(np.pi / 3 * parts.sum() / 1000)


def _size(value_mm: float) -> str:
    return f"{value_mm / 1000:.3g} m" if value_mm >= 1000 else f"{value_mm:.3g} mm"


def _volume(value_cm3: float) -> str:
    return f"{value_cm3 / 1000:.3g} litres" if value_cm3 >= 1000 else f"{float(f'{value_cm3:.2g}'):g} cm3"


def _mass(value_g: float) -> str:
    return f"{float(f'{value_g:.3g}'):.0f} g" if value_g >= 100 else f"{value_g:.3g} g"
