"""Mountings from a level, a plumb line, half a turn of the swing or a tape: one sensor's zero at a time.

A check tells how a link truly stands; what its sensor reads there tells how it is mounted. Only the zero is set:
`nose_up`, of a sensor that looks left `left_up`, of a pair on body or tilt both, of an encoder or draw-wire its number.
Skew, sign and all other sensors stay as they are.
"""

import dataclasses
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from .errors import Fault, Refused, refuse
from .linkage import wrapped
from .machine import Point
from .mounting_lines import Level, PlumbLine, finite, in_plane, leaning, plumb_of_arm
from .mounting_solve import left_up_of, nose_up_of, pair_of, swing_axis, zeros_of_two
from .sensing import Reading
from .sensing_gravity import across, on_link, turned_by
from .sensing_solve import NEAR_VERTICAL_RAD, held_angle
from .sensor import ARM, LEFT, TURN, Measure, Mounting, Sensor
from .sensor_set import LEAN, SensorSet

FAR_RAD, FAR_M = math.radians(10.0), 0.05
"""A zero that goes further than this is told as a doubt: another sensor, a case put on otherwise, or a wrong check."""
SEEN_LEAN_RAD, FLAT_RAD = math.radians(0.1), math.radians(1.0)
"""A half turn that shows less lean may not have been made; on more lean a turn a little short costs much."""
Numbers = tuple[float, ...]
Lean = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Zeroed:
    """A sensor with a new zero.

    `moved`: how far each zero went from the profile's (rad or m): nose_up, or left_up, or both in this order, or an
    encoder's or wire's one. `uncertainty`: standard, of each (rad or m), from the noise of the reading and the check's
    own. `doubts`: what is allowed but hardly true.
    """

    name: str
    sensor: Sensor
    moved: tuple[float, ...]
    uncertainty: float
    doubts: tuple[Fault, ...] = ()


def with_zero(sensors: SensorSet, *zeroed: Zeroed) -> SensorSet:
    """The set with these sensors in place of those of their names, all others the same objects.

    Raises `Refused`: "no-such-sensor", and what `SensorSet` refuses.
    """
    new = {one.name: one.sensor for one in zeroed}
    refuse(_unknown(sensors, name) for name in new if name not in sensors.all)
    return SensorSet(
        sensors.assembly,
        {name: new.get(name, one) for name, one in sensors.sensors.items()},
        {name: new.get(name, one) for name, one in sensors.checks.items()},
        attached=sensors.attached, correlations=sensors.apart_from(new),
    )  # fmt: skip


def zero_by_line(
    sensors: SensorSet, name: str, reading: Reading, line: Level | PlumbLine, *, lean: Lean,
    swing_boom: float | None = None, count: int = 1,
) -> Zeroed:  # fmt: skip
    """A sensor of gravity on a link of the arm, by its own pin line.

    `reading`: rad, as the sensor says it, a mean of `count`. `lean`: the body's true pitch and roll (rad). `swing_boom`:
    of a machine that has one (rad). A boom laid level on level ground whose sensor reads 0.02 has nose_up 0.02.
    Raises `Refused`: "no-such-sensor", "not-sensed-so" for what has no pin line or no gravity, "not-finite",
    "out-of-range", "near-vertical" for a level near the vertical and an inclination there, "impossible-reading",
    "ambiguous", and what `Sensor` does.
    """
    sensor, said = _of(sensors, name, reading, count)
    if not (sensor.by_gravity and sensor.place in ARM):
        raise _not_so(name, sensor, "a sensor of gravity on a link of the arm")
    plumb = plumb_of_arm(sensors.assembly, lean, swing_boom)
    angle = in_plane(line, plumb, _line_in_frame(sensors, name, sensor, line))
    mounting = _mounting(sensor)
    nose_up, slope = nose_up_of(name, sensor, mounting, said, on_link(plumb, angle))
    new = dataclasses.replace(mounting, nose_up=_near(nose_up, mounting.nose_up))
    return _zeroed(name, sensor, new, line.uncertainty, slope, count)


def zero_of_body(
    sensors: SensorSet, name: str, reading: Reading, *, lean: Lean, uncertainty: float, count: int = 1
) -> Zeroed:
    """A sensor of the body, by pitch and roll (rad) as measured on the slewing ring with this standard uncertainty (rad).

    Nose up 0.01 measured, a pitch sensor that reads 0.03: its nose_up is 0.02. Raises `Refused` as `zero_by_line`.
    """
    sensor, said = _of(sensors, name, reading, count)
    if sensor.place != "body":
        raise _not_so(name, sensor, "a sensor of the body")
    refuse(finite(uncertainty=uncertainty))
    return _across(name, sensor, said, leaning(lean), uncertainty, count)


