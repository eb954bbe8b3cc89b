"""Zeros from level, plumb line, half turn and tape: what was off by a zero closes, and nothing else changes."""

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.arm import pose
from kinematics.assembly import Assembly
from kinematics.drives import cylinder_length, four_bar_from_bucket
from kinematics.errors import Refused
from kinematics.fitting_moves import numbers_of
from kinematics.machine import Range
from kinematics.mounting import (
    Zeroed,
    with_zero,
    zero_by_half_turn,
    zero_by_line,
    zero_of_body,
    zero_of_encoder,
    zero_of_tilt,
    zero_of_wire,
)  # fmt: skip
from kinematics.mounting_lines import Level, PlumbLine, joint_of_lines, tilt_of_edge
from kinematics.sensing import Told, angles_from, readings_of
from kinematics.sensing_gravity import plumb_of, swung
from kinematics.sensor import ARM, LEFT, Measure, Mounting, Sensor
from kinematics.sensor_set import SensorSet
from tests.amounts import several

from . import fitting_rig as rigs
from .machines import Rng, random_angles, seeded
from .sensor_sets import kinds_of, link, random_sensor, random_set, sensor

LEVEL = (0.0, 0.0)
BY_ONE = (Measure.GRAVITY_ANGLE, Measure.INCLINATION)
# Some twenty turns and arctangents in double precision, times what an arcsine 10 deg off the vertical makes of them.
CLOSES_RAD = 1e-10
# What a check may refuse of a random posture: a level or an inclination near the vertical, two mountings as likely, a
# tilt axis near plumb, a zero put off so far that the sensor is blind.
UNSEEN = {"near-vertical", "ambiguous", "axis-plumb", "not-sensed-so"}


def off_by(one: Sensor, rng: Rng) -> Sensor:
    """The sensor as a profile may have it, some degrees or centimetres off."""
    step = rng.uniform(-0.12, 0.12)
    if not isinstance(one.mounting, Mounting):
        return dataclasses.replace(one, mounting=one.mounting + step)
    both = one.measures == Measure.PITCH_ROLL and one.place not in ARM
    nose = one.mounting.nose_up + (step if one.axis != LEFT else 0.0)
    left = one.mounting.left_up + (rng.uniform(-0.12, 0.12) if both or one.axis == LEFT else 0.0)
    return dataclasses.replace(one, mounting=dataclasses.replace(one.mounting, nose_up=nose, left_up=left))


def level_on(assembly: Assembly, one: Sensor, angles: dict[str, float]) -> Level:
    """What a perfect level along its link's x shows, by turns of bodies."""
    z = float(link(assembly, one, angles).apply([1.0, 0.0, 0.0])[2])
    # Ahead: by the arm's plane, whose plumb is the body's, swung.
    n = swung(plumb_of(angles["pitch"], angles["roll"]), angles.get("swing_boom", 0.0))
    total = angles["boom"] + (angles.get("fore_boom", 0.0) if one.place != "boom" else 0.0)
    total += angles["stick"] if one.place not in ("boom", "fore_boom") else 0.0
    if one.place in ("idler", "power_link"):
        total += getattr(four_bar_from_bucket(assembly, angles["bucket"]), one.place)
    elif one.place in ("bucket", "coupler"):
        total += angles["bucket"]
        steps = (assembly.attachment.coupler, assembly.attachment.mount) if one.place == "bucket" else ()
        total += sum(step.angle for step in steps if step is not None)
    ahead = math.cos(total + math.atan2(n[0], n[2])) > 0.0
    return Level(math.asin(max(-1.0, min(1.0, z))), math.radians(0.1), ahead)


def zeroed(sensors: SensorSet, name: str, readings: dict[str, Told], angles: dict[str, float]) -> Zeroed:
    """The check that suits the sensor."""
    one = sensors.all[name]
    lean = angles["pitch"], angles["roll"]
    told: Any = readings[name]
    if one.place == "body":
        return zero_of_body(sensors, name, told, lean=lean, uncertainty=1e-3)
    if one.measures == Measure.LENGTH:
        length = cylinder_length(sensors.assembly, one.place, angles[one.place])
        return zero_of_wire(sensors, name, told, length=length, uncertainty=1e-3)
    if one.measures == Measure.ANGLE:
        angle = angles.get(one.place, math.nan)
        if one.place == "idler":
            angle = four_bar_from_bucket(sensors.assembly, angles["bucket"]).idler
        return zero_of_encoder(sensors, name, told, angle=angle, uncertainty=1e-3)
    if one.place == "tilt":
        return zero_of_tilt(sensors, name, told, angles=angles, uncertainty=1e-3)
    line = level_on(sensors.assembly, one, angles)
    return zero_by_line(sensors, name, told, line, lean=lean, swing_boom=angles.get("swing_boom"))


