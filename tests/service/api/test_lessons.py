"""Lessons on every shipped pair: they are there, they are true, and answers are judged against something else."""

import json
import math
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from kinematics.assembly import assemble
from kinematics.machine import Attachment, Machine, Range
from kinematics.units import LengthUnit, from_metres, show, show_number, to_metres
from machine_profiles import shipped
from service.book.posing import solve
from service.book.requests import PoseIn
from service.classroom.lessons import IDS, lessons_of

from .doing import Client, Json, fitted
from .learning import PAIR, answered, step_of, steps, told
from .sheets import spanning

PLAIN_M = 0.010  # what a class can tell from nothing on a drawing; the issue's own border
SAME_M = 1e-9  # a bisection of an angle to its last bits; a nanometre is below anything that can be measured


def posed(client: Client, pair: tuple[str, str], side: Json) -> Json:
    """A step's pose by POST /v1/poses, which knows nothing of lessons."""
    body = {"angles_deg": side["angles_deg"], "attitude_deg": side["attitude_deg"]}
    found: Json = client.post(
        "/v1/poses", body | {"machine": pair[0], "attachment": pair[1], "units": "m"}, 200
    )
    return found


def height(client: Client, pair: tuple[str, str], side: Json) -> float:
    found: float = posed(client, pair, side)["heights"][side["edge_point"]]["m"]
    return found


def test_every_machine_and_attachment(client: Client) -> None:
    """At least six lessons; what is missing is told with its reason."""
    for machine, attachment in spanning():
        found = told(client, machine, attachment)
        there = [each["id"] for each in found["lessons"]]
        missing = [each["id"] for each in found["left_out"]]
        assert sorted([*there, *missing]) == sorted(IDS)
        assert all(each["why"] for each in found["left_out"])
        assert len(there) >= 6, (machine, attachment, found["left_out"])
        assert ("tilt" in there) == ("tilt" in fitted(machine, attachment).ranges)


def test_no_answer_is_given_away(client: Client) -> None:
    found = told(client, **PAIR)
    for _, step in steps(found):
        assert set(step["question"]) == {
            "kind", "words", "choices", "within_percent_of_it", "within_percent"
        }  # fmt: skip
    assert step_of(found, "curl", "radius")["sides"][1:] == []
    assert len(json.dumps(found)) < 40_000


@pytest.mark.parametrize("units", [each.value for each in LengthUnit])
def test_sides_go_where_they_came_from(client: Client, units: str) -> None:
    """Unchanged to explanations and drawings, in every unit; what is asked of is among what is explained."""
    for _, step in steps(told(client, "crawler-14t", "tilting-1800", units)):
        body = {
            "machine": "crawler-14t", "attachment": "tilting-1800", "units": units, "sides": step["sides"],
        }  # fmt: skip
        drawn = client.http.post("/v1/drawings", json=body | {"view": step["view"]})
        assert drawn.status_code == 200, drawn.text
        if len(step["sides"]) == 2:
            whole = client.post("/v1/explanations", body, 200)["whole"]
            there = {each["quantity"] for each in whole["changes"]} | {"cross_slope"}
            assert set(step["look_at"]) <= there


def right_by_heights(client: Client, pair: tuple[str, str], step: Json) -> float:
    """How far the first quantity of a step changed (m), from POST /v1/poses and the written elevations."""
    first, second = step["sides"]
    rise = height(client, pair, second) - height(client, pair, first)
    for name, sign in (("origin_elevation", 1.0), ("target_elevation", -1.0)):
        if name == "target_elevation" and step["look_at"][0] != "above_target":
            continue
        ends = [each[name] for each in (first, second)]
        if ends[0] is not None:
            rise += sign * (ends[1] - ends[0])
    return rise


