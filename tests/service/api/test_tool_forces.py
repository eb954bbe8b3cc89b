"""POST /v1/tool-forces and the speed of /v1/passes: what the formulas say, as JSON and picture; refusals."""

import re
import xml.etree.ElementTree as ET

import pytest

from kinematics.arm import pose
from kinematics.forces import rated_force, tool_force
from machine_profiles import shipped

from .doing import Client, Json, fitted
from .test_passes import BODY as PASS

PATH = "/v1/tool-forces"
BODY: Json = {"machine": "crawler-14t", "attachment": "digging-1500", "units": "m"}
POSTURE = {"boom": 10.0, "stick": -80.0, "bucket": 50.0}
RAM = {"bore_mm": 60.0, "rod_mm": 35.0, "working_bar": 210.0, "holding_bar": 240.0}
SVG = {"accept": "image/svg+xml"}


def test_it_is_what_the_formulas_say(client: Client) -> None:
    answer = client.post(PATH, BODY | {"posture_deg": POSTURE}, 200)
    assembly = fitted("crawler-14t", "digging-1500")
    hydraulics = shipped()["machine", "crawler-14t"].hydraulics
    assert hydraulics is not None
    posed = pose(
        assembly, pitch=0.0, roll=0.0, **{name: a * 0.017453292519943295 for name, a in POSTURE.items()}
    )
    assert [each["mode"] for each in answer["rated"]] == ["bucket", "stick"]
    for rated, told in zip(answer["rated"], answer["posture"]["forces"], strict=True):
        best = rated_force(assembly, hydraulics, rated["mode"], point="tooth_centre")
        assert rated["force_kn"] == pytest.approx(1e-3 * best.force)
        there = tool_force(posed, hydraulics, told["mode"], point="tooth_centre")
        assert told["force_kn"] == pytest.approx(1e-3 * there.force)
        assert told["limited_by"] == there.limited_by
        assert f"{told['force_kn']:.1f} kN" in told["words"]
        assert told["limited_by"] in told["words"]
        assert max(
            load["pressure_bar"] / load["allowed_bar"] for load in told["loads"].values()
        ) == pytest.approx(1.0)
    assert answer["map"] is None
    for words in ("masses", "friction", "tips", "ISO 6015"):
        assert words in answer["advisory"]


def test_a_map_over_the_envelope(client: Client) -> None:
    found = client.post(PATH, BODY | {"map": {"spacing": 0.5, "mode": "stick"}}, 200)["map"]
    rows, columns = len(found["height_m"]), len(found["reach_m"])
    for name in ("force_kn", "limited_by", "bucket_deg"):
        assert [len(row) for row in found[name]] == [columns] * rows
    told = [(force, limit) for forces, limits in zip(found["force_kn"], found["limited_by"], strict=True)
            for force, limit in zip(forces, limits, strict=True)]  # fmt: skip
    assert all((force is None) == (limit is None) for force, limit in told)
    assert {limit for _, limit in told if limit} >= {"stick", "boom"}
    assert any(force is None for force, _ in told)


