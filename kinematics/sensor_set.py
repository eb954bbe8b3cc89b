"""The sensors of one machine with one attachment, proven to give the body's lean and every joint."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from .assembly import JOINTS, Assembly
from .errors import Fault, refuse
from .sensor import BY_GRAVITY, LEFT, Axes, Measure, Mounting, Sensor, blind_to

LEAN = ("pitch", "roll")
_ON_BUCKET = ("idler", "power_link", "coupler", "bucket")


def gives(sensor: Sensor) -> tuple[str, ...]:
    """What a sensor gives: of `LEAN` and `assembly.JOINTS`; two of them only where it gives both pitch and roll."""
    if sensor.place == "body":
        return LEAN if sensor.measures == Measure.PITCH_ROLL else LEAN[sensor.axis == LEFT :][:1]
    return ("bucket",) if sensor.place in _ON_BUCKET else (sensor.place,)


@dataclass(frozen=True, slots=True, eq=False)
class SensorSet:
    """Sensors by a name of the caller's, each joint and the lean given by one of `sensors`.

    `checks`: sensors of what another gives already. They change no value; what they read has to agree with it
    (see `sensing.angles_from`). `attached`: names of those that are the attachment's own, and go with it.
    `correlations`: what was found together and errs together, (source, source, coefficient) by the names of
    `sources.Sources`, such as ("boom.zero", "boom_length", -0.8). `all` of them;
    `by_joint`: what gives a joint or the lean, name and sensor; `axes` of the cases of sensors of gravity, `zeros`
    of the others.
    Raises `Refused` with every fault: "missing-joint" for what no sensor gives, "joint-given-twice", "no-such-joint",
    "no-linkage", "no-cylinder", "not-sensed-so", "name-taken".
    """

    assembly: Assembly
    sensors: Mapping[str, Sensor]
    checks: Mapping[str, Sensor] = field(default_factory=dict)
    attached: frozenset[str] = field(default=frozenset(), kw_only=True)
    correlations: tuple[tuple[str, str, float], ...] = field(default=(), kw_only=True)
    all: Mapping[str, Sensor] = field(init=False, repr=False)
    by_joint: Mapping[str, tuple[str, Sensor]] = field(init=False, repr=False)
    axes: Mapping[str, Axes] = field(init=False, repr=False)
    zeros: Mapping[str, float] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        refuse(self.faults())
        every = dict(self.sensors) | dict(self.checks)
        axes: dict[str, Axes] = {}
        zeros: dict[str, float] = {}
        for name, sensor in every.items():
            if isinstance(sensor.mounting, Mounting):
                axes[name] = sensor.mounting.axes()
            else:
                zeros[name] = sensor.mounting
        by_joint = {joint: (name, sensor) for name, sensor in self.sensors.items() for joint in gives(sensor)}
        own: dict[str, dict[str, Any]] = {
            "sensors": dict(self.sensors), "checks": dict(self.checks), "all": every,
            "by_joint": by_joint, "axes": axes, "zeros": zeros,
        }  # fmt: skip
        for name, value in own.items():
            object.__setattr__(self, name, MappingProxyType(value))

    def apart_from(self, names: Collection[str]) -> tuple[tuple[str, str, float], ...]:
        """The correlations without those of these sources or of these sensors' zeros: what was set or measured anew."""
        told = {*names}
        return tuple(
            each for each in self.correlations
            if not any(name in told or name.partition(".")[0] in told for name in each[:2])
        )  # fmt: skip

    @property
    def latency_s(self) -> float:
        """Of the slowest sensor that gives a value. Times the edge's vertical speed it is the height's lag: 0.1 s at
        0.3 m/s are 30 mm."""
        return max(sensor.latency_s for sensor in self.sensors.values())

    def faults(self) -> Iterator[Fault]:
        """Everything that is wrong with this set on this machine."""
        claims: dict[str, list[str]] = {}
        for kind, sensors in (("sensors", self.sensors), ("checks", self.checks)):
            for name, sensor in sensors.items():
                for fault in self._misplaced(sensor):
                    yield fault.at(f"{kind}.{name}")
        for name, sensor in self.sensors.items():
            for joint in gives(sensor):
                claims.setdefault(joint, []).append(name)
        for joint, names in claims.items():
            if len(names) > 1:
                yield Fault(
                    "joint-given-twice", f"sensors.{names[1]}", f"{joint} by " + " and ".join(names),
                    "one sensor that gives it", "declare the other under checks: it is held against the first",
                )  # fmt: skip
        for joint in (*LEAN, *self.assembly.ranges):
            if joint not in claims:
                yield Fault(
                    "missing-joint", "sensors", f"no sensor for {joint}",
                    "one for each of " + ", ".join((*LEAN, *self.assembly.ranges)), "add one",
                )  # fmt: skip
        for name in self.checks:
            if name in self.sensors:
                yield Fault("name-taken", f"checks.{name}", "a name under sensors too", "a name of its own")

    def _misplaced(self, sensor: Sensor) -> Iterator[Fault]:
        """What a sensor asks of the machine that it does not have, and what this attachment keeps it from seeing."""
        assembly, place = self.assembly, sensor.place
        attachment = assembly.attachment
        for joint in gives(sensor):
            if joint in JOINTS and joint not in assembly.ranges:
                yield Fault(
                    "no-such-joint", "place", place, "a joint of " + ", ".join(assembly.ranges),
                    "this machine and attachment do not have it",
                )  # fmt: skip
                return
        if place in ("idler", "power_link") and assembly.links is None:
            yield Fault(
                "no-linkage", "place", f"{place} on a machine without a measured bucket linkage",
                "idler and power link in the profile", "measure the linkage, or sense the bucket itself",
            )  # fmt: skip
        if sensor.measures == Measure.LENGTH and place not in assembly.cylinders:
            yield Fault(
                "no-cylinder", "place", place, "one of " + (", ".join(assembly.cylinders) or "none: none is measured"),
                "measure its cylinder, or sense the angle",
            )  # fmt: skip
        if sensor.measures in BY_GRAVITY:
            if place == "coupler" and attachment.coupler is None:
                yield Fault(
                    "not-sensed-so", "place", "coupler", "bucket: this attachment hangs on the pins itself"
                )
            if place == "bucket" and (attachment.tilt or attachment.rotate):
                yield Fault(
                    "not-sensed-so", "place", "bucket, below tilt or rotation",
                    "idler, power_link or coupler for the bucket's joint, tilt for the tilt",
                    "below a tilt axis gravity shows both joints at once",
                )  # fmt: skip
            if place == "tilt" and attachment.tilt is not None and isinstance(sensor.mounting, Mounting):
                yield from blind_to(sensor, sensor.mounting.axes(), attachment.tilt.direction)