def tried(assembly: Assembly, seed: int) -> int:
    """How many sensors of a random set were off and closed."""
    rng = np.random.default_rng([71, seed])
    angles = random_angles(rng, assembly)
    true = random_set(rng, assembly, angles)
    readings = readings_of(true, pose(assembly, **angles))
    closed = 0
    for name, one in true.sensors.items():
        try:
            believed = with_zero(true, Zeroed(name, off_by(one, rng), (0.0,), 0.0))
            new = zeroed(believed, name, readings, angles)
        except Refused as refused:
            if not {fault.code for fault in refused.faults} <= UNSEEN:
                raise
            continue
        after = with_zero(believed, new)
        assert all(after.all[other] is true.all[other] for other in true.all if other != name)
        again = readings_of(after, pose(assembly, **angles))
        for a, b in zip(numbers_of(again[name]), numbers_of(readings[name]), strict=True):
            assert math.isfinite(a)
            assert abs(math.remainder(a - b, 2.0 * math.pi)) <= CLOSES_RAD, (name, one, a - b)
        closed += same(one, after.all[name])
    return closed


def same(one: Sensor, other: Sensor) -> bool:
    """Whether the zero itself came back."""
    if isinstance(one.mounting, Mounting) and isinstance(other.mounting, Mounting):
        pairs = [
            (one.mounting.nose_up, other.mounting.nose_up), (one.mounting.left_up, other.mounting.left_up),
        ]  # fmt: skip
        assert one.mounting.to_left == other.mounting.to_left
        return all(abs(math.remainder(a - b, 2.0 * math.pi)) <= 1e-6 for a, b in pairs)
    assert isinstance(one.mounting, float)
    assert isinstance(other.mounting, float)
    return abs(math.remainder(one.mounting - other.mounting, 2.0 * math.pi)) <= CLOSES_RAD


@settings(max_examples=several(80), deadline=None)
@given(machine=st.integers(0, 19), linkage=st.booleans(), driven=st.booleans(), seed=st.integers(0, 2**31))
def test_any_sensor_closes(machine: int, linkage: bool, driven: bool, seed: int) -> None:
    tried(seeded(machine, linkage=linkage, driven=driven), seed)


def test_most_zeros_come_back() -> None:
    """Not only what it reads: the very mounting."""
    closed = [
        tried(seeded(seed % 20, linkage=seed % 2 == 0, driven=seed % 3 == 0), seed) for seed in range(40)
    ]
    assert sum(closed) >= 4 * 40


@pytest.mark.parametrize("name", rigs.RIGS)
def test_angles_close_and_only_one_sensor_changes(name: str) -> None:
    sensors = rigs.rig(name)
    rng = np.random.default_rng([72, len(name)])
    for one, fitted in sensors.sensors.items():
        (_, _, angles, _) = rigs.course(sensors, rng, [("boom", True)])[0]
        readings = readings_of(sensors, pose(sensors.assembly, **angles))
        try:
            angles_from(sensors, readings)
            believed = with_zero(sensors, Zeroed(one, off_by(fitted, rng), (0.0,), 0.0))
            new = zeroed(believed, one, readings, angles)
        except Refused as refused:
            if refused.code not in UNSEEN:
                raise
            continue
        after = with_zero(believed, new)
        found = angles_from(after, readings)
        for joint, angle in angles.items():
            assert abs(found[joint] - angle) <= 1e-9
        assert [n for n in sensors.all if after.all[n] is not sensors.all[n]] == [one]