@pytest.mark.parametrize(("machine", "attachment", "mode"), [
    ("crawler-14t", "digging-1500", "bucket"), ("compact-1t8", "compact-bucket-400", "stick"),
])  # fmt: skip
def test_the_picture_tells_force_and_limit(client: Client, machine: str, attachment: str, mode: str) -> None:
    body = {
        "machine": machine,
        "attachment": attachment,
        "units": "ft",
        "map": {"spacing": 1.5, "mode": mode},
    }
    drawn = client.http.post(PATH, json=body, headers=SVG)
    assert drawn.status_code == 200, drawn.text
    root = ET.fromstring(drawn.text)  # noqa: S314  # our own
    words = ["".join(each.itertext()) for each in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "Greatest force, kN" in words
    told = client.post(PATH, body, 200)["map"]
    for joint in {limit for row in told["limited_by"] for limit in row if limit}:
        assert any(each.startswith(joint.replace("_", " ")) for each in words)
    steps = [
        tuple(map(float, each.split(" to "))) for each in words if re.fullmatch(r"[\d.]+ to [\d.]+", each)
    ]
    forces = [force for row in told["force_kn"] for force in row if force is not None]
    assert steps[0][0] <= min(forces) <= max(forces) <= steps[-1][1]
    assert not [each for each in words if re.search(r"\d m\b", each)]
    assert client.http.post(PATH, json=body, headers={"accept": "image/png"}).content.startswith(b"\x89PNG")


def test_bores_of_the_request_stand_in_place_of_the_profiles(client: Client) -> None:
    weak = client.post(PATH, BODY | {"posture_deg": POSTURE, "hydraulics": {"boom": RAM}}, 200)
    strong = client.post(PATH, BODY | {"posture_deg": POSTURE}, 200)
    assert weak["rated"] == strong["rated"]
    assert weak["posture"]["forces"][1]["limited_by"] == "boom"
    mini = BODY | {"machine": "published-mini", "attachment": "published-mini-bucket", "posture_deg": POSTURE}
    told = client.post(PATH, mini | {"hydraulics": {"bucket": RAM, "stick": RAM}}, 200)
    assert told["posture"]["forces"][0]["taken_to_hold"] == ["boom"]
    assert client.refused(PATH, mini, 422) == {
        "/hydraulics/bucket": "no-bore",
        "/hydraulics/stick": "no-bore",
    }


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"posture_deg": {"boom": 10.0, "stick": -180.0}},
         {"/posture_deg/stick": "beyond-joint", "/posture_deg/bucket": "missing-joint"}),
        ({"posture_deg": POSTURE | {"tilt": 3.0}}, {"/posture_deg/tilt": "no-such-joint"}),
        ({"map": {"spacing": 0.001, "mode": "bucket"}}, {"/map/spacing": "out-of-range"}),
        ({"map": {"spacing": 0.05, "mode": "bucket"}}, {"/map/spacing": "too-many-values"}),
        ({"map": {"spacing": 0.5, "mode": "boom"}}, {"/map/mode": "not-a-choice"}),
        ({"hydraulics": {"boom": RAM | {"rod_mm": 70.0, "holding_bar": 200.0}, "stick": RAM | {"count": 7}}},
         {"/hydraulics/boom/rod_mm": "rod-too-thick", "/hydraulics/boom/holding_bar": "holding-below-working",
          "/hydraulics/stick/count": "out-of-range"}),
        ({"edge_point": "tooth_left", "attachment": "ditching-1800"}, {"/edge_point": "no-such-point"}),
    ],
)  # fmt: skip
def test_refusals(client: Client, more: Json, told: dict[str, str]) -> None:
    assert client.refused(PATH, BODY | more, 422) == told


def test_a_picture_needs_a_map(client: Client) -> None:
    answer = client.http.post(PATH, json=BODY, headers=SVG)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["code"] == "missing-field"


def test_the_speed_of_a_pass(client: Client) -> None:
    plain = client.post("/v1/passes", PASS, 200)
    assert plain["speed"] is None
    told = client.post("/v1/passes", PASS | {"speed": {}}, 200)
    assert told["places"] == plain["places"]
    speed, places = told["speed"], told["places"]
    assert len(speed["edge_mm_s"]) == len(places["reach_m"]) - 1
    assert set(speed["cylinders_mm_s"]) == {"boom", "stick", "bucket"}
    assert set(speed["limited_by"]) <= {"boom", "stick", "bucket"}
    steps = zip(
        places["reach_m"], places["reach_m"][1:], places["height_m"], places["height_m"][1:], strict=False
    )
    ways = [1e3 * ((b - a) ** 2 + (d - c) ** 2) ** 0.5 for a, b, c, d in steps]
    times = [way / each for way, each in zip(ways, speed["edge_mm_s"], strict=True)]
    assert sum(times) == pytest.approx(speed["duration_s"])
    pumped = client.post("/v1/passes", PASS | {"speed": {"pump_l_min": 40.0}}, 200)["speed"]
    assert set(pumped["limited_by"]) == {"all"}
    assert pumped["duration_s"] > speed["duration_s"]
    out = client.post("/v1/passes", PASS | {"speed": {"outwards": True}}, 200)["speed"]
    assert out["cylinders_mm_s"]["stick"][0] * speed["cylinders_mm_s"]["stick"][0] < 0.0


def test_speeds_without_flow_are_refused(client: Client) -> None:
    body = PASS | {"speed": {"pump_l_min": -1.0, "hydraulics": {"stick": RAM}}}
    assert client.refused("/v1/passes", body, 422) == {"/speed/pump_l_min": "not-positive"}
    body = PASS | {"speed": {"hydraulics": {"stick": RAM}}}
    assert client.refused("/v1/passes", body, 422) == {"/speed/hydraulics/stick": "no-flow"}
    body = PASS | {"speed": {"hydraulics": {"stick": RAM | {"bore_mm": 6.0}}}}
    assert client.refused("/v1/passes", body, 422) == {"/speed/hydraulics/stick/bore_mm": "out-of-range"}
