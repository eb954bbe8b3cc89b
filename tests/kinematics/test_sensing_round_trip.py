"""Readings of a pose turned back into the pose: every kind of sensor, every kind of machine, any mounting."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from kinematics.arm import pose
from kinematics.assembly import Assembly
from kinematics.drives import four_bar_from_bucket, four_bar_from_power_link
from kinematics.errors import Fault, Refused
from kinematics.linkage import wrapped
from kinematics.sensing import angles_from, readings_of
from kinematics.sensing_solve import NEAR_VERTICAL_RAD
from kinematics.sensor import Measure
from kinematics.sensor_set import SensorSet
from tests.amounts import several

from .machines import random_angles, seeded
from .sensor_sets import link, random_set, reading, slowest
from .test_profiles_mujoco import PAIRS

# A few turns and arctangents in double precision, some 1e-16 each; the four-bars of these machines stand 20 deg and
# more off dead centre and make of it at most some ten times as much.
BACK_RAD = 1e-12
# An arcsine makes of a rounding its part over how fast the sine rises; a joint has that of two links.
SINE_RAD = 1e-13
# Towards the vertical there is nothing left to tell: the random poses are taken off it.
LEAST_RISE = 1e-3


def came_back(
    sensors: SensorSet, angles: dict[str, float], readings: dict[str, float | tuple[float, float]]
) -> bool:
    """True where the readings give the angles; False where a sensor cannot see this pose, and that was the reason."""
    rises = slowest(sensors, angles)
    if rises < LEAST_RISE:
        return False
    try:
        found = angles_from(sensors, readings)
    except Refused as refused:
        if not all(unseen(fault, sensors, angles) for fault in refused.faults):
            raise
        return False
    assert set(found) == {"pitch", "roll", *sensors.assembly.ranges}
    for name, angle in angles.items():
        assert math.isfinite(found[name])
        allowed = BACK_RAD + SINE_RAD / rises
        assert abs(found[name] - angle) <= allowed, (name, found[name] - angle)
    pose(sensors.assembly, **found)
    return True


def unseen(fault: Fault, sensors: SensorSet, angles: dict[str, float]) -> bool:
    """True where these sensors cannot see this pose, and the fault says so: a tilt axis near plumb, a power link angle
    that two positions within the stroke share, or a skewed tilt sensor that reads the same at two tilts."""
    if fault.code == "axis-plumb":
        tilted = sensors.sensors["tilt"]
        axis = sensors.assembly.attachment.tilt
        assert axis is not None
        up = link(sensors.assembly, tilted, angles).apply(axis.direction)[2]
        return tilted.by_gravity and abs(up) > math.cos(NEAR_VERTICAL_RAD) - 1e-12
    sensor = fault.where.partition(".")[0]
    if fault.code == "ambiguous" and sensor == "bucket" and sensors.sensors[sensor].place == "power_link":
        bar = four_bar_from_bucket(sensors.assembly, angles["bucket"])
        with pytest.raises(Refused) as caught:
            four_bar_from_power_link(sensors.assembly, bar.power_link)
        return caught.value.code == "ambiguous"
    return fault.code == "ambiguous" and sensor == "tilt" and reads_so_twice(sensors, angles)


def reads_so_twice(sensors: SensorSet, angles: dict[str, float]) -> bool:
    """Whether another tilt within the joint's stops reads as this one does."""
    one, stop = sensors.sensors.get("tilt"), sensors.assembly.stops.get("tilt")
    if one is None or stop is None or one.measures != Measure.GRAVITY_ANGLE:
        return False
    here = reading(sensors.assembly, one, angles)
    tilts = np.linspace(stop.low, stop.high, 2001)
    read = [reading(sensors.assembly, one, angles | {"tilt": tilt}) for tilt in tilts.tolist()]
    assert isinstance(here, float)
    off = [wrapped(each - here, 0.0) for each in read if isinstance(each, float)]
    return any(
        a * b <= 0.0 and abs(a - b) < 1.0 and abs(t - angles["tilt"]) > 1e-3
        for a, b, t in zip(off, off[1:], tilts, strict=False)
    )


def tried(assembly: Assembly, seed: int) -> bool:
    rng = np.random.default_rng([31, seed])
    angles = random_angles(rng, assembly)
    sensors = random_set(rng, assembly, angles)
    readings = readings_of(sensors, pose(assembly, **angles))
    return came_back(sensors, angles, readings)


@settings(max_examples=several(300), deadline=None)
@example(machine=17, linkage=False, driven=False, seed=1266419)  # a tilt that reads so twice
@example(machine=33, linkage=True, driven=False, seed=114396655)  # and one beside a power link
@given(machine=st.integers(0, 39), linkage=st.booleans(), driven=st.booleans(), seed=st.integers(0, 2**31))
def test_any_machine(machine: int, linkage: bool, driven: bool, seed: int) -> None:
    tried(seeded(machine, linkage=linkage, driven=driven), seed)


@pytest.mark.parametrize("pair", PAIRS)
def test_shipped_pairs(pair: str) -> None:
    back = [tried(PAIRS[pair], 100 * len(pair) + i) for i in range(12)]
    assert sum(back) >= 6, "most poses can be seen"


def test_readings_by_definition_come_back() -> None:
    """The same with readings that were not made by the code under test."""
    back = 0
    for seed in range(60):
        assembly = seeded(seed % 20, linkage=seed % 2 == 0, driven=seed % 3 == 0)
        rng = np.random.default_rng([32, seed])
        angles = random_angles(rng, assembly)
        sensors = random_set(rng, assembly, angles)
        if any(one.measures == Measure.INCLINATION for one in sensors.sensors.values()):
            continue  # their arcsine keeps half the digits: see test_sensing_rotation
        back += came_back(
            sensors, angles, {n: reading(assembly, s, angles) for n, s in sensors.sensors.items()}
        )
    assert back >= 10
