"""The page's form, made of the table of options: which fields there are, and what stands beside each."""

import json
from dataclasses import asdict

from digitize.request.option_table import KEPT, LENGTHS, OPTIONS


def form_fields_js() -> str:
    """A module for the browser: FIELDS, in the order of the table; TOPICS, how an option is called in a sentence."""
    pages = {name: field for name in KEPT if (field := OPTIONS[name].page) is not None}
    fields = [{"name": name, **{k: v for k, v in asdict(field).items() if v}} for name, field in pages.items()]
    topics = {"scale": "the scale", **{name: field.topic for name, field in pages.items() if field.topic}}
    told = {"FIELDS": fields, "TOPICS": topics, "LENGTHS": list(LENGTHS)}
    return "".join(f"export const {name} = {json.dumps(value)};\n" for name, value in told.items())
