"""Derivatives of angles by readings, by the skew of cases and by dimensions, against steps taken by `sense`."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.arm import pose
from kinematics.drive_block import DRIVEN
from kinematics.errors import Refused
from kinematics.sensing import angles_from, readings_of
from kinematics.sensing_block import ANGLES, program, sense
from kinematics.sensing_rates import sensed_rates
from kinematics.sensor import Mounting
from kinematics.sensor_set import SensorSet
from kinematics.through_rates import BETWEEN
from tests.amounts import several

from .machines import random_angles, seeded
from .plainly import in_plain_python
from .sensor_sets import random_set
from .test_sensing_block import SENSED, flat, unchecked

STEP = 1e-5
# Of central differences over 1e-5: curvature some 1e-10, rounding of the angles 1e-16 / 1e-5; near a dead centre more.
APART = 2e-6
_OF_BAR = dict(zip(
    ("idler_pivot_x", "idler_pivot_z", "idler_length", "power_link_length", "stick_length", "pin_spacing"),
    ("pivot_x", "pivot_z", "idler_length", "power_link", "bucket_pin_x", "pin_spacing"), strict=True,
))  # fmt: skip


def rates_at(sensors: SensorSet, said: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(dq, skew) at readings that give a pose."""
    steps, q = program(sensors), np.full(len(ANGLES), math.nan)
    assert sense(steps.rows, steps.bar, steps.cylinders, said, q) == 0
    columns = len(said) + len(BETWEEN)
    dq, skew = np.empty(len(ANGLES) * columns), np.empty(len(said))
    work = np.empty(3 * columns), np.empty(columns)
    assert sensed_rates(steps.rows, steps.bar, steps.cylinders, said, q, dq, *work, skew)
    return dq.reshape(len(ANGLES), columns), skew


def slope(sensors: SensorSet, said: np.ndarray, change: str | int, size: float) -> np.ndarray | None:
    """dq by central differences; None where a step leaves the pose's neighbourhood."""
    ends = []
    for sign in (1.0, -1.0):
        steps, q = program(sensors), np.full(len(ANGLES), math.nan)
        bar, cylinders, rows, moved = steps.bar.copy(), steps.cylinders.copy(), steps.rows.copy(), said.copy()
        step = sign * size
        if isinstance(change, int):
            moved[change] += step
        elif change in _OF_BAR:
            bar.flags.writeable = True
            bar[_OF_BAR[change]] += step
            if change == "idler_length":
                cylinders[DRIVEN.index("bucket")]["eye_x"] += step
        elif "_cylinder_" in change:
            joint, pin = change.split("_cylinder_")
            cylinders[DRIVEN.index(joint)][pin] += step
        elif change.startswith("tilt_axis_"):
            rows[f"about_{change[-1]}"][ANGLES.index("tilt")] += step
        else:
            least = 1 if change == "coupler_angle" else 2
            rows["held"][rows["steps"] >= least] += step
        if sense(rows, bar, cylinders, moved, q) != 0:
            return None
        ends.append(q)
    between: np.ndarray = (ends[0] - ends[1]) / (2.0 * size)
    return between


def check(sensors: SensorSet, said: np.ndarray) -> int:
    dq, _ = rates_at(sensors, said)
    looked = 0
    for column, change in enumerate([*range(len(said)), *BETWEEN]):
        found = slope(sensors, said, change, STEP)
        if found is None:
            continue
        half = slope(sensors, said, change, 0.5 * STEP)
        assert half is not None
        unsure = 4.0 * float(np.max(np.abs(found - half)))  # what the step itself costs, near a dead centre
        assert np.all(np.isfinite(found))
        assert np.max(np.abs(dq[:, column] - half)) <= APART * (1.0 + np.max(np.abs(half))) + unsure, change
        looked += 1
    return looked


@pytest.mark.parametrize("pair", SENSED)
def test_shipped_machines(pair: str) -> None:
    sensors = unchecked(SENSED[pair])
    rng = np.random.default_rng(7)
    looked = 0
    for _ in range(10):
        angles = random_angles(rng, sensors.assembly)
        try:
            said = flat(sensors, readings_of(sensors, pose(sensors.assembly, **angles)))
            angles_from(sensors, readings_of(sensors, pose(sensors.assembly, **angles)))
        except Refused:  # an inclination near the vertical, a tilt axis near plumb
            continue
        looked += check(sensors, said)
    assert looked > 40


