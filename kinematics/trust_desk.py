"""What the kernel of trust finds on its desk: one sensor set, what a chain owes to it, and room to work."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .assembly import Assembly
from .chain import POINTS
from .gradient import PULL_COLUMNS
from .machine import Point
from .parameters import NAMES
from .sensing import Told
from .sensing_block import program
from .sensor import Measure
from .sensor_set import SensorSet
from .sources import KINDS, Kind, Sources
from .through_rates import BETWEEN, LINKS, OFF_CYLINDERS
from .trust_block import desk_size
from .trust_rates import ROWS

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Owed:
    """What an elevation owes to the sources of one sensor set.

    `edge`, `strikes` (sources,): rates by what stays as it is, through touches and through strikes. `rest` (`KINDS`,):
    variance (m2) of all else.
    """

    edge: Floats
    strikes: Floats
    rest: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Desk:
    """`desk`, `whole` as `trust_block.fill_trust` takes them; `rates` (`ROWS`, sources), a part of the desk."""

    desk: Floats
    whole: Whole
    rates: Floats


def lay_out(
    sensors: SensorSet, sources: Sources, points: tuple[str, ...], *, contact: float = 0.0, stays: float = 0.0,
    owed: tuple[Owed | None, Owed | None] = (None, None), fall: tuple[float, float] = (0.0, 0.0),
) -> Desk:  # fmt: skip
    """A desk for the rates of `points`, three that follow each other in `chain.POINTS`, or the receiver alone.

    `owed`: of elevation, and of cut or fill; None where there is none. `contact` (m), `stays` (m2),
    `fall` as `trust.Trust` has them.
    """
    assembly = sensors.assembly
    numbers = program(sensors).numbers
    m, n, rank = len(sources.names), sources.numbers, sources.root.shape[1]
    between = between_of(sensors)
    zero, none = np.zeros(m), np.zeros(len(KINDS))
    edge, strikes, rest = (
        np.array([other if each is None else getattr(each, what) for each in owed])
        for what, other in (("edge", zero), ("strikes", zero), ("rest", none))
    )
    active = np.flatnonzero(
        _counts(sources, points, between) | (edge != 0.0).any(axis=0) | (strikes != 0.0).any(axis=0)
    )
    width = len(BETWEEN) if max(between, default=0) >= OFF_CYLINDERS else OFF_CYLINDERS
    desk = np.zeros(desk_size(n, m, rank, len(active), n + width))
    given = np.concatenate([
        [pins_to(assembly, points[0]), *fall, contact, *worn_back(assembly, points[0]), stays], sources.standard[active],
        edge[:, active].ravel(), strikes[:, active].ravel(), rest.ravel(),
        sources.root[active].ravel() if rank else [],
    ])  # fmt: skip
    desk[: len(given)] = given
    desk[-len(NAMES) :] = assembly.parameters.view(np.float64)
    alike = None not in owed and not any(fall) and (
        np.array_equal(edge[0], edge[1]) and np.array_equal(strikes[0], strikes[1])
    )  # fmt: skip
    whole = np.concatenate([
        [n, m, rank, POINTS.index(points[0]), *(each is not None for each in owed), alike, len(active), len(between),
         width],
        np.searchsorted(sources.kinds[active], np.arange(KINDS.index(Kind.FLEX) + 2)), active, sources.lengths[active],
        [numbers.index(name) for name in numbers], between,
    ]).astype(np.int64)  # fmt: skip
    return Desk(desk, whole, desk[len(given) : len(given) + ROWS * m].reshape((ROWS, m)))


def _counts(sources: Sources, points: tuple[str, ...], between: list[int]) -> NDArray[np.bool_]:
    """(sources,): what may bear on these points: not other corners, nor a linkage that no sensor sits on."""
    counts = sources.standard > 0.0
    others = {*POINTS, "mast"} - set(points)
    idle = {name for i, name in enumerate(BETWEEN) if i not in between} - set(PULL_COLUMNS)
    counts[sources.dimensions] &= [
        name.rpartition("_")[0] not in others and name not in idle for name in NAMES
    ]
    return counts


def said_in(numbers: tuple[str, ...], readings: Mapping[str, Told]) -> Floats:
    """Readings by name as the row that a program takes."""
    said: list[float] = []
    for name in dict.fromkeys(numbers):
        told = readings[name]
        said += told if isinstance(told, tuple) else [told]
    return np.array(said)


def pins_to(assembly: Assembly, point: str) -> float:
    """How many pins, one after another, let a point drop by their slop: 3 for an edge, 2 for a receiver on the stick."""
    fore = assembly.machine.fore_boom is not None
    return (2.0 if point == "receiver" else 3.0) + fore


def worn_back(assembly: Assembly, point: str = "centre") -> Point:
    """Unit vector, in the bucket's frame, of the way that an edge goes as it wears: along the floor towards the heel. Nil
    for the receiver."""
    if point == "receiver":
        return 0.0, 0.0, 0.0
    attachment = assembly.attachment
    edge = attachment.edge[attachment.centre]
    one, other = attachment.heel
    x, z = 0.5 * (one[0] + other[0]) - edge[0], 0.5 * (one[2] + other[2]) - edge[2]
    size = math.hypot(x, z)
    return x / size, 0.0, z / size


def between_of(sensors: SensorSet) -> list[int]:
    """Which of `sensing_rates.BETWEEN` stand between this set's sensors and their joints."""
    used: set[str] = set()
    for joint, (_, sensor) in sensors.by_joint.items():
        if sensor.measures == Measure.LENGTH:
            used |= {name for name in BETWEEN if name.startswith(f"{joint}_cylinder_")}
        if sensor.place in ("idler", "power_link") or (
            joint == "bucket" and sensor.measures == Measure.LENGTH
        ):
            used |= set(BETWEEN[:LINKS])
        if sensor.by_gravity and sensor.place in ("bucket", "tilt"):
            used |= {"coupler_angle", "mount_angle"}
        if sensor.by_gravity and sensor.place == "tilt":
            used |= {name for name in BETWEEN if name.startswith("tilt_axis_")}
    return [i for i, name in enumerate(BETWEEN) if name in used]
