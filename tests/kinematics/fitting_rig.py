"""Machines with sensors, moved one joint at a time, and what arrives of their readings where something is wrong."""

import dataclasses
import functools
import math
from collections.abc import Callable, Iterable, Mapping

from kinematics.arm import pose
from kinematics.assembly import assemble
from kinematics.errors import Refused
from kinematics.fitting import Moved
from kinematics.fitting_moves import NOSE, QUARTER, numbers_of
from kinematics.machine import Attachment, Machine, Range
from kinematics.sensing import readings_of
from kinematics.sensor import Measure, Mounting, Sensor
from kinematics.sensor_set import SensorSet
from machine_profiles import sensor_set, shipped

from .machines import Rng

Numbers = tuple[float, ...]
Arrives = Callable[[dict[str, Numbers]], dict[str, Numbers]]
SHIPPED = {
    "gravity": ("crawler-14t", "digging-1500"),
    "tilting": ("crawler-14t", "tilting-1800"),
    "inclinations": ("midi-8t", "tilt-rotator-1600"),
    "wires": ("compact-1t8", "compact-bucket-400"),
}
# From the end stops: their slack is 0.25 deg.
MARGIN_RAD = math.radians(1.5)


def shipped_set(machine: str, attachment: str) -> SensorSet:
    """The shipped sensors of a shipped pair."""
    profiles = shipped()
    carrier, tool = profiles["machine", machine], profiles["attachment", attachment]
    assert isinstance(carrier.geometry, Machine)
    assert isinstance(tool.geometry, Attachment)
    found = sensor_set(carrier, tool, assemble(carrier.geometry, tool.geometry))
    assert found is not None
    return found


@functools.cache
def rig(name: str) -> SensorSet:
    """The set of this name: of `SHIPPED`, or one of the crawler with other sensors."""
    if name in SHIPPED:
        return shipped_set(*SHIPPED[name])
    base = shipped_set(*SHIPPED["gravity"])
    return SensorSet(base.assembly, *VARIANTS[name](base))


def _encoder(place: str, zero: float, sign: int = 1) -> Sensor:
    return Sensor(
        place=place, measures=Measure.ANGLE, sign=sign, mounting=zero, range=Range(-2.0 * math.pi, 2.0 * math.pi),
        noise=math.radians(0.05), latency_s=0.02, age_limit_s=0.5,
    )  # fmt: skip


def _encoders(base: SensorSet) -> tuple[dict[str, Sensor], dict[str, Sensor]]:
    return {
        "body": base.all["body"],
        "boom": _encoder("boom", 0.03),
        "stick": _encoder("stick", -0.4, -1),
        "idler": _encoder("idler", 0.2),
    }, {"stick-by-gravity": base.all["stick"]}


def _mixed(base: SensorSet) -> tuple[dict[str, Sensor], dict[str, Sensor]]:
    pair = dataclasses.replace(
        base.all["stick"], measures=Measure.PITCH_ROLL, side_sign=1, sign=1, mounting=Mounting(1.2),
    )  # fmt: skip
    return {
        "body": base.all["body"], "boom": _encoder("boom", 0.03), "stick": pair,
        "bucket": dataclasses.replace(base.all["idler"], place="bucket"),
    }, {}  # fmt: skip


VARIANTS: dict[str, Callable[[SensorSet], tuple[dict[str, Sensor], dict[str, Sensor]]]] = {
    "encoders": _encoders,
    "mixed": _mixed,
}
RIGS = (*SHIPPED, *VARIANTS)


def replaced(sensors: SensorSet, name: str, **changes: object) -> SensorSet:
    """The set with one sensor changed."""
    one = dataclasses.replace(sensors.all[name], **changes)  # type: ignore[arg-type]
    return SensorSet(
        sensors.assembly,
        {n: one if n == name else s for n, s in sensors.sensors.items()},
        {n: one if n == name else s for n, s in sensors.checks.items()},
    )


def whats(sensors: SensorSet) -> list[str]:
    """All moves this machine has."""
    lone = not any(s.by_gravity and s.place not in ("body", "tilt") for s in sensors.all.values())
    return [*sensors.assembly.ranges, QUARTER, *([NOSE] if lone else [])]


