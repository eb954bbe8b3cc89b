"""The sensors of a machine and of its attachment as one set, and what their noise costs at the edge."""

import math
from collections.abc import Iterator, Mapping

import numpy as np

from kinematics.arm import pose
from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused, refuse
from kinematics.parameters import NAMES
from kinematics.sensing import Told, angles_from, readings_of
from kinematics.sensor import Sensor
from kinematics.sensor_set import SensorSet

from .calibrated import Correlations, believed, correlations, of_file, standing
from .loader import Profile
from .schema_calibration import MachineCalibrationTable

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
            correlations=found_together(machine, attachment, assembly)[0],
        )  # fmt: skip
    except Refused as refused:
        raise Refused(_in_file(fault, files) for fault in refused.faults) from None


def found_together(
    machine: Profile, attachment: Profile, assembly: Assembly
) -> tuple[Correlations, tuple[str, ...]]:
    """What the calibrations of both files say hangs together, and the names that count no more: their zero, dimension or
    uncertainty is another by now than was found.

    What a machine shares with an attachment counts with that revision of it alone; `assembly`: the pair, its receiver
    clamped where it is.
    """
    if "calibration" not in machine.document and "calibration" not in attachment.document:
        return (), ()
    now = believed({**machine.sensors, **attachment.sensors}) | dict(_dimensions(assembly))
    mine, lost = standing(machine.document, now)
    its, lost_too = standing(attachment.document, now)
    said = of_file(machine.document)
    bound = isinstance(said, MachineCalibrationTable) and said.attachment == attachment.same_hash
    said_by_both = (
        *correlations(attachment.document, its),
        *correlations(machine.document, [*mine, *(its if bound else ())]),
    )
    told = {frozenset(each[:2]): each for each in said_by_both}
    every = {**machine.sensors, **attachment.sensors}
    return tuple(
        (one, other, as_source(one, every) * as_source(other, every) * coefficient)
        for one, other, coefficient in told.values()
    ), (*lost, *lost_too)


def as_source(name: str, sensors: Mapping[str, Sensor]) -> float:
    """1 or -1: a source of `sources.Sources` errs in what a sensor reads, a file in how it is mounted. A boom sensor of
    sign 1 that is turned 0.001 rad further than its file says is believed as one that reads 0.001 too much: -1."""
    of, _, what = name.partition(".")
    if not what:
        return 1.0
    sensor = sensors[of]
    if what == "skew":
        return -1.0
    return -float(sensor.side_sign if what == "zero.roll" and sensor.side_sign is not None else sensor.sign)


def _dimensions(assembly: Assembly) -> Iterator[tuple[str, tuple[float, float]]]:
    """Value and standard uncertainty of every dimension that is known by its name."""
    values = dict(zip(NAMES, assembly.parameters.view(np.float64).tolist(), strict=True))
    for part in (assembly.machine, assembly.attachment):
        for name, standard in (part.uncertainty.of if part.uncertainty is not None else {}).items():
            yield name, (values[name], standard)


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
