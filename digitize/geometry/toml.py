"""geometry.toml: a rocket as components, read, checked and written.

Millimetres; x from the nose tip aft along the axis, y the distance from the axis. The body is a profile,
straight between points, or a list of pieces with a trade shape.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely

from digitize.errors import GeometryRefusal
from digitize.files import read_toml
from digitize.geometry.nose_shapes import NOSE_SHAPES, nose_profile
from digitize.option_records import FEWEST_FINS, MOST_FINS, Mass
from digitize.records import FinGroup, Geometry

LARGEST_MM = 100_000.0
"""Any length or place: a hundred metres, far beyond any hobby rocket, so what is larger is a slip. No source."""
LARGEST_G = 100_000.0
"""Any mass: a hundred kilograms, likewise."""
MOST_ROLL_DEG = 3600.0
"""Ten turns: what is more is no angle that anybody meant. No source."""
MOST_SHARED = 0.05
"""Of the shorter root or the smaller blade: groups sharing more stand in one place. No source: what measuring leaves
between groups that follow one another is less, a fin drawn over another is far more."""
_DECIMALS = 3
"""Of the millimetres written: a thousandth is far below what any photo or caliper tells."""
_SHAPES = (*NOSE_SHAPES, "tube", "frustum")
_HEAD = """\
# A rocket as components, in millimetres. Correct what is wrong by hand, then: digitize solve THIS_FILE
# x runs from the nose tip aft along the axis. body.profile_mm: [x, radius], straight between points.
# fins.outline_mm: [x, distance from the axis], from the root's leading edge round to its trailing edge.
# fins.roll_deg: fin 1 from the plane of the cut-out, which is the photo's; 0, flat in it, if left out.
"""


def rounded(geometry: Geometry) -> Geometry:
    """The geometry as its file will hold it, to 0.001 mm: compute from this and the file gives the same
    result.
    """

    def to_file(points):
        return np.array([[_number(value) for value in point] for point in points])

    fins = tuple(
        replace(
            group,
            outline_mm=to_file(group.outline_mm),
            thickness_mm=_number(group.thickness_mm),
            roll_deg=None if group.roll_deg is None else _number(group.roll_deg),
        )
        for group in geometry.fins
    )
    masses = tuple(Mass(m.name, _number(m.mass_g), _number(m.x_mm)) for m in geometry.masses)
    return Geometry(geometry.name, to_file(geometry.profile_mm), fins, geometry.pieces, masses)


def standing(geometry: Geometry, rolls_deg) -> Geometry:
    """The geometry with each group's roll, one of rolls_deg for each: so the file gives the same cut-out again."""
    pairs = zip(geometry.fins, rolls_deg, strict=True)
    return replace(geometry, fins=tuple(replace(group, roll_deg=_number(roll)) for group, roll in pairs))


def to_toml(geometry: Geometry) -> str:
    """The text of geometry.toml, numbers to 0.001 mm. The pieces, a description, are not in it."""
    parts = [
        _HEAD,
        f"name = {_toml_string(geometry.name)}\n\n[body]\n",
        _toml_points("profile_mm", geometry.profile_mm),
    ]
    for group in geometry.fins:
        parts.append(f"\n[[fins]]\ncount = {group.count}\n")
        parts.append(_toml_points("outline_mm", group.outline_mm))
        parts.append(f"thickness_mm = {_number(group.thickness_mm)!r}\n")
        if group.roll_deg is not None:
            parts.append(f"roll_deg = {_number(group.roll_deg)!r}\n")
    for mass in geometry.masses:
        parts.append(f"\n[[mass]]\nname = {_toml_string(mass.name)}\n")
        parts.append(f"mass_g = {_number(mass.mass_g)!r}\nx_mm = {_number(mass.x_mm)!r}\n")
    return "".join(parts)


def read_geometry(path: Path) -> Geometry:
    """Read and check geometry.toml.

    Raises UnreadableRefusal if there is no such file or it is not TOML, GeometryRefusal if its content can't
    be used.
    """
    path = Path(path)
    data = read_toml(path, "geometry")
    _known(data, ("name", "body", "piece", "fins", "mass"), str(path))
    name = data.get("name", path.stem)
    if not isinstance(name, str):
        raise GeometryRefusal(f"{path}: name is not text", 'write it in quotes, as name = "bracken"')
    geometry = Geometry(name, _read_body(data), tuple(_read_fins(data)), masses=tuple(_read_masses(data)))
    check_geometry(geometry)
    return geometry


@dataclass(frozen=True)
class Overlap:
    """Two fin groups (numbers from 0) in one place; root_mm: how much of the body both their roots take up."""

    groups: tuple[int, int]
    root_mm: float