@settings(max_examples=several(150), deadline=None)
@given(seed=st.integers(0, 2**31), pair=st.booleans())
def test_half_a_turn_of_the_swing(seed: int, pair: bool) -> None:
    """Exact on any lean, of a pair and of two of one axis, any kind."""
    rng = np.random.default_rng([73, seed])
    assembly = seeded(3)
    rest = {joint: sensor(joint, kinds_of(assembly, joint)[0][1]) for joint in assembly.ranges}
    body = (
        {"body": random_sensor(rng, assembly, "body", Measure.PITCH_ROLL)}
        if pair
        else {
            "nose": random_sensor(rng, assembly, "body", BY_ONE[int(rng.integers(2))]),
            "side": random_sensor(rng, assembly, "body", BY_ONE[int(rng.integers(2))], LEFT),
        }
    )  # fmt: skip
    true = SensorSet(assembly, body | rest)
    angles = random_angles(rng, assembly) | {"pitch": rng.uniform(-0.2, 0.2), "roll": rng.uniform(-0.2, 0.2)}
    n = plumb_of(angles["pitch"], angles["roll"])
    turned = {"pitch": math.atan2(-n[0], math.hypot(n[1], n[2])), "roll": math.atan2(-n[1], n[2])}
    before, after = (readings_of(true, pose(assembly, **each)) for each in (angles, angles | turned))
    believed = with_zero(true, *(Zeroed(name, off_by(one, rng), (0.0,), 0.0) for name, one in body.items()))
    found = zero_by_half_turn(believed, before, after, uncertainty=1e-3)
    assert set(found) == set(body)
    closed = with_zero(believed, *found.values())
    got = angles_from(closed, before)
    assert abs(got["pitch"] - angles["pitch"]) <= 1e-9
    assert abs(got["roll"] - angles["roll"]) <= 1e-9


def test_a_pitch_sensor_by_half_a_turn_in_numbers() -> None:
    """Reads 0.03, then 0.01: nose_up 0.02, the ground 0.01 nose up."""
    sensors = rigs.rig("gravity")
    plain = rigs.replaced(sensors, "body", sign=1, mounting=Mounting(0.0))
    found = zero_by_half_turn(plain, {"body": (0.03, 0.0)}, {"body": (0.01, 0.0)}, uncertainty=0.0, count=4)[
        "body"
    ]
    assert isinstance(found.sensor.mounting, Mounting)
    assert abs(found.sensor.mounting.nose_up - 0.02) <= 1e-12
    assert abs(found.sensor.mounting.left_up) <= 1e-12
    # Means of four readings, half of each.
    assert abs(found.uncertainty - found.sensor.noise * math.sqrt(0.5) / 2.0) <= 1e-15


@pytest.mark.parametrize(
    ("before", "after", "code"),
    [
        ((0.05, 0.03), (0.05, 0.03), "no-swing-seen"), ((0.05, 0.0), (-0.05, 0.0), "much-lean"),
        ((0.02, 0.0), (0.0, 0.0), ""),
    ],
)  # fmt: skip
def test_a_half_turn_that_shows_nothing_or_has_to_be_exact(
    before: tuple[float, float], after: tuple[float, float], code: str
) -> None:
    """The same twice: level ground, or nobody swung. 2.9 deg of lean: 10 deg short are a quarter of a degree."""
    found = zero_by_half_turn(rigs.rig("gravity"), {"body": before}, {"body": after}, uncertainty=0.0)["body"]
    told = {fault.code: fault for fault in found.doubts if fault.code != "moved-far"}
    assert set(told) == ({code} if code else set())
    if code == "much-lean":
        assert "0.25 deg" in told[code].advice


def test_a_boom_by_a_level_in_numbers() -> None:
    """Boom laid level: what its sensor reads is its offset. Left side up 5 deg, boom at 60: a level shows 59.62."""
    sensors = rigs.replaced(rigs.rig("gravity"), "boom", mounting=Mounting(0.0))
    level = Level(0.0, math.radians(0.1))
    found = zero_by_line(sensors, "boom", 0.02, level, lean=LEVEL, count=16)
    assert isinstance(found.sensor.mounting, Mounting)
    assert abs(found.sensor.mounting.nose_up - 0.02) <= 1e-15
    assert found.moved == (found.sensor.mounting.nose_up,)
    assert abs(found.uncertainty - math.hypot(found.sensor.noise / 4.0, math.radians(0.1))) <= 1e-15
    assert found.doubts == ()
    # domain: at r = 5 deg and a boom at 60 deg the two differ by 0.38 deg
    leaning = Level(math.radians(59.62), 0.0)
    found = zero_by_line(sensors, "boom", math.radians(60.0), leaning, lean=(0.0, math.radians(5.0)))
    assert isinstance(found.sensor.mounting, Mounting)
    assert abs(found.sensor.mounting.nose_up) <= math.radians(0.01)