@pytest.mark.parametrize("pair", spanning(), ids="-".join)
def test_ups_and_downs_and_lengths(client: Client, pair: tuple[str, str]) -> None:
    """Every direction and every length against heights of POST /v1/poses; none nearer to nothing than can be told."""
    of = {"machine": pair[0], "attachment": pair[1]}
    for lesson, step in steps(told(client, *pair)):
        question = step["question"]
        if len(step["sides"]) < 2 or "cross_slope" in step["look_at"][:1]:
            continue
        rise = right_by_heights(client, pair, step)
        offered = [each["id"] for each in question["choices"]]
        if offered == ["up", "down", "stays"]:
            right = "stays" if abs(rise) < SAME_M else "up" if rise > 0 else "down"
            assert right == "stays" or abs(rise) >= PLAIN_M
            assert [answered(client, lesson, step["id"], each, **of)["right"] for each in offered] == [
                each == right for each in offered
            ]
        elif question["kind"] == "length" and lesson != "cancel":
            found = answered(client, lesson, step["id"], 10.0, **of)
            assert abs(found["right_length"]["m"] - abs(rise)) < 1e-9
            assert abs(rise) >= PLAIN_M
            assert not found["right"]
            for by, good in ((0.0, True), (0.24, True), (-0.24, True), (0.26, False), (-0.26, False)):
                again = answered(client, lesson, step["id"], abs(rise) * (1.0 + by), **of)
                assert again["right"] == good
                assert again["off"]["m"] == pytest.approx(abs(rise) * by, abs=1e-9)


@pytest.mark.parametrize("pair", spanning(), ids="-".join)
def test_the_curl(client: Client, pair: tuple[str, str]) -> None:
    """Radius and way by trigonometry about the pin: a curl by t takes an edge at angle a on radius r by
    r (sin(a - t) - sin a), and the edge is ahead or behind as told. The body is level: its frame is the level one."""
    lessons = told(client, *pair)
    if not lessons["lessons"]:
        assert lessons["left_out"][0]["why"]
        return
    of = {"machine": pair[0], "attachment": pair[1]}
    for name, side_of_pin in (("edge-ahead", 1.0), ("edge-behind", -1.0), ("how-much", -1.0)):
        step = step_of(lessons, "curl", name)
        first, second = (posed(client, pair, each) for each in step["sides"])
        pin, edge = (
            np.array(first["pins_body_m"]["bucket_pin"]),
            np.array(first["points"]["centre"]["level_m"]),
        )
        assert np.allclose(pin, second["pins_body_m"]["bucket_pin"], atol=1e-9)
        x, z = edge[0] - pin[0], edge[2] - pin[2]
        radius, angle = math.hypot(x, z), math.atan2(z, x)
        turn = math.radians(
            step["sides"][0]["angles_deg"]["bucket"] - step["sides"][1]["angles_deg"]["bucket"]
        )
        assert turn > 0.0
        assert side_of_pin * x > 0.0
        rise = radius * (math.sin(angle - turn) - math.sin(angle))
        found = answered(client, "curl", name, 1.0 if name == "how-much" else "up", **of)
        if name == "how-much":
            assert found["right_length"]["m"] == pytest.approx(abs(rise), abs=1e-6)
        else:
            assert found["right_choice"]["id"] == ("up" if rise > 0.0 else "down")
            assert (rise > 0.0) == (side_of_pin < 0.0)
        # It did not turn back on the way: no highest or lowest point of the circle between the two.
        assert not any(each.startswith("On the way") for each in found["words"])
    step = step_of(lessons, "curl", "radius")
    [pose] = step["sides"]
    solved = posed(client, pair, pose)
    pin, edge = solved["pins_body_m"]["bucket_pin"], solved["points"]["centre"]["level_m"]
    offered = {each["id"]: each["words"] for each in step["question"]["choices"]}
    assert offered["pin-to-edge"] == show(math.hypot(edge[0] - pin[0], edge[2] - pin[2]), LengthUnit.M)
    assert len(set(offered.values())) == 3
    for each in offered:
        assert answered(client, "curl", "radius", each, **of)["right"] == (each == "pin-to-edge")


