"""POST /v1/digging-envelopes: what the formulas say, postures that hold, a picture to scale; refusals."""

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from kinematics.envelope import DIMENSIONS, digging_envelope
from service.api.drawing import ACCENT

from .doing import Client, Json, fitted

PATH = "/v1/digging-envelopes"
BODY: Json = {"machine": "crawler-14t", "attachment": "digging-1500", "units": "m"}
SVG = {"accept": "image/svg+xml"}


def test_it_is_what_the_formulas_say(client: Client) -> None:
    answer = client.post(PATH, BODY, 200)
    found = digging_envelope(fitted("crawler-14t", "digging-1500"))
    assert [each["name"] for each in answer["dimensions"]] == list(DIMENSIONS)
    for told in answer["dimensions"]:
        assert told["value"]["m"] == found.dimensions[told["name"]].value
        assert told["value"]["shown"].endswith(" m")
    assert answer["edge_point"] == "tooth_centre"
    assert answer["ground"]["m"] == -1.7
    assert answer["without"] == {}
    assert len(answer["border"]["arcs"]) == len(found.curve)
    assert "no tracks" in answer["advisory"]
    assert "/guide/cautions" in answer["advisory"]


def test_arcs_and_corners_are_one_border(client: Client) -> None:
    border = client.post(PATH, BODY, 200)["border"]
    ends = []
    for arc in border["arcs"]:
        for angle in (arc["from_deg"], arc["to_deg"]):
            ends.append((
                arc["centre_reach_m"] + arc["radius_m"] * math.cos(math.radians(angle)),
                arc["centre_height_m"] + arc["radius_m"] * math.sin(math.radians(angle)),
            ))  # fmt: skip
    for last, first in zip(ends[1::2], [*ends[2::2], ends[0]], strict=True):
        assert math.dist(last, first) <= 3e-6
    corners = list(zip(border["reach_m"], border["height_m"], strict=True))
    assert corners[0] == pytest.approx(ends[0])
    twice = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(corners, [*corners[1:], corners[0]], strict=True))
    # Chords 2 mm at most from some 35 m of arcs.
    assert 0.5 * twice == pytest.approx(client.post(PATH, BODY, 200)["area_m2"], abs=0.07)


def test_every_posture_puts_the_point_there(client: Client) -> None:
    answer = client.post(PATH, BODY, 200)
    for told in answer["dimensions"]:
        if told["name"] in {"swing_radius", "dump_height"}:
            continue
        for spot in told["spots"]:
            body = {"machine": BODY["machine"], "attachment": BODY["attachment"], "units": "m",
                    "attitude_deg": {"pitch": 0.0, "roll": 0.0}, "angles_deg": spot["joints_deg"]}  # fmt: skip
            tooth = client.post("/v1/poses", body, 200)["points"]["tooth_centre"]["level_m"]
            assert tooth[0] == pytest.approx(spot["reach"]["m"], abs=1e-8)
            assert tooth[2] == pytest.approx(spot["height"]["m"], abs=1e-8)
            for joint, words in spot["at_stops"].items():
                assert re.match(rf"{joint} cylinder at its (short|long)est, [\d.]+ mm$", words)


def test_a_held_joint_another_point_and_feet(client: Client) -> None:
    body = BODY | {
        "machine": "wheeled-16t", "units": "ft", "edge_point": "left", "angles_deg": {"fore_boom": -30.0},
        "ground": -6.0, "floor": 8.0,
    }  # fmt: skip
    answer = client.post(PATH, body, 200)
    assert answer["edge_point"] == "left"
    assert answer["ground"]["m"] == pytest.approx(-6.0 * 0.3048)
    for told in answer["dimensions"]:
        assert told["value"]["shown"].endswith(" ft")
        for spot in told["spots"]:
            assert spot["joints_deg"]["fore_boom"] == pytest.approx(-30.0)
    assert "8.00 ft" in next(
        told["words"] for told in answer["dimensions"] if told["name"] == "level_floor_depth"
    )


