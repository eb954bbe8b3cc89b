"""Readings to joint angles, and a pose to what every sensor would read in it."""

import math
import numbers
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from .arm import Pose
from .assembly import JOINTS
from .drives import cylinder_length, four_bar_from_bucket
from .errors import Fault, Refused, refuse
from .linkage import wrapped
from .machine import Point
from .sensing_gravity import felt, on_link, plumb_of, swung, turned_by
from .sensing_solve import Angles, Numbers, held_angle, solve
from .sensor import Measure, Sensor
from .sensor_set import SensorSet

AGREE_SIGMAS = 5.0
"""Of the noise of all it rests on, how far a check may be off. At ten readings a second noise alone passes 5 once in two
days, 4 every half hour; a sensor that is knocked, slipped or wired wrong soon passes both."""

Reading = float | Sequence[float]
Told = float | tuple[float, float]


def angles_from(
    sensors: SensorSet, readings: Mapping[str, Reading], ages_s: Mapping[str, float] | None = None
) -> Angles:
    """Pitch, roll and every joint (rad) by name, as `arm.pose` takes them, from one reading of each sensor.

    A reading is a number in rad or m, of a PITCH_ROLL a pair. `ages_s`: seconds since each arrived, None where age does
    not matter. With the body 5 deg left side up, a boom inclinometer that reads 59.62 deg means a boom at 60.

    Raises `Refused` with every fault: "missing-reading", "no-such-sensor", "not-a-number", "not-finite", "out-of-range",
    "stale-reading"; then "too-steep", "impossible-reading" for a sine past 1, which is never clipped, "near-vertical",
    "axis-plumb", "ambiguous" where two angles lie in the joint's range, "beyond-joint" and what `drives` refuses;
    then "sensors-disagree" where a check is off by more than `AGREE_SIGMAS`. Faults lie at the sensor's name. The ends of
    a full turn are one place: of these two the one nearer to the reading is given.
    """
    faults: list[Fault] = []
    said = _read(sensors, readings, faults)
    if ages_s is not None:
        faults += _ages(sensors, ages_s)
    refuse(faults)
    found = solve(sensors, said, faults)
    refuse(faults)
    if sensors.checks:
        refuse(_disagreements(sensors, said, found))
    return found


def readings_of(sensors: SensorSet, pose: Pose) -> dict[str, Told]:
    """What each sensor, checks too, would read in a pose at rest (rad or m, exact) by name: what `angles_from` undoes.

    Of whole turns the one within the sensor's range is told; what that range does not hold is told all the same, and
    refused on the way back. Raises `Refused`: "other-machine" for a pose of another assembly, and as `drives`.
    """
    truth = _truth(sensors, pose)
    stance = _Stance(sensors, truth)
    told: dict[str, Told] = {}
    for name, sensor in sensors.all.items():
        said = [_in_range(sensor, value) for value in stance.says(name, sensor)]
        told[name] = (said[0], said[1]) if len(said) > 1 else said[0]
    return told


def misread(sensors: SensorSet, believed: SensorSet, pose: Pose) -> Angles:
    """How far each angle (rad) is off, found minus true, where `sensors` are taken for `believed`, same names, in a pose.

    A boom's inclinometer taken for a gravity angle, 5 deg left side up, boom at 60 deg: boom -0.38 deg, and the stick,
    which is told from it, +0.38. A boom's gravity sensor skewed 1 deg to the left and taken for square, 5 deg left side
    up, boom level: boom +0.09 deg, stick -0.09. Raises `Refused` as `readings_of` and `angles_from` do.
    """
    found = angles_from(believed, readings_of(sensors, pose))
    return {name: wrapped(found[name] - angle, 0.0) for name, angle in _truth(sensors, pose).items()}


def _truth(sensors: SensorSet, pose: Pose) -> Angles:
    if pose.assembly is not sensors.assembly:
        raise Refused([
            Fault("other-machine", "pose", "a pose of another assembly", "one of the assembly that these sensors sit on")
        ])  # fmt: skip
    pitch, roll, *joints = pose.q.tolist()
    by_name = dict(zip(JOINTS, joints, strict=True))
    return {"pitch": pitch, "roll": roll} | {name: by_name[name] for name in sensors.assembly.ranges}