@pytest.mark.parametrize("pair", spanning(), ids="-".join)
def test_shares_by_both_orders(client: Client, pair: tuple[str, str]) -> None:
    """The boom's share is the mean of what it does first and what it does last, from heights alone."""
    lessons = told(client, *pair)
    if not lessons["lessons"]:
        assert lessons["left_out"][0]["why"]
        return
    step = step_of(lessons, "cancel", "the-share")
    first, second = step["sides"]
    gains = []
    for order in permutations(("boom", "stick")):
        at = dict(first["angles_deg"])
        for joint in order:
            before = height(client, pair, first | {"angles_deg": at})
            at = at | {joint: second["angles_deg"][joint]}
            if joint == "boom":
                gains.append(height(client, pair, first | {"angles_deg": at}) - before)
    found = answered(client, "cancel", "the-share", 1.0, machine=pair[0], attachment=pair[1])
    assert found["right_length"]["m"] == pytest.approx(abs(sum(gains)) / 2, abs=1e-9)
    assert any(each.startswith("Several things changed at once.") for each in found["words"])
    last = step_of(lessons, "cancel", "what-else")["sides"]
    reaches = [posed(client, pair, each)["reach"]["m"] for each in last]
    assert abs(reaches[1] - reaches[0]) >= PLAIN_M


@pytest.mark.parametrize("pair", spanning(), ids="-".join)
def test_the_other_choices(client: Client, pair: tuple[str, str]) -> None:
    """Every choice that is not up or down, and slopes, from poses and their corners."""
    lessons = told(client, *pair)
    of = {"machine": pair[0], "attachment": pair[1]}
    expected: dict[tuple[str, str], str] = {}
    for lesson, step in steps(lessons):
        sides = [posed(client, pair, each) for each in step["sides"]]
        places = [
            pose["points"][each["edge_point"]]["level_m"]
            for pose, each in zip(sides, step["sides"], strict=True)
        ]
        key = (lesson, step["id"])
        if step["look_at"][0] == "cross_slope":
            left, right = (sides[1]["points"][each]["level_m"] for each in ("left", "right"))
            slope = 100 * (right[2] - left[2]) / math.dist(left[:2], right[:2])
            found = answered(client, lesson, step["id"], 50.0, **of)
            assert found["right_percent"] == pytest.approx(slope, abs=1e-9)
            assert not found["right"]
            for by, good in ((0.49, True), (-0.49, True), (0.51, False)):
                assert answered(client, lesson, step["id"], slope + by, **of)["right"] == good
            assert not answered(client, lesson, step["id"], -slope, **of)["right"]
        elif key == ("one-degree", "farthest"):
            edge, pins = np.array(places[0]), sides[0]["pins_body_m"]
            ways = {
                joint: float(np.hypot(*(edge - np.array(pins[pin]))[[0, 2]]))
                for joint, pin in (("boom", "boom_foot_pin"), ("stick", "stick_pin"), ("bucket", "bucket_pin"))
            }  # fmt: skip
            by_size = sorted(ways, key=lambda joint: -ways[joint])
            assert math.radians(1.0) * (ways[by_size[0]] - ways[by_size[1]]) >= PLAIN_M
            expected[key] = by_size[0]
        elif key == ("one-degree", "nearer"):
            before = step_of(lessons, "one-degree", "boom")["sides"]
            was, now = (
                abs(height(client, pair, two) - height(client, pair, one))
                for one, two in (before, step["sides"])
            )
            assert abs(now - was) >= PLAIN_M
            expected[key] = "more" if now > was else "less"
        elif key == ("one-degree", "stick"):
            along, up = (abs(places[1][i] - places[0][i]) for i in (0, 2))
            assert abs(along - up) >= PLAIN_M
            expected[key] = "reach" if along > up else "height"
        elif key == ("corners", "which"):
            assert abs(places[0][2] - places[1][2]) >= PLAIN_M
            expected[key] = "left" if places[0][2] < places[1][2] else "right"
        elif key == ("corners", "on-grade"):
            other = step["sides"][1]
            above = places[1][2] + other["origin_elevation"] - other["target_elevation"]
            assert abs(above) >= PLAIN_M
            expected[key] = "above" if above > 0 else "below"
    expected |= {
        ("cancel", "what-else"): "reach",
        ("reference", "which-joint"): "none",
        ("reference", "whose"): "target",
    }
    for lesson, step in steps(lessons):
        if (lesson, step["id"]) in expected:
            for choice in step["question"]["choices"]:
                found = answered(client, lesson, step["id"], choice["id"], **of)
                assert found["right"] == (choice["id"] == expected[lesson, step["id"]]), (
                    lesson,
                    step["id"],
                    choice,
                )
                assert found["words"]