def test_what_nobody_measured_is_said(client: Client) -> None:
    body = BODY | {"machine": "published-mini", "attachment": "published-mini-bucket"}
    answer = client.post(PATH, body, 200)
    assert answer["ground"] is None
    assert {each["name"] for each in answer["dimensions"]} == {"reach", "swing_radius"}
    assert all("boom foot pin" in why for why in answer["without"].values())
    assert "Without " in client.http.post(PATH, json=body, headers=SVG).text
    assert len(client.post(PATH, body | {"ground": -0.6}, 200)["dimensions"]) == len(DIMENSIONS)


@pytest.mark.parametrize("units", ["m", "ft"])
@pytest.mark.parametrize("machine", ["crawler-14t", "wheeled-16t", "long-reach-22t"])
def test_the_picture_is_to_scale_and_hides_nothing(client: Client, units: str, machine: str) -> None:
    body = BODY | {"machine": machine, "units": units}
    drawn = client.http.post(PATH, json=body, headers=SVG)
    assert drawn.status_code == 200
    root = ET.fromstring(drawn.text)  # noqa: S314  # our own
    words = ["".join(each.itertext()) for each in root.iter("{http://www.w3.org/2000/svg}text")]
    answer = client.post(PATH, body, 200)
    for told in answer["dimensions"]:
        assert any(told["words"] in each and told["value"]["shown"] in each for each in words), told["name"]
    if units == "ft":
        assert not [each for each in words if re.search(r"\d m\b", each)]
    boxes = []
    for each in root.iter("{http://www.w3.org/2000/svg}text"):
        said = "".join(each.itertext())
        if each.get("font-weight") == "bold" and ": " in said and each.get("text-anchor") == "middle":
            middle, wide = float(each.get("x", "0")), 10.0 * len(said)
            boxes.append((middle - wide / 2, middle + wide / 2, float(each.get("y", "0"))))
    assert len(boxes) == 6
    for each in root.iter("{http://www.w3.org/2000/svg}line"):
        if (
            each.get("stroke") == ACCENT and each.get("stroke-width") == "1.2"
        ):  # leads to words, and across none
            ends = [[float(each.get(f"{axis}{k}", "nan")) for axis in "xy"] for k in (1, 2)]
            for share in np.linspace(0.0, 1.0, 201):
                x, y = ((1.0 - share) * a + share * b for a, b in zip(*ends, strict=True))
                assert not any(
                    left < x < right and base - 12.0 < y < base + 2.0 for left, right, base in boxes
                )
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert a[1] < b[0] or b[1] < a[0] or abs(a[2] - b[2]) >= 18.0


def test_the_same_as_a_bitmap(client: Client) -> None:
    drawn = client.http.post(PATH, json=BODY, headers={"accept": "image/png"})
    assert drawn.headers["content-type"] == "image/png"
    assert drawn.content.startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"edge_point": "nose"}, {"/edge_point": "not-a-choice"}),
        ({"attachment": "ditching-1800", "edge_point": "tooth_left"}, {"/edge_point": "no-such-point"}),
        ({"floor": -2.0}, {"/floor": "not-positive"}),
        ({"floor": 200.0, "ground": "low"}, {"/floor": "length-absurd", "/ground": "not-a-number"}),
        ({"angles_deg": {"tilt": 4.0}}, {"/angles_deg/tilt": "no-such-joint"}),
        ({"attachment": "tilting-1800", "angles_deg": {"tilt": 80.0}}, {"/angles_deg/tilt": "beyond-joint"}),
        ({"machine": "crane"}, {"/machine": "unknown-machine"}),
    ],
)
def test_refusals(client: Client, more: Json, told: dict[str, str]) -> None:
    answer = client.http.post(PATH, json=BODY | more)
    assert answer.status_code in {404, 422}, answer.text
    assert {each["pointer"]: each["code"] for each in answer.json()["errors"]} == told
