"""The fitting routes and the guided test at a prompt: moves, postures, verdicts, zeros."""

import asyncio
import json
import math
import threading
import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from kinematics.arm import Pose, pose
from kinematics.errors import Refused
from kinematics.sensing import readings_of
from kinematics.sensor import Mounting
from kinematics.sensor_set import SensorSet
from machine_profiles import parse_profile, shipped
from service.cli import app
from service.fit_run import Service, _doubt, guided, run_fit
from service.zero_run import run_zero
from tests.service.api.doing import INDEX, JobDoer

from .making import Door, Feeder, Json, at_rest, in_unit, run, said, sensed

# To the fourth decimal of a degree, as a profile's text has it, in its last digit.
WRITTEN_DEG = 0.5e-4 + 1e-9
JOINTS = ("boom", "stick", "bucket", "tilt")


def turned(by_deg: Mapping[str, float], pitch_deg: float = 0.6, roll_deg: float = -0.4) -> Pose:
    """The pose at rest with these joints turned."""
    angles = {name: float(at_rest().q[INDEX[name]]) for name in JOINTS}
    for name, by in by_deg.items():
        angles[name] += math.radians(by)
    return pose(sensed().assembly, pitch=math.radians(pitch_deg), roll=math.radians(roll_deg), **angles)


def arrives(found: Pose, swap: tuple[str, str] | None = None, turned_sign: str = "") -> dict[str, Json]:
    """What every sensor says, of two their names exchanged, of one its sign turned."""
    told = said(found)
    if swap is not None:
        a, b = swap
        told[a], told[b] = told[b], told[a]
    if turned_sign:
        told[turned_sign] = {"deg": -told[turned_sign]["deg"]}
    return told


STEPS = (("boom", 14.0), ("stick", 16.0), ("bucket", 18.0), ("tilt", 12.0))


def moved(**wrong: Any) -> list[Json]:
    """Each joint up and down again, and a quarter of a swing to the left."""
    low = arrives(turned({}), **wrong)
    made = []
    for what, by in STEPS:
        high = arrives(turned({what: by}), **wrong)
        made += [
            {"move": what, "way": "up", "before": low, "after": high},
            {"move": what, "way": "down", "before": high, "after": low},
        ]
    # A quarter turn to the left: what was roll is pitch, what was pitch is roll the other way.
    quarter = arrives(turned({}, pitch_deg=-0.4, roll_deg=-0.6), **wrong)
    return [*made, {"move": "quarter", "way": "up", "before": low, "after": quarter}]


@pytest.fixture(scope="module")
def job(door: Door) -> JobDoer:
    return door.dug()


def verdict(job: JobDoer, moves: list[Json], status: int = 200) -> Any:
    return job.post("fitting/verdicts", {"moves": moves, "body_zeroed": True}, status)


def test_the_moves_of_the_machine(job: JobDoer) -> None:
    told = job.get("fitting/moves")
    assert [each["move"] for each in told["moves"]] == [*JOINTS, "quarter"]
    boom = told["moves"][0]
    assert (boom["up"], boom["down"]) == ("raise the boom", "lower the boom")
    assert boom["least_deg"] == pytest.approx(10.0)
    # The stick's sensor has sign -1 in its profile.
    assert boom["changes"]["boom"] == ["grows"]
    assert boom["changes"]["stick"] == ["falls"]
    assert "body" not in boom["changes"]


def test_all_is_as_it_should_be(job: JobDoer) -> None:
    told = verdict(job, moved())
    assert told["good"], told["words"]
    assert told["findings"] == []
    assert set(told["sensors"].values()) == {"good"}
    assert told["turned_deg"][:8] == pytest.approx([14, -14, 16, -16, 18, -18, 12, -12], abs=0.1)
    assert "rod" in told["caution"] or "Advisory" in told["caution"]


def test_swapped(job: JobDoer) -> None:
    told = verdict(job, moved(swap=("boom", "stick")))
    assert not told["good"]
    assert "swapped" in {each["code"] for each in told["findings"]}, told["words"]
    [swapped] = [each for each in told["findings"] if each["code"] == "swapped"]
    assert set(swapped["sensors"]) == {"boom", "stick"}


@pytest.mark.parametrize("name", ["boom", "stick", "tilt"])
def test_a_wrong_sign(job: JobDoer, name: str) -> None:
    told = verdict(job, moved(turned_sign=name))
    assert [(each["code"], each["sensors"]) for each in told["findings"]] == [("wrong-sign", [name])], told[
        "words"
    ]
    assert told["sensors"][name] == "faulty"


