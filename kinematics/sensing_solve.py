"""From checked readings to the lean and the joint angles, body first, each link from what the links before it say.

A fault does not stop the rest: what can still be found is found, so that all faults come at once.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from . import drives
from .assembly import Assembly
from .chain import STEEPEST_RAD
from .errors import Fault, Refused
from .linkage import wrapped
from .machine import Point, Range
from .sensing_gravity import (
    ARM_AXIS,
    Line,
    across,
    dot,
    line_of,
    meeting,
    on_link,
    swung,
    turn_between,
    turns_onto,
    whole,
)
from .sensor import Measure, Sensor
from .sensor_set import LEAN, SensorSet

NEAR_VERTICAL_RAD = math.radians(10.0)
"""Nearer to the vertical an inclination hardly tells one angle from its mirror, nor gravity a turn about an axis."""
# A dual-axis unit that feels another sideways lean than its link can have: no arm twists so far.
MOST_TWIST_RAD = math.radians(10.0)
_FULL_TURN = 2.0 * math.pi
_ROUNDING_RAD = 1e-9
Numbers = tuple[float, ...]
Angles = dict[str, float]


def solve(sensors: SensorSet, said: Mapping[str, Numbers], faults: list[Fault]) -> Angles:
    """The angles (rad) that can be found from finite readings of all `sensors.sensors`; what cannot goes to `faults`.

    An angle beyond its joint is in both. Faults as of `sensing.angles_from`.
    """
    run = _Run(sensors, said, faults, {})
    ranges = sensors.assembly.ranges
    plumb = run.body()
    if "swing_boom" in ranges:
        run.directly("swing_boom")
        swing = run.found.get("swing_boom")
        plumb = None if plumb is None or swing is None else swung(plumb, swing)
    before: float | None = 0.0
    for joint in ("boom", "fore_boom", "stick", "bucket"):
        if joint in ranges:
            before = run.link(joint, plumb, before)
    if "tilt" in ranges:
        below = held_angle(sensors.assembly, "tilt")
        run.tilt(None if plumb is None or before is None else on_link(plumb, before + below))
    if "rotate" in ranges:
        run.directly("rotate")
    return run.found


def held_angle(assembly: Assembly, place: str) -> float:
    """Angle (rad) by which the frame of a sensor's place stands turned in the plane from the link it moves with: below a
    coupler its angle, of a bucket the mount's too."""
    attachment = assembly.attachment
    steps = {"tilt": (attachment.coupler,), "bucket": (attachment.coupler, attachment.mount)}.get(place, ())
    return sum(step.angle for step in steps if step is not None)


