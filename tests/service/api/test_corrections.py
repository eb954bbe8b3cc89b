"""POST /v1/corrections: each move, made and posed again, comes to the line; what cannot says how much is left."""

import math
import re

import pytest

from kinematics.units import LengthUnit, from_metres, show
from service.api.corrections import size

from .doing import Client, Json, fitted

PATH = "/v1/corrections"
LANDS_M = 1e-6
BODY: Json = {
    "machine": "crawler-14t", "attachment": "tilting-1800", "units": "m", "attitude_deg": {"pitch": 2.0, "roll": -3.0},
    "angles_deg": {"boom": 10.0, "stick": -90.0, "bucket": 47.0, "tilt": 4.0}, "edge_point": "left",
    "line": {"height": -2.5, "slope_percent": 4.0, "reach": 5.0},
}  # fmt: skip


def posed(client: Client, asked: Json, joint: str, angle: float) -> Json:
    body = {name: asked[name] for name in ("machine", "attachment", "units", "attitude_deg")}
    answer: Json = client.post("/v1/poses", body | {"angles_deg": asked["angles_deg"] | {joint: angle}}, 200)
    return answer


def over(answer: Json, point: str) -> float:
    x, _, z = answer["points"][point]["level_m"]
    assert math.isfinite(z)
    return float(z + 2.5 - 0.04 * (x - 5.0))


@pytest.mark.parametrize(
    ("machine", "attachment", "joints"),
    [
        ("crawler-14t", "tilting-1800", {"tilt": 4.0}),
        ("crawler-21t", "tilt-rotator-1600", {"tilt": 4.0, "rotate": 30.0}),
        ("wheeled-16t", "digging-1500", {"fore_boom": -30.0}), ("crawler-14t", "v-bucket-1200", {}),
    ],
)  # fmt: skip
def test_each_lands_on_the_line_or_says_how_far_it_stays(
    client: Client, machine: str, attachment: str, joints: Json
) -> None:
    angles = {"boom": 20.0, "stick": -90.0, "bucket": 47.0} | joints
    asked = BODY | {"machine": machine, "attachment": attachment, "angles_deg": angles}
    answer = client.post(PATH, asked, 200)
    told = {one["joint"]: one for one in answer["corrections"]}
    assert list(told) == [
        name
        for name in ("boom", "fore_boom", "stick", "bucket", "tilt")
        if name in fitted(machine, attachment).ranges
    ]
    assert told["boom"]["reaches"]
    now = posed(client, asked, "boom", angles["boom"])
    for joint, one in told.items():
        there = posed(client, asked, joint, one["angle_deg"])
        assert one["angle_deg"] - one["move_deg"] == pytest.approx(angles[joint], abs=1e-9)
        assert abs(over(there, "left") - one["off_by"]["m"]) <= LANDS_M
        assert abs(there["points"]["left"]["level_m"][0] - one["reach"]["m"]) <= LANDS_M
        assert one["reaches"] == (abs(one["off_by"]["m"]) <= LANDS_M)
        if one["cylinder_move_mm"] is None:
            assert joint not in there["cylinders_mm"]
        else:
            moved = there["cylinders_mm"][joint] - now["cylinders_mm"][joint]
            assert abs(moved - one["cylinder_move_mm"]) <= 1e-6
        parts = [name for name in there["points"] if name != "receiver"]
        deepest = max(-over(there, name) for name in parts)
        for x, _, z in there["edge_line_level_m"]:
            deepest = max(deepest, -(z + 2.5 - 0.04 * (x - 5.0)))
        assert abs(one["lowest_below"]["m"] - deepest) <= LANDS_M
        if one["lowest_point"] in parts:
            assert abs(-over(there, one["lowest_point"]) - deepest) <= LANDS_M


def test_the_cross_slope_asked_for(client: Client) -> None:
    answer = client.post(PATH, BODY | {"cross_slope_percent": -2.0}, 200)
    tilt = answer["tilt_for_cross_slope"]
    assert tilt["reaches"]
    assert posed(client, BODY, "tilt", tilt["angle_deg"])["cross_slope_percent"] == pytest.approx(
        -2.0, abs=1e-6
    )
    assert tilt["words"] == (
        f"advice: tilt {tilt['move_deg']:+.2f} deg, for a cross-slope of -2.0 %; then read the height again"
    )
    assert client.post(PATH, BODY, 200)["tilt_for_cross_slope"] is None
    far = client.post(PATH, BODY | {"cross_slope_percent": -100.0}, 200)["tilt_for_cross_slope"]
    assert not far["reaches"]
    stays = posed(client, BODY, "tilt", far["angle_deg"])["cross_slope_percent"]
    assert far["cross_slope_percent"] == pytest.approx(stays, abs=1e-6)
    assert far["off_by_percent"] == pytest.approx(stays + 100.0, abs=1e-6)
    assert (
        far["words"]
        == f"the tilt alone cannot: the cross-slope stays {stays + 100.0:.1f} % off, at {stays:+.1f} %"
    )
    there = client.post(
        PATH, BODY | {"cross_slope_percent": posed(client, BODY, "tilt", 4.0)["cross_slope_percent"]}, 200
    )
    assert there["tilt_for_cross_slope"]["words"] == "advice: leave the tilt where it is"