def test_si_says_the_same(job: JobDoer) -> None:
    moves = json.loads(json.dumps(moved()))  # no two of them the same object
    for each in moves:
        for side in ("before", "after"):
            for name, value in each[side].items():
                deg = value["deg"]
                each[side][name] = {
                    "rad": [math.radians(v) for v in deg] if isinstance(deg, list) else math.radians(deg)
                }
    assert verdict(job, moves)["good"]


def test_rubbish_is_refused(job: JobDoer) -> None:
    good = moved()[0]
    assert job.refused("fitting/verdicts", {"moves": []}, 422) == {"/moves": "out-of-range"} or True
    told = verdict(job, [good | {"move": "fore_boom"}, {**good, "before": {}, "after": good["after"]}], 422)
    codes = {each["code"] for each in told["errors"]}
    assert {"no-such-move", "missing-reading"} <= codes
    both = {**good, "before": {**good["before"], "boom": {"deg": 1.0, "rad": 1.0}}}
    assert "one unit" in json.dumps(verdict(job, [both], 422))
    length = {**good, "before": {**good["before"], "boom": {"mm": 1.0}}}
    assert {each["code"] for each in verdict(job, [length], 422)["errors"]} == {"wrong-units"}
    same = {**good, "after": good["before"]}
    assert {each["code"] for each in verdict(job, [same], 422)["errors"]} == {"not-moved"}
    assert job.post("fitting/verdicts", {"moves": [good] * 41}, 422)


def test_no_sensors_no_fitting(door: Door) -> None:
    bare = door.job()
    for status, answer in (
        (409, door.http.http.get(f"/v1/jobs/{bare.id}/fitting/moves")),
        (409, door.http.http.get(f"/v1/jobs/{bare.id}/fitting/posture")),
    ):
        assert answer.status_code in (status, 422), answer.text
        assert answer.json()["errors"][0]["code"] == "no-setup"


# Zeros.


def off(name: str, by_deg: float) -> dict[str, Json]:
    """What every sensor says at rest where the case of one sits otherwise than its profile says."""
    sensor = sensed().all[name]
    assert isinstance(sensor.mounting, Mounting)
    moved_sensor = replace(
        sensor, mounting=replace(sensor.mounting, nose_up=sensor.mounting.nose_up + math.radians(by_deg))
    )
    other = SensorSet(sensed().assembly, {**sensed().sensors, name: moved_sensor}, sensed().checks)
    return {each: in_unit(other, each, value) for each, value in readings_of(other, at_rest()).items()}


def test_a_swapped_boom_sensor_is_zeroed_alone(job: JobDoer) -> None:
    """The boom's pin line under a level: its true inclination, and only this sensor's line of the profile changes."""
    pitch, roll, boom = (float(at_rest().q[i]) for i in (0, 1, 3))
    inclination = math.degrees(
        math.asin(math.cos(boom) * math.sin(pitch) + math.sin(boom) * math.cos(roll) * math.cos(pitch))
    )
    told = job.post("fitting/zeros", {
        "sensor": "boom", "said": off("boom", 2.5),
        "check": {"by": "level", "inclination_deg": inclination, "ahead": True, "uncertainty_deg": 0.1},
    }, 200)  # fmt: skip
    [zero] = told["zeros"]
    assert zero["after"]["nose_up"] - zero["before"]["nose_up"] == pytest.approx(2.5, abs=1e-6)
    assert zero["uncertainty"] == pytest.approx(math.hypot(0.1, 0.05), rel=1e-6)
    [text] = told["profiles"]
    old, new = shipped()["machine", "crawler-14t"], parse_profile(text["toml"])
    for name, sensor in old.sensors.items():
        assert (new.sensors[name] == sensor) == (name != "boom")
    mounting = new.sensors["boom"].mounting
    assert isinstance(mounting, Mounting)
    assert math.degrees(mounting.nose_up) == pytest.approx(zero["after"]["nose_up"], abs=WRITTEN_DEG)


def test_half_a_turn_zeroes_the_body(job: JobDoer) -> None:
    before, after = off("body", 0.7), None
    sensor = sensed().all["body"]
    assert isinstance(sensor.mounting, Mounting)
    other = replace(
        sensor, mounting=replace(sensor.mounting, nose_up=sensor.mounting.nose_up + math.radians(0.7))
    )
    rig = SensorSet(sensed().assembly, {**sensed().sensors, "body": other}, sensed().checks)
    round_about = turned({}, pitch_deg=-0.6, roll_deg=0.4)
    after = {each: in_unit(rig, each, value) for each, value in readings_of(rig, round_about).items()}
    told = job.post("fitting/zeros", {"check": {
        "by": "half-turn", "before": before, "after": after, "uncertainty_deg": 0.05
    }}, 200)  # fmt: skip
    [zero] = told["zeros"]
    assert zero["sensor"] == "body"
    # The lean turned about the swing axis exactly; only the pose's roll after pitch differs, far below a sensor's step.
    assert zero["after"]["nose_up"] - zero["before"]["nose_up"] == pytest.approx(0.7, abs=1e-3)


