"""The sensors of a machine and of its attachment as one set, and what their noise costs at the edge."""

import math
from collections.abc import Mapping

from kinematics.arm import pose
from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused, refuse
from kinematics.sensing import Told, angles_from, readings_of
from kinematics.sensor_set import SensorSet

from .loader import Profile

TOGETHER = "all together"  # no sensor's name, which has no space
_CORNERS = ("left", "centre", "right")


def sensor_set(machine: Profile, attachment: Profile, assembly: Assembly) -> SensorSet | None:
    """The sensors of both files on their assembly, None where neither file has any: readings are then typed by hand.

    Raises `Refused`: "name-taken" for every name in both files, and without that every fault of the set as `SensorSet`
    has them, "missing-joint" among them. A fault lies in its file: "crawler-14t.sensors.idler"; a missing joint at
    "sensors".
    """
    files = {
        name: f"{half.id}.sensors" for half in (machine, attachment) for name in (*half.sensors, *half.checks)
    }
    if not files:
        return None
    ours = {*machine.sensors, *machine.checks}
    refuse(
        Fault(
            "name-taken", f"{attachment.id}.sensors.{name}", f"a name that {machine.id} has for a sensor too",
            "a name of its own", "rename it in one of the files",
        )
        for name in (*attachment.sensors, *attachment.checks)
        if name in ours
    )  # fmt: skip
    try:
        return SensorSet(
            assembly, {**machine.sensors, **attachment.sensors}, {**machine.checks, **attachment.checks},
            attached=frozenset({*attachment.sensors, *attachment.checks}),
        )  # fmt: skip
    except Refused as refused:
        raise Refused(_in_file(fault, files) for fault in refused.faults) from None


def _in_file(fault: Fault, files: Mapping[str, str]) -> Fault:
    """The fault of a set at its sensor's table; a check stands among the others there."""
    _, _, place = fault.where.partition(".")
    if not place:
        return fault
    where = f"{files[place.partition('.')[0]]}.{place}"
    return Fault(fault.code, where, fault.found, fault.expected, fault.advice, fault.numbers)


def edge_by_noise(sensors: SensorSet) -> dict[str, float]:
    """How far (m, up or down) one standard deviation of each sensor moves the edge: of its corners and centre the one
    that moves most, machine level, every joint in the middle of its range; `TOGETHER`: all of them, independent.

    0.05 deg of a gravity sensor on a boom of 4.6 m that lies level: 4.0 mm, since the stick is seen from plumb too.
    Empty where the sensors cannot tell this pose.
    """
    middle = {name: 0.5 * (span.low + span.high) for name, span in sensors.assembly.ranges.items()}
    moves: dict[str, list[float]] = {}
    try:
        there = pose(sensors.assembly, pitch=0.0, roll=0.0, **middle)
        readings = readings_of(sensors, there)
        for name, sensor in sensors.sensors.items():
            stepped = [
                _heights(sensors, readings | {name: each}) for each in _off_by(readings[name], sensor.noise)
            ]
            moves[name] = [
                math.hypot(*(heights[i] - there.height(corner) for heights in stepped))
                for i, corner in enumerate(_CORNERS)
            ]
    except Refused:
        return {}
    together = max(math.hypot(*each) for each in zip(*moves.values(), strict=True))
    return {name: max(move) for name, move in moves.items()} | {TOGETHER: together}


def _off_by(reading: Told, step: float) -> list[Told]:
    """The reading with each of its numbers off by a step, one at a time."""
    if isinstance(reading, tuple):
        return [(reading[0] + step, reading[1]), (reading[0], reading[1] + step)]
    return [reading + step]


def _heights(sensors: SensorSet, readings: Mapping[str, Told]) -> list[float]:
    found = pose(sensors.assembly, **angles_from(sensors, readings))
    return [found.height(corner) for corner in _CORNERS]
