"""Exercises and simulated digs over HTTP, and beneath it for every shipped pair: what is scored, and what is refused."""

import math
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from kinematics.arm import pose
from kinematics.assembly import Assembly
from kinematics.errors import Refused
from kinematics.ground import height_under
from kinematics.machine import Range
from kinematics.passes import longest_pass
from service.classroom.digs import FASTEST_DEG_S, FOLLOWED_M, Course, dug, followed
from service.classroom.exercises import STEP_M, prepared
from service.classroom.stance import resting

from .doing import Client, Json, faults, fitted
from .sheets import spanning

PAIR = {"machine": "crawler-14t", "attachment": "digging-1500", "units": "m"}
LEVEL = PAIR | {"exercise": "level-floor"}
EXACT_M = 1e-12
# Two ways of adding up a few square metres.
SUMMED_M2 = 1e-9


@cache
def pairs() -> dict[str, Assembly]:
    """Assembled once, so that what is prepared for them is prepared once."""
    return {f"{machine} {attachment}": fitted(machine, attachment) for machine, attachment in spanning()}


def course(count: int = 240, step_s: float = 0.1) -> Json:
    """Pulls of stick and bucket with the boom going up and down, from the beginning of the level floor."""
    t = step_s * np.arange(count)
    angles = {
        "boom": 30.0 - 5.0 * (1.0 - np.cos(0.7 * t)),
        "stick": -101.2 + 20.0 * np.sin(0.5 * t),
        "bucket": 68.3 + 10.0 * np.sin(0.3 * t),
    }
    rounded = {name: [round(a, 3) for a in each.tolist()] for name, each in angles.items()}
    return {"t_s": [round(a, 3) for a in t.tolist()], "angles_deg": rounded}


def dig(client: Client, status: int = 200, **changed: Any) -> Json:
    found: Json = client.post("/v1/digs", LEVEL | {"course": course()} | changed, status)
    return found


def test_exercises_of_every_pair() -> None:
    """The whole target can be dug, and each begins with the edge over the ground, within every joint's range."""
    for name, made in pairs().items():
        for each in prepared(made):
            between = Range(each.near, each.far)
            held: dict[str, Any] = dict(resting(made))
            found = longest_pass(
                made, pitch=0.0, roll=0.0, line=each.target, floor=Range(0.0, math.radians(75.0)), between=between, **held
            )  # fmt: skip
            # Where a pass ends at a mark, it does within a micrometre.
            assert found.length_m == pytest.approx(each.far - each.near, abs=1e-5), (name, each.id)
            joints = {joint: math.radians(angle) for joint, angle in each.start_deg.items()}
            begun = pose(made, pitch=0.0, roll=0.0, **joints)
            under = height_under(each.ground, begun.reach)
            assert under is not None
            assert begun.height("centre") > under + 0.05, (name, each.id)
            assert (each.ground.heights >= each.target.height_at(each.ground.reaches)).all(), (name, each.id)
            assert each.ground.reaches[0] < each.near < each.far < each.ground.reaches[-1]
            assert each.near == pytest.approx(STEP_M * round(each.near / STEP_M), abs=EXACT_M)
        assert len({each.id for each in prepared(made)}) == len(prepared(made)) >= 3


def test_what_there_is(client: Client) -> None:
    told = client.get("/v1/exercises?machine=crawler-14t&attachment=digging-1500&units=ft")
    mine = {each.id: each for each in prepared(fitted("crawler-14t", "digging-1500"))}
    assert [each["id"] for each in told["exercises"]] == [*mine]
    for each in told["exercises"]:
        own = mine[each["id"]]
        assert each["ground"]["heights_m"] == own.ground.heights.tolist()
        assert (each["near"]["m"], each["far"]["m"], each["tolerance"]["m"]) == (
            own.near,
            own.far,
            own.tolerance,
        )
        assert each["near"]["shown"].endswith("ft")
        assert each["start_deg"] == own.start_deg
    assert told["exercises"][1]["target"]["slope_percent"] == 2.0
    assert "not soil" in told["advisory"]
    client.get("/v1/exercises?machine=nobody&attachment=digging-1500&units=m", 404)
    client.get("/v1/exercises?machine=crawler-14t&attachment=digging-1500", 422)


