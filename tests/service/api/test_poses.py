"""POST /v1/poses: wiring, pairs, faults with their pointers."""

import json
import math
from typing import Any

import pytest

from kinematics.units import LengthUnit, show
from tests.tolerances import NOISE_M

from .doing import Client, Json, faults, fitted

LEAN = {"pitch": 2.0, "roll": -3.0}
CRAWLER: Json = {
    "machine": "crawler-14t", "attachment": "tilting-1800", "units": "m", "attitude_deg": LEAN,
    "angles_deg": {"boom": 30.0, "stick": -100.0, "bucket": 60.0, "tilt": 4.0},
}  # fmt: skip
TOOLS = ("digging-1500", "tilt-rotator-1600", "tilting-1800", "trenching-600")
PAIRS = [
    *((machine, tool) for machine in ("crawler-14t", "crawler-21t") for tool in TOOLS),
    ("published-mini", "published-mini-bucket"),
]
EXTRA = {"tilt": -7.0, "rotate": 40.0}


def asked_of(machine: str, attachment: str) -> Json:
    joints = {"boom": 20.0, "stick": -90.0, "bucket": 50.0} | EXTRA
    there = fitted(machine, attachment).ranges
    angles = {name: angle for name, angle in joints.items() if name in there}
    return CRAWLER | {"machine": machine, "attachment": attachment, "angles_deg": angles}


def apart(one: Json, other: Json) -> float:
    """The farthest that any point of two answers lies apart (m)."""
    assert one["points"].keys() == other["points"].keys()
    return max(
        math.dist(one["points"][name][frame], other["points"][name][frame])
        for name in one["points"]
        for frame in ("level_m", "body_m")
    )


@pytest.mark.parametrize(("machine", "attachment"), PAIRS)
def test_every_shipped_pair_answers(client: Client, machine: str, attachment: str) -> None:
    answer = client.post("/v1/poses", asked_of(machine, attachment), 200)
    assert (answer["machine"]["id"], answer["attachment"]["id"]) == (machine, attachment)
    for name in ("left", "centre", "right"):
        height = answer["heights"][name]["m"]
        assert math.isfinite(height)
        assert height == pytest.approx(answer["points"][name]["level_m"][2], abs=NOISE_M)
    assert ("tooth_left" in answer["points"]) == (fitted(machine, attachment).attachment.teeth is not None)
    assert ("receiver" in answer["points"]) == (answer["mast_deg"] is not None)
    assert set(answer["joints_deg"]) == set(fitted(machine, attachment).ranges)


@pytest.mark.parametrize(("machine", "attachment"), PAIRS)
def test_cylinders_give_the_same_points_as_angles(client: Client, machine: str, attachment: str) -> None:
    asked = asked_of(machine, attachment)
    first = client.post("/v1/poses", asked, 200)
    cylinders = first["cylinders_mm"]
    assert set(cylinders) == {"boom", "stick", "bucket"}
    rest = {name: angle for name, angle in asked["angles_deg"].items() if name not in cylinders}
    whole = client.post("/v1/poses", asked | {"angles_deg": rest, "cylinders_mm": cylinders}, 200)
    assert apart(first, whole) <= NOISE_M
    mixed = asked | {
        "angles_deg": {name: angle for name, angle in asked["angles_deg"].items() if name != "stick"},
        "cylinders_mm": {"stick": cylinders["stick"]},
    }  # fmt: skip
    assert apart(first, client.post("/v1/poses", mixed, 200)) <= NOISE_M
    for stand_in in ("idler", "power_link"):
        angles = {name: angle for name, angle in asked["angles_deg"].items() if name != "bucket"}
        angles[stand_in] = first["linkage"][f"{stand_in}_deg"]
        assert apart(first, client.post("/v1/poses", asked | {"angles_deg": angles}, 200)) <= NOISE_M


@pytest.mark.parametrize("units", ["m", "mm", "ft", "ftUS", "ftin"])
def test_the_units_asked_for(client: Client, units: str) -> None:
    answer = client.post("/v1/poses", CRAWLER | {"units": units}, 200)
    assert answer["units"] == units
    for length in (answer["reach"], answer["heights"]["left"], answer["heel_clearance"]):
        assert length["shown"] == show(length["m"], LengthUnit(units))


def test_an_angle_at_the_slack_of_a_stop_still_answers(client: Client) -> None:
    for name, span in fitted().ranges.items():
        for end, slack in ((span.low, -0.2), (span.high, 0.2)):
            angles = CRAWLER["angles_deg"] | {name: math.degrees(end) + slack}
            answer = client.post("/v1/poses", CRAWLER | {"angles_deg": angles}, 200)
            assert answer["joints_deg"][name] == pytest.approx(angles[name], abs=1e-12)


def test_play_of_a_coupler(client: Client) -> None:
    """0.6 deg in all rocks an edge some 1.2 m below its pins, most of it level with them: some mm either way."""
    asked = asked_of("crawler-14t", "coupled-900")
    answer = client.post("/v1/poses", asked | {"units": "mm"}, 200)
    turned = math.radians(0.3)
    teeth = ("tooth_left", "tooth_centre", "tooth_right")
    assert tuple(answer["edge_play"]) == ("left", "centre", "right", *teeth)
    assert answer["edge_play"]["tooth_left"] != answer["edge_play"]["left"]
    for play in answer["edge_play"].values():
        assert 0.0 < play["m"] < turned * 1.4
        assert play["shown"] == show(play["m"], LengthUnit.MM)
    assert client.post("/v1/poses", CRAWLER, 200)["edge_play"] is None