class _Stance:
    """What the sensors' links do at these angles."""

    def __init__(self, sensors: SensorSet, angles: Mapping[str, float]) -> None:
        self.sensors, self.assembly, self.angles = sensors, sensors.assembly, angles
        self.body = plumb_of(angles["pitch"], angles["roll"])
        self.arm = swung(self.body, angles.get("swing_boom", 0.0))
        boom = angles["boom"]
        fore = boom + angles.get("fore_boom", 0.0)
        stick = fore + angles["stick"]
        self.in_plane = {"boom": boom, "fore_boom": fore, "stick": stick, "coupler": stick + angles["bucket"]}

    def says(self, name: str, sensor: Sensor) -> Numbers:
        """What the sensor of this name reads, rad or m."""
        if not sensor.by_gravity:
            return (sensor.sign * (self._direct(sensor) + self.sensors.zeros[name]),)
        told = felt(sensor, self.sensors.axes[name], self._plumb_at(sensor.place))
        if sensor.side_sign is None:
            return (sensor.sign * told[0],)
        return sensor.sign * told[0], sensor.side_sign * told[1]

    def _direct(self, sensor: Sensor) -> float:
        joint = sensor.place
        if sensor.measures == Measure.LENGTH:
            return cylinder_length(self.assembly, joint, self.angles[joint])
        if joint == "idler":
            return four_bar_from_bucket(self.assembly, self.angles["bucket"]).idler
        return self.angles[joint]

    def _plumb_at(self, place: str) -> Point:
        if place == "body":
            return self.body
        if place in self.in_plane:
            return on_link(self.arm, self.in_plane[place])
        if place in ("idler", "power_link"):
            bar = four_bar_from_bucket(self.assembly, self.angles["bucket"])
            turn = bar.idler if place == "idler" else bar.power_link
            return on_link(self.arm, self.in_plane["stick"] + turn)
        held = on_link(self.arm, self.in_plane["coupler"] + held_angle(self.assembly, place))
        tilt = self.assembly.attachment.tilt
        # Plumb seen from the tilted part turns the other way.
        return held if tilt is None else turned_by(tilt.direction, -self.angles["tilt"], held)


def _in_range(sensor: Sensor, value: float) -> float:
    """An angle, give or take whole turns, as the sensor tells it."""
    low, high = sensor.range.low, sensor.range.high
    if sensor.measures == Measure.LENGTH or low <= value <= high:
        return value
    return wrapped(value, 0.5 * (low + high))


# What is wrong with readings before anything is made of them.


def _read(sensors: SensorSet, readings: Mapping[str, Reading], faults: list[Fault]) -> dict[str, Numbers]:
    """Each reading as one or two finite numbers within its sensor's range, or a fault."""
    found: dict[str, Numbers] = {}
    for name in readings:
        if name not in sensors.all:
            expected = "one of " + ", ".join(sensors.all)
            faults.append(Fault("no-such-sensor", str(name), "a reading", expected, "check the name"))
    for name, sensor in sensors.all.items():
        if name not in readings:
            faults.append(
                Fault("missing-reading", name, "none", "a reading", "read all sensors, or fit another set")
            )
            continue
        given: Any = readings[name]
        if sensor.measures != Measure.PITCH_ROLL:
            said = _number(name, sensor, given, sensor.range.low, sensor.range.high, faults)
            found[name] = (said,)
        elif isinstance(given, str) or not isinstance(given, Sequence) or len(given) != 2:
            faults.append(Fault("not-a-number", name, repr(given), "two numbers: pitch, roll"))
        else:
            low, high = sensor.range.low, sensor.range.high
            right = 0.5 * math.pi  # an arcsine goes no further
            found[name] = (
                _number(f"{name}.0", sensor, given[0], max(low, -right), min(high, right), faults),
                _number(f"{name}.1", sensor, given[1], low, high, faults),
            )
    return found