def test_steps_add_up_to_the_dig(client: Client) -> None:
    """To the last bit: what the page drew is what is scored."""
    whole = dig(client)
    samples = course()["angles_deg"]
    rows = [dict(zip(samples, each, strict=True)) for each in zip(*samples.values(), strict=True)]
    heights, on, passes, removed = None, False, 0, 0.0
    for before, after in pairwise(rows):
        asked = LEVEL | {"ground_heights_m": heights, "in_pass": on, "from_deg": before, "to_deg": after}
        told = client.post("/v1/dig-steps", asked, 200)
        heights, on = told["ground_heights_m"], told["in_pass"]
        passes, removed = passes + told["passes_begun"], removed + told["removed_m2"]
        assert told["cut"] == (told["removed_m2"] > 0.0)
        posed = client.post("/v1/poses", {
            **PAIR, "angles_deg": after, "attitude_deg": {"pitch": 0.0, "roll": 0.0},
        }, 200) if after is rows[-1] else None  # fmt: skip
    assert posed is not None
    assert told["reach"]["m"] == pytest.approx(posed["reach"]["m"], abs=EXACT_M)
    assert told["height"]["m"] == pytest.approx(posed["heights"]["centre"]["m"], abs=EXACT_M)
    assert heights == whole["ground"]["heights_m"]
    assert passes == whole["score"]["passes"] > 1
    assert removed == pytest.approx(whole["score"]["removed_m2"], abs=SUMMED_M2)
    assert removed > 0.1


def test_the_score_by_hand(client: Client) -> None:
    told = dig(client)
    [asked] = [each for each in prepared(fitted("crawler-14t", "digging-1500")) if each.id == "level-floor"]
    reaches, heights = asked.ground.reaches, np.array(told["ground"]["heights_m"])
    over = [
        z - asked.target.height for x, z in zip(reaches, heights, strict=True)
        if asked.near - 1e-6 < x < asked.far + 1e-6
    ]  # fmt: skip
    found = told["score"]
    assert found["columns"] == len(over)
    assert found["within"] == sum(abs(each) <= asked.tolerance for each in over)
    assert found["share"] == found["within"] / len(over)
    assert found["overcut"]["m"] == pytest.approx(-min(0.0, *over), abs=EXACT_M)
    assert found["left"]["m"] == pytest.approx(max(0.0, *over), abs=EXACT_M)
    assert found["mean"]["m"] == pytest.approx(sum(over) / len(over), abs=EXACT_M)
    assert found["time_s"] == pytest.approx(23.9, abs=1e-9)
    assert found["share_shown"] == f"{int(100 * found['share'])} %"
    assert found["removed_m2"] == pytest.approx(
        asked.ground.step * float(np.sum(asked.ground.heights - heights)), abs=SUMMED_M2
    )


def test_the_edge_is_followed_within_5_mm() -> None:
    """Against poses a hundred times as close: every one lies within it of the way that cuts."""
    for name in ("crawler-14t digging-1500", "long-reach-22t digging-1500", "wheeled-16t tilt-rotator-1600"):
        made = fitted(*name.split())
        start = prepared(made)[0].start_deg
        turned = {"boom": 8.0, "stick": 30.0, "bucket": -25.0}
        stops = {joint: math.degrees(span.high) for joint, span in made.ranges.items()}
        end = {joint: min(angle + turned.get(joint, 6.0), stops[joint]) for joint, angle in start.items()}
        way = followed(made, {joint: np.array([start[joint], end[joint]]) for joint in start}, "")
        x, z = way.x, way.z
        for share in np.linspace(0.0, 1.0, 1501):
            joints = {
                joint: math.radians(start[joint] + share * (end[joint] - start[joint])) for joint in start
            }
            there = pose(made, pitch=0.0, roll=0.0, **joints)
            assert off_the_way(x, z, there.reach, there.height("centre")) <= FOLLOWED_M


def off_the_way(x: Any, z: Any, px: float, pz: float) -> float:
    """How far a place is from the nearest of the straight pieces."""
    dx, dz = np.diff(x), np.diff(z)
    share = np.clip(((px - x[:-1]) * dx + (pz - z[:-1]) * dz) / (dx**2 + dz**2), 0.0, 1.0)
    return float(np.hypot(x[:-1] + share * dx - px, z[:-1] + share * dz - pz).min())


def changed(**columns: Any) -> Json:
    told = course()
    return {"t_s": columns.pop("t_s", told["t_s"]), "angles_deg": told["angles_deg"] | columns}


def at(name: str, place: int, value: float) -> list[float]:
    column: list[float] = list(course()["angles_deg"][name])
    column[place] = value
    return column