def overlapping(geometry: Geometry) -> tuple[Overlap, ...]:
    """Pairs of fin groups that stand in one place: their roots take up the same stretch of the body, or their blades,
    turned about the axis into one plane, cover each other.

    One behind another is no overlap, even where they touch: up to MOST_SHARED of the shorter root, or of the smaller
    blade, and never less than the millimetre to which a root is known, may be shared.
    """
    found = []
    for i, one in enumerate(geometry.fins):
        for k, other in enumerate(geometry.fins[i + 1 :], i + 1):
            (start, end), (first, last) = one.outline_mm[[0, -1], 0], other.outline_mm[[0, -1], 0]
            root_mm = float(min(end, last) - max(start, first))
            if root_mm > max(1.0, MOST_SHARED * min(end - start, last - first)) or _blades_cover(one, other):
                found.append(Overlap((i, k), max(root_mm, 0.0)))
    return tuple(found)


def _blades_cover(one: FinGroup, other: FinGroup) -> bool:
    blades = [shapely.make_valid(shapely.Polygon(group.outline_mm)) for group in (one, other)]
    return blades[0].intersection(blades[1]).area > MOST_SHARED * min(blade.area for blade in blades)


def check_geometry(geometry: Geometry) -> None:
    """Raise GeometryRefusal if the numbers can't be those of a rocket."""
    _check_profile(geometry.profile_mm)
    for number, group in enumerate(geometry.fins, 1):
        _check_fin(f"fin group {number}", group, geometry.profile_mm)
    for mass in geometry.masses:
        check_mass(mass, float(geometry.profile_mm[-1, 0]))


def check_mass(mass: Mass, length_mm: float) -> None:
    """Raise GeometryRefusal unless the mass lies in a body of that length and weighs something."""
    if not 0 <= mass.x_mm <= length_mm:
        raise GeometryRefusal(
            f"the mass {mass.name!r} lies at x = {mass.x_mm:g}, off the body, which ends at {length_mm:g}",
            "give its place from the nose tip",
        )
    if mass.mass_g == 0:
        raise GeometryRefusal(f"the mass {mass.name!r} weighs nothing", "leave it out, or give its grams")


# --- checks
# ---------------------------------------------------------------------------------------------------


def _check_profile(profile) -> None:
    x, r = _points(profile, "the body's profile", 2).T
    if x[0] != 0:
        raise GeometryRefusal(f"the body's profile starts at x = {x[0]:g}", "start it at the nose tip, x = 0")
    back = np.flatnonzero(np.diff(x) < 0)
    if back.size:
        raise GeometryRefusal(
            f"the body's profile goes back from x = {x[back[0]]:g} to {x[back[0] + 1]:g}",
            "list the points from nose to tail",
        )
    if (r < 0).any():
        raise GeometryRefusal(
            f"the body's radius is negative at x = {x[np.argmax(r < 0)]:g}", "give radii of 0 or more"
        )
    if x[-1] <= 0 or r.max() <= 0:
        raise GeometryRefusal("the body has no length or no thickness", "give it at least two stations and a radius")
    pinched = (r[1:-1] == 0) & (x[1:-1] > 0)
    if pinched.any():
        raise GeometryRefusal(
            f"the body's radius is 0 at x = {x[1:-1][np.argmax(pinched)]:g}, between nose and tail",
            "give the body a radius there",
        )
    if x[-1] == x[-2] and r[-1] < r[-2]:
        # A closing line would count as a tail that narrows to nothing, and take the body's slope with it.
        raise GeometryRefusal(
            f"the body's profile closes its own base, from radius {r[-2]:g} to {r[-1]:g} at x = {x[-1]:g}",
            "leave the last point out: the base is open",
        )


def _check_fin(name: str, group: FinGroup, profile) -> None:
    if isinstance(group.count, bool) or not isinstance(group.count, int | np.integer):
        raise GeometryRefusal(f"{name}: count is not a whole number", "give the number of fins")
    if not FEWEST_FINS <= group.count <= MOST_FINS:
        raise GeometryRefusal(f"{name}: count is {group.count}", f"give {FEWEST_FINS} to {MOST_FINS} fins")
    if not 0 <= group.thickness_mm <= LARGEST_MM:
        raise GeometryRefusal(f"{name}: thickness is {group.thickness_mm:g}", "give 0 or more millimetres")
    outline = _points(group.outline_mm, f"{name}: the outline", 3)
    _check_root(name, outline, profile)
    x, y = outline.T
    if (y < 0).any():
        raise GeometryRefusal(
            f"{name}: the outline crosses the axis at x = {x[np.argmax(y < 0)]:g}",
            "give distances from the axis",
        )
    body_x, body_r = profile.T
    sunk = (x <= body_x[-1]) & (np.interp(x, body_x, body_r) - y > _off_the_surface(profile))
    if sunk.any():
        raise GeometryRefusal(
            f"{name}: the outline is inside the body at x = {x[np.argmax(sunk)]:g}",
            "give the fin outside the body",
        )
    if y.max() <= np.interp([x[0], *body_x[(body_x > x[0]) & (body_x < x[-1])], x[-1]], body_x, body_r).max():
        raise GeometryRefusal(f"{name}: the fin does not stand out of the body", "check the outline's second numbers")
    if not shapely.LineString(outline).is_simple:
        raise GeometryRefusal(f"{name}: the outline crosses itself", "list its points in order round the fin")