def test_words_are_the_engine_s(client: Client) -> None:
    """The last of an answer's sentences are those of POST /v1/explanations."""
    for lesson, step in steps(told(client, **PAIR)):
        if len(step["sides"]) < 2 or step["look_at"][0] == "cross_slope":
            continue
        body = PAIR | {"units": "m", "sides": step["sides"]}
        theirs = client.post("/v1/explanations", body, 200)["whole"]["words"]
        kind = step["question"]["kind"]
        answer = 1.0 if kind != "choice" else step["question"]["choices"][0]["id"]
        mine = answered(client, lesson, step["id"], answer)["words"]
        assert mine[len(mine) - len(theirs) + 1 :] == theirs[1:]


@pytest.mark.parametrize("units", [*LengthUnit])
def test_the_same_in_every_unit(client: Client, units: LengthUnit) -> None:
    """A length that is right as shown is right; what the reference and target do is as written in that unit."""
    found = told(client, **PAIR, units=units.value)
    assert [each["id"] for each in found["lessons"]] == [each for each in IDS if each != "tilt"]
    for lesson, step in steps(found):
        if step["question"]["kind"] != "length":
            continue
        metres = answered(client, lesson, step["id"], 1.0)["right_length"]["m"]
        text = show_number(metres, units)
        shown = text if units is LengthUnit.FTIN else float(text)
        again = answered(client, lesson, step["id"], shown, units=units.value)
        assert again["right"], (lesson, step["id"], shown)
        assert again["right_words"] == again["right_length"]["shown"]
        assert abs(again["off"]["m"] - (to_metres(shown, units) - again["right_length"]["m"])) < 1e-12
    first, second = step_of(found, "reference", "lower")["sides"]
    ends = [to_metres(each["origin_elevation"], units) for each in (first, second)]
    words = answered(client, "reference", "lower", "down", units=units.value)["words"]
    assert any(show(ends[0] - ends[1], units) in each for each in words)


def test_an_arm_that_cannot_point_ahead() -> None:
    """Levers are told along the body's own x: such a machine has no lessons, and is told so."""
    carrier = shipped()["machine", "compact-1t8"].geometry
    tool = shipped()["attachment", "compact-bucket-400"].geometry
    assert isinstance(carrier, Machine)
    assert isinstance(tool, Attachment)
    aside = replace(carrier, swing_boom=Range(math.radians(10.0), math.radians(60.0)))
    there, left_out = lessons_of(assemble(aside, tool), LengthUnit.M)
    assert there == ()
    assert [each.id for each in left_out] == list(IDS)
    assert "straight ahead" in left_out[0].why


def test_a_pose_is_as_the_lesson_solved_it() -> None:
    """Degrees and elevations as answered give the very sides that answers are computed from."""
    for units in LengthUnit:
        for lesson in lessons_of(fitted(), units)[0]:
            for stand in (each for step in lesson.steps for each in step.stands):
                asked = {
                    "angles_deg": dict(stand.angles_deg),
                    "attitude_deg": {"pitch": stand.pitch_deg, "roll": stand.roll_deg},
                }
                again = solve(fitted(), PoseIn.model_validate(asked))
                assert np.array_equal(again.q, stand.side.pose.q)
                if stand.origin is not None and units is not LengthUnit.FTIN:
                    assert stand.side.origin is not None
                    assert abs(from_metres(stand.side.origin, units) - float(stand.origin)) < 1e-9