def times(place: int, value: float) -> list[float]:
    told: list[float] = list(course()["t_s"])
    told[place] = value
    return told


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({"course": changed(t_s=times(5, 0.4))}, {"/course/t_s/5": "not-in-order"}),
        ({"course": changed(t_s=times(-1, 1201.0))}, {"/course/t_s": "out-of-range"}),
        ({"course": changed(boom=[30.0, 30.0])}, {"/course/angles_deg/boom": "ragged"}),
        ({"course": changed(tilt=course()["t_s"])}, {"/course/angles_deg/tilt": "no-such-joint"}),
        ({"course": {"t_s": [0.0, 1.0], "angles_deg": {"boom": [30.0, 29.0]}}},
         {"/course/angles_deg/stick": "missing-joint", "/course/angles_deg/bucket": "missing-joint"}),
        ({"course": changed(boom=at("boom", 7, 300.0), stick=at("stick", 9, -80.0))},
         {"/course/angles_deg/boom/7": "too-fast", "/course/angles_deg/boom/8": "too-fast",
          "/course/angles_deg/stick/9": "too-fast", "/course/angles_deg/stick/10": "too-fast"}),
        ({"course": {"t_s": [0.0, 1.0], "angles_deg": {
            "boom": [20.0, 30.0], "stick": [-101.2] * 2, "bucket": [68.3] * 2}}},
         {"/course/angles_deg/boom/0": "begins-elsewhere"}),
        ({"course": {"t_s": [0.0], "angles_deg": {"boom": [30.0]}}}, {"/course/t_s": "wrong-length"}),
        ({"course": course(12_001, 0.05)}, {"/course/t_s": "wrong-length"}),
        ({"exercise": "gold-mine"}, {"/exercise": "unknown-exercise"}),
        ({"machine": "nobody"}, {"/machine": "unknown-machine"}),
        ({"levers": 2}, {"/levers": "unknown-field"}),
    ],
    ids=["order", "long", "ragged", "no joint", "missing", "fast", "begin", "one sample", "too many", "exercise",
         "machine", "field"],
)  # fmt: skip
def test_refused(client: Client, asked: Json, expected: dict[str, str]) -> None:
    assert faults(dig(client, 422, **asked), 422) == expected


def test_not_finite(client: Client) -> None:
    text = '{"t_s": [0, NaN], "angles_deg": {"boom": [1e999, 1], "stick": [0, 0], "bucket": [0, 0]}}'
    body = '{"machine": "crawler-14t", "attachment": "digging-1500", "units": "m", "exercise": "level-floor", "course": '
    told = client.raw("/v1/digs", f"{body}{text}}}", 422)
    assert faults(told, 422) == {"/course/t_s/1": "not-finite", "/course/angles_deg/boom/0": "not-finite"}


def test_a_joint_past_its_range_is_named_with_its_sample() -> None:
    made = fitted("crawler-14t", "digging-1500")
    told = course(40, 10.0)
    told["angles_deg"]["boom"][17] = 300.0
    told["angles_deg"]["stick"][3] = 300.0
    with pytest.raises(Refused) as refused:
        dug(made, prepared(made)[0], Course(told["t_s"], told["angles_deg"]))
    assert {(each.code, each.where) for each in refused.value.faults} == {
        ("beyond-joint", "angles_deg.boom.17"), ("beyond-joint", "angles_deg.stick.3"),
    }  # fmt: skip


def test_as_fast_as_may_be(client: Client) -> None:
    """Exactly 60 deg/s is allowed; a tenth more is not."""
    for rate, status in ((FASTEST_DEG_S, 200), (FASTEST_DEG_S + 0.1, 422)):
        column = [-101.2, -101.2 + 0.1 * rate]
        asked = {"t_s": [5.0, 5.1], "angles_deg": {"boom": [30.0] * 2, "stick": column, "bucket": [68.3] * 2}}
        dig(client, status, course=asked)


STEP: Json = LEVEL | {
    "from_deg": {"boom": 24.0, "stick": -92.0, "bucket": 66.0}, "to_deg": {"boom": 22.0, "stick": -100.0, "bucket": 64.0},
}  # fmt: skip


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({"ground_heights_m": [0.0, 1.0], "to_deg": {"boom": 300.0, "stick": -100.0, "bucket": 64.0}},
         {"/ground_heights_m": "ragged", "/to_deg/boom": "beyond-joint"}),
        ({"from_deg": {"boom": 24.0}, "to_deg": STEP["to_deg"] | {"tilt": 0.0}},
         {"/from_deg/stick": "missing-joint", "/from_deg/bucket": "missing-joint", "/to_deg/tilt": "no-such-joint"}),
        ({"from_deg": {"arm": 24.0}}, {"/from_deg/arm": "unknown-field"}),
        ({"in_pass": 1}, {"/in_pass": "wrong-type"}),
        ({"exercise": "gold-mine"}, {"/exercise": "unknown-exercise"}),
    ],
)  # fmt: skip
def test_steps_refused(client: Client, asked: Json, expected: dict[str, str]) -> None:
    assert client.refused("/v1/dig-steps", STEP | asked, 422) == expected


def test_target_between_the_marks_only(client: Client) -> None:
    told = client.post("/v1/dig-steps", STEP, 200)
    assert told["above_target"]["m"] == pytest.approx(told["height"]["m"] - told["target"]["m"], abs=EXACT_M)
    out = client.post("/v1/dig-steps", STEP | {"to_deg": {"boom": 24.0, "stick": -60.0, "bucket": 66.0}}, 200)
    assert out["target"] is None
    assert out["above_target"] is None
