"""How the height of a point in a pose moves with every source of one sensor set."""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from . import chain
from .arm import Pose
from .assembly import Assembly
from .chain import POINTS
from .compiled import compiled
from .drive_block import Records
from .errors import Fault, Refused
from .machine import Point
from .place_rates import COLUMNS, JOINTS, point_rates
from .sensing import Told, readings_of
from .sensing_block import ANGLES, program
from .sensing_rates import BETWEEN, LINKS, sensed_rates
from .sensor import Measure
from .sensor_set import SensorSet
from .sources import Sources
from .trust_rates import source_rates

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
_ALL = np.arange(len(BETWEEN))


class Sensed:
    """What `sensed_rates` works on, of one sensor set; for one thread. `dq`, `skew`: as it fills them."""

    __slots__ = ("_work", "bars", "case", "cylinders", "dq", "numbers", "rows", "skew")

    def __init__(self, sensors: SensorSet) -> None:
        steps = program(sensors)
        n = len(steps.numbers)
        self.rows, self.bars, self.cylinders, self.numbers = (
            steps.rows,
            steps.bar,
            steps.cylinders,
            steps.numbers,
        )
        self.case = np.array([steps.numbers.index(name) for name in steps.numbers])
        width = n + len(BETWEEN)
        self.dq, self.skew = np.empty(len(ANGLES) * width), np.empty(n)
        self._work = np.empty(3 * width), np.empty(width)

    @property
    def taken(self) -> tuple[Floats, Floats, Floats, Floats]:
        """dq, what is worked on, and skew."""
        return self.dq, *self._work, self.skew

    def rate(self, said: Floats, q: Floats) -> bool:
        """Fill `dq` and `skew` for a pose; False at a dead centre."""
        return bool(sensed_rates(self.rows, self.bars, self.cylinders, said, q, *self.taken))


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


def worn_back(assembly: Assembly) -> Point:
    """Unit vector, in the bucket's frame, of the way that an edge goes as it wears: along the floor towards the heel."""
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


class RatesAt:
    """The rates of heights with one sensor set."""

    def __init__(self, sensors: SensorSet, sources: Sources) -> None:
        self._sensors, self._sources, self._sensed = sensors, sources, Sensed(sensors)
        self._back = worn_back(sensors.assembly)

    def of_height(self, pose: Pose, point: str) -> Floats:
        """d height / d each source (m/rad, m/m), shape (sources,), of an edge point or the receiver.

        An edge 8 m ahead of a boom told by an encoder: 8 m/rad for "boom.zero". Raises `Refused`: "no-such-point",
        "no-derivative" at a linkage's dead centre, and as `readings_of`.
        """
        pose.height(point)
        sensors, sensed = self._sensors, self._sensed
        said = said_in(sensed.numbers, readings_of(sensors, pose))
        if not sensed.rate(said, pose.q):
            raise Refused([
                Fault("no-derivative", "pose", "a linkage at dead centre", "a pose where angles follow readings smoothly",
                      "move the bucket a little")
            ])  # fmt: skip
        row, out = np.empty(len(COLUMNS)), np.zeros(len(self._sources.names))
        record = sensors.assembly.parameters
        pins = pins_to(sensors.assembly, point)
        back = (0.0, 0.0, 0.0) if point == "receiver" else self._back
        height_rates(
            record, record.view(np.float64), pose.q, sensed.dq, sensed.skew, sensed.case, _ALL, POINTS.index(point),
            back, pins, row, out,
        )  # fmt: skip
        return out


@compiled
def height_rates(
    records: Records, flat: Floats, q: Floats, dq: Floats, skew: Floats, case: Whole, between: Whole, point: int,
    back: Point, pins: float, row: Floats, out: Floats,
) -> None:  # fmt: skip
    """Rates of one point's height by every source into `out`."""
    m = records[0]
    t = chain.turns(q[0], q[1], q[2], q[3], q[4], q[5], q[6], q[7], q[8])
    fixed = chain.steps(m)
    point_rates(m, flat, fixed, t, chain.frames(m, fixed, t), point, (0.0, 0.0, 1.0), row)
    source_rates(row, dq, skew, case, between, point, point, back, pins, np.empty(dq.shape[0] // JOINTS), out)
