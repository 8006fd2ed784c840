"""The published JSON Schema of result.json against the dialect's own rules and against what is really written.

Outside check: the library `jsonschema`, which implements JSON Schema draft 2020-12 (json-schema.org) and knows nothing
of this tool.
"""

import json
from copy import deepcopy
from functools import reduce
from importlib.resources import files
from operator import getitem

import pytest
from jsonschema import Draft202012Validator
from report_sample import sample_geometry, sample_result
from sample_runs import NAMES, measured

from digitize.margin.balance import Loading
from digitize.option_records import Flight, Motor
from digitize.plans.to_do import with_to_do
from digitize.records import Quantity
from digitize.result.description import Wrong
from digitize.result.from_geometry import solve
from digitize.result.from_json import result_of
from digitize.result.schema import RESULT, json_schema
from digitize.result.to_json import dumps, to_dict

KEPT = files("digitize.result") / "result.schema.json"
SCHEMA = json.loads(KEPT.read_text("utf-8"))


def closed(schema):
    """The same schema, by which a key that is not described is wrong too."""
    if isinstance(schema, dict):
        shut = {"additionalProperties": False} if "properties" in schema else {}
        return {key: closed(value) for key, value in schema.items()} | shut
    return [closed(item) for item in schema] if isinstance(schema, list) else schema


OPEN, CLOSED = Draft202012Validator(SCHEMA), Draft202012Validator(closed(SCHEMA))


def loaded_result():
    """A geometry with motors, a Mach number and something to do about its margin."""
    motors = (Motor("a", 20.0, 9.0, 60.0), Motor("b", 10.0, 9.0, 60.0))
    loading = Loading(Quantity(222.0, 2.0), 90.0, motors, "a")
    return with_to_do(solve(sample_geometry(), loading=loading, flight=Flight(mach=0.5)), sample_geometry())


RESULTS = {"of a photo": sample_result(), "with motors": loaded_result(), "bare": solve(sample_geometry())}


def test_the_kept_file_is_the_description_s_own():
    assert KEPT.read_text("utf-8") == json.dumps(json_schema(), indent=1) + "\n", (
        "python -m digitize.result.schema > digitize/result/result.schema.json"
    )


def test_it_is_a_schema_of_its_draft():
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("name", RESULTS)
def test_what_is_written_keeps_to_it_and_comes_back_as_it_was(name):
    data = json.loads(dumps(to_dict(RESULTS[name])))
    assert [error.message for error in CLOSED.iter_errors(data)] == []
    assert dumps(to_dict(RESULT.read(data, ""))) == dumps(data)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_a_sample_s_file_keeps_to_it_and_comes_back_to_the_last_digit(name):
    folder, data = measured(name)
    assert [error.message for error in CLOSED.iter_errors(data)] == []
    assert dumps(to_dict(result_of(folder / "result.json"))) == (folder / "result.json").read_text("utf-8")


def places(value, path=()):
    items = value.items() if isinstance(value, dict) else enumerate(value[:2]) if isinstance(value, list) else ()
    for key, item in items:
        yield (*path, key)
        yield from places(item, (*path, key))


@pytest.mark.parametrize("wrong", ["x", -1, [], None, {}, True, 1e13], ids=repr)
def test_schema_and_reader_refuse_the_same(wrong):
    """Every place in turn holds something else: what one takes the other takes, but for what only the reader can see
    (lists of one length, grams that have to be there)."""
    whole = json.loads(dumps(to_dict(RESULTS["with motors"])))
    beyond = {("angle_of_attack",), ("to_do", "kind"), ("to_do", "nose_weight_g"), ("to_do", "filling")}
    refused = 0
    for path in places(deepcopy(whole)):
        at = reduce(getitem, path[:-1], whole)
        right, at[path[-1]] = at[path[-1]], wrong
        try:
            RESULT.read(whole, "")
            taken = True
        except Wrong:
            taken = False
        refused += not taken
        if path not in beyond and path[:1] != ("angle_of_attack",):
            assert OPEN.is_valid(whole) == taken, path
        at[path[-1]] = right
    assert refused > 50
