"""The moves of the fitting test: one joint at a time, rest before and after, and what each sensor should then do."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from .arm import pose
from .assembly import JOINTS
from .errors import Refused
from .linkage import wrapped
from .sensing import Reading, Told, readings_of
from .sensor_set import SensorSet

QUARTER, NOSE = "quarter", "nose"
BODY_MOVES = (QUARTER, NOSE)
LEAST_RAD = math.radians(10.0)
"""A joint that turned less shows a sensor's unit and place less surely than its noise and the arm's play allow."""
LEAST_OF_RANGE = 0.4
LEAST_NOSE_RAD = math.radians(1.0)
_LEAN_RAD = math.radians(1.5)
_SAMPLES = 40
# Of the joint's own turn: less is what lean and skew make of a move that a sensor does not see.
_SEEN = 0.1

WAYS = {
    "swing_boom": ("swing the boom to the left on its post", "swing the boom to the right on its post"),
    "boom": ("raise the boom", "lower the boom"),
    "fore_boom": ("extend the fore boom (raise it)", "fold the fore boom in (lower it)"),
    "stick": ("stick out (extend the stick)", "crowd the stick in"),
    "bucket": ("open the bucket (uncurl)", "curl the bucket in"),
    "tilt": ("tilt the bucket's left corner up", "tilt the bucket's right corner up"),
    "rotate": ("rotate the attachment anticlockwise from above", "rotate the attachment clockwise from above"),
    QUARTER: (
        "swing the upper structure a quarter turn to the left, arm held still",
        "swing the upper structure a quarter turn to the right, arm held still",
    ),
    NOSE: (
        "drive the idler end of the tracks onto a plank so that the nose comes up, arm held still",
        "drive back off the plank so that the nose comes down, arm held still",
    ),
}  # fmt: skip
"""Of each move: how the trade calls it where the angle grows, and where it falls."""


class Moved(NamedTuple):
    """One move that was made: `what` of `WAYS`, whether its angle was to grow, raw readings (rad or m, of a pair two
    numbers) of every sensor at rest before and after. Of a quarter turn "grows" is to the left, of the nose up."""

    what: str
    grows: bool
    before: Mapping[str, Reading]
    after: Mapping[str, Reading]


@dataclass(frozen=True, slots=True)
class Move:
    """A move to make.

    `up`, `down`: its words where the joint angle grows and where it falls; make both, there and back. `least`: rad.
    `changes`: sensors that should change, for each of its numbers how the reading goes as the angle grows: +1 up, -1
    down, 0 not, None either way, as the posture has it.
    """

    what: str
    up: str
    down: str
    least: float
    changes: Mapping[str, tuple[int | None, ...]]


def moves_for(sensors: SensorSet) -> tuple[Move, ...]:
    """The moves that test these sensors, in the order to make them.

    Raising the boom 15 deg makes a boom sensor of gravity with sign 1 read 15 deg more, and those of stick and idler too;
    encoders there stand still. "quarter" is for a place that leans at least half a degree; "nose" only where no sensor
    of gravity on the arm can tell which way the body's pitch goes.
    """
    found = []
    for what in names_for(sensors):
        up, down = WAYS[what]
        found.append(Move(what, up, down, least_of(sensors, what), MappingProxyType(_changes(sensors, what))))
    return tuple(found)


def names_for(sensors: SensorSet) -> tuple[str, ...]:
    """The names of `moves_for`."""
    joints = [joint for joint in JOINTS if joint in sensors.assembly.ranges]
    lone = not any(one.by_gravity and one.place not in ("body", "tilt") for one in sensors.all.values())
    return (*joints, QUARTER, *((NOSE,) if lone else ()))


def least_of(sensors: SensorSet, what: str) -> float:
    """The least turn (rad) that a move of this name should have; of a quarter turn the swing."""
    if what == QUARTER:
        return 0.25 * math.pi
    if what == NOSE:
        return LEAST_NOSE_RAD
    reach = sensors.assembly.ranges[what]
    return min(LEAST_RAD, LEAST_OF_RANGE * (reach.high - reach.low))


def postures(sensors: SensorSet, what: str) -> Iterator[tuple[dict[str, float], dict[str, float]]]:
    """(angles before, angles after) of the move made over and over from postures all over the joints' ranges."""
    ranges = sensors.assembly.ranges
    least = least_of(sensors, what)
    rng = np.random.default_rng(len(ranges))  # the same postures each time: no answer hangs on luck
    for _ in range(_SAMPLES):
        direction = rng.uniform(-math.pi, math.pi)
        lean = {"pitch": _LEAN_RAD * math.cos(direction), "roll": _LEAN_RAD * math.sin(direction)}
        angles = {name: float(rng.uniform(reach.low, reach.high)) for name, reach in ranges.items()}
        before, after = lean | angles, lean | angles
        if what == QUARTER:
            after |= {"pitch": lean["roll"], "roll": -lean["pitch"]}
        elif what == NOSE:
            after["pitch"] += least
        else:
            reach = ranges[what]
            before[what] = float(rng.uniform(reach.low, reach.high - least))
            after[what] = before[what] + least
        yield before, after


def seen(sensors: SensorSet, what: str) -> Iterator[tuple[dict[str, Told], dict[str, Told]]]:
    """What every sensor would read before and after, of `postures` that can be."""
    for before, after in postures(sensors, what):
        try:
            yield tuple(readings_of(sensors, pose(sensors.assembly, **angles)) for angles in (before, after))  # type: ignore[misc]
        except Refused:  # an edge that stands plumb
            continue


def numbers_of(said: Reading | Told) -> tuple[float, ...]:
    """A reading as one or two numbers."""
    return (float(said),) if isinstance(said, float | int) else tuple(float(value) for value in said)


def _changes(sensors: SensorSet, what: str) -> dict[str, tuple[int | None, ...]]:
    least = least_of(sensors, what)
    ways: dict[str, list[set[int]]] = {}
    for before, after in seen(sensors, what):
        for name, sensor in sensors.all.items():
            a, b = numbers_of(before[name]), numbers_of(after[name])
            # A cylinder's length changes by its lever, some tenths of a metre, times the turn.
            small = _SEEN * least * (0.2 if sensor.unit == "m" else 1.0)
            if what == QUARTER:
                small = 0.0
            for i, (x, y) in enumerate(zip(a, b, strict=True)):
                step = y - x if sensor.unit == "m" else wrapped(y - x, 0.0)
                way = 0 if abs(step) <= max(small, 1e-9) else int(math.copysign(1.0, step))
                ways.setdefault(name, [set() for _ in a])[i].add(way)
    told: dict[str, tuple[int | None, ...]] = {}
    for name, each in ways.items():
        clear = tuple(_clear(found) for found in each)
        if any(way != 0 for way in clear):
            told[name] = clear
    return told


def _clear(found: set[int]) -> int | None:
    if found == {0}:
        return 0
    sides = found - {0}
    return sides.pop() if len(sides) == 1 else None