def _check_root(name: str, outline, profile) -> None:
    """The outline must start and end on the body, the end aft of the start."""
    body_x, body_r = profile.T
    off = _off_the_surface(profile)
    if outline[-1, 0] <= outline[0, 0]:
        raise GeometryRefusal(
            f"{name}: the outline ends at x = {outline[-1, 0]:g}, not aft of its start at {outline[0, 0]:g}",
            "list it from the root's leading edge round to the root's trailing edge",
        )
    for (x, y), place in ((outline[0], "leading"), (outline[-1], "trailing")):
        if not -off <= x <= body_x[-1] + off:
            raise GeometryRefusal(
                f"{name}: the root's {place} edge, x = {x:g}, is off the body, which ends at {body_x[-1]:g}",
                f"end the root on the body; {_OUTSIDE}",
            )
        radius = np.interp(x, body_x, body_r)
        if abs(y - radius) > off:
            raise GeometryRefusal(
                f"{name}: the root's {place} edge is {y:g} from the axis, the body's radius there {radius:g}",
                f"start and end the outline on the body's surface; {_OUTSIDE}",
            )


_OUTSIDE = "rings, pods and fins behind the body are outside the method: for those go by a cardboard cut-out"


def _off_the_surface(profile) -> float:
    """How far (mm) an outline may miss the body's surface before it is taken for a mistake."""
    return max(1.0, 0.05 * profile[:, 1].max())


def _points(points, what: str, fewest: int):
    try:
        array = np.array(points, float)
    except (TypeError, ValueError, OverflowError):
        array = np.zeros(0)
    if array.ndim != 2 or array.shape[1] != 2:
        raise GeometryRefusal(f"{what} is not a list of pairs of numbers", "write it as [[0, 0], [60, 12], [300, 12]]")
    if len(array) < fewest:
        raise GeometryRefusal(f"{what} has {len(array)} points", f"give at least {fewest}")
    if not np.isfinite(array).all() or np.abs(array).max() > LARGEST_MM:
        raise GeometryRefusal(f"{what} holds a number that is not a length", f"give millimetres up to {LARGEST_MM:g}")
    return array


# --- reading
# --------------------------------------------------------------------------------------------------


def _read_body(data: dict):
    if ("body" in data) == ("piece" in data):
        raise GeometryRefusal(
            "the file must give the body once, by [body] or by [[piece]]",
            "write one of the two: see digitize solve --help",
        )
    if "piece" in data:
        return _read_pieces(data["piece"])
    body = _table(data["body"], "[body]")
    _known(body, ("profile_mm",), "[body]")
    return _points(body.get("profile_mm"), "the body's profile", 2)


def _read_fins(data: dict):
    groups = data.get("fins", [])
    if not isinstance(groups, list):
        raise GeometryRefusal("[fins] is not a list of groups", "write [[fins]], with double brackets")
    for number, group in enumerate(groups, 1):
        name = f"fin group {number}"
        _known(_table(group, name), ("count", "outline_mm", "thickness_mm", "roll_deg"), name)
        outline = _points(group.get("outline_mm"), f"{name}: the outline", 3)
        thickness_mm = _length(group, "thickness_mm", name, 0.0)
        yield FinGroup(group.get("count", 0), outline, thickness_mm, _roll_deg(group, name))


def _roll_deg(group: dict, name: str) -> float | None:
    roll = group.get("roll_deg")
    if roll is None:
        return None
    if isinstance(roll, bool) or not isinstance(roll, int | float) or not abs(roll) <= MOST_ROLL_DEG:
        raise GeometryRefusal(
            f"{name}: roll_deg is {roll!r}", "give degrees from the plane of the cut-out, as 45, or leave it out"
        )
    return float(roll)


