"""Small rockets as geometry.toml, shared by tests that only need one."""

from digitize.request.options import geometry_options

BODY = """
[body]
profile_mm = [[0, 0], [60, 12], [300, 12]]
"""


def rocket_toml(name: str, outline_mm: str, count: int = 3, more: str = "thickness_mm = 2.0") -> str:
    """Body as above with one group of fins; more: lines that belong to the group, or follow it."""
    return f'name = "{name}"{BODY}[[fins]]\ncount = {count}\noutline_mm = {outline_mm}\n{more}\n'


LARGE_FINS = "[[250, 12], [280, 52], [310, 52], [300, 12]]"
SMALL_FINS = "[[250, 12], [280, 37], [305, 37], [300, 12]]"


def loading_of(balance: str | None, mass: str | None = None, **typed):
    """How a rocket was balanced, from the options as typed."""
    return geometry_options(balance=balance, mass=mass, **typed).loading()
