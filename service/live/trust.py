"""Which axes of a gyro have been seen to be right: a turn between two rests that the accelerometer shows as well.

A sign turned, an axis exchanged or a rate in another unit gives an angle that looks right and is not. So an axis is
believed while it turns only once a turn about it has been seen to agree; until then there is a number at rest alone.
"""

import math

from kinematics.machine import Point
from kinematics.sensing_gravity import cross

PROVED_RAD = math.radians(8.0)
"""About an axis, times the sine of its angle to plumb: about plumb itself no accelerometer sees a turn."""
LOOSE_RAD = math.radians(2.0)
"""So far an axis that nobody has seen right may turn plumb, over some three seconds."""
FADES_S = 3.0
_TURNED_RAD = math.radians(5.0)
_OFF_AXIS = 0.3


class Trust:
    """Of one gyro. `wrong`: what was seen that proves its rates wrong, else ""; `lost`: it has turned further about an
    axis not proved than may be believed, since plumb was last seen at rest."""

    __slots__ = ("_levers", "_net", "_suspect", "_turned", "lost", "proved", "wrong")

    def __init__(self) -> None:
        self.proved = [False, False, False]
        self._suspect: set[int] = set()
        self.wrong = ""
        self.begin()

    def begin(self) -> None:
        """Nothing is known any more of where plumb is; what was proved stays so."""
        self._levers: Point = (1.0, 1.0, 1.0)
        self.refer()
        self.rest()

    def turn(self, rates: Point, dt_s: float) -> None:
        """So much turned (rad/s, zero error taken off, over `dt_s`)."""
        fade = max(0.0, 1.0 - dt_s / FADES_S)
        total = 0.0
        for i in range(3):
            by = rates[i] * dt_s
            self._turned[i] += by
            self._net[i] = self._net[i] * fade + by
            if not self.proved[i]:
                total += (self._levers[i] * self._net[i]) ** 2
        if total > LOOSE_RAD**2:
            self.lost = True

    def stands(self, plumb: Point) -> None:
        """Plumb in the case (unit) as it is now."""
        a, b, c = (math.sqrt(max(0.0, 1.0 - each * each)) for each in plumb)
        self._levers = a, b, c

    def rest(self) -> None:
        """Plumb was seen, with nothing turning."""
        self._net = [0.0, 0.0, 0.0]
        self.lost = False

    def refer(self) -> None:
        """The next comparison counts from here."""
        self._turned = [0.0, 0.0, 0.0]

    def turned_enough(self, then: Point, now: Point) -> bool:
        """Whether there is something to be proved, plumb in the case being so then and now."""
        return any(self._by(i, then, now) >= PROVED_RAD for i in range(3))

    def agree(self, then: Point, now: Point) -> None:
        """Gyro and accelerometer agree over what turned since the reference."""
        for i in range(3):
            if self._by(i, then, now) >= PROVED_RAD:
                self.proved[i] = True
                self._suspect.discard(i)
        if not self._suspect:
            self.wrong = ""

    def disagree(self, then: Point, now: Point, found: str) -> None:
        """They do not; it may be any axis that turned, by the one or the other."""
        axis = cross(then, now)
        size = math.hypot(*axis)
        turned = {i for i in range(3) if abs(self._turned[i]) >= _TURNED_RAD}
        if size > math.sin(_TURNED_RAD):  # the accelerometer shows about which
            suspect = {i for i in range(3) if abs(axis[i]) > _OFF_AXIS * size}
        else:  # of a swing, which turns x and z: one that is dead does not say so
            suspect = turned | {0, 2} if turned & {0, 2} else turned
        self._suspect |= suspect
        for i in self._suspect | turned:
            self.proved[i] = False
        self.wrong = found

    def _by(self, i: int, then: Point, now: Point) -> float:
        lever = min(math.sqrt(max(0.0, 1.0 - each[i] * each[i])) for each in (then, now))
        return abs(self._turned[i]) * lever