def test_past_square(client: Client) -> None:
    asked = asked_of("crawler-14t", "tilt-rotator-1600")
    for rotate, past in ((0.0, False), (80.0, False), (100.0, True), (180.0, True)):
        answer = client.post(
            "/v1/poses", asked | {"angles_deg": asked["angles_deg"] | {"rotate": rotate}}, 200
        )
        assert answer["past_square"] is past
    left, right = (answer["points"][name]["body_m"][1] for name in ("left", "right"))
    assert left < right, "at half a turn its own left is on the operator's right"


REFUSALS: list[tuple[Json, int, dict[str, str]]] = [
    ({"machine": "no-such"}, 422, {"/machine": "unknown-machine"}),
    ({"attachment": "no-such"}, 422, {"/attachment": "unknown-attachment"}),
    ({"machine": "../x"}, 422, {"/machine": "wrong-form"}),
    ({"units": "cm"}, 422, {"/units": "not-a-choice"}),
    ({"colour": "red"}, 422, {"/colour": "unknown-field"}),
    ({"angles_deg": {"boom": "30"}}, 422, {"/angles_deg/boom": "wrong-type"}),
    ({"angles_deg": {"boom": True}}, 422, {"/angles_deg/boom": "wrong-type"}),
    ({"angles_deg": {"nose": 1.0}}, 422, {"/angles_deg/nose": "unknown-field"}),
    ({"angles_deg": []}, 422, {"/angles_deg": "wrong-type"}),
    ({"attitude_deg": {"pitch": 1.0}}, 422, {"/attitude_deg/roll": "missing-field"}),
    ({"attitude_deg": {"pitch": 91.0, "roll": 0.0}}, 422, {"/attitude_deg/pitch": "too-steep"}),
    ({"cylinders_mm": {"boom": 2000.0}}, 422, {"/cylinders_mm/boom": "joint-given-twice"}),
    ({"cylinders_mm": {"fore_boom": 2000.0}}, 422, {"/cylinders_mm/fore_boom": "no-cylinder"}),
    ({"attachment": "digging-1500"}, 422, {"/angles_deg/tilt": "no-such-joint"}),
    (
        {"angles_deg": CRAWLER["angles_deg"] | {"idler": 60.0}}, 422,
        {"/angles_deg/idler": "joint-given-twice"},
    ),
    (
        {"angles_deg": {"boom": 30.0, "stick": -100.0, "bucket": 60.0}}, 422,
        {"/angles_deg/tilt": "missing-joint"},
    ),
    ({"angles_deg": CRAWLER["angles_deg"] | {"stick": 5.0}}, 422, {"/angles_deg/stick": "beyond-joint"}),
    ({"machine": "published-mini"}, 422, {}),
]  # fmt: skip


@pytest.mark.parametrize(("change", "status", "expected"), REFUSALS)
def test_a_pose_refused(client: Client, change: Json, status: int, expected: dict[str, str]) -> None:
    found = client.refused("/v1/poses", CRAWLER | change, status)
    if expected:
        assert found == expected
    else:
        assert found, "a pair that cannot close says why"


def test_every_fault_at_once(client: Client) -> None:
    asked = CRAWLER | {
        "angles_deg": {"boom": 99.0, "fore_boom": 3.0, "bucket": 60.0},
        "cylinders_mm": {"bucket": 1.0}, "attitude_deg": {"pitch": 85.0, "roll": 0.0},
    }  # fmt: skip
    assert client.refused("/v1/poses", asked, 422) == {
        "/angles_deg/boom": "beyond-joint", "/angles_deg/fore_boom": "no-such-joint",
        "/angles_deg/stick": "missing-joint", "/angles_deg/tilt": "missing-joint",
        "/attitude_deg/pitch": "too-steep", "/cylinders_mm/bucket": "joint-given-twice",
    }  # fmt: skip


def test_a_cylinder_beyond_its_stroke_says_its_stroke(client: Client) -> None:
    angles = {"stick": -100.0, "bucket": 60.0, "tilt": 0.0}
    for length in (1000.0, 2500.0, -1.0, 0.0):
        problem = client.post(
            "/v1/poses", CRAWLER | {"angles_deg": angles, "cylinders_mm": {"boom": length}}, 422
        )
        assert faults(problem, 422) == {"/cylinders_mm/boom": "out-of-stroke"}
        numbers = problem["errors"][0]["numbers"]
        assert numbers
        assert all(math.isfinite(value) for value in numbers.values())


@pytest.mark.parametrize("literal", ["NaN", "Infinity", "-Infinity", "1e999", "-1e999"])
@pytest.mark.parametrize(
    "place", ["/angles_deg/boom", "/cylinders_mm/stick", "/attitude_deg/roll", "/swing_deg"]
)
def test_no_nan_and_no_infinity(client: Client, literal: str, place: str) -> None:
    asked: Any = json.loads(json.dumps(CRAWLER | {"cylinders_mm": {"stick": 1.0}, "swing_deg": 0.0}))
    *way, last = place.split("/")[1:]
    inner = asked
    for key in way:
        inner = inner[key]
    inner[last] = "HERE"
    found = faults(client.raw("/v1/poses", json.dumps(asked).replace('"HERE"', literal), 422), 422)
    assert found[place] == "not-finite"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "nul",
        "[" * 5000,
        '{"a": 01}',
        '"x"',
        "[]",
        "null",
        "1" * 5000,
        '{"units": "m", "units": "ft"}',
    ],
)
def test_bodies_that_are_no_request(client: Client, text: str) -> None:
    answer = client.http.post("/v1/poses", content=text, headers={"content-type": "application/json"})
    assert answer.status_code in {400, 422}
    assert answer.headers["content-type"] == "application/problem+json"
