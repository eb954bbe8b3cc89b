"""From a validated document to its sensors, as far as one file alone shows what they may be."""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from kinematics.errors import Fault, Refused
from kinematics.machine import Attachment, Machine, Range
from kinematics.sensor import AHEAD, Measure, Mounting, Sensor, blind_to
from kinematics.sensor_set import gives

from .measures import Measures
from .schema import AttachmentDocument, MachineDocument
from .schema_sensors import AttachmentSensor, BothZeros, CaseMounting, MachineSensor

_BRANCH = {"rising": 1, "falling": -1}
_UNCERTAIN = ("zero_uncertainty", "skew_uncertainty", "per_kelvin")
_TIMES = {"latency_s": "latency_ms", "age_limit_s": "age_limit_ms"}


@dataclass(frozen=True, slots=True)
class Sensed:
    """The sensors of one file by name, and `checks`, which are only held against them; `faults` at their place there."""

    sensors: dict[str, Sensor] = field(default_factory=dict)
    checks: dict[str, Sensor] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)


def sensed(document: MachineDocument | AttachmentDocument, geometry: Machine | Attachment | None) -> Sensed:
    """Every sensor of a document in m, rad and s, with all faults; `geometry` None where that has faults of its own.

    A sign of -1 and a nose_up of 1.4 deg on a boom at 30 deg, body level: a reading of -31.4 deg.
    """
    found = Sensed()
    for name, table in (document.sensors or {}).items():
        m = Measures(document.units)
        where = f"sensors.{name}"
        try:
            sensor = _sensor(m, table)
        except Refused as refused:
            # What could not be read is NaN, and already named.
            own = [
                fault
                for fault in refused.faults
                if fault.where.partition(".")[0] in _UNCERTAIN
                or not (m.faults and fault.code == "not-finite")
            ]
            found.faults.extend([_placed(fault).at(where) for fault in (*m.faults, *own)])
            continue
        (found.checks if table.check else found.sensors)[name] = sensor
        found.faults.extend(
            [fault.at(where) for fault in (*_on_its_back(sensor), *_misplaced(document, sensor))]
        )
        if isinstance(geometry, Attachment):
            found.faults.extend([fault.at(where) for fault in _blind(geometry, sensor)])
    found.faults.extend(_given_twice(found.sensors))
    return found


def _sensor(m: Measures, table: MachineSensor | AttachmentSensor) -> Sensor:
    measures = Measure(table.measures)
    # No limit for angles here: an encoder may count two turns, and the sensor knows its own.
    value: Callable[[str, float], float] = (
        m.metres if measures == Measure.LENGTH else lambda _, angle: m.turned(angle)
    )
    mounting = table.mounting
    zero = table.zero_uncertainty
    of_reading = m.unlimited if measures == Measure.LENGTH else m.turned

    def uncertain(value: float | None, read: Callable[[float], float]) -> float | None:
        return None if value is None else read(value)

    return Sensor(
        place=table.place,
        measures=measures,
        sign=table.sign,
        mounting=_case(m, mounting) if isinstance(mounting, CaseMounting) else value("mounting", mounting),
        range=Range(value("range.low", table.range.low), value("range.high", table.range.high)),
        noise=value("noise", table.noise),
        latency_s=table.latency_ms / 1000,
        age_limit_s=table.age_limit_ms / 1000,
        axis=AHEAD if table.axis is None else table.axis,
        side_sign=table.side_sign,
        branch=None if table.branch is None else _BRANCH[table.branch],
        zero_uncertainty=(of_reading(zero.pitch), of_reading(zero.roll))
        if isinstance(zero, BothZeros)
        else uncertain(zero, of_reading),
        skew_uncertainty=uncertain(table.skew_uncertainty, m.turned),
        per_kelvin=uncertain(table.per_kelvin, of_reading),
    )


def _case(m: Measures, mounting: CaseMounting) -> Mounting:
    return Mounting(m.turned(mounting.nose_up), m.turned(mounting.left_up), m.turned(mounting.to_left))


def _placed(fault: Fault) -> Fault:
    where = _TIMES.get(fault.where, fault.where)
    return Fault(fault.code, where, fault.found, fault.expected, fault.advice, fault.numbers)


def _on_its_back(sensor: Sensor) -> Iterator[Fault]:
    """A case whose reading would fall as its link is raised though its sign is 1: nobody would find that sign.

    Said by sign and nose_up, as found on the machine, it is the same sensor.
    """
    mounting = sensor.mounting
    if isinstance(mounting, Mounting) and sensor.side_sign is None and abs(mounting.left_up) > 0.5 * math.pi:
        yield Fault(
            "not-sensed-so", "mounting.left_up", f"{math.degrees(mounting.left_up):g} deg, on its back",
            "at most 90 deg either way where it gives one number", "leave left_up out: sign and nose_up say it all",
        )  # fmt: skip


def _misplaced(document: MachineDocument | AttachmentDocument, sensor: Sensor) -> Iterator[Fault]:
    """What a sensor asks of this file that it does not have: a joint, a linkage, a cylinder, a coupler."""
    place = sensor.place
    if place in ("swing_boom", "fore_boom", "tilt", "rotate") and getattr(document, place) is None:
        yield Fault(
            "no-such-joint",
            "place",
            place,
            f"a joint of this {document.kind}",
            f"describe [{place}], or take it out",
        )
    elif isinstance(document, MachineDocument):
        if place in ("idler", "power_link") and document.bucket.linkage is None:
            yield Fault(
                "no-linkage", "place", place, "idler and power link under [bucket.linkage]",
                "measure the linkage, or sense the bucket itself",
            )  # fmt: skip
        if sensor.measures == Measure.LENGTH and getattr(document, place).cylinder is None:
            yield Fault(
                "no-cylinder", "place", place, f"a cylinder under [{place}.cylinder]",
                "measure its cylinder, or sense the angle",
            )  # fmt: skip
    elif place == "coupler" and document.coupler is None:
        yield Fault("not-sensed-so", "place", place, "a coupler under [coupler]", "place it on the bucket")
    elif place == "bucket" and (document.tilt or document.rotate):
        yield Fault(
            "not-sensed-so", "place", "bucket, below tilt or rotation", "coupler, or idler or power_link of the machine",
            "below a tilt axis gravity shows both joints at once",
        )  # fmt: skip


def _blind(attachment: Attachment, sensor: Sensor) -> Iterator[Fault]:
    if sensor.place == "tilt" and attachment.tilt is not None and isinstance(sensor.mounting, Mounting):
        yield from blind_to(sensor, sensor.mounting.axes(), attachment.tilt.direction)


def _given_twice(sensors: Mapping[str, Sensor]) -> Iterator[Fault]:
    """Every sensor that gives what one before it in the file gives."""
    first: dict[str, str] = {}
    for name, sensor in sensors.items():
        twice = [joint for joint in gives(sensor) if joint in first]
        for joint in twice:
            yield Fault(
                "joint-given-twice", f"sensors.{name}", f"{joint} by {first[joint]} and {name}",
                "one sensor that gives it", "set check = true in one: it is held against the other",
            )  # fmt: skip
        first.update({joint: name for joint in gives(sensor) if joint not in first})
