"""What the user asked of `measure`, as the words of its options: kept in the result, so it can be asked again."""

from digitize.records import BalancePoint
from digitize.request.options import MeasureOptions, Pose


def words_of(options: MeasureOptions) -> dict:
    """Option name (as the parameters of `measure_options`) to its text, or list of texts; only what was said."""
    words = {
        "scale": [claim.text for claim in options.scales],
        "behind": None if options.behind_mm is None else _mm(options.behind_mm),
        "distance": None if options.distance_mm is None else _mm(options.distance_mm),
        "fins": ",".join(map(str, options.fins)) if options.fins else None,
        "pose": _pose(options.pose),
        "nose": options.nose,
        "balance": _balance(options.balance),
        "balance_at": ",".join(f"{v:g}" for v in options.balance_at_px) if options.balance_at_px else None,
        "mass": None if options.mass_g is None else _g(options.mass_g),
        "hand": [f"{name}={_mm(value)}" for name, value in options.hand],
        "thickness": ",".join(map(_mm, options.thickness_mm)) or None,
        "sheet_bar": None if options.sheet_bar_mm is None else _mm(options.sheet_bar_mm),
        "camera": str(options.camera.resolve()) if options.camera else None,
        "name": options.name,
        "seed": options.seed,
        "mach": None if options.flight.mach is None else repr(options.flight.mach),
        "wind": f"{options.flight.wind_mps!r}m/s",
        "rod_speed": f"{options.flight.rod_speed_mps!r}m/s",
        "motor": [
            f"{m.name},{_g(m.loaded_g)},{_g(m.empty_g)},{_mm(m.length_mm)},{_mm(m.overhang_mm)}" for m in options.motors
        ],
        "balanced_with": options.balanced_with,
        "add": [f"{m.name},{_g(m.mass_g)},{_mm(m.x_mm)}" for m in options.added],
    }
    return {name: value for name, value in words.items() if value not in (None, [])}


def _mm(value: float) -> str:
    return f"{value!r}mm"


def _balance(point: BalancePoint | None) -> str | None:
    return None if point is None else ",".join([_mm(point.distance_mm), *([point.end] if point.end else [])])


def _g(value: float) -> str:
    return f"{value!r}g"


def _pose(pose: Pose) -> str | None:
    if pose.kind == "unsaid":
        return None
    return f"{pose.angle_deg!r}deg" if pose.kind == "angle" else pose.kind
