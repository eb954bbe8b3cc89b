"""The sensors of a machine with an attachment: shipped sets, what a pair lacks, and what noise costs at the edge."""

import itertools
import math
import random
import re

import pytest

from kinematics.arm import pose
from kinematics.assembly import Assembly, assemble
from kinematics.errors import Refused
from kinematics.machine import Attachment, Machine
from kinematics.sensing import angles_from, readings_of
from kinematics.sensor_set import LEAN, SensorSet
from machine_profiles import Profile, check_pair, check_profile, parse_profile, sensor_set, shipped
from machine_profiles.doubts_sensors import sensor_doubts
from machine_profiles.sensor_pair import TOGETHER, edge_by_noise

from .pairing import pair
from .test_pairs import MEANT, PINS_420
from .test_sensors import (
    COUPLED,
    CRAWLER,
    DIGGING,
    ENCODER,
    GRAVITY,
    ROTATOR,
    TILT,
    TILTING,
    TURN,
    UNIT,
    WIRE,
)
from .texts import TWO_PIECE, edited, text_of

FULL = [
    *(("crawler-14t", tool) for tool in sorted(PINS_420)),
    ("compact-1t8", "compact-bucket-400"),
    ("midi-8t", "midi-bucket-700"),
]
SINGLE_AXES = "midi-8t"


def profiles(machine: str, attachment: str) -> tuple[Profile, Profile]:
    return shipped()["machine", machine], shipped()["attachment", attachment]


def on_pair(machine: Profile, attachment: Profile) -> tuple[SensorSet | None, Assembly]:
    assert isinstance(machine.geometry, Machine)
    assert isinstance(attachment.geometry, Attachment)
    assembly = assemble(machine.geometry, attachment.geometry)
    return sensor_set(machine, attachment, assembly), assembly


def full(machine: str, attachment: str) -> SensorSet:
    sensors, _ = on_pair(*profiles(machine, attachment))
    assert sensors is not None
    return sensors


@pytest.mark.parametrize(("machine", "attachment"), FULL)
def test_a_shipped_set_is_complete_and_told(machine: str, attachment: str) -> None:
    sensors = full(machine, attachment)
    assert set(sensors.by_joint) == {*LEAN, *sensors.assembly.ranges}
    verdict = check_pair(*profiles(machine, attachment))
    assert verdict.ok
    assert not verdict.doubts
    told = verdict.facts["sensors"]
    assert set(told) == set(sensors.sensors)
    assert sorted(joint for each in told.values() for joint in each["gives"].split(" and ")) == sorted(
        sensors.by_joint
    )
    moved = verdict.facts["edge_by_noise_mm"]
    assert set(moved) == {*sensors.sensors, TOGETHER}
    assert all(math.isfinite(each) and each >= 0.0 for each in moved.values())
    assert max(each for name, each in moved.items() if name != TOGETHER) <= moved[TOGETHER] <= 8.0


@pytest.mark.parametrize(("machine", "attachment"), FULL)
def test_readings_of_a_pose_give_the_pose_back(machine: str, attachment: str) -> None:
    """1e-9 rad: a few turns, arctangents and a four-bar in double precision, far below any sensor."""
    sensors = full(machine, attachment)
    draw = random.Random(20)  # noqa: S311
    back = 0
    for _ in range(200):
        angles = {name: draw.uniform(span.low, span.high) for name, span in sensors.assembly.ranges.items()}
        angles |= {name: math.radians(draw.uniform(-8, 8)) for name in LEAN}
        try:
            found = angles_from(sensors, readings_of(sensors, pose(sensors.assembly, **angles)))
        except Refused as refused:
            codes = {fault.code for fault in refused.faults}
            assert codes <= ({"near-vertical", "ambiguous"} if machine == SINGLE_AXES else {"axis-plumb"})
            continue
        back += 1
        for name, angle in angles.items():
            assert math.isfinite(found[name])
            assert abs(math.remainder(found[name] - angle, 2 * math.pi)) <= 1e-9, name
    assert back >= (100 if machine == SINGLE_AXES else 160)


