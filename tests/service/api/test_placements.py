"""POST /v1/placements: there and back through POST /v1/poses, units, refusals that say by how much."""

import json
import math
from typing import Any

import pytest

from kinematics.units import LengthUnit, from_metres, show
from tests.tolerances import NOISE_M

from .doing import Client, Json, faults, fitted

PATH = "/v1/placements"
LANDS_M = 1e-6  # a micrometre, far below any rod
LANDS_DEG = 1e-6
BODY: Json = {
    "machine": "crawler-14t", "attachment": "tilting-1800", "units": "m", "attitude_deg": {"pitch": 2.0, "roll": -3.0},
    "angles_deg": {"tilt": 4.0}, "edge_point": "left", "line": {"height": -2.5, "slope_percent": 3.0, "reach": 5.0},
    "reach": 5.4, "floor_angle_deg": 5.0,
}  # fmt: skip
HELD = {"tilt": 4.0, "rotate": 10.0, "swing_boom": 12.0, "fore_boom": -25.0}
PAIRS = [
    ("crawler-14t", "digging-1500", -2.5, 5.4), ("crawler-21t", "tilt-rotator-1600", -2.5, 6.0),
    ("crawler-14t", "trenching-600", -3.0, 5.4), ("published-mini", "published-mini-bucket", -1.0, 2.6),
    ("compact-1t8", "compact-bucket-400", -1.0, 2.6), ("wheeled-16t", "tilting-1800", -1.5, 5.4),
]  # fmt: skip

STANDS = """
schema = 1
kind = "machine"
id = "either-elbow"
name = "A digger whose stick folds either way"
source = "Invented for a test."
[units]
length = "mm"
angle = "deg"
[boom]
foot = { forward = 250, left = -60 }
length = 4600
range = { low = -80, high = 80 }
[stick]
length = 2500
range = { low = -150, high = 150 }
[bucket]
range = { low = -179, high = 179 }
"""


def posed(client: Client, asked: Json, joints: Json) -> Json:
    body = {name: asked[name] for name in ("machine", "attachment", "units", "attitude_deg")}
    answer: Json = client.post("/v1/poses", body | {"angles_deg": joints}, 200)
    return answer


def lands(answer: Json, point: str, reach: float, height: float, floor_deg: float) -> None:
    x, _, z = answer["points"][point]["level_m"]
    assert math.isfinite(x)
    assert abs(x - reach) <= LANDS_M
    assert abs(z - height) <= LANDS_M
    assert abs(answer["floor_angle_deg"] - floor_deg) <= LANDS_DEG


@pytest.mark.parametrize("point", ["left", "centre", "right"])
@pytest.mark.parametrize(("machine", "attachment", "height", "reach"), PAIRS)
def test_there_and_back(
    client: Client, machine: str, attachment: str, height: float, reach: float, point: str
) -> None:
    there = fitted(machine, attachment).ranges
    asked = BODY | {
        "machine": machine, "attachment": attachment, "edge_point": point, "reach": reach,
        "angles_deg": {name: angle for name, angle in HELD.items() if name in there},
        "line": {"height": height, "slope_percent": 3.0, "reach": 5.0},
    }  # fmt: skip
    answer = client.post(PATH, asked, 200)
    lands(answer, point, reach, height + 0.03 * (reach - 5.0), 5.0)
    again = posed(client, asked, answer["joints_deg"])
    lands(again, point, reach, height + 0.03 * (reach - 5.0), 5.0)
    for name, length in again["cylinders_mm"].items():
        assert abs(answer["cylinders_mm"][name] - length) <= 1e-6
    assert {name: answer["joints_deg"][name] for name in asked["angles_deg"]} == pytest.approx(
        asked["angles_deg"], abs=1e-12
    )
    assert set(answer) == set(again) | {"others"}


def test_a_tooth_on_a_level_line(client: Client) -> None:
    asked = BODY | {
        "attachment": "digging-1500", "edge_point": "tooth_left", "angles_deg": {}, "line": {"height": -2.5}
    }  # fmt: skip
    answer = client.post(PATH, asked, 200)
    lands(posed(client, asked, answer["joints_deg"]), "tooth_left", 5.4, -2.5, 5.0)


def test_others_and_near(client: Client) -> None:
    """A stick that folds either way reaches a place with its elbow up, and with it down; `near` turns the order round."""
    client.post("/v1/machines", {"toml": STANDS}, 201)
    asked = BODY | {"machine": "either-elbow", "line": {"height": 0.5}}
    answer = client.post(PATH, asked, 200)
    [other] = answer["others"]
    assert answer["joints_deg"]["stick"] < 0.0 < other["joints_deg"]["stick"]
    assert (other["past_square"], other["cylinders_mm"]) == (False, {})
    lands(posed(client, asked, other["joints_deg"]), "left", 5.4, 0.5, 5.0)
    near = {"angles_deg": other["joints_deg"], "attitude_deg": asked["attitude_deg"]}
    turned = client.post(PATH, asked | {"near": near}, 200)
    assert turned["joints_deg"] == pytest.approx(other["joints_deg"], abs=1e-9)
    assert turned["others"][0]["joints_deg"] == pytest.approx(answer["joints_deg"], abs=1e-9)