def course(
    sensors: SensorSet, rng: Rng, moves: Iterable[tuple[str, bool]], *, lean_deg: tuple[float, float] = (1.5, 4.0),
    size_deg: tuple[float, float] = (12.0, 30.0),
) -> list[tuple[str, bool, dict[str, float], dict[str, float]]]:  # fmt: skip
    """(what, grows, angles before, angles after) of moves one after another, from a random posture on a random lean."""
    assembly = sensors.assembly
    lean, direction = math.radians(rng.uniform(*lean_deg)), rng.uniform(-math.pi, math.pi)
    angles = {"pitch": lean * math.cos(direction), "roll": lean * math.sin(direction)}
    for name, reach in assembly.ranges.items():
        angles[name] = rng.uniform(reach.low + MARGIN_RAD, reach.high - MARGIN_RAD)
    made = []
    for what, grows in moves:
        before, after = dict(angles), dict(angles)
        way = 1.0 if grows else -1.0
        if what == QUARTER:
            after["pitch"], after["roll"] = way * before["roll"], -way * before["pitch"]
        elif what == NOSE:
            after["pitch"] += way * math.radians(rng.uniform(1.5, 3.0))
        else:
            reach = assembly.ranges[what]
            size = min(math.radians(rng.uniform(*size_deg)), 0.8 * (reach.high - reach.low))
            low, high = reach.low + MARGIN_RAD, reach.high - MARGIN_RAD
            from_ = before[what]
            to = from_ + way * size
            if not low <= to <= high:  # first to where there is room, which no sensor is asked about
                from_ = rng.uniform(low, high - size) if grows else rng.uniform(low + size, high)
                to = from_ + way * size
            before[what], after[what] = from_, to
        made.append((what, grows, before, after))
        angles = dict(after)
    return made


def read(
    sensors: SensorSet, angles: Mapping[str, float], rng: Rng, *, noise: float = 1.0
) -> dict[str, Numbers]:
    """What every sensor reads, with its noise."""
    told = readings_of(sensors, pose(sensors.assembly, **angles))
    return {
        name: tuple(v + noise * sensors.all[name].noise * rng.normal() for v in numbers_of(said))
        for name, said in told.items()
    }


def moved(
    sensors: SensorSet, rng: Rng, made: Iterable[tuple[str, bool, dict[str, float], dict[str, float]]],
    arrives: Arrives = dict, *, noise: float = 1.0,
) -> list[Moved]:  # fmt: skip
    """The moves as a builder would hand them in."""
    found = []
    for what, grows, before, after in made:
        sides = []
        for angles in (before, after):
            raw = arrives(read(sensors, angles, rng, noise=noise))
            sides.append({name: said if len(said) > 1 else said[0] for name, said in raw.items()})
        found.append(Moved(what, grows, *sides))
    return found


def there_and_back(sensors: SensorSet) -> list[tuple[str, bool]]:
    """Every move up and down."""
    return [(what, grows) for what in whats(sensors) for grows in (True, False)]


def tried(sensors: SensorSet, rng: Rng, arrives: Arrives = dict, **how: object) -> list[Moved]:
    """A whole test, there and back."""
    for _ in range(20):
        try:
            return moved(sensors, rng, course(sensors, rng, there_and_back(sensors), **how), arrives)  # type: ignore[arg-type]
        except Refused:  # an edge that stands plumb
            continue
    raise AssertionError("no posture found")


# What arrives where something is wrong, written from what is wrong, not from the way back that the code under test takes.

Faulty = tuple[SensorSet, Arrives]
"""The set that is really there (a kind may be another) and what its readings arrive as."""


def _of_one(name: str, change: Callable[[Numbers], Numbers]) -> Arrives:
    return lambda told: told | {name: change(told[name])}


def faults_of(sensors: SensorSet, name: str) -> dict[tuple[str, str], Faulty]:
    """(code, detail) of the finding that each fault of this one sensor should be, and the fault."""
    sensor = sensors.all[name]
    found: dict[tuple[str, str], Faulty] = {}

    def add(code: str, detail: str, change: Callable[[Numbers], Numbers]) -> None:
        found[code, detail] = sensors, _of_one(name, change)

    of = 1000.0 if sensor.unit == "m" else math.degrees(1.0)
    add("wrong-unit", "unit-small", lambda v: tuple(x / of for x in v))
    add("wrong-unit", "unit-large", lambda v: tuple(x * of for x in v))
    if sensor.measures == Measure.PITCH_ROLL:
        add("wrong-sign", "sign-pitch", lambda v: (-v[0], v[1]))
        add("wrong-sign", "sign-roll", lambda v: (v[0], -v[1]))
        add("wrong-sign", "sign-both", lambda v: (-v[0], -v[1]))
        add("pair-exchanged", "exchanged", lambda v: (v[1], v[0]))
        add("half-turn", "half-turn", lambda v: (-v[0], math.remainder(v[1] + math.pi, 2.0 * math.pi)))
        return found
    add("wrong-sign", "sign", lambda v: (-v[0],))
    if sensor.measures in (Measure.GRAVITY_ANGLE, Measure.ANGLE):
        add("half-turn", "half-turn", lambda v: (math.remainder(v[0] + math.pi, 2.0 * math.pi),))
    for detail, other in _other_kinds(sensors, name).items():
        found["wrong-convention", detail] = other, dict
    return found