def test_single_axes_tell_every_posture_of_a_stick_that_digs() -> None:
    """Fitted square to the stick: from 75 deg either side of hanging it is never mistaken for its mirror image."""
    sensors = full(SINGLE_AXES, "midi-bucket-700")
    seen = 0
    for boom, stick, bucket in itertools.product(
        (-20, 0, 20, 40), (-140, -115, -90, -65, -40), (20, 60, 100)
    ):
        joint = {"boom": boom, "stick": stick, "bucket": bucket}
        angles = {name: math.radians(angle) for name, angle in joint.items()}
        if abs(boom + stick + 90) > 75:
            continue
        try:
            found = angles_from(
                sensors, readings_of(sensors, pose(sensors.assembly, pitch=0.05, roll=-0.03, **angles))
            )
        except Refused as refused:
            blind = {fault.where for fault in refused.faults}
            assert blind <= {"idler", "idler.bucket"}
            continue
        seen += 1
        assert all(abs(found[name] - angle) <= 1e-9 for name, angle in angles.items())
    assert seen >= 25


def test_a_pair_without_sensors_has_no_set_and_no_doubt() -> None:
    sensors, _ = on_pair(*profiles("crawler-21t", "digging-1500"))
    assert sensors is None
    verdict = check_pair(*profiles("crawler-21t", "digging-1500"))
    assert verdict.ok
    assert not verdict.doubts
    assert not {"sensors", "edge_by_noise_mm"} & set(verdict.facts)


def test_a_set_that_lacks_a_joint_is_a_doubt_of_the_pair_and_refused_where_it_is_asked_for() -> None:
    machine = parse_profile(CRAWLER + UNIT + edited(GRAVITY, ("sensors.one", "sensors.two")))
    tool = shipped()["attachment", "tilting-1800"]
    verdict = check_pair(machine, tool)
    assert verdict.ok
    (doubt,) = verdict.doubts
    assert doubt.startswith("no sensor gives stick, bucket: readings of this pair will be refused")
    assert set(verdict.facts["sensors"]) == {"one", "two", "tilt"}
    assert "edge_by_noise_mm" not in verdict.facts
    with pytest.raises(Refused) as caught:
        on_pair(machine, tool)
    assert [(fault.code, fault.where) for fault in caught.value.faults] == [("missing-joint", "sensors")] * 2


def test_a_name_in_both_files_is_a_fault_of_the_pair() -> None:
    machine = parse_profile(text_of("machine", "crawler-14t"))
    tool = parse_profile(TILTING + edited(TILT, ("sensors.one", "sensors.boom")))
    verdict = check_pair(machine, tool)
    assert not verdict.ok
    assert not verdict.facts
    (fault,) = verdict.faults
    assert (fault.code, fault.path, fault.line) == ("name-taken", "tilting-1800.sensors.boom", None)
    assert "crawler-14t" in fault.found
    checked = parse_profile(TILTING + edited(TILT, ("sensors.one", "sensors.boom")) + "check = true\n")
    assert [fault.code for fault in check_pair(machine, checked).faults] == ["name-taken"]


def test_a_joint_that_both_files_give_is_a_fault_of_the_pair() -> None:
    machine = parse_profile(text_of("machine", "crawler-14t"))
    on_bucket = edited(GRAVITY, ('"boom"', '"bucket"'))
    verdict = check_pair(machine, parse_profile(DIGGING + on_bucket))
    (fault,) = verdict.faults
    assert (fault.code, fault.path) == ("joint-given-twice", "digging-1500.sensors.one")
    assert fault.found == "bucket by idler and one"
    checked = parse_profile(DIGGING + on_bucket + "check = true\n")
    sensors, _ = on_pair(machine, checked)
    assert sensors is not None
    assert list(sensors.checks) == ["one"]
    told = check_pair(machine, checked).facts["sensors"]["one"]
    assert told == {"checks": "bucket", "measures": "gravity-angle"}