def test_a_stick_by_a_plumb_line_in_numbers() -> None:
    """Hanging plumb its in-plane gravity angle is -90 deg, whatever the lean; standing on end 90."""
    sensors = rigs.replaced(rigs.rig("gravity"), "stick", mounting=Mounting(0.0), sign=1)
    for lean in (LEVEL, (0.05, -0.04)):
        for below, stands in ((True, -90.0), (False, 90.0)):
            line = PlumbLine(below, 0.001)
            found = zero_by_line(sensors, "stick", math.radians(stands + 1.5), line, lean=lean)
            assert isinstance(found.sensor.mounting, Mounting)
            assert abs(found.sensor.mounting.nose_up - math.radians(1.5)) <= 1e-12


def test_a_bucket_by_the_line_to_its_edge() -> None:
    sensors = rigs.rig("mixed")
    attachment = sensors.assembly.attachment
    x, _, z = attachment.edge[attachment.centre]
    at = math.atan2(z, x)
    line = PlumbLine(below=True, uncertainty=0.001, to_edge=True)
    found = zero_by_line(
        sensors, "bucket", math.remainder(-0.5 * math.pi - at + 0.1, 2.0 * math.pi), line, lean=LEVEL
    )
    assert isinstance(found.sensor.mounting, Mounting)
    assert abs(math.remainder(found.sensor.mounting.nose_up - 0.1, 2.0 * math.pi)) <= 1e-12


def test_an_encoder_by_two_lines() -> None:
    """Boom level, stick hanging plumb: the stick's joint is at -90 deg."""
    sensors = rigs.rig("encoders")
    boom, stick = Level(0.0, 0.001), PlumbLine(below=True, uncertainty=0.001)
    angle = joint_of_lines(sensors.assembly, "stick", inner=boom, outer=stick, lean=LEVEL)
    assert abs(angle + 0.5 * math.pi) <= 1e-12
    assert (
        abs(joint_of_lines(sensors.assembly, "boom", inner=None, outer=boom, lean=(0.02, 0.0)) + 0.02)
        <= 1e-12
    )
    found = zero_of_encoder(sensors, "stick", 0.5 * math.pi - 0.02, angle=angle, uncertainty=0.002)
    # Its sign is -1: it counts as -1.5508, 0.02 over -1.5708.
    assert isinstance(found.sensor.mounting, float)
    assert abs(found.sensor.mounting - 0.02) <= 1e-12


def test_a_wire_by_tape() -> None:
    sensors = rigs.rig("wires")
    stroke = sensors.assembly.cylinders["boom"].stroke
    length = 0.5 * (stroke.low + stroke.high)
    found = zero_of_wire(sensors, "boom-wire", length - 0.052, length=length, uncertainty=0.001)
    assert isinstance(found.sensor.mounting, float)
    assert abs(found.sensor.mounting + 0.052) <= 1e-12
    assert abs(found.moved[0] + 0.007) <= 1e-12
    assert abs(found.uncertainty - math.hypot(found.sensor.noise, 0.001)) <= 1e-15


def test_a_tilt_by_its_levelled_edge() -> None:
    sensors = rigs.rig("tilting")
    angles = {"pitch": 0.01, "roll": 0.03, "boom": 0.2, "stick": -1.2, "bucket": 0.3, "tilt": -0.06}
    there = pose(sensors.assembly, **angles)
    left, right = there.level("left"), there.level("right")
    inclination = math.asin((left[2] - right[2]) / math.dist(left, right))
    found = tilt_of_edge(sensors.assembly, {n: a for n, a in angles.items() if n != "tilt"}, inclination)
    assert abs(found + 0.06) <= 1e-12
    told: Any = readings_of(sensors, there)["tilt"]
    believed = with_zero(
        sensors, Zeroed("tilt", off_by(sensors.all["tilt"], np.random.default_rng(1)), (0.0,), 0.0)
    )
    new = zero_of_tilt(believed, "tilt", told, angles=angles | {"tilt": found}, uncertainty=0.002)
    assert same(new.sensor, sensors.all["tilt"])


def test_a_jump_is_a_doubt() -> None:
    sensors = rigs.replaced(rigs.rig("gravity"), "boom", mounting=Mounting(0.0))
    found = zero_by_line(sensors, "boom", 0.3, Level(0.0, 0.001), lean=LEVEL)
    assert [(d.code, d.where) for d in found.doubts] == [("moved-far", "boom")]
    assert "+17.2 deg" in found.doubts[0].found