def _other_kinds(sensors: SensorSet, name: str) -> dict[str, SensorSet]:
    sensor = sensors.all[name]
    turn, right = Range(-2.0 * math.pi, 2.0 * math.pi), Range(-0.5 * math.pi, 0.5 * math.pi)
    if sensor.place not in ("boom", "fore_boom", "stick", "idler", "bucket"):
        return {}
    if sensor.measures == Measure.ANGLE:
        return {
            "link-angle": replaced(
                sensors,
                name,
                measures=Measure.GRAVITY_ANGLE,
                mounting=Mounting(0.1),
                range=Range(-math.pi, math.pi),
            )
        }
    if sensor.measures not in (Measure.GRAVITY_ANGLE, Measure.INCLINATION):
        return {}
    by_joint = replaced(
        sensors, name, measures=Measure.ANGLE, mounting=0.1, range=turn, skew_uncertainty=None
    )
    if sensor.measures == Measure.GRAVITY_ANGLE:
        return {
            "joint-angle": by_joint,
            "inclination": replaced(sensors, name, measures=Measure.INCLINATION, range=right),
        }
    return {
        "joint-angle": by_joint,
        "gravity-angle": replaced(sensors, name, measures=Measure.GRAVITY_ANGLE, range=turn),
    }


def stuck(name: str) -> Arrives:
    """A sensor that goes on saying what it said first."""
    first: dict[str, Numbers] = {}
    return lambda told: told | {name: first.setdefault(name, told[name])}


def renamed(order: Mapping[str, str]) -> Arrives:
    """Sensors under other names: of each name the sensor whose reading arrives there."""
    return lambda told: told | {name: told[other] for name, other in order.items()}


def alike(sensors: SensorSet) -> list[list[str]]:
    """Names whose readings can be taken for each other's: as many numbers, the same unit."""
    kinds: dict[tuple[str, bool], list[str]] = {}
    for name, sensor in sensors.all.items():
        kinds.setdefault((sensor.unit, sensor.measures == Measure.PITCH_ROLL), []).append(name)
    return list(kinds.values())


def with_body_off(sensors: SensorSet, rng: Rng, most_deg: float) -> SensorSet:
    """The set as it is really there where the body's zero is not set yet: off by up to this in any direction."""
    for name, sensor in sensors.all.items():
        if sensor.place == "body":
            off, towards = math.radians(rng.uniform(0.0, most_deg)), rng.uniform(-math.pi, math.pi)
            mounting = sensor.mounting
            assert isinstance(mounting, Mounting)
            up, left = mounting.nose_up + off * math.cos(towards), mounting.left_up + off * math.sin(towards)
            sensors = replaced(sensors, name, mounting=Mounting(up, left, mounting.to_left))
    return sensors


def sinking(sensors: SensorSet, rng: Rng, joint: str, deg: float, arrives: Arrives = dict) -> list[Moved]:
    """A whole test in which this joint sinks so far in every move of another."""
    low = sensors.assembly.ranges[joint].low + 0.5 * MARGIN_RAD
    for _ in range(20):
        made = [
            (what, grows, before, after if what == joint else after | {joint: max(after[joint] - math.radians(deg), low)})
            for what, grows, before, after in course(sensors, rng, there_and_back(sensors))
        ]  # fmt: skip
        try:
            return moved(sensors, rng, made, arrives)
        except Refused:  # an edge that stands plumb
            continue
    raise AssertionError("no posture found")


def all_of(names: Iterable[str], change: Callable[[Numbers], Numbers]) -> Arrives:
    """The one same fault on all of these, as one wrong default of a map makes it."""
    some = tuple(names)
    return lambda told: told | {name: change(told[name]) for name in some}
