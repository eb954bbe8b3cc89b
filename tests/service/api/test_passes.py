"""POST /v1/passes: every place holds when posed again, ends say what stops them, and nobody else waits."""

import math
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from kinematics.passes import longest_pass
from kinematics.units import LengthUnit, from_metres, show
from service.api import passes

from .doing import Client, Json, faults

PATH = "/v1/passes"
LANDS_M = 1e-6
BODY: Json = {
    "machine": "crawler-14t", "attachment": "tilting-1800", "units": "m", "attitude_deg": {"pitch": 2.0, "roll": -3.0},
    "angles_deg": {"tilt": 3.0}, "edge_point": "centre", "line": {"height": -2.4, "slope_percent": 2.0, "reach": 5.0},
    "floor_deg": {"low": 0.0, "high": 15.0}, "preferred_floor_deg": 4.0,
}  # fmt: skip


def reposed(client: Client, asked: Json, answer: Json) -> Json:
    """The places' joints, given to /v1/pose-columns as they are."""
    body = {
        "machines": [{name: asked[name] for name in ("machine", "attachment")}],
        "attitude_deg": asked["attitude_deg"], "angles_deg": answer["places"]["joints_deg"],
        "outputs": ["centre_reach_m", "centre_height_m", "floor_angle_deg"],
    }  # fmt: skip
    columns = client.post("/v1/pose-columns", body, 200)
    assert columns["failed"] == 0
    found: Json = columns["columns"]
    return found


def apart(one: list[float], other: list[float]) -> float:
    assert len(one) == len(other)
    assert all(map(math.isfinite, one + other))
    return max(abs(a - b) for a, b in zip(one, other, strict=True))


def test_every_place_holds(client: Client) -> None:
    answer = client.post(PATH, BODY, 200)
    places, again = answer["places"], reposed(client, BODY, answer)
    assert apart(again["centre_reach_m"], places["reach_m"]) <= LANDS_M
    assert apart(again["centre_height_m"], places["height_m"]) <= LANDS_M
    assert apart(again["floor_angle_deg"], places["floor_angle_deg"]) <= 1e-6
    line = [-2.4 + 0.02 * (reach - 5.0) for reach in places["reach_m"]]
    assert apart(places["height_m"], line) <= LANDS_M
    assert all(-1e-6 <= angle <= 15.0 + 1e-6 for angle in places["floor_to_line_deg"])
    assert any(abs(angle - 4.0) <= 1e-6 for angle in places["floor_to_line_deg"]), "preferred where it can"
    assert {len(column) for part in ("joints_deg", "cylinders_mm") for column in places[part].values()} == {
        len(line)
    }
    assert set(places["joints_deg"]) == {"boom", "stick", "bucket", "tilt"}
    ends = answer["near"]["reach"]["m"], answer["far"]["reach"]["m"]
    assert ends == (places["reach_m"][0], places["reach_m"][-1])
    assert answer["length"]["m"] == pytest.approx(ends[1] - ends[0], abs=1e-9)
    assert 0.0 < answer["most_turned_deg"] < 20.0
    assert math.isfinite(answer["lowest_below_line"]["m"])
    assert "knows neither tracks nor pit walls" in answer["advisory"]
    assert "never a command" in answer["advisory"]


def test_ends_say_what_stops_them(client: Client) -> None:
    answer = client.post(PATH, BODY, 200)
    for end, i in (("near", 0), ("far", -1)):
        stops = answer[end]["stops"]
        assert stops
        for stop in stops:
            assert stop["words"]
            if "cylinder_mm" in stop["numbers"]:
                assert f"{stop['numbers']['cylinder_mm']:.1f} mm" in stop["words"]
                assert stop["numbers"]["angle_deg"] == pytest.approx(
                    answer["places"]["joints_deg"][stop["what"]][i], abs=1e-9
                )
    assert "cylinder_mm" in {name for stop in answer["far"]["stops"] for name in stop["numbers"]}


@pytest.mark.parametrize("units", ["m", "mm", "ft", "ftUS", "ftin"])
def test_between_and_units(client: Client, units: str) -> None:
    """8 ft below, from 14 to 18 ft out: shown and stopped in the units asked for."""
    low, high = 14 * 0.3048, 18 * 0.3048

    def written(feet: float) -> float | str:
        return show(feet * 0.3048, LengthUnit.FTIN) if units == "ftin" else from_metres(feet * 0.3048, units)

    asked = BODY | {
        "units": units, "line": {"height": written(-8)}, "between": {"low": written(14), "high": written(18)},
    }  # fmt: skip
    answer = client.post(PATH, asked, 200)
    assert answer["near"]["reach"]["m"] == pytest.approx(low, abs=LANDS_M)
    assert answer["far"]["reach"]["m"] <= high + LANDS_M
    [stop] = answer["near"]["stops"]
    assert stop["what"] == "between"
    assert stop["words"] == f"the reach limit of {show(low, LengthUnit(units))}"
    assert answer["length"]["shown"] == show(answer["length"]["m"], LengthUnit(units))
    open_ended = client.post(PATH, asked | {"between": {"low": written(14)}}, 200)
    assert open_ended["length"]["m"] >= answer["length"]["m"] - LANDS_M