@dataclass(frozen=True, slots=True)
class _Run:
    """One solution under way."""

    sensors: SensorSet
    said: Mapping[str, Numbers]
    faults: list[Fault]
    found: Angles

    def body(self) -> Point | None:
        """Plumb in the body; pitch and roll into `found`."""
        names = [self.sensors.by_joint[lean][0] for lean in LEAN]
        lines: list[Line] = []
        n: Point | None = None
        for name in dict.fromkeys(names):
            sensor, axes = self.sensors.sensors[name], self.sensors.axes[name]
            if sensor.measures == Measure.PITCH_ROLL:
                n = whole(axes, *self._signed(name, sensor))
            else:
                lines.append(line_of(sensor, axes, self._signed(name, sensor)[0]))
        if lines:
            n = meeting(lines[0], lines[1])
        if n is None:
            self.faults.extend(
                Fault("impossible-reading", name, "two readings that no lean has", "what a body feels along both axes",
                      "check both body sensors' kind, axes and unit")
                for name in names
            )  # fmt: skip
            return None
        lean = math.atan2(n[0], math.hypot(n[1], n[2])), math.atan2(n[1], n[2])
        over = any(half is not None and dot(half, n) <= 0.0 for _, _, half in lines)
        for name, joint, angle in zip(names, LEAN, lean, strict=True):
            self.found[joint] = angle
            if over or abs(angle) > STEEPEST_RAD:
                self.faults.append(
                    Fault("too-steep", f"{name}.{joint}", "a body turned over" if over else _degrees(angle),
                          f"at most {math.degrees(STEEPEST_RAD):g} deg either way",
                          "check the body sensor's sign, axes, mounting and unit", {"angle_deg": math.degrees(angle)})
                )  # fmt: skip
        return n

    def _signed(self, name: str, sensor: Sensor) -> Numbers:
        said = self.said[name]
        if sensor.side_sign is None:
            return (sensor.sign * said[0],)
        return sensor.sign * said[0], sensor.side_sign * said[1]

    def directly(self, joint: str) -> None:
        """A joint by its encoder or its cylinder's draw-wire."""
        name, sensor = self.sensors.by_joint[joint]
        value = sensor.sign * self.said[name][0] - self.sensors.zeros[name]
        if sensor.measures == Measure.LENGTH or sensor.place == "idler":
            self._by_linkage(name, joint, [value])
        else:
            self._settle(name, joint, [value])

    def link(self, joint: str, plumb: Point | None, before: float | None) -> float | None:
        """The in-plane angle (rad) that a link has; its joint into `found` where the link before is known too."""
        name, sensor = self.sensors.by_joint[joint]
        if not sensor.by_gravity:
            self.directly(joint)
            return None if before is None or joint not in self.found else before + self.found[joint]
        if plumb is None:
            return None
        turns = self._turns(name, sensor, ARM_AXIS, plumb)
        if before is None:
            known = len(turns) == 1 and sensor.place not in ("idler", "power_link")
            return turns[0] - held_angle(self.sensors.assembly, sensor.place) if known else None
        angles = [turn - before - held_angle(self.sensors.assembly, sensor.place) for turn in turns]
        if sensor.place in ("idler", "power_link"):
            self._by_linkage(name, joint, angles)
        else:
            self._settle(name, joint, angles)
        return before + self.found[joint] if joint in self.found else None

    def tilt(self, held: Point | None) -> None:
        """The tilt, by its encoder, or by gravity from plumb in what holds the tilt axis."""
        name, sensor = self.sensors.by_joint["tilt"]
        if not sensor.by_gravity:
            self.directly("tilt")
            return
        axis = self.sensors.assembly.attachment.tilt
        if held is None or axis is None:
            return
        if across(axis.direction, held) < math.sin(NEAR_VERTICAL_RAD):
            off = math.degrees(math.asin(across(axis.direction, held)))
            self.faults.append(
                Fault("axis-plumb", f"{name}.tilt", f"a tilt axis {off:.1f} deg from plumb",
                      f"one at least {math.degrees(NEAR_VERTICAL_RAD):g} deg off, else gravity cannot see the tilt",
                      "curl the bucket, or sense the tilt by an encoder", {"from_plumb_deg": off})
            )  # fmt: skip
            return
        self._settle(name, "tilt", self._turns(name, sensor, axis.direction, held))

    def _turns(self, name: str, sensor: Sensor, axis: Point, plumb: Point) -> list[float]:
        """The turns about `axis` that a sensor of gravity allows, one or two; none with a fault."""
        axes = self.sensors.axes[name]
        signed = self._signed(name, sensor)
        if sensor.measures == Measure.PITCH_ROLL:
            v = whole(axes, *signed)
            twist = abs(math.asin(_unit(dot(axis, v))) - math.asin(_unit(dot(axis, plumb))))
            if twist > MOST_TWIST_RAD:
                self.faults.append(
                    Fault("sensors-disagree", name, f"{math.degrees(twist):.1f} deg from its link's sideways lean",
                          f"at most {math.degrees(MOST_TWIST_RAD):g} deg",
                          "check its signs, its mounting and the body sensor", {"apart_deg": math.degrees(twist)})
                )  # fmt: skip
                return []
            return [turn_between(axis, v, plumb)]
        line = line_of(sensor, axes, signed[0])
        sine, turns = turns_onto(axis, plumb, line)
        if not turns:
            self.faults.append(
                Fault("impossible-reading", name, f"a sine of {sine:.5f}", "at most 1, as on this lean",
                      "check its kind, sign and unit, and the body sensor", {"sine": sine})
            )  # fmt: skip
        elif sensor.measures == Measure.INCLINATION and sensor.branch is not None:
            return [turns[0] if sensor.branch > 0 else turns[1]]
        elif line[2] is None and abs(sine) > math.cos(NEAR_VERTICAL_RAD):
            off = math.degrees(math.acos(_unit(abs(sine))))
            self.faults.append(
                Fault("near-vertical", name, f"{off:.1f} deg from vertical",
                      f"a single axis at least {math.degrees(NEAR_VERTICAL_RAD):g} deg from it",
                      "move the link, state the sensor's branch, or fit one with a second axis",
                      {"from_vertical_deg": off})
            )  # fmt: skip
            return []
        return list(turns)

    def _by_linkage(self, name: str, joint: str, values: list[float]) -> None:
        """A joint through its cylinder or the four-bar, from what has one value or two."""
        good: list[float] = []
        refused: Refused | None = None
        sensor = self.sensors.sensors[name]
        for value in values:
            try:
                good.append(through(self.sensors.assembly, sensor, value))
            except Refused as told:
                refused = refused or told
        if len(good) == 1:
            self.found[joint] = good[0]
        elif good:
            self._two(name, joint, good)
        elif refused is not None:
            self.faults.extend(fault.at(name) for fault in refused.faults)

    def _settle(self, name: str, joint: str, values: list[float]) -> None:
        """The one of these angles (rad, give or take whole turns) that the joint can have."""
        reach, stops = self.sensors.assembly.ranges[joint], self.sensors.assembly.stops[joint]
        fits: list[float] = []
        for value in values:
            here = _within(value, reach) or _within(value, stops)
            if len(here) > 1 and one_place(reach):
                here = [min(here, key=lambda angle: abs(angle - value))]
            fits += here
        if len(fits) == 1:
            self.found[joint] = fits[0]
        elif fits:
            self._two(name, joint, fits)
        elif values:
            self.found[joint] = wrapped(values[0], 0.5 * (reach.low + reach.high))
            self.faults.append(drives.beyond_joint(f"{name}.{joint}", self.found[joint], reach))

    def _two(self, name: str, joint: str, fits: list[float]) -> None:
        self.faults.append(
            Fault("ambiguous", f"{name}.{joint}", " or ".join(_degrees(angle) for angle in fits),
                  "one angle within the joint's range", "state the sensor's branch, or fit one with a second axis")
        )  # fmt: skip


def through(assembly: Assembly, sensor: Sensor, value: float) -> float:
    """The joint angle (rad) at a cylinder length (m), or the bucket's at an angle (rad) of idler or power link."""
    if sensor.measures == Measure.LENGTH:
        return drives.joint_angle(assembly, sensor.place, value)
    if sensor.place == "idler":
        return drives.four_bar_from_idler(assembly, value).bucket
    return drives.four_bar_from_power_link(assembly, value).bucket


def one_place(reach: Range) -> bool:
    """Whether a joint has no two angles a whole turn apart but the ends of its range, which are one place."""
    return reach.high - reach.low <= _FULL_TURN + _ROUNDING_RAD


def _within(value: float, limits: Range) -> list[float]:
    """`value` plus whole turns, within limits."""
    first = math.ceil((limits.low - value) / _FULL_TURN)
    last = math.floor((limits.high - value) / _FULL_TURN)
    return [value + _FULL_TURN * k for k in range(first, last + 1)]


def _unit(sine: float) -> float:
    """A sine without its last bit's rounding past 1."""
    return max(-1.0, min(1.0, sine))


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):.2f} deg"
