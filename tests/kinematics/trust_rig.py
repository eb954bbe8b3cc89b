"""Machines, sensors and chains with something wrong with them, made by changing the parts themselves and asking the plain
doors (`angles_from`, `pose`, `Book`): nothing here knows a derivative."""

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly, assemble
from kinematics.machine import (
    UNIT_WITHIN,
    Attachment,
    Axis,
    BucketLinkage,
    Cylinder,
    Machine,
    Offset,
    Receiver,
)
from kinematics.parameters import MACHINE_NAMES
from kinematics.sensing import angles_from
from kinematics.sensor import Mounting, Sensor
from kinematics.sensor_set import SensorSet

AXES = "xyz"
LINES = {"edge": ("left", "centre", "right"), "teeth": ("tooth_left", "tooth_centre", "tooth_right")}


def _moved(point: tuple[float, ...], axis: str, by: float) -> Any:
    at = AXES.index(axis)
    return (*point[:at], point[at] + by, *point[at + 1 :])


def _machine(m: Machine, name: str, by: float) -> Machine:
    if name.startswith(("receiver_", "mast_")):
        assert m.receiver is not None
        part, axis = name.split("_")
        place = _moved(m.receiver.place, axis, by if part == "receiver" else 0.0)
        return dataclasses.replace(
            m, receiver=Receiver(place, _turned(m.receiver.mast, axis, by if part == "mast" else 0.0))
        )
    linkage = m.bucket
    if "_cylinder_" in name:
        joint, pin = name.split("_cylinder_")
        if joint == "bucket":
            assert isinstance(linkage, BucketLinkage)
            drive = dataclasses.replace(linkage.drive, **{pin: getattr(linkage.drive, pin) + by})
            return dataclasses.replace(m, bucket=dataclasses.replace(linkage, drive=drive))
        held = getattr(m, joint)
        return dataclasses.replace(m, **{joint: dataclasses.replace(held, **{pin: getattr(held, pin) + by})})
    if name.startswith(("idler_", "power_link_")):
        assert isinstance(linkage, BucketLinkage)
        of = {"idler_pivot_x": "pivot_x", "idler_pivot_z": "pivot_z", "power_link_length": "power_link"}.get(
            name, name
        )
        changes: dict[str, Any] = {of: getattr(linkage, of) + by}
        if name == "idler_length" and isinstance(linkage.drive, Cylinder):
            changes["drive"] = dataclasses.replace(linkage.drive, eye_x=linkage.drive.eye_x + by)
        return dataclasses.replace(m, bucket=dataclasses.replace(linkage, **changes))
    return dataclasses.replace(m, **{name: getattr(m, name) + by})


def _attachment(a: Attachment, name: str, by: float) -> Attachment:
    if name == "pin_spacing":
        return dataclasses.replace(a, pin_spacing=a.pin_spacing + by)
    part, _, axis = name.rpartition("_")
    if part in ("coupler", "mount"):
        step = getattr(a, part)
        assert isinstance(step, Offset)
        parts: dict[str, Any] = {part: dataclasses.replace(step, **{axis: getattr(step, axis) + by})}
        return dataclasses.replace(a, **parts)
    if part.startswith(("tilt_", "rotate_")):
        joint, of = part.split("_")
        turn = getattr(a, joint)
        assert isinstance(turn, Axis)
        if of == "axis":
            turned = dataclasses.replace(turn, direction=_turned(turn.direction, axis, by))
        else:
            turned = dataclasses.replace(turn, point=_moved(turn.point, axis, by))
        parts = {joint: turned}
        return dataclasses.replace(a, **parts)
    of, _, which = part.rpartition("_")
    rows = {"tooth": "teeth", "heel": "heel", "": "edge"}
    points = list(getattr(a, rows[of]))
    at = {"left": 0, "right": -1, "centre": a.centre if of == "" else 1}[which]
    points[at] = _moved(points[at], axis, by)
    parts = {rows[of]: tuple(points)}
    return dataclasses.replace(a, **parts)


def _turned(direction: tuple[float, ...], axis: str, by: float) -> Any:
    """A direction so moved; by more than a step for a difference it stays one, of length 1."""
    moved = _moved(direction, axis, by)
    return moved if abs(by) < UNIT_WITHIN else tuple(value / math.hypot(*moved) for value in moved)


def changed(assembly: Assembly, changes: Mapping[str, float]) -> Assembly:
    """The pair with some dimensions (of `parameters.NAMES`) longer by so much (m or rad)."""
    if not changes:
        return assembly
    machine, attachment = assembly.machine, assembly.attachment
    for name, by in changes.items():
        if name in MACHINE_NAMES:
            machine = _machine(machine, name, by)
        else:
            attachment = _attachment(attachment, name, by)
    return assemble(machine, attachment)


def worn(assembly: Assembly, by: float) -> Assembly:
    """The pair with every edge and tooth point so far (m) on towards the heel, in the bucket's plane."""
    a = assembly.attachment
    edge, (one, other) = a.edge[a.centre], a.heel
    x, z = 0.5 * (one[0] + other[0]) - edge[0], 0.5 * (one[2] + other[2]) - edge[2]
    x, z = x / math.hypot(x, z), z / math.hypot(x, z)

    def gone(points: Any) -> Any:
        return tuple((p[0] + by * x, p[1], p[2] + by * z) for p in points)

    teeth = None if a.teeth is None else gone(a.teeth)
    return assemble(assembly.machine, dataclasses.replace(a, edge=gone(a.edge), teeth=teeth))


def squared(sensors: Mapping[str, Sensor]) -> dict[str, Sensor]:
    """The same, cases neither skewed nor canted, so that a turn of `to_left` is one about their own up axis."""
    return {
        name: dataclasses.replace(one, mounting=dataclasses.replace(one.mounting, left_up=0.0, to_left=0.0))
        if isinstance(one.mounting, Mounting) else one
        for name, one in sensors.items()
    }  # fmt: skip


def skewed(sensors: Mapping[str, Sensor], which: Mapping[str, float]) -> dict[str, Sensor]:
    """The same, of some the noses so far (rad) further to the left."""
    found = dict(sensors)
    for name, by in which.items():
        one = found[name]
        assert isinstance(one.mounting, Mounting)
        turned = dataclasses.replace(one.mounting, to_left=one.mounting.to_left + by)
        found[name] = dataclasses.replace(one, mounting=turned)
    return found


def believed(sensors: SensorSet, readings: Mapping[str, Any]) -> Pose:
    """The pose that readings give."""
    return pose(sensors.assembly, **angles_from(sensors, readings))


def added(readings: Mapping[str, Any], to: Mapping[tuple[str, int], float]) -> dict[str, Any]:
    """Readings with errors, by sensor and which of its numbers."""
    found = dict(readings)
    for (name, part), by in to.items():
        told = found[name]
        found[name] = (
            (told[0] + by * (part == 0), told[1] + by * (part == 1)) if isinstance(told, tuple) else told + by
        )
    return found


def told_of(found: Pose, line: str, fall: tuple[float, float]) -> list[float]:
    """What `Trust.rates` has rows of: heights of left, centre, right, the same against a fall, the cross-slope."""
    places = [found.level(point) for point in LINES[line]]
    (lx, ly, lz), _, (rx, ry, rz) = places
    against = [z - fall[0] * x - fall[1] * y for x, y, z in places]
    return [*(z for *_, z in places), *against, (rz - lz) / math.hypot(lx - rx, ly - ry)]