def _number(
    where: str, sensor: Sensor, value: Any, low: float, high: float, faults: list[Fault]
) -> float:  # fmt: skip
    if isinstance(value, bool) or not isinstance(value, float | int | numbers.Real):
        faults.append(Fault("not-a-number", where, repr(value), "a number"))
        return math.nan
    said = float(value)
    if not math.isfinite(said):
        faults.append(Fault("not-finite", where, str(said), "a finite number", "read the sensor again"))
    elif not low <= said <= high:
        faults.append(
            Fault("out-of-range", where, _shown(sensor, said), f"{_shown(sensor, low)} to {_shown(sensor, high)}",
                  "check its unit, its wiring and the sensor's range", {"value": said, "low": low, "high": high})
        )  # fmt: skip
    return said


def _shown(sensor: Sensor, value: float) -> str:
    return f"{value * 1e3:.1f} mm" if sensor.unit == "m" else f"{math.degrees(value):.2f} deg"


def _ages(sensors: SensorSet, ages_s: Mapping[str, float]) -> Iterator[Fault]:
    for name, sensor in sensors.all.items():
        age = ages_s.get(name)
        if age is None:
            yield Fault("missing-reading", f"ages_s.{name}", "none", "the age of each reading")
        elif isinstance(age, bool) or not isinstance(age, float | int):
            yield Fault("not-a-number", f"ages_s.{name}", repr(age), "an age in seconds")
        elif not (math.isfinite(age) and age >= 0.0):
            yield Fault("not-finite", f"ages_s.{name}", str(age), "a finite age, 0 or more")
        elif age + sensor.latency_s > sensor.age_limit_s:
            yield Fault(
                "stale-reading", name, f"{age + sensor.latency_s:g} s old, latency included",
                f"at most {sensor.age_limit_s:g} s", "read the sensor again",
                {"age_s": age + sensor.latency_s, "limit_s": sensor.age_limit_s},
            )  # fmt: skip
    for name in ages_s:
        if name not in sensors.all:
            yield Fault("no-such-sensor", f"ages_s.{name}", "an age", "one of " + ", ".join(sensors.all))


# Checks: what they read against what they should read at the angles that the others give.


def _disagreements(sensors: SensorSet, said: Mapping[str, Numbers], found: Angles) -> Iterator[Fault]:
    stance = _Stance(sensors, found)
    for name, sensor in sensors.checks.items():
        should = _direction(stance.says(name, sensor))
        apart = _apart(sensor, _direction(said[name]), should)
        # Of two numbers each has this noise.
        own = sensor.noise * (math.sqrt(2.0) if len(said[name]) > 1 else 1.0)
        if apart <= AGREE_SIGMAS * own:
            continue
        noise = math.hypot(own, *_spreads(sensors, said, name, should))
        if apart > AGREE_SIGMAS * noise:
            yield Fault(
                "sensors-disagree", name, f"{_shown(sensor, apart)} from what the others give",
                f"at most {_shown(sensor, AGREE_SIGMAS * noise)}, {AGREE_SIGMAS:g} times their noise",
                "one of them is wrong: check mountings, signs and wiring; no mean is taken",
                {"apart": apart, "noise": noise},
            )  # fmt: skip


def _direction(said: Numbers) -> Numbers:
    """What two numbers say as a direction, which has no corner where pitch comes to a right angle; one as it is."""
    return plumb_of(*said) if len(said) > 1 else said


def _apart(sensor: Sensor, a: Numbers, b: Numbers) -> float:
    if len(a) > 1:
        return math.dist(a, b)
    return abs(a[0] - b[0] if sensor.measures == Measure.LENGTH else wrapped(a[0] - b[0], 0.0))


def _spreads(sensors: SensorSet, said: Mapping[str, Numbers], name: str, should: Numbers) -> Iterator[float]:
    """How far the noise of each number read moves what a check should read: one standard deviation up and down, the
    greater of both. Where neither gives a pose nothing is added, so that the check is held the more strictly."""
    check = sensors.checks[name]
    for given, sensor in sensors.sensors.items():
        for i in range(len(said[given])):
            moved = 0.0
            for step in (-sensor.noise, sensor.noise):
                stepped = tuple(v + step * (i == j) for j, v in enumerate(said[given]))
                angles = solve(sensors, dict(said) | {given: stepped}, [])
                if len(angles) < len(sensors.assembly.ranges) + 2:
                    continue
                try:
                    there = _direction(_Stance(sensors, angles).says(name, check))
                except Refused:  # a hair past an end stop
                    continue
                moved = max(moved, _apart(check, there, should))
            yield moved