def test_a_check_that_does_not_agree_is_refused_as_kinematics_says() -> None:
    machine = parse_profile(text_of("machine", "crawler-14t"))
    text = edited(GRAVITY, ('"boom"', '"bucket"')) + "check = true\n"
    sensors, assembly = on_pair(machine, parse_profile(DIGGING + text))
    assert sensors is not None
    still = {name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items()}
    readings = readings_of(sensors, pose(assembly, pitch=0.0, roll=0.0, **still))
    assert angles_from(sensors, readings)
    one = readings["one"]
    assert isinstance(one, float)
    with pytest.raises(Refused) as caught:
        angles_from(sensors, readings | {"one": one + math.radians(1.0)})
    assert caught.value.code == "sensors-disagree"


MACHINES = {"crawler": CRAWLER, "two-piece": TWO_PIECE}
TOOLS = {"digging": DIGGING, "coupled": COUPLED, "tilting": TILTING, "rotator": ROTATOR}
ON_MACHINE = ("body", "swing_boom", "boom", "fore_boom", "stick", "idler", "power_link", "bucket")
ON_TOOL = ("coupler", "bucket", "tilt", "rotate")
KINDS = {"gravity-angle": GRAVITY, "pitch-roll": UNIT, "angle": ENCODER, "length": WIRE}


def placed(measures: str, place: str) -> str:
    """A sensor of this kind on a place, its axes as that place needs them."""
    text = re.sub('place = ".*"', f'place = "{place}"', KINDS[measures])
    if measures == "gravity-angle" and place in {"body", "tilt"}:
        text = text.replace("3.2", "38").replace("sign = -1", 'sign = -1\naxis = "left"')
    return text


def missing_only(assembly: Assembly, profile: Profile) -> bool:
    """True where the pair finds nothing wrong with these sensors but that they are not all."""
    with pytest.raises(Refused) as caught:
        SensorSet(assembly, profile.sensors)
    return {fault.code for fault in caught.value.faults} == {"missing-joint"}


@pytest.mark.parametrize("measures", KINDS)
@pytest.mark.parametrize("tool", TOOLS)
@pytest.mark.parametrize("machine", MACHINES)
def test_one_file_takes_what_the_pair_takes(machine: str, tool: str, measures: str) -> None:
    """What a file alone finds misplaced and what the proof of the pair does are one line, drawn in two rooms."""
    _, assembly = on_pair(parse_profile(MACHINES[machine]), parse_profile(TOOLS[tool]))
    seen = []
    for places, all_files, own in ((ON_MACHINE, MACHINES, machine), (ON_TOOL, TOOLS, tool)):
        for place in places:
            sensor = placed(measures, place)
            taken = {name: check_profile(text + sensor).ok for name, text in all_files.items()}
            for name, text in all_files.items():
                if taken[name]:
                    seen.append(place)
                    assert missing_only(assembly, parse_profile(text + sensor)) == taken[own], (place, name)
    assert len(seen) >= 4


def test_noise_of_a_boom_sensor_is_the_boom_s_own_lever() -> None:
    """The stick is seen from plumb too: 0.05 deg times the level length of a boom of 4.6 m."""
    sensors = full("crawler-14t", "digging-1500")
    span = sensors.assembly.ranges["boom"]
    lever_m = 4.6 * math.cos(0.5 * (span.low + span.high))
    moved = edge_by_noise(sensors)
    assert abs(moved["boom"] - lever_m * math.radians(0.05)) <= 5e-6  # second order of 0.05 deg: 2e-6
    assert abs(
        moved[TOGETHER] ** 2 - sum(each**2 for name, each in moved.items() if name != TOGETHER)
    ) <= 0.1 * (moved[TOGETHER] ** 2)  # one corner moves most by one sensor, another by the next


