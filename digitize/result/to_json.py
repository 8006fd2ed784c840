"""A Result as the dictionary that result.json holds, and the text of that file. What stands where is described in
`result/schema.py`; arrays are rounded to 0.001 mm or px, quantities are written in full."""

import json
from dataclasses import replace
from typing import Any

from digitize import __version__
from digitize.result.schema import RESULT
from digitize.result_records import Result


def to_dict(result: Result) -> dict[str, Any]:
    """The result as plain dictionaries, lists, texts and numbers (no arrays, no tuples)."""
    written = replace(result, tool_version=result.tool_version or __version__, verdict_headline=result.headline)
    return RESULT.write(written)


def dumps(data: Any) -> str:
    """The text of result.json, in ASCII so that no terminal or file name can break it.

    Raises ValueError if a NaN or an infinity would reach it.
    """
    return json.dumps(data, indent=1, allow_nan=False) + "\n"
