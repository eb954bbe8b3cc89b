"""Random sets of sensors on an assembly, and what such sensors read by turns of bodies (`scipy` rotations), from the
definitions in `kinematics.sensor` alone."""

import math
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from kinematics.assembly import Assembly
from kinematics.drives import cylinder_length, four_bar_from_bucket
from kinematics.machine import Range
from kinematics.sensor import AHEAD, LEFT, Measure, Mounting, Sensor
from kinematics.sensor_set import SensorSet

from .machines import Rng
from .referee import leaned

TURN = Range(-math.pi, math.pi)
RIGHT = Range(-0.5 * math.pi, 0.5 * math.pi)
NOISE_RAD = math.radians(0.05)
NOISE_M = 1e-3
BODY_PAIRS = [
    (Measure.GRAVITY_ANGLE, Measure.GRAVITY_ANGLE), (Measure.GRAVITY_ANGLE, Measure.INCLINATION),
    (Measure.INCLINATION, Measure.GRAVITY_ANGLE), (Measure.INCLINATION, Measure.INCLINATION),
]  # fmt: skip
BY_GRAVITY = [Measure.GRAVITY_ANGLE, Measure.INCLINATION, Measure.PITCH_ROLL]


def sensor(place: str, measures: Measure = Measure.GRAVITY_ANGLE, **changes: Any) -> Sensor:
    """A sensor, square on its link where nothing else is said, with a range that holds all it can read."""
    by_length = measures == Measure.LENGTH
    spans = {
        Measure.INCLINATION: RIGHT, Measure.LENGTH: Range(-15.0, 15.0),
        Measure.ANGLE: Range(-2.0 * math.pi, 2.0 * math.pi),
    }  # fmt: skip
    contact = measures in (Measure.ANGLE, Measure.LENGTH)
    parts: dict[str, Any] = {
        "sign": 1,
        "mounting": 0.0 if contact else Mounting(0.0),
        "range": spans.get(measures, TURN),
        "noise": NOISE_M if by_length else NOISE_RAD,
        "latency_s": 0.02,
        "age_limit_s": 0.3,
        "side_sign": 1 if measures == Measure.PITCH_ROLL else None,
    }
    return Sensor(place=place, measures=measures, **(parts | changes))


def random_sensor(rng: Rng, assembly: Assembly, place: str, measures: Measure, axis: str = AHEAD) -> Sensor:
    """A sensor of this kind, somehow mounted: up to a whole turn in the plane, skewed and canted some degrees."""
    changes: dict[str, Any] = {"sign": int(rng.choice([-1, 1])), "axis": axis}
    if measures in (Measure.ANGLE, Measure.LENGTH):
        changes["mounting"] = rng.uniform(-0.5, 0.5)
    else:
        # On the body x stays ahead, on what tilts near the tilt axis; an arm's sensor may stand any way in its plane.
        tilt = assembly.attachment.tilt
        along = (
            math.atan2(tilt.direction[2], tilt.direction[0]) if place == "tilt" and tilt is not None else 0.0
        )
        up = 0.3 if place in ("body", "tilt") else 3.0
        over = math.pi * (rng.random() < 0.3)  # on its back
        changes["mounting"] = Mounting(
            along + rng.uniform(-up, up), over + rng.uniform(-0.3, 0.3), rng.uniform(-0.17, 0.17)
        )
    if measures == Measure.PITCH_ROLL:
        changes["side_sign"] = int(rng.choice([-1, 1]))
    return sensor(place, measures, **changes)


def kinds_of(assembly: Assembly, joint: str) -> list[tuple[str, Measure]]:
    """Every (place, measure) that gives a joint of this machine, below tilt and rotation too."""
    turned = assembly.attachment.tilt is not None or assembly.attachment.rotate is not None
    if joint in ("swing_boom", "rotate"):
        return [(joint, Measure.ANGLE)]
    found = [(joint, Measure.ANGLE)]
    if joint != "bucket" or not turned:
        found += [(joint, kind) for kind in BY_GRAVITY]
    if joint in assembly.cylinders:
        found.append((joint, Measure.LENGTH))
    if joint == "bucket" and assembly.attachment.coupler is not None:
        found += [("coupler", kind) for kind in BY_GRAVITY]
    if joint == "bucket" and assembly.links is not None:
        found += [("idler", kind) for kind in (*BY_GRAVITY, Measure.ANGLE)]
        found += [("power_link", kind) for kind in BY_GRAVITY]
    return found


