"""result.json: the contract's keys and kinds, and no NaN."""

import json
from dataclasses import replace

import numpy as np
import pytest

from digitize.records import FinGroup, Geometry, Quantity, Warn
from digitize.result.from_geometry import solve
from digitize.result.to_json import dumps, to_dict
from digitize.result_records import BandShare, Drawing, DrawnReference, HandCheck, NextMeasurement, PhotoFacts, Station

ROCKET = Geometry(
    "brömeliad",
    np.array([[0, 0], [60, 12], [300, 12]], float),
    (FinGroup(3, np.array([[250, 12], [280, 52], [310, 52], [300, 12]], float)),),
)


def full():
    """A result with every field filled."""
    line = np.array([[1.23456, 2.0], [3.0, 4.0]])
    drawing = Drawing(
        axis=line,
        profile_upper=line,
        profile_lower=line,
        fins=(line,),
        roots=(line,),
        cp=line[0],
        cp_band=line,
        balance=line[0],
        cutout=line[1],
        references=(DrawnReference("card", line),),
        mm_per_px=0.25,
        stations=(Station("length", 300.0, line[1]),),
    )
    return replace(
        solve(ROCKET, balance_mm=200.0),
        scale_kind="tube",
        mm_per_px_at_axis=Quantity(0.25, 0.001),
        outline_px=line,
        hand_checks=(HandCheck("span", 40.0, Quantity(40.2, 0.3), np.bool_(True)),),
        warnings=(Warn("CODE", "text", "remedy"),),
        shares=(BandShare("scale", 0.5, 0.7),),
        next_measurement=NextMeasurement("measure the tube with a caliper", 0.08, 0.03),
        drawing=drawing,
        photo=PhotoFacts("a.jpg", 10, np.int64(20), None, ("cropped",), "/x/a.jpg", {"scale": ["card"], "seed": 1}),
    )


def is_quantity(value):
    return sorted(value) == ["pm95", "value"] and all(isinstance(v, float) for v in value.values())


def test_keys_of_the_contract():
    data = json.loads(dumps(to_dict(full())))
    assert data["schema"] == 1
    quantities = [
        data[k] for k in ("length_mm", "max_diameter_mm", "base_diameter_mm", "balance_mm", "margin_calibers")
    ]
    fin = data["fins"][0]
    quantities += [fin[k] for k in ("root_chord_mm", "span_mm", "area_mm2")]
    quantities += [data["cutout"]["area_mm2"], data["cutout"]["centroid_mm"]]
    quantities += [data["cp"]["x_mm"], data["cp"]["cn_alpha_per_rad"], data["scale"]["mm_per_px_at_axis"]]
    quantities += [data["hand_checks"][0]["by_photo_mm"], data["cutout_margin_calibers"]]
    assert all(is_quantity(q) for q in quantities)
    assert fin["count"] == 3 and fin["outline_mm"][1] == [280.0, 52.0]
    assert sorted(data["cp"]["parts"][0]) == ["cn_alpha_per_rad", "part", "x_mm"]
    assert data["verdict"].keys() >= {"level", "text"}
    assert data["scale"]["kind"] == "tube"
    assert data["outline_px"][0] == [1.235, 2.0]
    assert data["hand_checks"][0]["agrees"] is True and data["hand_checks"][0]["by_hand_mm"] == 40.0
    assert data["warnings"] == [{"code": "CODE", "text": "text", "remedy": "remedy"}]
    assert data["shares"] == [{"source": "scale", "share": 0.5, "cp_pm95_mm": 0.7}]
    assert data["next_measurement"]["cp_pm95_calibers_then"] == 0.03
    assert data["drawing"]["references"] == [{"label": "card", "outline": [[1.235, 2.0], [3.0, 4.0]]}]
    assert data["drawing"]["stations"] == [{"words": "length", "x_mm": 300.0, "point": [3.0, 4.0]}]
    assert data["photo"] == {
        "file": "a.jpg", "width_px": 10, "height_px": 20, "focal35_mm": None, "notes": ["cropped"], "path": "/x/a.jpg",
        "asked": {"scale": ["card"], "seed": 1},
    }  # fmt: skip
    assert data["name"] == ROCKET.name and dumps(data).isascii()


def test_absent_things_are_null_or_empty():
    data = to_dict(solve(ROCKET))
    assert data["balance_mm"] is data["margin_calibers"] is data["scale"] is data["drawing"] is None
    assert data["outline_px"] == data["hand_checks"] == data["shares"] == []
    assert data["pieces"][0]["kind"] == "cone"


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_what_is_no_number_never_gets_into_the_file(bad):
    with pytest.raises(ValueError, match="Out of range"):
        dumps(to_dict(replace(full(), cp_x_mm=Quantity(bad, 1.0))))
