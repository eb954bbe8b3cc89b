"""Whether a number moves or rests: how far it went against how much it scatters from one frame to the next."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from kinematics.units import Quantity, sensor_unit

FEWEST = 5
_STEPS = 4.0
_LEAST: Mapping[Quantity, float] = {
    Quantity.ANGLE: math.radians(0.5), Quantity.LENGTH: 0.005, Quantity.ACCELERATION: 0.5,
    Quantity.RATE: math.radians(2.0),
}  # fmt: skip
"""Less (rad, m, m/s2, rad/s) is no part moved by hand: a sensor that smooths its noise hides its scatter."""


@dataclass(slots=True)
class Course:
    """Takes every number in order. One odd number among others is no course: each is the middle of three in a row."""

    count: int = 0
    _least: float = math.inf
    _greatest: float = -math.inf
    _squares: float = 0.0
    _before: tuple[float, float] = (math.nan, math.nan)

    def take(self, number: float) -> None:
        """One more."""
        two, one = self._before
        if self.count:
            self._squares += (number - one) ** 2
        if self.count >= 2:
            middle = max(min(two, one), min(max(two, one), number))
            self._least, self._greatest = min(self._least, middle), max(self._greatest, middle)
        self.count += 1
        self._before = one, number

    def moves(self, unit: str, step: float) -> bool | None:
        """Whether it moved, None of fewer than five; `unit` of it, `step` of its last bit.

        0 to 20 deg in a hundred steps of 0.2: it moves. 20 deg with a scatter of 0.02: it rests. Moved means further than
        noise of this scatter goes among so many (2 sqrt(2 ln n) of it, and one more), than four bits, than half a degree.
        """
        if self.count < FEWEST:
            return None
        known = sensor_unit(unit)
        least = 0.0 if known is None else _LEAST.get(known[0], 0.0) / known[1]
        scatter = math.sqrt(self._squares / (self.count - 1) / 2.0)
        noise = (2.0 * math.sqrt(2.0 * math.log(self.count)) + 1.0) * scatter
        return self._greatest - self._least > max(noise, _STEPS * abs(step), least)