@given(st.integers(0, 10_000))
@settings(deadline=None, max_examples=several(150))
def test_any_sensors_on_any_machine(seed: int) -> None:
    rng = np.random.default_rng(seed)
    assembly = seeded(seed, linkage=bool(seed % 2), driven=bool(seed % 3))
    angles = random_angles(rng, assembly)
    sensors = random_set(rng, assembly, angles)
    try:
        readings = readings_of(sensors, pose(assembly, **angles))
        angles_from(sensors, readings)
    except Refused:
        return
    check(sensors, flat(sensors, readings))


@given(st.integers(0, 10_000))
@settings(deadline=None, max_examples=several(60))
def test_what_a_skewed_case_says(seed: int) -> None:
    """A skew of the case, by readings of sensors so mounted."""
    rng = np.random.default_rng(seed)
    assembly = seeded(seed, linkage=bool(seed % 2))
    angles = random_angles(rng, assembly)
    upright = {
        name: dataclasses.replace(one, mounting=dataclasses.replace(one.mounting, left_up=0.0, to_left=0.0))
        if isinstance(one.mounting, Mounting)
        else one
        for name, one in random_set(rng, assembly, angles).sensors.items()
    }
    try:
        sensors = SensorSet(assembly, upright)
        found = pose(assembly, **angles)
        told = angles_from(sensors, readings_of(sensors, found))
    except Refused:
        return
    if any(abs(told[name] - angle) > STEP for name, angle in angles.items()):
        return  # square, an inclination is on its other branch
    said = flat(sensors, readings_of(sensors, found))
    _, skew = rates_at(sensors, said)
    ends = [
        flat(_skewed(sensors, sign * STEP), readings_of(_skewed(sensors, sign * STEP), found))
        for sign in (1, -1)
    ]
    seen = (ends[0] - ends[1]) / (2.0 * STEP)
    assert np.all(np.isfinite(skew))
    assert np.max(np.abs(skew - seen)) <= 1e-6 * (1.0 + np.max(np.abs(seen)))


def _skewed(sensors: SensorSet, by: float) -> SensorSet:
    return SensorSet(sensors.assembly, {
        name: dataclasses.replace(one, mounting=dataclasses.replace(one.mounting, to_left=by))
        if isinstance(one.mounting, Mounting) else one
        for name, one in sensors.sensors.items()
    })  # fmt: skip


def test_gravity_gives_the_boom_alone_an_encoder_the_whole_arm() -> None:
    """A boom sensor of gravity 1 mrad up: boom 1, stick -1 mrad, so that the stick's own angle stays (domain fact)."""
    sensors = unchecked(SENSED["crawler-14t with digging-1500"])
    found = pose(sensors.assembly, pitch=0.0, roll=0.0, boom=0.5, stick=-1.6, bucket=1.0)
    names = program(sensors).numbers
    dq, _ = rates_at(sensors, flat(sensors, readings_of(sensors, found)))
    boom = dq[:, names.index("boom")]
    assert boom[ANGLES.index("boom")] == pytest.approx(1.0, abs=1e-12)
    assert boom[ANGLES.index("stick")] == pytest.approx(-1.0, abs=1e-12)
    assert boom[ANGLES.index("bucket")] == pytest.approx(0.0, abs=1e-12)


def some_rates() -> list[float]:
    """What both ways of running give, in a row."""
    every: list[float] = []
    for pair in ("crawler-14t with digging-1500", "crawler-14t with tilting-1800"):
        sensors = unchecked(SENSED[pair])
        angles = random_angles(np.random.default_rng(3), sensors.assembly)
        said = flat(sensors, readings_of(sensors, pose(sensors.assembly, **angles)))
        dq, skew = rates_at(sensors, said)
        every += [*dq.ravel().tolist(), *skew.tolist()]
    return every


def test_plain_python_gives_the_same() -> None:
    assert some_rates() == pytest.approx(in_plain_python("test_sensing_rates", "some_rates"), abs=1e-12)
