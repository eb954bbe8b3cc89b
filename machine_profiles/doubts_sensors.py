"""What a profile may say of its sensors and is hardly ever true, or will be refused once they are read.

Limits: common practice, no source.
"""

import math
from collections.abc import Iterator, Sequence

from kinematics.assembly import machine_ranges
from kinematics.errors import Fault
from kinematics.machine import Attachment, BucketLinkage, Cylinder, Machine, Range
from kinematics.sensor import Measure, Mounting, Sensor

from .loader import Profile

NOISE_DEG = (0.003, 1.0)
NOISE_MM = (0.05, 10.0)
ZERO_DEG = (0.002, 2.0)
ZERO_MM = (0.1, 20.0)
LATENCY_MS = 500.0
_SLACK = 1e-9  # m and rad: what ten digits leave


def sensor_doubts(profile: Profile) -> tuple[str, ...]:
    """What is hardly true of the sensors of one file, a sentence each; empty where nothing is. Never raises.

    A noise of 0.05 in a file in radians: "sensors.boom.noise is 2.86 deg; usual are 0.003 to 1 deg: check units.angle".
    """
    every = {**profile.sensors, **profile.checks}
    travels = _travels(profile.geometry)
    return tuple(
        f"sensors.{name}.{doubt}"
        for name, sensor in every.items()
        for doubt in (*_usual(sensor), *_short(sensor, travels))
    )


def unsensed_doubts(missing: Sequence[Fault]) -> tuple[str, ...]:
    """One sentence where a pair has sensors, and not enough: its readings will be refused, typed angles will not."""
    if not missing:
        return ()
    what = ", ".join(fault.found.removeprefix("no sensor for ") for fault in missing)
    return (f"no sensor gives {what}: readings of this pair will be refused; angles typed by hand are not",)


def _usual(sensor: Sensor) -> Iterator[str]:
    length = sensor.unit == "m"
    unit, key = ("mm", "units.length") if length else ("deg", "units.angle")
    for name, value, (low, high) in (
        ("noise", sensor.noise, NOISE_MM if length else NOISE_DEG),
        *(
            ("zero_uncertainty", zero, ZERO_MM if length else ZERO_DEG)
            for zero in sorted({*sensor.zero_uncertainties})
        ),
    ):
        shown = value * 1e3 if length else math.degrees(value)
        if not low <= shown <= high:
            yield f"{name} is {shown:.3g} {unit}; usual are {low:g} to {high:g} {unit}: check {key}"
    if sensor.latency_s * 1e3 > LATENCY_MS:
        yield f"latency_ms is {sensor.latency_s * 1e3:g}; usual are up to {LATENCY_MS:g}"


def _travels(geometry: Machine | Attachment) -> dict[tuple[str, Measure], Range]:
    """Joint angles (rad) and cylinder lengths (m) from end to end, as far as one file says them."""
    if isinstance(geometry, Attachment):
        axes = {"tilt": geometry.tilt, "rotate": geometry.rotate}
        return {(name, Measure.ANGLE): axis.range for name, axis in axes.items() if axis is not None}
    found = {(name, Measure.ANGLE): span for name, span in machine_ranges(geometry)[0].items()}
    held = {name: getattr(geometry, name) for name in ("boom", "fore_boom", "stick")}
    if isinstance(geometry.bucket, BucketLinkage):
        held["bucket"] = geometry.bucket.drive
    else:
        found["bucket", Measure.ANGLE] = geometry.bucket
    return found | {
        (name, Measure.LENGTH): part.stroke for name, part in held.items() if isinstance(part, Cylinder)
    }


def _short(sensor: Sensor, travels: dict[tuple[str, Measure], Range]) -> Iterator[str]:
    """A range that does not hold all that an encoder or draw-wire will read over its joint's travel."""
    travel = travels.get((sensor.place, sensor.measures))
    if travel is None or isinstance(sensor.mounting, Mounting):
        return
    ends = [sensor.sign * (end + sensor.mounting) for end in (travel.low, travel.high)]
    low, high = min(ends), max(ends)
    turn = math.inf if sensor.measures == Measure.LENGTH else 2.0 * math.pi
    if sensor.range.high - sensor.range.low >= turn - _SLACK:
        return  # every angle has a reading in it
    turns = 0.0 if math.isinf(turn) else turn * math.ceil((sensor.range.low - _SLACK - low) / turn)
    if sensor.range.low - _SLACK <= low + turns and high + turns <= sensor.range.high + _SLACK:
        return
    scale, unit = (1e3, "mm") if sensor.unit == "m" else (math.degrees(1.0), "deg")
    given, read = (
        f"{a * scale:.4g} to {b * scale:.4g} {unit}"
        for a, b in ((sensor.range.low, sensor.range.high), (low, high))
    )
    yield (
        f"range is {given}; over the whole travel it reads {read}: beyond its range a reading is refused; "
        "are sign and mounting right?"
    )