def zero_by_half_turn(
    sensors: SensorSet, before: Mapping[str, Reading], after: Mapping[str, Reading], *, uncertainty: float, count: int = 1
) -> dict[str, Zeroed]:  # fmt: skip
    """The body's sensors by what they read before and after half a turn of the swing, arm held still; by name.

    The swing axis is the sum of plumb before and after, as the case has them: exact, whatever the ground's lean. A pitch
    sensor that reads 0.03 and then 0.01 has nose_up 0.02. `uncertainty`: standard (rad), of the swing: half a turn missed
    by e costs the lean times sin(e / 2); doubtful where no swing shows or the lean is more than 1 deg. Raises `Refused`:
    "missing-reading", "impossible-reading", else as `zero_by_line`.
    """
    names = dict.fromkeys(sensors.by_joint[part][0] for part in LEAN)
    refuse(finite(uncertainty=uncertainty))
    refuse(
        Fault(
            "missing-reading",
            f"{side}.{name}",
            "none",
            "a reading",
            "read the body's sensors before and after",
        )
        for side, said in (("before", before), ("after", after))
        for name in names
        if name not in said
    )
    parts = [
        (name, *_of(sensors, name, before[name], count), _of(sensors, name, after[name], count)[1])
        for name in names
    ]
    # Of two readings each bears on a zero by half.
    lean = 0.5 * math.hypot(
        *(b - a for *_, first, second in parts for a, b in zip(first, second, strict=True))
    )
    if len(parts) == 1:
        name, sensor, first, second = parts[0]
        axis = swing_axis(name, sensor, first, second)
        one = _pair(name, sensor, axis, (0.0, 0.0, 1.0), uncertainty, count, math.sqrt(0.5))
        return {name: dataclasses.replace(one, doubts=(*one.doubts, *_swung(name, lean)))}
    found = {}
    zeros = zeros_of_two([(name, sensor, _mounting(sensor), a[0], b[0]) for name, sensor, a, b in parts])
    for (name, sensor, _, _), zero in zip(parts, zeros, strict=True):
        old = _mounting(sensor)
        key = "left_up" if sensor.axis == LEFT else "nose_up"
        new = dataclasses.replace(old, **{key: _near(zero, getattr(old, key))})
        one = _zeroed(name, sensor, new, uncertainty, math.sqrt(0.5), count)
        found[name] = dataclasses.replace(one, doubts=(*one.doubts, *_swung(name, lean)))
    return found


def _swung(name: str, lean: float) -> Iterator[Fault]:
    """What makes a half turn doubtful: that nothing shows it, or a lean on which it has to be exact."""
    shown = f"{math.degrees(lean):.2f} deg"
    if lean < SEEN_LEAN_RAD:
        yield Fault(
            "no-swing-seen", name, f"a lean of {shown} by the readings before and after", "a swing that shows",
            "on level ground that is right; if the body was not swung, the zero is wrong by all of its lean",
            {"lean_deg": math.degrees(lean)},
        )  # fmt: skip
    elif lean > FLAT_RAD:
        off = math.degrees(lean * math.sin(math.radians(5.0)))
        yield Fault(
            "much-lean", name, f"a lean of {shown}", f"at most {math.degrees(FLAT_RAD):g} deg",
            f"a swing 10 deg short of half a turn moves the zero by {off:.2f} deg: mark it, or find flatter ground",
            {"lean_deg": math.degrees(lean)},
        )  # fmt: skip


