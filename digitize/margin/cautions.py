"""Words of caution shown with every verdict, and the limits they come from."""

from digitize.units.rounding import exact

MODEL_ROCKET_MASS_LIMIT_G = 1500.0  # NFPA 1122 (2018); 14 CFR 101.22

CAUTIONS = (
    "The local code and the range safety officer decide whether a rocket flies, not this number.",
    "A rocket whose stability is not yet proven in flight: have it checked first and clear spectators away.",
    "People stand back at least 15 ft (5 m) from motors up to D, 30 ft (9 m) from larger ones.",
    "Electrical ignition only, with a safety key, after a countdown said aloud.",
    "No metal in nose, body and fins: paper, wood, plastic or the like.",
    "Launch within 30 degrees of vertical, and only in wind the code allows.",
    "The balance point must be taken ready to fly, with the heaviest motor in.",
)

SOURCES = (
    "NFPA 1122, Code for Model Rocketry (2018): at most 1500 g at lift-off and 320 N s; electrical ignition, the "
    "countdown and no metal in nose, body and fins are its rules too (from memory).",
    "14 CFR 101.22: at most 1500 g, 125 g of slow-burning propellant.",
    "NASA Rockets Educator Guide EG-2011-11-223-KSC, p. 118: the string test before the first flight.",
)


def mass_caution(mass_g: float | None) -> str | None:
    """A caution if the lift-off mass is beyond a model rocket's, else None."""
    if mass_g is None or mass_g <= MODEL_ROCKET_MASS_LIMIT_G:
        return None
    return (
        f"{exact(mass_g)} g at lift-off is more than a model rocket's {exact(MODEL_ROCKET_MASS_LIMIT_G)} g "
        "(NFPA 1122; 14 CFR 101.22): other rules apply."
    )
