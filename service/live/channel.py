"""One sensor of a job as its readings arrive: the last good one, its time, and what was counted."""

import math
from collections import Counter
from typing import Any

from kinematics.errors import Fault
from kinematics.sensor import Measure, Sensor
from kinematics.units import LengthUnit, to_metres
from service.text import plain

from .frames import in_short

_LONGEST_WORD = 60
# In degrees or mm; no sensor says so much, and JSON has whole numbers that no float holds.
_FAR = 1e9


class Channel:
    """A sensor's latest reading. `first`: where its numbers stand in the set's row of readings.

    `born` is when the reading was true of the world, by our monotonic clock: when it was taken less the sensor's latency.
    `per`: of `unit` in a rad or a metre. `words`: the last error that was reported; `error`: the same until a reading.
    """

    __slots__ = (
        "_high", "_low", "arrived", "born", "counts", "error", "feeder", "first", "limit_s", "name", "pair", "per",
        "said_last", "sensor", "taken", "unit", "value", "words",
    )  # fmt: skip

    def __init__(self, name: str, sensor: Sensor, first: int) -> None:
        self.name, self.sensor, self.first = name, sensor, first
        self.unit = "mm" if sensor.measures == Measure.LENGTH else "deg"
        self.per = 1e3 if self.unit == "mm" else math.degrees(1.0)
        self.pair = sensor.measures == Measure.PITCH_ROLL
        low, high = sensor.range.low, sensor.range.high
        right = 0.5 * math.pi  # an arcsine, the first of two numbers, goes no further
        self._low = (max(low, -right), low) if self.pair else (low, low)
        self._high = (min(high, right), high) if self.pair else (high, high)
        self.limit_s = sensor.age_limit_s
        self.value: float | tuple[float, float] | None = None
        self.born = self.arrived = -math.inf
        self.said_last: float | None = None
        self.taken = 0
        self.counts: Counter[str] = Counter()
        self.words = self.error = ""
        self.feeder: object = None

    def carry(self, before: "Channel") -> None:
        """Go on counting where another channel of this sensor's name stopped."""
        self.taken, self.counts, self.words = before.taken, before.counts, before.words

    def read(self, said: Any) -> float | tuple[float, float] | Fault:
        """The reading in rad or m, or what is wrong with it."""
        if self.pair:
            if type(said) is not list or len(said) != 2:
                return self._bad(said, "two numbers, pitch and roll, in degrees")
            one = self._number(said[0], 0)
            if type(one) is not float:
                return one
            two = self._number(said[1], 1)
            return (one, two) if type(two) is float else two
        return self._number(said, 0)

    def _number(self, said: Any, i: int) -> float | Fault:
        if type(said) is not float and type(said) is not int:
            return self._bad(said, "a number")
        if not abs(said) < _FAR:
            if type(said) is int or math.isfinite(said):
                return self._beyond(said, i)
            return Fault("not-finite", self.unit, str(said), "a finite number", "read the sensor again")
        value = math.radians(said) if self.unit == "deg" else to_metres(said, LengthUnit.MM)
        return value if self._low[i] <= value <= self._high[i] else self._beyond(said, i)

    def _bad(self, said: Any, wanted: str) -> Fault:
        return Fault("bad-reading", self.unit, in_short(said), wanted)

    def _beyond(self, said: float, i: int) -> Fault:
        found = f"{said:g}" if abs(said) < _FAR else f"{'-' if said < 0 else ''}1e9 or more"
        return Fault(
            "out-of-range", self.unit, f"{found} {self.unit}",
            f"{self._low[i] * self.per:g} to {self._high[i] * self.per:g} {self.unit}",
            "check its unit, its wiring and the range in the profile",
        )  # fmt: skip

    def take(self, value: float | tuple[float, float], at_s: float, ours: float, now: float) -> Fault | None:
        """Take a reading that was sent with `at_s`, `ours` by our clock. What is not newer than the last is refused."""
        born = ours - self.sensor.latency_s
        if born <= self.born:
            if at_s == self.said_last:
                return Fault("duplicate-reading", "at_s", f"{at_s:g} s a second time", "each reading once")
            return Fault(
                "out-of-order", "at_s", f"{(self.born - born) * 1e3:.0f} ms older than the last",
                "readings of a sensor in the order of their times",
                "send what waits in order or leave it out; date in seconds, by the clock that answers",
            )  # fmt: skip
        self.value, self.born, self.arrived, self.said_last = value, born, now, at_s
        self.taken += 1
        self.error = ""
        return None

    def odd(self, reading: dict[str, Any]) -> Fault:
        """What a reading is that has not its number: an error that the bus reports, or another shape."""
        error = reading.get("error")
        if len(reading) == 3 and type(error) is str:
            self.words = self.error = plain(error, _LONGEST_WORD)
            return Fault("sensor-error", "error", self.words or "an error", f"a reading in {self.unit}",
                         "see to the sensor and its wiring")  # fmt: skip
        keys = ", ".join(sorted(map(str, reading)))[:80]
        return Fault("bad-reading", "", keys, f"sensor, at_s and {self.unit}, nothing else")

    def told(self) -> float | list[float] | None:
        """The last good reading in deg or mm."""
        if self.value is None:
            return None
        if isinstance(self.value, tuple):
            return [part * self.per for part in self.value]
        return self.value * self.per
