"""A sensor's number as it comes in one of its two units: checked, and as rad or m."""

import math
from collections.abc import Callable
from typing import Any

from kinematics.errors import Fault

from .frames import in_short

Value = float | tuple[float, float]
Ends = tuple[float, float]
# In deg, mm, rad or m; no sensor says so much, and JSON has whole numbers that no float holds.
FAR = 1e9


class Scale:
    """Readings in `unit`, of which `per` make a rad or a metre. `ends`: low and high (rad or m) of each number."""

    __slots__ = ("_high", "_into", "_low", "_pair", "_per", "read", "unit")

    def __init__(
        self, unit: str, per: float, into: Callable[[float], float], ends: tuple[Ends, Ends], *, pair: bool
    ) -> None:  # fmt: skip
        self.unit, self._per, self._into = unit, per, into
        self._pair = pair
        self._low, self._high = zip(*ends, strict=True)
        self.read: Callable[[Any], Value | Fault] = self._two if pair else self._number
        """The reading in rad or m, or what is wrong with it."""

    def _two(self, said: Any) -> Value | Fault:
        if type(said) is not list or len(said) != 2:
            word = "degrees" if self.unit == "deg" else self.unit
            return self._bad(said, f"two numbers, pitch and roll, in {word}")
        one = self._number(said[0])
        if type(one) is not float:
            return one
        two = self._number(said[1], 1)
        return (one, two) if type(two) is float else two

    def _number(self, said: Any, i: int = 0) -> float | Fault:
        if type(said) is not float and type(said) is not int:
            return self._bad(said, "a number")
        if not -FAR < said < FAR:
            if type(said) is int or math.isfinite(said):
                return self._beyond(said, i)
            return Fault("not-finite", self.unit, str(said), "a finite number", "read the sensor again")
        value = self._into(said)
        return value if self._low[i] <= value <= self._high[i] else self._beyond(said, i)

    def anyhow(self, said: Any) -> Value | None:
        """The same of a reading out of range; None of one that is no reading at all."""
        parts = said if type(said) is list else [said]
        if len(parts) != (2 if self._pair else 1):
            return None
        if not all(type(each) in (float, int) and abs(each) < FAR for each in parts):
            return None
        found = [self._into(each) for each in parts]
        return (found[0], found[1]) if self._pair else found[0]

    def outside(self, value: Value) -> Fault | None:
        """What is wrong with a reading in rad or m that was not said but found."""
        parts = value if isinstance(value, tuple) else (value,)
        for i, each in enumerate(parts):
            if not self._low[i] <= each <= self._high[i]:
                return self._beyond(each * self._per, i)
        return None

    def _bad(self, said: Any, wanted: str) -> Fault:
        return Fault("bad-reading", self.unit, in_short(said), wanted)

    def _beyond(self, said: float, i: int) -> Fault:
        found = f"{said:g}" if abs(said) < FAR else f"{'-' if said < 0 else ''}1e9 or more"
        return Fault(
            "out-of-range", self.unit, f"{found} {self.unit}",
            f"{self._low[i] * self._per:g} to {self._high[i] * self._per:g} {self.unit}",
            "check its unit, its wiring and the range in the profile",
        )  # fmt: skip
