"""Readings to angles in one compiled call, against `angles_from`: the same angles, and a status wherever that refuses."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from kinematics.arm import pose
from kinematics.assembly import JOINTS, Assembly, assemble
from kinematics.errors import Refused
from kinematics.machine import Range
from kinematics.sensing import angles_from, readings_of
from kinematics.sensing_block import ANGLES, program, sense
from kinematics.sensor import LEFT, Measure
from kinematics.sensor_set import SensorSet
from machine_profiles import shipped
from machine_profiles.sensor_pair import sensor_set
from tests.amounts import several

from .machines import plain_bucket, plain_machine, random_angles, seeded, tiltrotator_bucket
from .plainly import in_plain_python
from .sensor_sets import random_set, sensor, slowest
from .test_profiles_mujoco import PAIRS
from .test_sensing_round_trip import BACK_RAD, LEAST_RISE, SINE_RAD

Floats = NDArray[np.float64]
# The last digits of a four-bar, where one of some thousand random ones stands near its dead centre.
AGAIN_RAD = 1e-8
BROKEN = ("noisy", "far", "swapped", "nan")


def sensed_pairs() -> dict[str, SensorSet]:
    """The shipped pairs whose files have sensors, by name."""
    profiles = {name: profile for (_, name), profile in shipped().items()}
    found = {}
    for pair, assembly in PAIRS.items():
        machine, _, attachment = pair.partition(" with ")
        try:
            sensors = sensor_set(profiles[machine], profiles[attachment], assembly)
        except Refused:  # an attachment that tilts, without a sensor for it
            continue
        if sensors is not None:
            found[pair] = sensors
    return found


SENSED = sensed_pairs()


def flat(sensors: SensorSet, readings: Any) -> Floats:
    """Readings by name as the row of numbers that a program takes."""
    numbers: list[float] = []
    for name in sensors.sensors:
        numbers += readings[name] if isinstance(readings[name], tuple) else [readings[name]]
    return np.array(numbers)


def by_name(sensors: SensorSet, said: Floats) -> dict[str, Any]:
    """A row of numbers as readings by name."""
    readings: dict[str, Any] = {}
    for name, value in zip(program(sensors).numbers, said.tolist(), strict=True):
        readings[name] = (readings[name], value) if name in readings else value
    return readings


def unchecked(sensors: SensorSet) -> SensorSet:
    return SensorSet(sensors.assembly, sensors.sensors)


def sensed(sensors: SensorSet, said: Floats) -> tuple[int, Floats]:
    steps, q = program(sensors), np.full(len(ANGLES), math.nan)
    return sense(steps.rows, steps.bar, steps.cylinders, said, q), q


def agrees(sensors: SensorSet, said: Floats) -> bool:
    """True where both give angles, which are the same; False where both refuse."""
    status, q = sensed(sensors, said)
    try:
        slow = angles_from(unchecked(sensors), by_name(sensors, said))
    except Refused:
        assert status > 0
        return False
    assert status == 0
    rises = slowest(sensors, slow)
    for name, angle in zip(ANGLES, q.tolist(), strict=True):
        assert math.isfinite(angle)
        if name in slow:
            if rises >= LEAST_RISE:
                assert abs(angle - slow[name]) <= BACK_RAD + SINE_RAD / rises, name
        else:
            assert angle == 0.0
    return True


def random_said(rng: np.random.Generator, assembly: Assembly) -> tuple[SensorSet, Floats]:
    angles = random_angles(rng, assembly)
    sensors = random_set(rng, assembly, angles)
    return sensors, flat(sensors, readings_of(sensors, pose(assembly, **angles)))


def broken(rng: np.random.Generator, said: Floats, how: str) -> Floats:
    """The same readings, noisy or wrong."""
    spoilt = said.copy()
    at = int(rng.integers(len(said)))
    if how == "noisy":
        spoilt += rng.normal(0.0, 0.02, len(said))
    elif how == "far":
        spoilt[at] += rng.choice([-1.0, 1.0]) * rng.uniform(0.2, 7.0)
    elif how == "swapped":
        rng.shuffle(spoilt)
    else:
        spoilt[at] = rng.choice([math.nan, math.inf, -math.inf])
    return spoilt


@settings(max_examples=several(300), deadline=None)
@given(machine=st.integers(0, 39), linkage=st.booleans(), driven=st.booleans(), seed=st.integers(0, 2**31))
def test_any_set(machine: int, linkage: bool, driven: bool, seed: int) -> None:
    """Sound readings and spoilt ones: angles where the slow path has some, a status where it has a fault."""
    rng = np.random.default_rng([61, seed])
    sensors, said = random_said(rng, seeded(machine, linkage=linkage, driven=driven))
    agrees(sensors, said)
    for how in BROKEN:
        agrees(sensors, broken(rng, said, how))


def test_most_sound_readings_are_covered_and_few_spoilt_ones() -> None:
    sound, spoilt = [], []
    for seed in range(120):
        rng = np.random.default_rng([62, seed])
        sensors, said = random_said(rng, seeded(seed % 40, linkage=seed % 2 == 0, driven=seed % 3 == 0))
        sound.append(agrees(sensors, said))
        spoilt += [agrees(sensors, broken(rng, said, how)) for how in ("far", "swapped", "nan")]
    assert sum(sound) >= 80
    assert 5 <= sum(spoilt) <= 120


@pytest.mark.parametrize("pair", SENSED)
def test_shipped_pairs(pair: str) -> None:
    sensors = SENSED[pair]
    found = []
    for seed in range(20):
        rng = np.random.default_rng([63, seed, len(pair)])
        there = pose(sensors.assembly, **random_angles(rng, sensors.assembly))
        said = flat(sensors, readings_of(sensors, there))
        found.append(agrees(sensors, said))
        agrees(sensors, broken(rng, said, "noisy"))
    assert sum(found) >= 12


def test_there_are_shipped_sets() -> None:
    assert len(SENSED) >= 10


def test_a_sum_by_hand() -> None:
    """Level body, all encoders: what they read less what they read too much. Stick turned over: its sign."""
    assembly = assemble(plain_machine(), plain_bucket())
    sensors = SensorSet(assembly, {
        "bucket": sensor("bucket", Measure.ANGLE, mounting=0.25), "boom": sensor("boom", Measure.ANGLE),
        "stick": sensor("stick", Measure.ANGLE, sign=-1), "body": sensor("body", Measure.PITCH_ROLL, side_sign=-1),
    })  # fmt: skip
    assert program(sensors).numbers == ("bucket", "boom", "stick", "body", "body")
    status, q = sensed(sensors, np.array([1.25, 0.5, 1.5, 0.125, -0.0625]))
    assert status == 0
    assert np.max(np.abs(q - [0.125, 0.0625, 0.0, 0.5, 0.0, -1.5, 1.0, 0.0, 0.0])) <= 1e-15


def test_the_status_says_where() -> None:
    assembly = assemble(plain_machine(), tiltrotator_bucket())
    parts = {joint: sensor(joint, Measure.ANGLE) for joint in assembly.ranges}
    sensors = SensorSet(
        assembly, parts | {"body": sensor("body", Measure.PITCH_ROLL), "tilt": sensor("tilt", axis=LEFT)}
    )
    sound = {"body": (0.0, 0.0), "boom": 0.6, "stick": -1.6, "bucket": 1.0, "tilt": 0.1, "rotate": 0.0}
    assert sensed(sensors, flat(sensors, sound))[0] == 0
    for name, wrong, joint in (
        ("body", (0.9, 0.0), "pitch"), ("body", (0.0, -0.9), "roll"), ("boom", 1.2, "boom"), ("stick", math.nan, "stick"),
        ("bucket", 2.5, "bucket"), ("tilt", 1.0, "tilt"), ("rotate", 7.0, "rotate"),
    ):  # fmt: skip
        said = flat(sensors, sound | {name: wrong})
        assert sensed(sensors, said)[0] == 1 + ANGLES.index(joint)
        assert not agrees(sensors, said)


def test_the_ends_of_a_full_turn_are_one_place_and_of_more_are_not() -> None:
    for high, sound in ((math.pi, True), (math.pi + 0.5, False)):
        axis = tiltrotator_bucket().rotate
        assert axis is not None
        turning = type(axis)(axis.point, axis.direction, Range(-math.pi, high))
        assembly = assemble(plain_machine(), plain_bucket(rotate=turning))
        parts = {joint: sensor(joint, Measure.ANGLE) for joint in assembly.ranges}
        sensors = SensorSet(assembly, parts | {"body": sensor("body", Measure.PITCH_ROLL)})
        said = flat(
            sensors, {"body": (0.0, 0.0), "boom": 0.6, "stick": -1.6, "bucket": 1.0, "rotate": -math.pi}
        )
        assert agrees(sensors, said) == sound


def sample() -> list[list[float]]:
    """[status, angles] of a few sets, sound and spoilt."""
    found = []
    for seed in range(12):
        rng = np.random.default_rng([64, seed])
        sensors, said = random_said(rng, seeded(seed, linkage=seed % 2 == 0, driven=seed % 3 == 0))
        for each in (said, *(broken(rng, said, how) for how in BROKEN)):
            status, q = sensed(sensors, each)
            found.append([float(status), *(q.tolist() if status == 0 else [])])
    return found


def test_the_same_without_the_compiler() -> None:
    plain = in_plain_python("test_sensing_block", "sample")
    for ours, theirs in zip(sample(), plain, strict=True):
        assert ours[0] == theirs[0]
        assert np.allclose(ours, theirs, rtol=0.0, atol=AGAIN_RAD)
    assert ANGLES[2:] == JOINTS
