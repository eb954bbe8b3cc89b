"""How the height of a point in a pose moves with every source of one sensor set."""

import math

import numpy as np
from numpy.typing import NDArray

from .arm import Pose
from .chain import POINTS
from .errors import Fault, Refused
from .sensing import readings_of
from .sensing_block import program
from .sensor_set import SensorSet
from .sources import Sources
from .trust_block import CHOICES, NONE, NUMBERS, fill_trust
from .trust_desk import Desk, lay_out, said_in

Floats = NDArray[np.float64]
RECEIVER = "receiver"


class RatesAt:
    """The rates of heights with one sensor set. For one thread."""

    def __init__(self, sensors: SensorSet, sources: Sources) -> None:
        self._sensors, self._sources, self._program = sensors, sources, program(sensors)
        self._desks: dict[str, Desk] = {}
        self._told = np.full(len(NUMBERS), math.nan), np.full(len(CHOICES), NONE, dtype=np.uint8)

    def of_height(self, pose: Pose, point: str) -> Floats:
        """d height / d each source (m/rad, m/m), shape (sources,), of an edge point or the receiver.

        An edge 8 m ahead of a boom told by an encoder: 8 m/rad for "boom.zero". Raises `Refused`: "no-such-point",
        "no-derivative" at a linkage's dead centre, and as `readings_of`.
        """
        pose.height(point)
        points = _with_it(point)
        if points[0] not in self._desks:
            self._desks[points[0]] = lay_out(self._sensors, self._sources, points)
        desk = self._desks[points[0]]
        steps, record = self._program, self._sensors.assembly.parameters
        said = said_in(steps.numbers, readings_of(self._sensors, pose))
        if not fill_trust(
            steps.rows, steps.bar, steps.cylinders, said, pose.q, record, desk.desk, desk.whole, *self._told
        ):
            raise Refused([
                Fault("no-derivative", "pose", "a linkage at dead centre", "a pose where angles follow readings smoothly",
                      "move the bucket a little")
            ])  # fmt: skip
        rates: Floats = desk.rates[points.index(point)].copy()
        return rates


def _with_it(point: str) -> tuple[str, ...]:
    """The points of `lay_out` among which it stands: the line that it is of, the heel, or the receiver alone."""
    if point == RECEIVER:
        return (point,)
    first = 3 * (POINTS.index(point) // 3)
    return tuple(POINTS[first : first + 3])