def refusal(call: Any) -> list[tuple[str, str]]:
    with pytest.raises(Refused) as caught:
        call()
    return [(fault.code, fault.where) for fault in caught.value.faults]


def test_refused() -> None:
    gravity, wires, midi = rigs.rig("gravity"), rigs.rig("wires"), rigs.rig("inclinations")
    level = Level(0.0, 0.001)
    steep = Level(math.radians(85.0), 0.001)
    length = wires.assembly.cylinders["boom"].stroke.high + 0.1
    cases: list[tuple[Any, str, str]] = [
        (lambda: zero_by_line(gravity, "mast", 0.0, level, lean=LEVEL), "no-such-sensor", "mast"),
        (lambda: zero_by_line(gravity, "body", (0.0, 0.0), level, lean=LEVEL), "not-sensed-so", "body"),
        (lambda: zero_by_line(wires, "boom-wire", 0.9, level, lean=LEVEL), "not-sensed-so", "boom-wire"),
        (lambda: zero_by_line(gravity, "boom", math.nan, level, lean=LEVEL), "not-finite", "boom.reading_0"),
        (lambda: zero_by_line(gravity, "boom", 9.0, level, lean=LEVEL), "out-of-range", "boom"),
        (lambda: zero_by_line(gravity, "boom", 0.0, level, lean=LEVEL, count=0), "out-of-range", "count"),
        (lambda: zero_by_line(gravity, "boom", 0.0, steep, lean=LEVEL), "near-vertical", "inclination"),
        (lambda: zero_by_line(gravity, "boom", 0.0, level, lean=(math.inf, 0.0)), "not-finite", "pitch"),
        (lambda: zero_by_line(gravity, "boom", 0.0, level, lean=LEVEL, swing_boom=0.1), "no-such-joint", "swing_boom"),
        (lambda: zero_by_line(midi, "boom", 1.5, level, lean=LEVEL), "near-vertical", "boom"),
        (lambda: zero_of_body(gravity, "boom", 0.0, lean=LEVEL, uncertainty=0.0), "not-sensed-so", "boom"),
        (lambda: zero_of_body(gravity, "body", (0.0, 0.0), lean=LEVEL, uncertainty=-1.0), "out-of-range", "uncertainty"),
        (lambda: zero_of_wire(wires, "boom-wire", 0.9, length=length, uncertainty=0.0), "out-of-stroke",
         "boom-wire.length"),
        (lambda: zero_of_encoder(wires, "boom-wire", 0.9, angle=0.0, uncertainty=0.0), "not-sensed-so", "boom-wire"),
        (lambda: zero_by_half_turn(gravity, {"body": (0.0, 0.0)}, {}, uncertainty=0.0), "missing-reading", "after.body"),
        (lambda: zero_by_half_turn(gravity, {"body": (0.0, 0.0)}, {"body": (0.0, 3.1)}, uncertainty=0.0),
         "out-of-range", "body"),
        (lambda: Level(math.nan, 0.0), "not-finite", "inclination"),
        (lambda: Level(57.0, 0.0), "out-of-range", "inclination"),
        (lambda: joint_of_lines(gravity.assembly, "stick", inner=None, outer=level, lean=LEVEL), "half-described",
         "inner"),
        (lambda: joint_of_lines(gravity.assembly, "stick", inner=level, outer=level, lean=LEVEL), "beyond-joint",
         "stick"),
        (lambda: tilt_of_edge(gravity.assembly, {}, 0.0), "no-such-joint", "tilt"),
        (lambda: with_zero(gravity, Zeroed("mast", gravity.all["boom"], (0.0,), 0.0)), "no-such-sensor", "mast"),
    ]  # fmt: skip
    for call, code, where in cases:
        assert refusal(call) == [(code, where)], (code, where)


def test_what_a_sensor_cannot_be_is_refused() -> None:
    """A pair square to where it belongs gives a mounting that no body sensor may have."""
    sensors = rigs.rig("inclinations")
    wide = rigs.replaced(sensors, "body-pitch", range=Range(-math.pi / 2, math.pi / 2))
    with pytest.raises(Refused) as caught:
        zero_of_body(wide, "body-pitch", math.radians(70.0), lean=LEVEL, uncertainty=0.0)
    assert caught.value.code == "not-sensed-so"
    assert caught.value.faults[0].where == "body-pitch.mounting"