def _read_masses(data: dict):
    masses = data.get("mass", [])
    if not isinstance(masses, list):
        raise GeometryRefusal("[mass] is not a list of masses", "write [[mass]], with double brackets")
    for number, mass in enumerate(masses, 1):
        where = f"mass {number}"
        _known(_table(mass, where), ("name", "mass_g", "x_mm"), where)
        name, grams = mass.get("name", where), mass.get("mass_g")
        if not isinstance(name, str):
            raise GeometryRefusal(f"{where}: name is not text", 'write it in quotes, as name = "parachute"')
        if isinstance(grams, bool) or not isinstance(grams, int | float) or not abs(grams) <= LARGEST_G:
            raise GeometryRefusal(f"{where}: mass_g is {grams!r}", "give mass_g in grams, as a number")
        yield Mass(name, float(grams), _length(mass, "x_mm", where, 0.0 if "x_mm" in mass else None))


def _read_pieces(pieces):
    """[[piece]] from nose to tail as one polyline."""
    if not isinstance(pieces, list) or not pieces:
        raise GeometryRefusal("[piece] is not a list of pieces", "write [[piece]], with double brackets")
    profile, aft_mm = np.zeros((0, 2)), 0.0
    for number, piece in enumerate(pieces, 1):
        name = f"piece {number}"
        shape = _table(piece, name).get("shape")
        if shape not in _SHAPES:
            raise GeometryRefusal(f"{name}: shape is {shape!r}", f"give one of {', '.join(_SHAPES)}")
        points, aft_mm = _piece_points(name, shape, piece, aft_mm)
        if shape in NOSE_SHAPES and number > 1:
            raise GeometryRefusal(f"{name}: {shape} is a nose", "make it the first, or use tube and frustum")
        start = profile[-1, 0] if len(profile) else 0.0
        points = points + np.array([start, 0.0])
        joined = len(profile) and np.array_equal(profile[-1], points[0])
        profile = np.concatenate([profile, points[1:] if joined else points])
    return profile


def _piece_points(name: str, shape: str, piece: dict, before_mm: float):
    """One piece's polyline from its own front, and its aft diameter; before_mm: the one before it."""
    length_mm = _length(piece, "length_mm", name)
    if shape in NOSE_SHAPES:
        _known(piece, ("shape", "length_mm", "diameter_mm", *(["c"] if shape == "haack" else [])), name)
        diameter_mm = _length(piece, "diameter_mm", name)
        c = piece.get("c", 0.0)
        if isinstance(c, bool) or not isinstance(c, int | float) or not 0 <= c <= 2 / 3:
            raise GeometryRefusal(f"{name}: c is {c!r}", "give 0 to 0.667 (1/3 is for length and volume)")
        return nose_profile(shape, length_mm, diameter_mm / 2, float(c)), diameter_mm
    if shape == "tube":
        _known(piece, ("shape", "length_mm", "diameter_mm"), name)
        fore_mm = aft_mm = _length(piece, "diameter_mm", name, before_mm or None)
    else:
        _known(piece, ("shape", "length_mm", "fore_diameter_mm", "aft_diameter_mm"), name)
        fore_mm = _length(piece, "fore_diameter_mm", name, before_mm or None)
        aft_mm = _length(piece, "aft_diameter_mm", name)
    return np.array([[0.0, fore_mm / 2], [length_mm, aft_mm / 2]]), aft_mm


def _length(table: dict, key: str, name: str, default: float | None = None) -> float:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= LARGEST_MM:
        what = f"{key} is missing" if value is None else f"{key} is {value!r}"
        raise GeometryRefusal(f"{name}: {what}", f"give {key} in millimetres, as a number")
    if value == 0 and default != 0:
        raise GeometryRefusal(f"{name}: {key} is 0", "give a size above 0")
    return float(value)


def _table(value, name: str) -> dict:
    if not isinstance(value, dict):
        raise GeometryRefusal(f"{name} is not a table", "write its keys below it: see digitize solve --help")
    return value


def _known(table: dict, keys: tuple[str, ...], name: str) -> None:
    """Refuse unknown keys: a misspelt one would be left out in silence."""
    unknown = [key for key in table if key not in keys]
    if unknown:
        raise GeometryRefusal(f"{name}: unknown key {unknown[0]!r}", f"the keys are {', '.join(keys)}")


# --- writing
# --------------------------------------------------------------------------------------------------


def _number(value) -> float:
    """To 0.001 mm, by way of the text, so that what is read back is the very same number."""
    return float(f"{float(value):.{_DECIMALS}f}") + 0.0  # + 0.0 turns -0.0 into 0.0


def _toml_points(key: str, points) -> str:
    lines = "".join(f"  [{_number(x)!r}, {_number(y)!r}],\n" for x, y in points)
    return f"{key} = [\n{lines}]\n"


def _toml_string(text: str) -> str:
    escaped = "".join(
        c if c.isprintable() and c not in '"\\' else f"\\u{ord(c):04X}" if ord(c) < 0x10000 else f"\\U{ord(c):08X}"
        for c in text
    )
    return f'"{escaped}"'