def random_set(rng: Rng, assembly: Assembly, angles: dict[str, float]) -> SensorSet:
    """Sensors of any kind on every joint, inclinometers on the branch that they are on at these angles."""
    sensors: dict[str, Sensor] = {}
    if rng.random() < 0.3:
        sensors["body"] = random_sensor(rng, assembly, "body", Measure.PITCH_ROLL)
    else:
        ahead, left = BODY_PAIRS[int(rng.integers(len(BODY_PAIRS)))]
        sensors["nose"] = random_sensor(rng, assembly, "body", ahead)
        sensors["side"] = random_sensor(rng, assembly, "body", left, LEFT)
    for joint in assembly.ranges:
        kinds = kinds_of(assembly, joint)
        place, kind = kinds[int(rng.integers(len(kinds)))]
        axis = LEFT if place == "tilt" and kind in (Measure.GRAVITY_ANGLE, Measure.INCLINATION) else AHEAD
        one = random_sensor(rng, assembly, place, kind, axis)
        if kind == Measure.INCLINATION:
            up = 1 if rise(assembly, one, angles) > 0.0 else -1
            one = sensor(place, kind, sign=one.sign, axis=axis, mounting=one.mounting, branch=up)
        sensors[joint] = one
    return SensorSet(assembly, sensors)


def _raised(angle: float) -> Rotation:
    return Rotation.from_rotvec([0.0, -angle, 0.0])


def link(assembly: Assembly, one: Sensor, angles: dict[str, float]) -> Rotation:
    """The attitude of what a sensor sits on in a world whose z is plumb, up to a turn about it."""
    turn = leaned(angles["pitch"], angles["roll"])
    if one.place != "body":
        turn *= Rotation.from_rotvec([0.0, 0.0, angles.get("swing_boom", 0.0)])
        for joint in ("boom", "fore_boom", "stick"):
            if joint == "fore_boom" and one.place == "boom":
                break
            turn *= _raised(angles.get(joint, 0.0))
            if one.place == joint:
                break
    if one.place in ("idler", "power_link"):
        turn *= _raised(getattr(four_bar_from_bucket(assembly, angles["bucket"]), one.place))
    elif one.place in ("coupler", "bucket", "tilt"):
        attachment = assembly.attachment
        turn *= _raised(angles["bucket"])
        if one.place != "coupler" and attachment.coupler is not None:
            turn *= _raised(attachment.coupler.angle)
        if one.place == "bucket" and attachment.mount is not None:
            turn *= _raised(attachment.mount.angle)
        if one.place == "tilt":
            assert attachment.tilt is not None
            turn *= Rotation.from_rotvec(angles["tilt"] * np.array(attachment.tilt.direction))
    return turn


def case(assembly: Assembly, one: Sensor, angles: dict[str, float]) -> Rotation:
    """The attitude of a sensor's case in that world."""
    mounting = one.mounting
    assert isinstance(mounting, Mounting)
    skewed = Rotation.from_rotvec([0.0, 0.0, mounting.to_left])
    mounted = _raised(mounting.nose_up) * skewed * Rotation.from_rotvec([mounting.left_up, 0.0, 0.0])
    return link(assembly, one, angles) * mounted


def rise(assembly: Assembly, one: Sensor, angles: dict[str, float]) -> float:
    """How fast (per rad) the height of what an inclinometer looks along grows as its link or tilt turns on."""
    tilt = assembly.attachment.tilt
    about = tilt.direction if one.place == "tilt" and tilt is not None else (0.0, -1.0, 0.0)
    axis = link(assembly, one, angles).apply(about)
    along = case(assembly, one, angles).apply([0.0, 1.0, 0.0] if one.axis == LEFT else [1.0, 0.0, 0.0])
    return float(np.cross(axis, along)[2])


def reading(assembly: Assembly, one: Sensor, angles: dict[str, float]) -> float | tuple[float, float]:
    """What a sensor reads (rad or m) by its definition."""
    if one.measures in (Measure.ANGLE, Measure.LENGTH):
        assert isinstance(one.mounting, float)
        true = angles.get(one.place, math.nan)
        if one.measures == Measure.LENGTH:
            true = cylinder_length(assembly, one.place, true)
        elif one.place == "idler":
            true = four_bar_from_bucket(assembly, angles["bucket"]).idler
        return one.sign * (true + one.mounting)
    stands = case(assembly, one, angles)
    if one.measures == Measure.PITCH_ROLL:
        # ISO 8855: yaw, pitch, roll, each about the axis as the last turn left it; its pitch is nose down.
        _, down, left_up = stands.as_euler("ZYX").tolist()
        assert one.side_sign is not None
        return -one.sign * down, one.side_sign * left_up
    return one.sign * one_number(one, stands.inv().apply([0.0, 0.0, 1.0]).tolist())


def one_number(one: Sensor, plumb: list[float]) -> float:
    """What a sensor of one number says of plumb in its case."""
    along = plumb[1] if one.axis == LEFT else plumb[0]
    if one.measures == Measure.GRAVITY_ANGLE:
        return math.atan2(along, plumb[2])
    return math.asin(max(-1.0, min(1.0, along)))  # rounding only: these are parts of a unit direction


def slowest(sensors: SensorSet, angles: dict[str, float]) -> float:
    """The least `rise` of the set's inclinometers of links, 1 without any: near the vertical it comes to 0."""
    return min(
        (
            abs(rise(sensors.assembly, one, angles))
            for one in sensors.sensors.values()
            if one.measures == Measure.INCLINATION and one.place != "body"
        ),
        default=1.0,
    )