@pytest.mark.parametrize("units", ["mm", "ft", "ftUS", "ftin"])
def test_units(client: Client, units: str) -> None:
    """8 ft below and 18 ft 6 in out, in every unit: to sixteenths of an inch they are exact."""
    height, near, reach = -8 * 0.3048, 16 * 0.3048, 18.5 * 0.3048

    def written(value: float) -> float | str:
        return show(value, LengthUnit.FTIN) if units == "ftin" else from_metres(value, units)

    wanted = client.post(
        PATH, BODY | {"reach": reach, "line": {"height": height, "slope_percent": 3.0, "reach": near}}, 200
    )
    line = {"height": written(height), "slope_percent": 3.0, "reach": written(near)}
    answer = client.post(PATH, BODY | {"units": units, "reach": written(reach), "line": line}, 200)
    assert answer["joints_deg"] == pytest.approx(wanted["joints_deg"], abs=1e-9)
    assert answer["units"] == units
    assert answer["reach"]["shown"] == show(answer["reach"]["m"], LengthUnit(units))


def test_out_of_reach_says_by_how_much_and_where_it_would_do(client: Client) -> None:
    for reach in (12.0, 8.0):
        problem = client.post(PATH, BODY | {"reach": reach, "line": {"height": -2.5}}, 422)
        assert faults(problem, 422) == {"/reach": "out-of-reach"}
        assert problem["type"] == "/guide/problems#out-of-reach"
        numbers = problem["errors"][0]["numbers"]
        assert numbers["reach_m"] == reach
        assert 0.0 < numbers["miss_m"] < 12.0
        nearest = numbers["nearest_reach_m"]
        assert nearest < reach
        client.post(PATH, BODY | {"reach": nearest - NOISE_M, "line": {"height": -2.5}}, 200)
        client.post(PATH, BODY | {"reach": nearest + 2e-6, "line": {"height": -2.5}}, 422)


def test_beyond_a_joint_names_it_and_says_by_how_much(client: Client) -> None:
    problem = client.post(PATH, BODY | {"reach": 6.15, "line": {"height": -2.5}}, 422)
    assert problem["type"] == "/guide/problems#beyond-joint"
    [told] = problem["errors"]
    assert (told["pointer"], told["code"]) == ("", "beyond-joint")
    numbers = told["numbers"]
    assert told["expected"] == f"stick from {numbers['low_deg']:.2f} to {numbers['high_deg']:.2f} deg"
    assert told["found"].startswith(f"stick at {numbers['angle_deg']:.2f} deg")
    assert numbers["beyond_deg"] == pytest.approx(numbers["angle_deg"] - numbers["high_deg"], abs=1e-9)
    stroke = fitted().cylinders["stick"].stroke
    assert numbers["beyond_mm"] == pytest.approx(1e3 * stroke.low - numbers["cylinder_mm"], abs=1e-6)
    assert numbers["beyond_mm"] > 0.0
    assert numbers["nearest_reach_m"] < 6.15