def test_no_pass_says_which_line_has_one(client: Client) -> None:
    problem = client.post(PATH, BODY | {"line": {"height": -9.0}}, 422)
    assert faults(problem, 422) == {"/line/height": "no-pass"}
    assert problem["type"] == "/guide/problems#no-pass"
    [told] = problem["errors"]
    assert told["numbers"]["height_m"] == -9.0
    nearest = told["numbers"]["nearest_height_m"]
    assert -9.0 < nearest < 0.0
    client.post(PATH, BODY | {"line": {"height": nearest}}, 200)
    client.post(PATH, BODY | {"line": {"height": nearest - 0.1}}, 422)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"floor_deg": {"low": 9.0, "high": 3.0}}, {"/floor_deg": "range-swapped"}),
        ({"floor_deg": {"low": 3.0, "high": 3.0}}, {"/floor_deg": "range-swapped"}),
        ({"floor_deg": {"low": 3.0}}, {"/floor_deg/high": "missing-field"}),
        ({"floor_deg": {"low": 0.0, "high": 95.0}}, {"/floor_deg/high": "angle-absurd"}),
        ({"floor_deg": {"low": -40.0, "high": -35.0}, "preferred_floor_deg": -36.0}, {"/floor_deg": "no-pass"}),
        ({"preferred_floor_deg": 30.0}, {"/preferred_floor_deg": "preferred-outside"}),
        ({"preferred_floor_deg": 130.0}, {"/preferred_floor_deg": "angle-absurd"}),
        ({"between": {"low": 6.0, "high": 5.0}}, {"/between": "range-swapped"}),
        ({"between": {"low": 60.0, "high": "x"}}, {"/between/low": "length-absurd", "/between/high": "not-a-number"}),
        ({"between": {"high": 6.0}}, {"/between/low": "missing-field"}),
        ({"edge_point": "tooth_right"}, {"/edge_point": "no-such-point"}),
        ({"line": {"height": -1e4}}, {"/line/height": "length-absurd"}),
        ({"angles_deg": {}}, {"/angles_deg/tilt": "missing-joint"}),
        ({"machine": "no-such"}, {"/machine": "unknown-machine"}), ({"reach": 5.0}, {"/reach": "unknown-field"}),
        (
            {"floor_deg": {"low": 9.0, "high": 3.0}, "line": {"height": "x"}, "angles_deg": {},
             "between": {"low": 9.0, "high": 3.0}},
            {"/floor_deg": "range-swapped", "/line/height": "not-a-number", "/angles_deg/tilt": "missing-joint",
             "/between": "range-swapped"},
        ),
    ],
)  # fmt: skip
def test_refusals(client: Client, change: Json, expected: dict[str, str]) -> None:
    assert client.refused(PATH, BODY | change, 422) == expected


def test_a_swapped_window_tells_its_numbers_in_the_units_of_their_names(client: Client) -> None:
    problem = client.post(
        PATH, BODY | {"floor_deg": {"low": 9.0, "high": 3.0}, "between": {"low": 6.0, "high": 5.0}}, 422
    )
    assert {told["pointer"]: told["numbers"] for told in problem["errors"]} == {
        "/floor_deg": {"low_deg": 9.0, "high_deg": 3.0}, "/between": {"low_m": 6.0, "high_m": 5.0},
    }  # fmt: skip


def test_nobody_else_waits(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """While a pass is looked for, the event loop answers others."""
    begun, done = threading.Event(), threading.Event()

    def held_up(*args: Any, **more: Any) -> Any:
        begun.set()
        assert done.wait(30.0)
        return longest_pass(*args, **more)

    monkeypatch.setattr(passes, "longest_pass", held_up)
    pose = {name: BODY[name] for name in ("machine", "attachment", "units", "attitude_deg")}
    pose |= {"angles_deg": {"boom": 30.0, "stick": -100.0, "bucket": 60.0, "tilt": 4.0}}
    client.post("/v1/poses", pose, 200)  # once warm it stays on the event loop
    with ThreadPoolExecutor(1) as other:
        waiting = other.submit(client.post, PATH, BODY, 200)
        try:
            assert begun.wait(30.0)
            client.post("/v1/poses", pose, 200)
            assert not waiting.done()
        finally:
            done.set()
        assert waiting.result(60.0)["length"]["m"] > 0.0