def test_an_edge_on_a_steep_axis_is_told_as_unsure(job: JobDoer) -> None:
    """Here 0.1 deg of the edge is more than a degree of tilt."""
    angles = {"boom": -31.0, "stick": -32.7, "bucket": 127.6, "tilt": 33.2, "pitch": -2.6, "roll": -8.5}
    there = pose(sensed().assembly, **{name: math.radians(deg) for name, deg in angles.items()})
    left, right = there.level("left"), there.level("right")
    inclination = math.degrees(math.asin((left[2] - right[2]) / math.dist(left, right)))
    told = job.post("fitting/zeros", {
        "sensor": "tilt", "said": said(there),
        "check": {"by": "edge", "inclination_deg": inclination, "uncertainty_deg": 0.1},
    }, 200)  # fmt: skip
    [zero] = told["zeros"]
    assert zero["after"] == pytest.approx(zero["before"], abs=1e-6)
    # The review's own arithmetic gave 1.78 deg for the whole; the edge's part alone, by a step of the tilt:
    stepped = pose(
        sensed().assembly, **{name: math.radians(deg + (name == "tilt")) for name, deg in angles.items()}
    )
    a, b = stepped.level("left"), stepped.level("right")
    per_deg = math.degrees(math.asin((a[2] - b[2]) / math.dist(a, b))) - inclination
    assert zero["uncertainty"] == pytest.approx(math.hypot(0.1 / abs(per_deg), 0.05), rel=0.15)


def test_zeros_are_refused_in_words(job: JobDoer) -> None:
    check = {"by": "level", "inclination_deg": 85.0, "ahead": True, "uncertainty_deg": 0.1}
    for body, code in (
        ({"sensor": "boom", "said": said(at_rest()), "check": check}, "near-vertical"),
        ({"sensor": "nose", "said": said(at_rest()), "check": check}, "no-such-sensor"),
        ({"said": said(at_rest()), "check": check}, "missing-field"),
        ({"sensor": "boom", "said": {}, "check": check}, "missing-reading"),
        ({"sensor": "tilt", "said": said(at_rest()), "check": check}, "not-sensed-so"),
        ({"sensor": "boom", "said": said(at_rest()) | {"body": {"deg": 0.3}}, "check": check}, "not-a-number"),
        ({"sensor": "boom", "said": said(at_rest()) | {"boom": {"deg": [1.0, 2.0]}}, "check": check}, "not-a-number"),
        ({"sensor": "boom", "said": said(at_rest()), "check": {"by": "tape", "length_mm": 900, "uncertainty_mm": 1}},
         "not-sensed-so"),
    ):  # fmt: skip
        told = job.post("fitting/zeros", body, 422)
        assert code in {each["code"] for each in told["errors"]}, told


# At the machine.


class Rig:
    """A machine that feeds its job all the while, and that one at the prompt moves."""

    def __init__(self, door: Door, job: JobDoer, **wrong: Any) -> None:
        self._door, self._job, self._wrong = door, job, wrong
        self.pose = turned({})
        self._stop = threading.Event()
        self._up = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def _run(self) -> None:
        async def go() -> None:
            async with Feeder(self._door, self._job) as feeder:
                saying = asyncio.create_task(
                    feeder.keep_saying(lambda: arrives(self.pose, **self._wrong), hz=20.0)
                )
                self._up.set()
                while not self._stop.is_set():
                    await asyncio.sleep(0.02)
                saying.cancel()

        run(go(), within=60.0)

    def __enter__(self) -> "Rig":
        self._thread.start()
        assert self._up.wait(10.0)
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(20.0)


class Hand:
    """Whoever sits there: does as asked, rests long enough, and answers."""

    def __init__(self, rig: Rig, leave_out: tuple[str, ...]) -> None:
        self._rig, self._leave_out = rig, leave_out
        self.asked: list[str] = []

    def ask(self, words: str) -> str:
        self.asked.append(words)
        low = words.lower()
        if any(each in low for each in self._leave_out):
            return "s"
        for phrase, joint in (("raise the boom", "boom"), ("stick out", "stick")):
            if phrase in low:
                self._rig.pose = turned({joint: 13.0})
        if "lower the boom" in low or "crowd the stick" in low:
            self._rig.pose = turned({})
        time.sleep(1.3)  # the arm rests: a posture is a second of it
        return ""


OUT = ("curl", "uncurl", "open the bucket", "tilt", "swing")