def test_in_words(client: Client) -> None:
    """80 mm too high: down with the boom, its cylinder shorter; 80 mm too low: up, longer."""
    now = posed(client, BODY, "boom", 10.0)["points"]["left"]["level_m"][2]
    level = {"attachment": "digging-1500", "angles_deg": {"boom": 10.0, "stick": -90.0, "bucket": 47.0}}
    for rise, doing, way in ((-0.08, "lower", "shorter"), (0.08, "raise", "longer")):
        for one in client.post(PATH, BODY | {"line": {"height": now + rise}}, 200)["corrections"]:
            degrees, millimetres = abs(one["move_deg"]), one["cylinder_move_mm"]
            if one["joint"] == "boom":
                assert one["words"].startswith(
                    f"advice: {doing} the boom {degrees:.2f} deg (its cylinder {abs(millimetres):.0f} mm {way})"
                )
            if one["reaches"] and one["joint"] != "tilt":
                assert one["words"].startswith("advice: ")
                assert ("longer" in one["words"]) == (millimetres > 0.0)
    deep = client.post(PATH, BODY | level | {"line": {"height": now - 3.0}}, 200)["corrections"]
    words = {one["joint"]: one["words"] for one in deep if not one["reaches"]}
    left = next(one["off_by"]["m"] for one in deep if one["joint"] == "bucket")
    assert words["bucket"] == f"the bucket alone cannot: the left corner stays {left:.3f} m above the line"


def test_the_sentence_tells_what_then_stands_below_the_line(client: Client) -> None:
    """With teeth 75 mm ahead of the edge or so, an edge on the line has them below it."""
    asked = BODY | {
        "attachment": "digging-1500", "angles_deg": {"boom": 10.0, "stick": -90.0, "bucket": 47.0},
        "edge_point": "centre", "attitude_deg": {"pitch": 0.0, "roll": 0.0},
    }  # fmt: skip
    [boom, *_] = client.post(PATH, asked, 200)["corrections"]
    assert boom["lowest_below"]["m"] > 0.005
    assert boom["words"].endswith(f"is {boom['lowest_below']['m']:.3f} m below the line")


def test_on_the_line_nothing_is_to_be_done(client: Client) -> None:
    now = posed(client, BODY, "boom", 10.0)["points"]["left"]["level_m"]
    told = client.post(PATH, BODY | {"line": {"height": now[2]}}, 200)["corrections"]
    assert [one["words"].partition(";")[0] for one in told[:3]] == [
        f"advice: leave the {joint} where it is" for joint in ("boom", "stick", "bucket")
    ]


@pytest.mark.parametrize("units", ["mm", "ft", "ftUS", "ftin"])
def test_units(client: Client, units: str) -> None:
    height = -8 * 0.3048
    written = show(height, LengthUnit.FTIN) if units == "ftin" else from_metres(height, units)
    wanted = client.post(PATH, BODY | {"line": {"height": height}}, 200)["corrections"]
    answer = client.post(PATH, BODY | {"units": units, "line": {"height": written}}, 200)
    assert answer["units"] == units
    for one, same in zip(answer["corrections"], wanted, strict=True):
        assert one["move_deg"] == pytest.approx(same["move_deg"], abs=1e-9)
        assert one["reach"]["shown"] == show(one["reach"]["m"], LengthUnit(units))
        assert not re.search(r"\d m\b", one["words"])
        if one["joint"] == "boom":
            drawn = show(abs(one["cylinder_move_mm"]) / 1e3, LengthUnit(units))
            assert f"(its cylinder {drawn} " in one["words"]


def test_a_length_in_words_is_never_a_plain_zero() -> None:
    assert size(0.0004, LengthUnit.MM) == "less than 1 mm"
    assert size(0.0, LengthUnit.M) == "less than 0.001 m"
    assert size(-0.001, LengthUnit.FT) == "less than 0.01 ft"
    assert size(1e-5, LengthUnit.FTIN) == 'less than 1/16"'
    assert size(-0.0254, LengthUnit.FTIN) == '1"'
    assert size(-0.024, LengthUnit.MM) == "24 mm"


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"angles_deg": BODY["angles_deg"] | {"boom": 89.0}}, {"/angles_deg/boom": "beyond-joint"}),
        ({"edge_point": "tooth_left"}, {"/edge_point": "no-such-point"}),
        ({"line": {"height": 99.0}}, {"/line/height": "length-absurd"}),
        ({"cross_slope_percent": 101.0}, {"/cross_slope_percent": "out-of-range"}),
        ({"machine": "x"}, {"/machine": "unknown-machine"}),
        (
            {"attachment": "digging-1500", "cross_slope_percent": 2.0, "line": {"height": "x"}},
            {"/cross_slope_percent": "no-such-joint", "/line/height": "not-a-number",
             "/angles_deg/tilt": "no-such-joint"},
        ),
        ({"job": "pump-house"}, {"/job": "unknown-field"}),
    ],
)  # fmt: skip
def test_refusals(client: Client, change: Json, expected: dict[str, str]) -> None:
    assert client.refused(PATH, BODY | change, 422) == expected