def zero_of_tilt(
    sensors: SensorSet, name: str, reading: Reading, *, angles: Mapping[str, float], uncertainty: float, count: int = 1
) -> Zeroed:  # fmt: skip
    """A sensor of gravity beyond a tilt axis, by the true angles (rad): pitch, roll, every joint up to the bucket, and
    the tilt, as its angle or by `tilt_of_edge`.

    Level machine, tilt 0, axis level: a sensor that looks left and reads 0.01 has left_up 0.01. Raises `Refused`:
    "missing-joint", "axis-plumb" where gravity cannot see the tilt, else as `zero_by_line`.
    """
    sensor, said = _of(sensors, name, reading, count)
    if not (sensor.place == "tilt" and sensor.by_gravity):
        raise _not_so(name, sensor, "a sensor of gravity beyond the tilt axis")
    inner = [*LEAN, *(joint for joint in sensors.assembly.ranges if joint != "rotate")]
    refuse(
        Fault("missing-joint", joint, "no angle", "an angle for each of " + ", ".join(inner))
        for joint in inner
        if joint not in angles
    )
    refuse(finite(uncertainty=uncertainty, **{joint: angles[joint] for joint in inner}))
    plumb = plumb_of_arm(sensors.assembly, (angles["pitch"], angles["roll"]), angles.get("swing_boom"))
    total = sum(angles.get(joint, 0.0) for joint in ("boom", "fore_boom", "stick", "bucket"))
    held = on_link(plumb, total + held_angle(sensors.assembly, "tilt"))
    axis = sensors.assembly.attachment.tilt
    if axis is None:
        raise _not_so(name, sensor, "an attachment with a tilt axis")
    upright = across(axis.direction, held)
    if upright < math.sin(NEAR_VERTICAL_RAD):
        off = math.degrees(math.asin(upright))
        raise Refused([
            Fault("axis-plumb", name, f"a tilt axis {off:.1f} deg from plumb",
                  f"one at least {math.degrees(NEAR_VERTICAL_RAD):g} deg off, else gravity cannot see the tilt",
                  "curl the bucket and check there", {"from_plumb_deg": off})
        ])  # fmt: skip
    there = turned_by(axis.direction, -angles["tilt"], held)
    return _across(name, sensor, said, there, uncertainty, count)


def zero_of_encoder(
    sensors: SensorSet, name: str, reading: float, *, angle: float, uncertainty: float, count: int = 1
) -> Zeroed:
    """An encoder, by its joint's true angle (rad), of an idler in the stick's frame; see `joint_of_lines`.

    Boom at 0.48, encoder 0.5, sign 1: it reads 0.02 over the true value. Raises `Refused` as `zero_by_line`.
    """
    sensor, said = _of(sensors, name, reading, count)
    if sensor.measures != Measure.ANGLE:
        raise _not_so(name, sensor, "an encoder")
    refuse(finite(angle=angle, uncertainty=uncertainty))
    zero = _near(sensor.sign * said[0] - angle, _number(sensor))
    return _zeroed(name, sensor, zero, uncertainty, 1.0, count)


def zero_of_wire(
    sensors: SensorSet, name: str, reading: float, *, length: float, uncertainty: float, count: int = 1
) -> Zeroed:
    """A draw-wire, by its cylinder's length pin to pin (m) by tape.

    1.200 m by tape, 1.155 by the wire, sign 1: -0.045, it reads less. Raises `Refused` as `zero_by_line`.
    """
    sensor, said = _of(sensors, name, reading, count)
    if sensor.measures != Measure.LENGTH:
        raise _not_so(name, sensor, "a draw-wire")
    refuse(finite(length=length, uncertainty=uncertainty))
    stroke = sensors.assembly.cylinders[sensor.place].stroke
    if not stroke.low <= length <= stroke.high:
        raise Refused([
            Fault("out-of-stroke", f"{name}.length", f"{length * 1e3:.1f} mm",
                  f"{stroke.low * 1e3:.1f} to {stroke.high * 1e3:.1f} mm, pin to pin", "measure from pin to pin, in m",
                  {"length_mm": length * 1e3})
        ])  # fmt: skip
    return _zeroed(name, sensor, sensor.sign * said[0] - length, uncertainty, 1.0, count)


def _across(name: str, sensor: Sensor, said: Numbers, plumb: Point, uncertainty: float, count: int) -> Zeroed:
    """A sensor of body or tilt, whose zero may be a pair's or one that looks left."""
    old = _mounting(sensor)
    if sensor.measures == Measure.PITCH_ROLL:
        return _pair(name, sensor, said, plumb, uncertainty, count)
    if sensor.axis == LEFT:
        zero, slope = left_up_of(name, sensor, old, said[0], plumb)
        new = dataclasses.replace(old, left_up=_near(zero, old.left_up))
    else:
        zero, slope = nose_up_of(name, sensor, old, said, plumb)
        new = dataclasses.replace(old, nose_up=_near(zero, old.nose_up))
    return _zeroed(name, sensor, new, uncertainty, slope, count)


def _pair(
    name: str, sensor: Sensor, said: Numbers, plumb: Point, uncertainty: float, count: int, slope: float = 1.0
) -> Zeroed:
    old = _mounting(sensor)
    nose, left = pair_of(name, sensor, old, said, plumb)
    new = dataclasses.replace(old, nose_up=_near(nose, old.nose_up), left_up=_near(left, old.left_up))
    return _zeroed(name, sensor, new, uncertainty, slope, count)


