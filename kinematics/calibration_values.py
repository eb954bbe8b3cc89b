"""Values of a sensor set by the names of sources: zeros, skews and dimensions, read and set."""

import dataclasses
import difflib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from .assembly import Assembly, assemble
from .errors import Fault, Refused, refuse
from .machine import Attachment, BucketLinkage, Cylinder, Machine, Receiver
from .parameters import MACHINE_NAMES, NAMES, parameters_of
from .sensor import LEFT, Measure, Mounting, Sensor
from .sensor_set import LEAN, SensorSet

NOSE_UP, LEFT_UP, TO_LEFT = "nose_up", "left_up", "to_left"
_DIRECTIONS = ("mast_", "tilt_axis_", "rotate_axis_")
_AXES = "xyz"


def offered(sensors: SensorSet) -> tuple[str, ...]:
    """The names of what may be found by calibration, as `sources.Sources` has them: every zero, the skews of sensors of
    gravity, and every dimension of this machine and attachment but the numbers of a direction, which hang together."""
    zeros = [f"{name}.zero{part}" for name, one in sensors.sensors.items() for part in _parts(one)]
    skews = [f"{name}.skew" for name, one in sensors.sensors.items() if one.by_gravity]
    assembly = sensors.assembly
    sizes = {*parameters_of(assembly.machine), *parameters_of(assembly.attachment)}
    return (*zeros, *skews, *(name for name in NAMES if name in sizes and not name.startswith(_DIRECTIONS)))


def unoffered(sensors: SensorSet, names: Iterable[str]) -> Iterator[Fault]:
    """A fault "unknown-parameter" for each name that is not `offered`."""
    known = offered(sensors)
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(str(name), known, n=4, cutoff=0.5)
            yield Fault(
                "unknown-parameter", str(name)[:60], repr(str(name)[:60]),
                "a zero or a dimension of this machine, such as " + ", ".join(near or known[:4]),
                f"did you mean {near[0]}?" if near else "take it out",
            )  # fmt: skip


def turn_of(sensor: Sensor, what: str) -> str:
    """Which number of a mounting `what` is: "zero", "zero.roll", "skew". The zero of one that looks left is left_up."""
    if what == "skew":
        return TO_LEFT
    return LEFT_UP if what == f"zero.{LEAN[1]}" or sensor.axis == LEFT else NOSE_UP


def value_of(sensors: SensorSet, name: str) -> float:
    """The value (rad or m) that a set has of one of `offered`: of "boom.zero" what `Sensor.mounting` holds, `nose_up` or
    the number of an encoder or wire. Raises `Refused` "unknown-parameter"."""
    refuse(unoffered(sensors, [name]))
    of, _, what = name.partition(".")
    if not what:
        return float(sensors.assembly.parameters[name][0])
    sensor = sensors.sensors[of]
    if isinstance(sensor.mounting, Mounting):
        return float(getattr(sensor.mounting, turn_of(sensor, what)))
    return sensor.mounting


def with_values(sensors: SensorSet, values: Mapping[str, float]) -> SensorSet:
    """The same set with these values (rad or m, absolute) by the names of `offered`; checks, what is the attachment's own
    and correlations between all else stay.

    {"boom.zero": 0.02, "boom_length": 4.61}: the boom's sensor reads 0.02 over, its pins are 4.61 m apart. An idler's
    length is its cylinder's rod eye too. Raises `Refused`: "unknown-parameter", and what `Sensor`, `Machine`,
    `Attachment`, `assemble` and `SensorSet` refuse.
    """
    refuse(unoffered(sensors, values))
    faults: list[Fault] = []
    told = dict(sensors.sensors)
    machine, attachment = sensors.assembly.machine, sensors.assembly.attachment
    for name, value in values.items():
        of, _, what = name.partition(".")
        try:
            if what:
                told[of] = _mounted(told[of], what, float(value))
            elif name in MACHINE_NAMES:
                machine = _machine(machine, name, float(value))
            else:
                attachment = _attachment(attachment, name, float(value))
        except Refused as refused:
            faults += [fault.at(name) for fault in refused.faults]
    refuse(faults)
    sized = any("." not in name for name in values)
    assembly: Assembly = assemble(machine, attachment) if sized else sensors.assembly
    return SensorSet(
        assembly, told, sensors.checks, attached=sensors.attached, correlations=sensors.apart_from(values)
    )


def _parts(sensor: Sensor) -> tuple[str, ...]:
    return tuple(f".{lean}" for lean in LEAN) if sensor.measures == Measure.PITCH_ROLL else ("",)


def _mounted(sensor: Sensor, what: str, value: float) -> Sensor:
    if isinstance(sensor.mounting, Mounting):
        turns: dict[str, Any] = {turn_of(sensor, what): value}
        return dataclasses.replace(sensor, mounting=dataclasses.replace(sensor.mounting, **turns))
    return dataclasses.replace(sensor, mounting=value)


def _moved(point: tuple[float, ...], axis: str, value: float) -> Any:
    at = _AXES.index(axis)
    return (*point[:at], value, *point[at + 1 :])


def _machine(m: Machine, name: str, value: float) -> Machine:
    linkage, parts = m.bucket, {}
    if name.startswith("receiver_") and m.receiver is not None:
        place = _moved(m.receiver.place, name[-1], value)
        return dataclasses.replace(m, receiver=Receiver(place, m.receiver.mast))
    if "_cylinder_" in name:
        joint, pin = name.split("_cylinder_")
        pins: dict[str, Any] = {pin: value}
        if joint == "bucket" and isinstance(linkage, BucketLinkage) and isinstance(linkage.drive, Cylinder):
            drive = dataclasses.replace(linkage.drive, **pins)
            return dataclasses.replace(m, bucket=dataclasses.replace(linkage, drive=drive))
        parts = {joint: dataclasses.replace(getattr(m, joint), **pins)}
        return dataclasses.replace(m, **parts)
    if name.startswith(("idler_", "power_link_")) and isinstance(linkage, BucketLinkage):
        of = {"idler_pivot_x": "pivot_x", "idler_pivot_z": "pivot_z", "power_link_length": "power_link"}
        parts = {of.get(name, name): value}
        if name == "idler_length" and isinstance(linkage.drive, Cylinder):
            parts["drive"] = dataclasses.replace(linkage.drive, eye_x=value)
        return dataclasses.replace(m, bucket=dataclasses.replace(linkage, **parts))
    parts = {name: value}
    return dataclasses.replace(m, **parts)


def _attachment(a: Attachment, name: str, value: float) -> Attachment:
    part, _, axis = name.rpartition("_")
    parts: dict[str, Any] = {name: value}
    if part in ("coupler", "mount"):
        parts = {part: dataclasses.replace(getattr(a, part), **{axis: value})}
    elif part in ("tilt_point", "rotate_point"):
        joint = part.partition("_")[0]
        turn = getattr(a, joint)
        parts = {joint: dataclasses.replace(turn, point=_moved(turn.point, axis, value))}
    elif name != "pin_spacing":
        of, _, which = part.rpartition("_")
        row = {"tooth": "teeth", "heel": "heel", "": "edge"}[of]
        points = list(getattr(a, row))
        at = {"left": 0, "right": -1, "centre": a.centre if of == "" else 1}[which]
        points[at] = _moved(points[at], axis, value)
        parts = {row: tuple(points)}
    return dataclasses.replace(a, **parts)
