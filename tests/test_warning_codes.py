"""Every code of a warning has its gravity said in one place, and no code is listed that nothing warns with."""

import ast
from pathlib import Path

import digitize
from digitize.margin.warning_codes import CODES, Gravity, is_grave, is_outside, meaning_of
from digitize.records import Warn

ROOT = Path(digitize.__file__).parent
FILES = [path for path in ROOT.rglob("*.py") if "training" not in path.parts and path.name != "warning_codes.py"]
TREES = [ast.parse(path.read_text(encoding="utf-8")) for path in FILES]


def texts(node):
    """Every text in a piece of code."""
    return {n.value for n in ast.walk(node) if isinstance(n, ast.Constant) and isinstance(n.value, str)}


def named():
    """{constant: its text} of every module."""
    assigned = (node for tree in TREES for node in tree.body if isinstance(node, ast.Assign))
    return {
        target.id: node.value.value
        for node in assigned
        for target in node.targets
        if isinstance(target, ast.Name) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)
    }


def warned_with():
    """The codes in every call that makes a warning, those that stand in a constant too."""
    calls = (n for tree in TREES for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name))
    codes, constants = set(), named()
    for call in calls:
        if call.func.id in ("Warn", "_warn") and call.args:
            names = {n.id for n in ast.walk(call.args[0]) if isinstance(n, ast.Name)}
            codes |= {text for text in texts(call.args[0]) if text.isupper() and "-" not in text}
            codes |= {constants[name] for name in names if name in constants}
    return codes


def test_every_code_has_its_gravity_and_every_row_a_warning():
    assert warned_with() == set(CODES)


def test_what_a_gravity_does():
    grave, outside, note, unknown = (Warn(c, "x", "y") for c in ("NO_FINS", "STRAKES", "RULER_COARSE", "LATER"))
    assert [is_grave(w) for w in (grave, outside, note, unknown)] == [True, False, False, False]
    assert is_outside([note, outside]) and not is_outside([grave, note, unknown])
    assert meaning_of("LATER").gravity is Gravity.NOTE