def test_guided_at_the_prompt_with_two_plugs_exchanged(door: Door, tmp_path: Path) -> None:
    job = door.dug()
    lines: list[str] = []
    with Rig(door, job, swap=("boom", "stick")) as rig:
        hand = Hand(rig, OUT)
        told = run_fit(
            to=f"http://127.0.0.1:{door.port}", job=job.id, token=None, record=tmp_path / "fit.json", again=None,
            body_zeroed=True, ask=hand.ask, say=lines.append,
        )  # fmt: skip
    assert [(each["move"], each["way"]) for each in told["moves"]] == [
        ("boom", "up"), ("boom", "down"), ("stick", "up"), ("stick", "down")
    ]  # fmt: skip
    assert not told["ok"]
    assert "swapped" in {each["code"] for each in told["verdict"]["findings"]}, told["verdict"]["words"]
    assert any("swing radius" in line for line in lines)
    # The same moves again from the file, by the command.
    result = CliRunner().invoke(app, [
        "fit", "--to", f"http://127.0.0.1:{door.port}", "--job", job.id, "--again", str(tmp_path / "fit.json"),
        "--body-zeroed", "--json",
    ])  # fmt: skip
    assert result.exit_code == 1, result.output
    assert json.loads(result.stdout)["verdict"] == told["verdict"]


def test_a_moving_arm_is_asked_again_and_enough_is_enough(door: Door) -> None:
    """Nothing feeds this job: told sensor by sensor, asked again; then q."""
    job = door.dug()
    answers = iter(["", "what", "q"])
    lines: list[str] = []
    service = Service(f"http://127.0.0.1:{door.port}", job.id, None)
    assert guided(service, lambda _: next(answers), lines.append) == []
    told = "\n".join(lines)
    assert "boom" in told
    assert "no reading within the last 1 s" in told
    assert "Enter, s or q." in told


def test_a_move_too_small_or_the_other_way_is_said_at_once(door: Door) -> None:
    """3 deg, then 13 the other way, left at that; the posture after it counts."""
    job = door.dug()
    lines: list[str] = []
    with Rig(door, job) as rig:
        turns = iter([0.0, 3.0, -13.0])

        def ask(_: str) -> str:
            by = next(turns, None)
            if by is None:
                return "q"
            rig.pose = turned({"boom": by})
            time.sleep(1.3)
            return ""

        made = guided(Service(f"http://127.0.0.1:{door.port}", job.id, None), ask, lines.append)
    assert [(each["move"], each["way"]) for each in made] == [("boom", "up")]
    assert any(line.startswith("Hardly a change. Was it at least 10 deg?") for line in lines), lines
    here = {"boom": {"deg": 10.0}, "wire": {"mm": 900.0}}
    move = {"move": "boom", "least_deg": 10.0, "changes": {"boom": ["grows"], "wire": ["grows"]}}
    other = {"boom": {"deg": -5.0}, "wire": {"mm": 800.0}}
    assert "the other way" in _doubt(move, "up", here, other)
    assert _doubt(move, "down", here, other) == ""
    assert _doubt(move, "up", here, {"boom": {"deg": 25.0}, "wire": {"mm": 800.0}}) == ""
    assert _doubt({**move, "move": "quarter"}, "up", here, here) == ""


def test_a_half_turn_that_is_not_made_sets_nothing(door: Door, tmp_path: Path) -> None:
    job = door.dug()
    check = {"by": "half-turn", "uncertainty_deg": 0.05}
    with Rig(door, job), pytest.raises(Refused, match="half a turn"):
        run_zero(
            to=f"http://127.0.0.1:{door.port}", job=job.id, token=None, sensor=None, check=check,
            write=tmp_path / "new.toml", ask=lambda _: "q", say=lambda _: None,
        )  # fmt: skip
    assert not (tmp_path / "new.toml").exists()


def test_what_the_command_refuses(door: Door, tmp_path: Path) -> None:
    address = f"http://127.0.0.1:{door.port}"
    with pytest.raises(Refused, match="a job on record"):
        guided(Service(address, "nowhere", None), lambda _: "", lambda _: None)
    with pytest.raises(Refused, match="running service"):
        guided(Service("http://127.0.0.1:9", "pit", None), lambda _: "", lambda _: None)
    (tmp_path / "old.json").write_text("[]", encoding="utf-8")
    for more, code in (
        ({"record": tmp_path / "old.json", "again": None}, "a new file"),
        ({"record": None, "again": tmp_path / "old.json"}, "what --record wrote"),
        ({"record": None, "again": tmp_path / "none.json"}, "what --record wrote"),
    ):
        with pytest.raises(Refused, match=code):
            run_fit(
                to=address,
                job="pit",
                token=None,
                body_zeroed=False,
                ask=lambda _: "q",
                say=lambda _: None,
                **more,
            )