def test_noise_of_a_draw_wire_moves_the_edge_by_what_its_cylinder_does() -> None:
    """0.5 mm of the boom cylinder, by the slope of the pose itself between two lengths."""
    sensors = full("compact-1t8", "compact-bucket-400")
    assembly = sensors.assembly
    still = {name: 0.5 * (span.low + span.high) for name, span in assembly.ranges.items()}
    found = pose(assembly, pitch=0.0, roll=0.0, **still)
    readings = readings_of(sensors, found)
    wire = readings["boom-wire"]
    assert isinstance(wire, float)
    stepped = pose(assembly, **angles_from(sensors, readings | {"boom-wire": wire - 0.0005}))
    slope = max(abs(stepped.height(name) - found.height(name)) for name in ("left", "centre", "right"))
    assert abs(edge_by_noise(sensors)["boom-wire"] - slope) <= 0.01 * slope
    assert edge_by_noise(sensors)["swing-boom"] <= 1e-12, "on level ground a swing moves no height"


def test_no_number_where_the_sensors_cannot_tell_the_pose() -> None:
    text = edited(
        text_of("machine", "midi-8t"), ("mounting = { nose_up = 90.6 }", "mounting = { nose_up = 0.6 }"),
    )  # fmt: skip
    verdict = check_pair(parse_profile(text), shipped()["attachment", "midi-bucket-700"])
    assert verdict.ok
    assert "edge_by_noise_mm" not in verdict.facts


def test_facts_of_one_file() -> None:
    facts = check_profile(text_of("machine", "crawler-14t")).facts
    assert facts["sensors"]["body"] == {"gives": "pitch and roll", "measures": "pitch-roll"}
    assert facts["sensors"]["idler"] == {"gives": "bucket", "measures": "gravity-angle"}
    assert "sensors" not in check_profile(CRAWLER).facts


@pytest.mark.parametrize(
    ("text", "sensor", "old", "new", "said"),
    [
        (CRAWLER, GRAVITY, "noise = 0.05", "noise = 1.1", "noise is 1.1 deg; usual are 0.003 to 1 deg"),
        (CRAWLER, GRAVITY, "noise = 0.05", "noise = 0.0009", "noise is 0.0009 deg"),
        (CRAWLER, WIRE, "noise = 0.5", "noise = 11", "noise is 11 mm; usual are 0.05 to 10 mm"),
        (CRAWLER, GRAVITY, "latency_ms = 30\nage_limit_ms = 500", "latency_ms = 501\nage_limit_ms = 900", "is 501;"),
        (CRAWLER, WIRE, "high = 2500", "high = 2400", "over the whole travel it reads 1418 to 2432 mm"),
        (CRAWLER, WIRE, "sign = 1", "sign = -1", "over the whole travel it reads -2432 to -1418 mm"),
        (TWO_PIECE, ENCODER, "low = -180, high = 170", "low = -50, high = 50", "travel it reads -61.5 to 38.5 deg"),
        (ROTATOR, TURN, "low = -180, high = 170", "low = -170, high = 170", "range is -170 to 170 deg"),
    ],
)  # fmt: skip
def test_each_doubt(text: str, sensor: str, old: str, new: str, said: str) -> None:
    verdict = check_profile(text + edited(sensor, (old, new)))
    assert verdict.ok
    (doubt,) = verdict.doubts
    assert doubt.startswith("sensors.one.")
    assert said in doubt


@pytest.mark.parametrize(
    ("text", "sensor"),
    [
        (CRAWLER, GRAVITY),
        (CRAWLER, ENCODER),
        (CRAWLER, WIRE),
        (TWO_PIECE, ENCODER),
        (TWO_PIECE, edited(ENCODER, ("low = -180, high = 170", "low = 290, high = 400"))),
        (ROTATOR, edited(TURN, ("high = 170", "high = 180"))),
        (ROTATOR, edited(TURN, ("low = -180, high = 170", "low = 0, high = 360"))),
    ],
)
def test_no_doubt_of_a_range_that_holds_the_travel(text: str, sensor: str) -> None:
    assert sensor_doubts(parse_profile(text + sensor)) == ()


def test_meant_pairs_with_sensors_are_the_full_ones() -> None:
    sensed = [
        (machine, tool) for machine, tools in MEANT.items() for tool in sorted(tools)
        if shipped()["machine", machine].sensors
    ]  # fmt: skip
    assert sorted(sensed) == sorted(FULL)
    assert pair(*FULL[0]).ranges
