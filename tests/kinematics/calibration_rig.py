"""Machines that are not quite what their profile says, touched in many postures: observations for calibrations, from
`readings_of` and `pose` of the true machine alone."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from scipy.optimize import brentq

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.errors import Refused
from kinematics.estimates import Estimates
from kinematics.parameters import NAMES
from kinematics.sensing import angles_from, readings_of
from kinematics.sensor_set import SensorSet
from kinematics.sources import Sources, sources_of, with_standard
from kinematics.touched import HeightSeen

from .fitting_rig import rig
from .machines import Rng
from .test_sensing_block import unchecked
from .trust_rig import added, changed, skewed, worn

Angles = dict[str, float]
ROD, STONE = "rod", "stone"
ORIGIN_M = 1.3  # of the body, over what the rod's level stands for
CONTACT_M = 0.003
ROOM_RAD = math.radians(4.0)  # more than any zero is planted off


def sensors_of(name: str) -> SensorSet:
    """A set of `fitting_rig`, without its checks."""
    return unchecked(rig(name))


def zeros_of(sensors: SensorSet) -> tuple[str, ...]:
    """The zeros of boom, stick and bucket."""
    given = [sensors.by_joint[joint] for joint in ("boom", "stick", "bucket")]
    return tuple(f"{name}.zero" + (".pitch" if one.side_sign is not None else "") for name, one in given)


def sources_so(sensors: SensorSet, standard: Mapping[str, float], *, alone: bool = False) -> Sources:
    """The set's sources, some with other standard uncertainties; `alone`: all the rest known exactly."""
    of = sources_of(sensors, Estimates())
    return with_standard(of, (dict.fromkeys(of.known, 0.0) if alone else {}) | dict(standard))


def postures(sensors: SensorSet, rng: Rng, count: int, lean: float = 0.02) -> list[Angles]:
    """Joint angles over the middle of the ranges that the sensors can tell with room around; one lean, that of a machine
    that stands."""
    middle = {"tilt": 0.0, "rotate": 0.0, "swing_boom": 0.0}
    stands = {"pitch": rng.uniform(-lean, lean), "roll": rng.uniform(-lean, lean)}
    found: list[Angles] = []
    while len(found) < count:
        angles = stands | {
            name: middle.get(name, span.low + rng.uniform(0.12, 0.88) * (span.high - span.low))
            for name, span in sensors.assembly.ranges.items()
        }
        if all(_told(sensors, angles, by) for by in (-ROOM_RAD, 0.0, ROOM_RAD)):
            found.append(angles)
    return found


def _told(sensors: SensorSet, angles: Angles, by: float) -> bool:
    moved = angles | {joint: angles[joint] + by for joint in ("boom", "stick", "bucket")}
    try:
        told = angles_from(sensors, readings_of(sensors, pose(sensors.assembly, **moved)))
    except Refused:
        return False
    return max(abs(told[name] - angle) for name, angle in moved.items()) < ROOM_RAD


def on_stone(assembly: Assembly, angles: Angles, height: float) -> Angles | None:
    """The same with the boom turned until the edge's centre stands at this height (m); None where no boom does it."""

    def off(boom: float) -> float:
        return pose(assembly, **(angles | {"boom": boom})).height("centre") - height

    span = assembly.ranges["boom"]
    low, high = span.low + 0.1 * (span.high - span.low), span.high - 0.1 * (span.high - span.low)
    if off(low) * off(high) > 0.0:
        return None
    return angles | {"boom": float(brentq(off, low, high, xtol=1e-14))}


def tells(sensors: SensorSet, true: SensorSet, angles: Angles) -> bool:
    """Whether what the true machine reads there means anything to the sensors as they are believed."""
    try:
        angles_from(sensors, readings_of(true, pose(true.assembly, **angles)))
    except Refused:
        return False
    return True


def seen_exactly(
    true: SensorSet, places: Sequence[Angles], group: str = ROD, point: str = "centre"
) -> list[HeightSeen]:
    """Rods on the edge, without an error."""
    found = []
    for i, angles in enumerate(places):
        there = pose(true.assembly, **angles)
        height = there.height(point) + ORIGIN_M
        found.append(HeightSeen(f"{group} {i}", group, readings_of(true, there), point, height, CONTACT_M))
    return found


@dataclass
class Truth:
    """A machine whose every lasting error is drawn as its sources say, and one session on it."""

    sensors: SensorSet
    sources: Sources
    rng: Rng
    off: dict[str, float] = field(init=False)
    true: SensorSet = field(init=False)

    def __post_init__(self) -> None:
        of = self.sources
        drawn = self.rng.standard_normal(len(of.names)) * of.standard
        self.off = dict(zip(of.names, drawn.tolist(), strict=True))
        longer = {name: -self.off[name] for name in NAMES if self.off[name] != 0.0}
        assembly = changed(self.sensors.assembly, longer)
        if self.off["edge_wear"]:
            assembly = worn(assembly, -self.off["edge_wear"])
        cases = {
            name: self.off[f"{name}.skew"] for name, one in self.sensors.sensors.items() if one.by_gravity
        }
        self.true = SensorSet(assembly, skewed(self.sensors.sensors, cases))

    def change(self, name: str) -> float:
        """What the true value of an unknown has over the profile's (rad, m)."""
        of, _, what = name.partition(".")
        if not what:
            return -self.off[name]
        return self.sensors.sensors[of].sign * self.off[name]

    def readings(self, there: Pose) -> dict[str, float | tuple[float, float]]:
        """What the sensors say there: with their zeros, drifts and noise."""
        errors = {}
        for name, one in self.sensors.sensors.items():
            parts = (".pitch", ".roll") if one.side_sign is not None else ("",)
            for i, part in enumerate(parts):
                own = self.off[f"{name}.zero{part}"] + self.off[f"{name}.drift{part}"]
                noise = self.sources.standard[self.sources.names.index(f"{name}.noise{part}")]
                errors[name, i] = own + noise * float(self.rng.standard_normal())
        return added(readings_of(self.true, there), errors)

    def touch(self, name: str, group: str, angles: Angles) -> HeightSeen:
        """A rod on the edge, or the edge on the stone."""
        there = pose(self.true.assembly, **angles)
        flex = self.sources.standard[self.sources.names.index("flex")]
        height = there.height("centre") + ORIGIN_M
        given = height + float(self.rng.standard_normal()) * math.hypot(CONTACT_M, flex)
        return HeightSeen(name, group, self.readings(there), "centre", given, CONTACT_M)
