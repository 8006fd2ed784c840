"""Imports point one way, and the physics never sees OpenCV."""

import ast
from collections import Counter
from pathlib import Path

import pytest

import digitize

ROOT = Path(digitize.__file__).parent

# From the bottom up. What a room imports lies in the room itself or in a lower layer, never beside it.
LAYERS = (
    ("__version__", "errors", "option_records", "sizes", "threads", "numeric"),
    ("records",),
    ("eye", "files", "refused", "result_records", "units"),
    ("geometry", "margin", "photo"),
    ("aero", "outline", "request"),
    ("solid",),
    ("bands",),
    ("result",),
    ("printed", "report"),
    ("plans",),
    ("pipeline",),
    ("club", "trace"),
    ("commands",),
    ("cli",),
)
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
WITHOUT_OPENCV = {
    *("errors", "option_records", "records", "result_records", "sizes", "files"),
    *("units", "geometry", "margin", "request", "aero", "result"),
}


def module_files():
    """Of the tool; what makes the eye's network is apart."""
    paths = (path for path in ROOT.rglob("*.py") if path.name != "__init__.py")
    return sorted(path for path in paths if unit(path) != "training")


def unit(path):
    """The module's name at the top level: 'aero' for aero/fins.py."""
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imported(path):
    """Full names of everything a file imports, anywhere in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            package = ["digitize", *path.relative_to(ROOT).parts[: -node.level]] if node.level else []
            module = ".".join([*package, *([node.module] if node.module else [])])
            yield from (f"{module}.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("path", module_files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_point_downward(path):
    own = LEVEL.get(unit(path))
    assert own is not None, f"{unit(path)} has no place among the layers"
    for name in imported(path):
        parts = name.split(".")
        if parts[0] == "digitize" and len(parts) > 1:
            room = parts[1]
            assert room == unit(path) or LEVEL[room] < own, f"{path.name} imports {name}, which is not below it"


def test_no_two_files_have_one_name():
    names = Counter(path.name for path in ROOT.rglob("*.py") if path.name != "__init__.py")
    assert [name for name, times in names.items() if times > 1] == []


def test_the_top_is_rooms_and_little_else():
    assert len(list(ROOT.glob("*.py"))) <= 12


@pytest.mark.parametrize("path", module_files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_only_the_picture_side_uses_opencv(path):
    if unit(path) in WITHOUT_OPENCV:
        assert not [name for name in imported(path) if name.split(".")[0] == "cv2"]


def test_the_tool_never_imports_what_makes_the_eye():
    assert not [path for path in module_files() for name in imported(path) if name.startswith("digitize.training")]


@pytest.mark.parametrize("path", sorted((ROOT / "training").glob("*.py")), ids=lambda p: p.name)
def test_what_makes_the_eye_imports_nothing_of_the_tool(path):
    own = [name for name in imported(path) if name.startswith("digitize.")]
    assert all(name.startswith("digitize.training") for name in own)