def _line_in_frame(sensors: SensorSet, name: str, sensor: Sensor, line: Level | PlumbLine) -> float:
    """Angle (rad) of the line measured in its link's frame: 0 of a pin line, of a bucket's edge line what the profile
    says."""
    if not line.to_edge:
        return 0.0
    if sensor.place != "bucket":
        raise _not_so(name, sensor, "to_edge of a sensor on the bucket only")
    attachment = sensors.assembly.attachment
    x, _, z = attachment.edge[attachment.centre]
    return math.atan2(z, x)


def _of(sensors: SensorSet, name: str, reading: Reading, count: int) -> tuple[Sensor, Numbers]:
    if name not in sensors.all:
        raise Refused([_unknown(sensors, name)])
    if isinstance(count, bool) or not isinstance(count, int) or count < 1:
        raise Refused([Fault("out-of-range", "count", repr(count), "how many readings, 1 or more")])
    sensor = sensors.all[name]
    pair = sensor.measures == Measure.PITCH_ROLL
    given = tuple(reading) if isinstance(reading, tuple | list) else (reading,)
    if len(given) != 1 + pair:
        expected = "two numbers: pitch, roll" if pair else "one number"
        raise Refused([Fault("not-a-number", name, repr(reading), expected)])
    refuse(fault.at(name) for fault in finite(**{f"reading_{i}": value for i, value in enumerate(given)}))
    said = tuple(float(value) for value in given)
    low, high = sensor.range.low, sensor.range.high
    refuse(
        Fault("out-of-range", name, f"{value:g} {sensor.unit}", f"{low:g} to {high:g} {sensor.unit}",
              "check its unit and its range in the profile")
        for value in said
        if not low <= value <= high
    )  # fmt: skip
    return sensor, said


def _mounting(sensor: Sensor) -> Mounting:
    if not isinstance(sensor.mounting, Mounting):
        raise _not_so(sensor.place, sensor, "a sensor of gravity")
    return sensor.mounting


def _number(sensor: Sensor) -> float:
    return 0.0 if isinstance(sensor.mounting, Mounting) else sensor.mounting


def _near(angle: float, old: float) -> float:
    """The angle, give or take whole turns, next to the profile's and within the turn that a profile may state."""
    near = wrapped(angle, old)
    return near if abs(near) <= TURN else wrapped(angle, 0.0)


def _zeros(mounting: Mounting | float) -> Numbers:
    return (mounting.nose_up, mounting.left_up) if isinstance(mounting, Mounting) else (mounting,)


def _zeroed(
    name: str, sensor: Sensor, mounting: Mounting | float, uncertainty: float, slope: float, count: int
) -> Zeroed:
    """`slope`: how far the zero goes for the reading."""
    if uncertainty < 0.0:
        raise Refused(
            [Fault("out-of-range", "uncertainty", f"{uncertainty:g}", "a standard uncertainty, 0 or more")]
        )
    try:
        new = dataclasses.replace(sensor, mounting=mounting)
    except Refused as refused:
        raise Refused(fault.at(name) for fault in refused.faults) from None
    steps = tuple(b - a for a, b in zip(_zeros(sensor.mounting), _zeros(mounting), strict=True))
    if isinstance(mounting, Mounting) and not (
        sensor.measures == Measure.PITCH_ROLL and sensor.place not in ARM
    ):
        steps = steps[1:] if sensor.axis == LEFT else steps[:1]
    far = FAR_M if sensor.unit == "m" else FAR_RAD
    doubts = tuple(
        Fault("moved-far", name, f"a zero {_shown(sensor, step)} from the profile's",
              f"at most {_shown(sensor, far)[1:]}",
              "check the reading, what was measured and on which link; go on if the sensor was put on otherwise",
              {"moved": step})
        for step in steps
        if abs(step) > far
    )  # fmt: skip
    own = slope * sensor.noise / math.sqrt(count)
    return Zeroed(name, new, steps, math.hypot(own, uncertainty), doubts)


def _shown(sensor: Sensor, step: float) -> str:
    return f"{step * 1e3:+.0f} mm" if sensor.unit == "m" else f"{math.degrees(step):+.1f} deg"


def _unknown(sensors: SensorSet, name: str) -> Fault:
    return Fault("no-such-sensor", name, "a zero", "one of " + ", ".join(sensors.all), "check the name")


def _not_so(name: str, sensor: Sensor, expected: str) -> Refused:
    return Refused([Fault("not-sensed-so", name, f"{sensor.measures} on {sensor.place}", expected)])
