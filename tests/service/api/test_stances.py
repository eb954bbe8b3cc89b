"""GET /v1/stances: every pair of ours stands on ground it reaches, its joints told with ranges that a pose may have."""

import pytest

from .doing import Client, Json
from .sheets import spanning

PATH = "/v1/stances"
ROUNDED_M = 0.03
"""Start angles are told to a tenth of a degree: half of that on three joints of at most 15 m."""


def stance_of(client: Client, machine: str, attachment: str, units: str = "m") -> Json:
    answer = client.http.get(PATH, params={"machine": machine, "attachment": attachment, "units": units})
    assert answer.status_code == 200, answer.text
    told: Json = answer.json()
    return told


@pytest.mark.parametrize(("machine", "attachment"), spanning())
def test_the_usual_pose_stands_on_the_ground(client: Client, machine: str, attachment: str) -> None:
    told = stance_of(client, machine, attachment)
    start = {joint["name"]: joint["start_deg"] for joint in told["joints"]}
    posed = client.post("/v1/poses", {
        "machine": machine, "attachment": attachment, "units": "m", "angles_deg": start,
        "attitude_deg": {"pitch": 0.0, "roll": 0.0},
    }, 200)  # fmt: skip
    assert abs(posed["heights"]["centre"]["m"] - told["ground_m"]) <= ROUNDED_M
    assert told["near_m"] < posed["reach"]["m"] < told["far_m"]
    for joint in told["joints"]:
        assert joint["low_deg"] < joint["high_deg"]
        assert joint["low_deg"] <= joint["start_deg"] <= joint["high_deg"]
    window = told["windows"]["usual"]
    reach, height = posed["reach"]["m"], posed["heights"]["centre"]["m"]
    assert window["left_m"] < 0.0 < reach < window["right_m"]
    assert window["bottom_m"] < height < window["top_m"]
    assert window["bottom_m"] < told["ground_m"] - told["depth_m"]


def test_a_pass_up_to_a_stop_without_slack_is_no_refusal(client: Client) -> None:
    """On this pair the linkage turns back before its cylinder ends: what rounds beyond that has no slack to fall into."""
    told = stance_of(client, "published-mini", "compact-bucket-400")
    [bucket] = [joint for joint in told["joints"] if joint["name"] == "bucket"]
    assert bucket["high_deg"] == 157.88


def test_both_ends_of_every_range_can_be_posed(client: Client) -> None:
    told = stance_of(client, "crawler-14t", "digging-1500")
    start = {joint["name"]: joint["start_deg"] for joint in told["joints"]}
    for joint in told["joints"]:
        for end in ("low_deg", "high_deg"):
            client.post("/v1/poses", {
                "machine": "crawler-14t", "attachment": "digging-1500", "units": "m",
                "angles_deg": start | {joint["name"]: joint[end]}, "attitude_deg": {"pitch": 0.0, "roll": 0.0},
            }, 200)  # fmt: skip


@pytest.mark.parametrize(
    ("units", "origin", "target"),
    # Ground at 100: the boom foot 1.7 m above it, the target 0.8875 m below; 1.7 m is 5.577 ft, 0.8875 m 2.912 ft.
    [
        ("m", 101.7, 99.113),
        ("mm", 101700.0, 99113.0),
        ("ft", 105.58, 97.09),
        ("ftin", "105' 6 15/16\"", "97' 1 1/16\""),
    ],
)
def test_the_ground_is_at_a_hundred(client: Client, units: str, origin: object, target: object) -> None:
    told = stance_of(client, "crawler-14t", "digging-1500", units)
    assert (told["units"], told["origin_elevation"], told["target_elevation"]) == (units, origin, target)


def test_joints_are_told_in_order_with_what_turns_them(client: Client) -> None:
    told = stance_of(client, "wheeled-16t", "tilt-rotator-1600")
    assert [joint["name"] for joint in told["joints"]] == [
        "boom",
        "fore_boom",
        "stick",
        "bucket",
        "tilt",
        "rotate",
    ]
    assert [joint["taken_by"] for joint in told["joints"]] == [
        "stick_pin",
        "stick_pin",
        "bucket_pin",
        "edge",
        None,
        None,
    ]


@pytest.mark.parametrize(
    ("query", "codes"),
    [
        ({}, ["missing-field"] * 3),
        ({"machine": "crawler-14t", "attachment": "digging-1500", "units": "yd"}, ["not-a-choice"]),
        (
            {"machine": "nobody", "attachment": "nothing", "units": "m"},
            ["unknown-machine", "unknown-attachment"],
        ),
    ],
)
def test_refused(client: Client, query: dict[str, str], codes: list[str]) -> None:
    answer = client.http.get(PATH, params=query)
    assert answer.status_code in (404, 422), answer.text
    assert [each["code"] for each in answer.json()["errors"]] == codes
