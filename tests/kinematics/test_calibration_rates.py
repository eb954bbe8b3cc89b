"""Rates of everything seen by every zero, skew and dimension at constant readings, against steps through the ordinary
doors: sensors, machines and attachments really changed."""

import math
from collections.abc import Mapping

import numpy as np
import pytest
from numpy.typing import NDArray

from kinematics.arm import Pose, pose
from kinematics.calibration_model import Model
from kinematics.calibration_values import offered, value_of, with_values
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.mounting_lines import Level, PlumbLine
from kinematics.sensing import angles_from, readings_of
from kinematics.sensor_set import SensorSet
from kinematics.sources import sources_of
from kinematics.touched import HeightSeen, LineSeen, Seen

from .calibration_rig import postures, sensors_of
from .fitting_rig import RIGS
from .machines import random_angles, seeded
from .plainly import in_plain_python
from .sensor_sets import random_set

Floats = NDArray[np.float64]
STEP = 1e-5
# Of a rate of some 10 m/rad over 1e-5: curvature 1e-9, rounding of a height 1e-15 / 1e-5; as in test_trust_rates.
APART = 3e-7
SAME_M = 1e-12
TOUCHES = 2


def observations(sensors: SensorSet, places: list[dict[str, float]]) -> list[Seen]:
    """Every kind: all edge points in turn, the receiver, levels and plumb lines on links and body."""
    assembly = sensors.assembly
    points = ["left", "centre", "right"]
    points += ["receiver"] if assembly.machine.receiver is not None else []
    points += ["tooth_left"] if assembly.attachment.teeth is not None else []
    readings = [readings_of(sensors, pose(assembly, **angles)) for angles in places]
    found: list[Seen] = [
        HeightSeen(f"{point} {i}", "g", said, point, 0.0, 0.003)
        for i, said in enumerate(readings)
        for point in points
    ]
    plain = (
        assembly.attachment.coupler,
        assembly.attachment.tilt,
        assembly.attachment.rotate,
        assembly.attachment.mount,
    )
    for i, said in enumerate(readings):
        found += [
            LineSeen(f"level {i}", said, "stick", Level(0.0, 0.001)),
            LineSeen(
                f"plumb {i}", said, "bucket", PlumbLine(below=True, uncertainty=0.001, to_edge=not any(plain))
            ),
            LineSeen(f"nose {i}", said, "body", Level(0.0, 0.001), "pitch"),
            LineSeen(f"side {i}", said, "body", Level(0.0, 0.001), "roll"),
        ]
    return found


def told_by(there: Pose, one: Seen) -> float:
    """What is seen in a pose, from its places: of a line the rise of its link's pins over their distance."""
    if isinstance(one, HeightSeen):
        return there.height(one.point)
    plumb = np.array(there.plumb)
    if one.link == "body":
        return math.asin(plumb[0 if one.axis == "pitch" else 1])
    swing = there.joint("swing_boom")
    ahead = np.array([math.cos(swing), math.sin(swing), 0.0])
    angle = there.joint("boom") + there.joint("fore_boom") + there.joint("stick")
    angle += there.joint("bucket") if one.link == "bucket" else 0.0
    if one.line.to_edge:
        edge = there.assembly.attachment.edge[there.assembly.attachment.centre]
        angle += math.atan2(edge[2], edge[0])
    line = math.cos(angle) * ahead + math.sin(angle) * np.array([0.0, 0.0, 1.0])
    over = -math.sin(angle) * ahead + math.cos(angle) * np.array([0.0, 0.0, 1.0])
    if isinstance(one.line, Level):
        return math.asin(float(line @ plumb))
    return math.atan2(float(over @ plumb), -float(line @ plumb))


def through_doors(sensors: SensorSet, seen: list[Seen], values: Mapping[str, float]) -> Floats:
    changed = with_values(sensors, values)
    poses = [pose(changed.assembly, **angles_from(changed, one.readings)) for one in seen]
    return np.array([told_by(there, one) for there, one in zip(poses, seen, strict=True)])


def check(sensors: SensorSet, places: list[dict[str, float]]) -> int:
    """Everything told, and its rates by all that is offered; how many unknowns were looked at."""
    seen, sources = observations(sensors, places), sources_of(sensors, Estimates())
    names = offered(sensors)
    model = Model(sensors, sources, names, seen)
    assert np.all(np.isfinite(model.start.jacobian))
    assert np.max(np.abs(model.start.told - through_doors(sensors, seen, {}))) <= SAME_M
    looked = 0
    for j, name in enumerate(names):
        was = value_of(sensors, name)
        try:
            up, down, less_up, less_down = (
                through_doors(sensors, seen, {name: was + h}) for h in (STEP, -STEP, 0.5 * STEP, -0.5 * STEP)
            )
        except Refused:  # a step past a stop, or out of a linkage
            continue
        whole, half = (up - down) / (2.0 * STEP), (less_up - less_down) / STEP
        allowed = APART * (1.0 + float(np.max(np.abs(half)))) + 4.0 * float(np.max(np.abs(whole - half)))
        assert np.max(np.abs(model.start.jacobian[:, j] - half)) <= allowed, name
        looked += 1
    return looked


@pytest.mark.parametrize("name", RIGS)
def test_rates_on_shipped_machines(name: str) -> None:
    sensors = sensors_of(name)
    assert check(sensors, postures(sensors, np.random.default_rng(5), TOUCHES, lean=0.1)) >= 20


def of_random_sets(count: int) -> int:
    """On random machines with random sensors, mounted anyhow."""
    looked = 0
    for seed in range(count):
        rng = np.random.default_rng([6, seed])
        assembly = seeded(5300 + seed, linkage=True, driven=True)
        angles = random_angles(rng, assembly)
        sensors = random_set(rng, assembly, angles)
        try:
            told = angles_from(sensors, readings_of(sensors, pose(assembly, **angles)))
        except Refused:
            continue
        if max(abs(told[name] - angle) for name, angle in angles.items()) > STEP:
            continue  # an inclination on its other branch
        looked += check(sensors, [angles])
    return looked


def test_rates_of_random_sets() -> None:
    assert of_random_sets(6) >= 150


def of_one_rig() -> list[list[float]]:
    """What is told and its rates on one machine."""
    sensors = sensors_of("tilting")
    seen = observations(sensors, postures(sensors, np.random.default_rng(5), 1))
    start = Model(sensors, sources_of(sensors, Estimates()), offered(sensors), seen).start
    return [start.told.tolist(), *start.jacobian.tolist()]


def test_the_same_without_the_compiler() -> None:
    for ours, plain in zip(
        of_one_rig(), in_plain_python("test_calibration_rates", "of_one_rig"), strict=True
    ):
        assert ours == pytest.approx(plain, rel=1e-9, abs=1e-12)