REFUSALS: list[tuple[Json, dict[str, str]]] = [
    ({"machine": "no-such"}, {"/machine": "unknown-machine"}),
    ({"attachment": "no-such"}, {"/attachment": "unknown-attachment"}),
    ({"units": "cm"}, {"/units": "not-a-choice"}), ({"colour": "red"}, {"/colour": "unknown-field"}),
    ({"edge_point": "receiver"}, {"/edge_point": "not-a-choice"}),
    ({"edge_point": "tooth_left"}, {"/edge_point": "no-such-point"}),
    ({"angles_deg": {}}, {"/angles_deg/tilt": "missing-joint"}),
    ({"angles_deg": {"tilt": 4.0, "boom": 3.0}}, {"/angles_deg/boom": "unknown-field"}),
    ({"angles_deg": {"tilt": 4.0, "rotate": 3.0}}, {"/angles_deg/rotate": "no-such-joint"}),
    ({"angles_deg": {"tilt": 80.0}}, {"/angles_deg/tilt": "beyond-joint"}),
    ({"attitude_deg": {"pitch": 1.0}}, {"/attitude_deg/roll": "missing-field"}),
    ({"attitude_deg": {"pitch": 91.0, "roll": 0.0}}, {"/attitude_deg/pitch": "too-steep"}),
    ({"floor_angle_deg": 200.0}, {"/floor_angle_deg": "angle-absurd"}),
    ({"line": {"height": -2.5, "slope_percent": 2.0}}, {"/line/reach": "missing-field"}),
    ({"line": {"height": -2.5, "reach": 2.0}}, {"/line/slope_percent": "missing-field"}),
    ({"line": {"height": -2.5, "slope_percent": 101.0, "reach": 2.0}}, {"/line/slope_percent": "out-of-range"}),
    ({"line": {"height": "-2.5"}}, {"/line/height": "not-a-number"}),
    ({"line": {"height": -51.0}}, {"/line/height": "length-absurd"}),
    ({"line": {}}, {"/line/height": "missing-field"}), ({"line": -2.5}, {"/line": "wrong-type"}),
    ({"reach": 5400.0}, {"/reach": "length-absurd"}), ({"reach": None}, {"/reach": "does-not-fit"}),
    ({"reach": True}, {"/reach": "does-not-fit"}),
    ({"units": "ftin"}, {"/line/height": "number-for-feet-inches", "/line/reach": "number-for-feet-inches",
                         "/reach": "number-for-feet-inches"}),
    ({"near": {"angles_deg": {"boom": 89.0, "stick": -90.0, "bucket": 40.0, "tilt": 0.0},
               "attitude_deg": {"pitch": 0.0, "roll": 0.0}}}, {"/near/angles_deg/boom": "beyond-joint"}),
    ({"near": {"angles_deg": {}}}, {"/near/attitude_deg": "missing-field"}),
]  # fmt: skip


@pytest.mark.parametrize(("change", "expected"), REFUSALS)
def test_refusals(client: Client, change: Json, expected: dict[str, str]) -> None:
    assert client.refused(PATH, BODY | change, 422) == expected


def test_only_the_joints_that_stand_still_are_asked_for(client: Client) -> None:
    asked = BODY | {"machine": "compact-1t8", "attachment": "compact-bucket-400", "angles_deg": {}}
    [told] = client.post(PATH, asked, 422)["errors"]
    assert told["pointer"] == "/angles_deg/swing_boom"
    assert told["expected"] == "an angle for each joint that stands still: swing_boom"
    assert told["advice"].endswith("boom, stick and bucket are what is solved for")


def test_an_absurd_length_is_told_without_a_job(client: Client) -> None:
    [told] = client.post(PATH, BODY | {"line": {"height": 1e300}}, 422)["errors"]
    assert told["pointer"] == "/line/height"
    assert told["expected"].startswith("a length of this trade")
    assert "job" not in told["expected"]


def test_every_fault_at_once(client: Client) -> None:
    asked = BODY | {
        "line": {"height": "x", "reach": "y"}, "reach": 1e5, "edge_point": "tooth_left", "angles_deg": {"rotate": 1.0},
        "attitude_deg": {"pitch": 85.0, "roll": 0.0}, "floor_angle_deg": 181.0,
        "near": {"angles_deg": {}, "attitude_deg": {"pitch": 0.0, "roll": 0.0}},
    }  # fmt: skip
    found = client.refused(PATH, asked, 422)
    assert found == {
        "/line/height": "not-a-number", "/line/reach": "not-a-number", "/line/slope_percent": "missing-field",
        "/reach": "length-absurd", "/edge_point": "no-such-point", "/floor_angle_deg": "angle-absurd",
        "/attitude_deg/pitch": "too-steep", "/angles_deg/tilt": "missing-joint", "/angles_deg/rotate": "no-such-joint",
        **{f"/near/angles_deg/{name}": "missing-joint" for name in ("boom", "stick", "bucket", "tilt")},
    }  # fmt: skip


@pytest.mark.parametrize("path", ["placements", "passes", "corrections"])
@pytest.mark.parametrize("literal", ["NaN", "Infinity", "-1e999", '"x"', "null", "[]", "{}"])
@pytest.mark.parametrize(
    "place", ["line/height", "line/reach", "line/slope_percent", "attitude_deg/roll", "angles_deg/tilt"]
)
def test_rubbish(client: Client, path: str, literal: str, place: str) -> None:
    described = client.get("/openapi.json")
    schema = described["paths"][f"/v1/{path}"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    asked: Any = described["components"]["schemas"][schema["$ref"].rpartition("/")[2]]["examples"][0]
    asked = json.loads(json.dumps(asked | {"line": {"height": -2.4, "slope_percent": 1.0, "reach": 5.0}}))
    outer, inner = place.split("/")
    asked[outer][inner] = "HERE"
    problem = client.raw(f"/v1/{path}", json.dumps(asked).replace('"HERE"', literal), 422)
    found = faults(problem, 422)
    if (literal, outer) == ("null", "line") and inner != "height":
        assert set(found.values()) == {"missing-field"}, "one of a pair left out"
    else:
        assert f"/{place}" in found
