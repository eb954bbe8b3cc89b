"""Whole jobs on shipped machines: what was touched and struck in which pose, and the book that came of it."""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from kinematics.arm import Pose, pose
from kinematics.assembly import Assembly
from kinematics.estimates import Estimates
from kinematics.levelling import Book, Enters, Laser, Terms
from kinematics.observed import Observed
from kinematics.sensor_set import SensorSet
from kinematics.sources import Sources, sources_of

from .test_sensing_block import SENSED, unchecked

BENCHMARK, SET, FIRST, SECOND = 1, 2, 4, 6
"""Entries: the benchmark; the touch on it; a strike or turning point before a move, and after it."""
ELEVATION = 100.0
Angles = Mapping[str, float]


@dataclass(frozen=True)
class Postures:
    """Angles of each place."""

    touch: Angles
    before: Sequence[Angles]
    after: Sequence[Angles]
    dig: Angles


def postures(assembly: Assembly) -> Postures:
    """Postures within the ranges, the bucket hanging ahead of the machine; two for a strike, up and down."""
    spans = assembly.ranges

    def at(lean: tuple[float, float], **parts: float) -> Angles:
        angles = {
            name: span.low + parts.get(name, 0.5) * (span.high - span.low) for name, span in spans.items()
        }
        return angles | {"pitch": math.radians(lean[0]), "roll": math.radians(lean[1])}

    one, other = (0.8, -0.5), (-1.1, 0.6)
    return Postures(
        at(one, boom=0.45, stick=0.55, bucket=0.45, tilt=0.55, rotate=0.48),
        [at(one, boom=0.62, stick=0.6, bucket=0.5), at(one, boom=0.63, stick=0.59, bucket=0.5)],
        [at(other, boom=0.68, stick=0.5, bucket=0.5), at(other, boom=0.67, stick=0.51, bucket=0.5)],
        at(other, boom=0.3, stick=0.42, bucket=0.55, tilt=0.4, rotate=0.53),
    )


@dataclass(frozen=True)
class Job:
    """One readout and what it hangs on; `cut`: against a target that hangs on the benchmark."""

    sensors: SensorSet
    sources: Sources
    estimates: Estimates
    terms: Terms
    cut: Terms
    observed: Mapping[int, Observed]
    dig: Pose
    fall: tuple[float, float] = (0.0, 0.0)
    height: float = field(default=math.nan)


def mean(poses: Sequence[Pose], point: str) -> float:
    return sum(each.height(point) for each in poses) / len(poses)


def booked(
    kind: str, touch: Pose, before: Sequence[Pose], after: Sequence[Pose], benchmark: float = ELEVATION
) -> Book:  # fmt: skip
    """The book after a touch, and by `kind` a move and: nothing ("touch"), a strike before and after ("laser"), a turning
    point ("turning")."""
    book = Book().declared(BENCHMARK, "slab", benchmark).placed()
    book, _ = book.touched(SET, "slab", touch.height("centre"), check=False)
    if kind == "laser":
        book, _ = book.laser_set_up(Laser(10.0, 0.0)).struck_by_laser(FIRST, mean(before, "receiver"), None)
        book, _ = book.moved().struck_by_laser(SECOND, mean(after, "receiver"), None)
    elif kind == "turning":
        book, _ = book.turning_point(FIRST, "stone", before[0].height("centre"))
        book, _ = book.moved().touched(SECOND, "stone", after[0].height("centre"), check=False)
    return book


def observed_of(
    kind: str, sensors: SensorSet, sources: Sources, touch: Pose, before: Sequence[Pose], after: Sequence[Pose]
) -> dict[int, Observed]:  # fmt: skip
    """What `chained` is given of it."""
    seen = {SET: Observed(sensors, sources, [touch], "centre", 1)}
    if kind != "touch":
        point, few = ("receiver", 2) if kind == "laser" else ("centre", 1)
        seen[FIRST] = Observed(sensors, sources, before[:few], point, 1)
        seen[SECOND] = Observed(sensors, sources, after[:few], point, 2)
    return seen


def job(
    pair: str, kind: str, estimates: Estimates | None = None, fall: tuple[float, float] = (0.0, 0.0)
) -> Job:  # fmt: skip
    """A job of this kind on a shipped pair."""
    of = estimates or Estimates(benchmark=0.001)
    sensors = unchecked(SENSED[pair])
    sources, at = sources_of(sensors, of), postures(sensors.assembly)
    touch, dig = (pose(sensors.assembly, **angles) for angles in (at.touch, at.dig))
    before, after = ([pose(sensors.assembly, **angles) for angles in each] for each in (at.before, at.after))
    book = booked(kind, touch, before, after)
    assert book.height is not None
    cut = {key: value for key, value in book.height.terms.items() if key != (BENCHMARK, Enters.BENCHMARK)}
    seen = observed_of(kind, sensors, sources, touch, before, after)
    return Job(sensors, sources, of, book.height.terms, cut, seen, dig, fall, book.height.elevation)


def without(of: Estimates, **changes: float) -> Estimates:
    """The same, some figures others."""
    return dataclasses.replace(of, **changes)
