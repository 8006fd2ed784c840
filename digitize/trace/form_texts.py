"""What comes from the browser, checked: the form's words and the regions that were marked.

`camera` is the name of a calibration the session knows, never a path.
"""

from typing import Any

from digitize.errors import UsageRefusal
from digitize.outline.marked import Marked
from digitize.records import Photo
from digitize.request.option_table import KEPT, OPTIONS
from digitize.trace.sketch import points

MOST_REGIONS = 40


def checked_texts(texts: object, cameras=()) -> dict:
    """The form's words, cleaned of what is empty; cameras: names of the calibrations there are. Raises UsageRefusal."""
    if not isinstance(texts, dict):
        raise UsageRefusal("the form is not understood", "reload the page")
    found: dict[str, Any] = {}
    for name, value in texts.items():
        if name not in KEPT:
            raise UsageRefusal(f"{str(name)[:40]!r} can't be told on the page", "reload the page")
        if name == "seed" and type(value) is int:  # as an earlier check has left it
            value = str(value)
        texts = value if isinstance(value, list) else [value]
        if len(texts) > 20 or not all(isinstance(text, str) and len(text) <= 300 for text in texts):
            raise UsageRefusal(f"{name}: too much text", "write it shorter")
        texts = [text.strip() for text in texts if text.strip()]
        if texts:
            found[name] = texts if OPTIONS[name].repeated else texts[0]
    if found.get("camera") not in (None, *cameras):
        raise UsageRefusal("this calibration was not given to the page", "choose its file in the form")
    if "seed" in found:
        if not (found["seed"].isascii() and found["seed"].isdigit() and len(found["seed"]) < 10):
            raise UsageRefusal(f"seed: {found['seed']!r} is no whole number", "give one, as 7")
        found["seed"] = int(found["seed"])
    return found


def marked_of(photo: Photo, regions) -> Marked:
    """Regions drawn on the page as polygons of the working picture. Raises UsageRefusal."""
    try:
        if len(regions) > MOST_REGIONS:
            raise ValueError("too many")
        found = [(bool(r["rocket"]), photo.to_working_px(points(r["points"], 3))) for r in regions]
    except (KeyError, TypeError, ValueError) as error:
        raise UsageRefusal(f"the marked regions are not understood ({error})", "mark them again") from None
    return Marked(tuple(p for rocket, p in found if rocket), tuple(p for rocket, p in found if not rocket))
