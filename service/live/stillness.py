"""Whether a case rests, from its raw accelerometer and gyro, and what its gyro reads while it does.

An engine shakes a case by some m/s2 thirty times a second and oftener, which no single sample sees through, and a link
that creeps at an even rate looks at rest to its gyro. So means over a quarter of a second are looked at, eight of them:
gravity must stand still in the case and the rates must be even. What the rates then are is the gyro's zero error.
"""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from kinematics.machine import Point
from kinematics.sensing_gravity import cross, dot

BLOCK_S, BLOCKS, FEWEST_IN_BLOCK = 0.25, 8, 4
REST_S = BLOCK_S * BLOCKS
# What follows is common practice, no source. Of the means of quarters of a second, by axis:
MOST_SHAKE_M_S2 = 0.8
MOST_UNEVEN_RAD_S = math.radians(0.4)
MOST_ZERO_RAD_S = math.radians(3.0)
"""Of a gyro at rest; more is a turn, or another unit."""
STEEP = 0.7
"""Sine of the angle to plumb of a turn that plumb cannot miss: an even swing draws it outwards, by 30 deg at most."""
MOST_CREEP_RAD = math.radians(0.2)
"""Of gravity in the case, from one second to the next."""
MOST_STRAY_RAD = math.radians(0.3)
"""Of gravity in the case since the rest began."""


@dataclass(frozen=True, slots=True)
class Rest:
    """What two seconds without motion showed: plumb in the case (unit), mean rates (rad/s), how long it has lasted, and
    the size of what the accelerometer felt (m/s2)."""

    plumb: Point
    rates: Point
    lasted_s: float
    weight: float


class Stillness:
    """The means of the last two seconds. `rest`: None while there is none. `contradicted`: by how much the gyro says that
    plumb turns (rad/s) while it stands still; 0 where it does not."""

    __slots__ = ("_kept", "_since", "_start", "contradicted", "rest")

    def __init__(self) -> None:
        self._kept: deque[tuple[Point, Point]] = deque(maxlen=BLOCKS)
        self._start: Point | None = None
        self._since = 0.0
        self.rest: Rest | None = None
        self.contradicted = 0.0

    def add(self, force: Point, rates: Point, span_s: float) -> None:
        """Take the means (m/s2, rad/s, in the case) over one block of time that lasted `span_s`."""
        self._kept.append((force, rates))
        self.rest, self.contradicted = None, 0.0
        if len(self._kept) < BLOCKS:
            return
        forces, turns = [each[0] for each in self._kept], [each[1] for each in self._kept]
        plumb, turning = unit(_mean(forces)), _mean(turns)
        half = BLOCKS // 2
        calm = _spread(forces) <= MOST_SHAKE_M_S2
        if calm and between(_mean(forces[:half]), _mean(forces[half:])) <= MOST_CREEP_RAD:
            across = math.hypot(*cross(plumb, turning))
            if across > max(MOST_ZERO_RAD_S, STEEP * math.hypot(*turning)):
                self.contradicted = across
            elif max(map(abs, turning)) <= MOST_ZERO_RAD_S and _spread(turns) <= MOST_UNEVEN_RAD_S:
                if self._start is None or between(self._start, plumb) > MOST_STRAY_RAD:
                    self._start, self._since = plumb, REST_S - span_s
                self._since += span_s
                self.rest = Rest(plumb, turning, self._since, math.hypot(*_mean(forces)))
                return
        self._start = None


def _mean(many: Sequence[Point]) -> Point:
    n = len(many)
    return sum(p[0] for p in many) / n, sum(p[1] for p in many) / n, sum(p[2] for p in many) / n


def _spread(many: Sequence[Point]) -> float:
    return max(max(p[i] for p in many) - min(p[i] for p in many) for i in range(3))


def unit(v: Point) -> Point:
    """The direction of a vector."""
    size = math.hypot(*v)
    return v[0] / size, v[1] / size, v[2] / size


def between(a: Point, b: Point) -> float:
    """The angle between two vectors, rad."""
    return math.atan2(math.hypot(*cross(a, b)), dot(a, b))
