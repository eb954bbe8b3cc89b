"""One sensor of a job as its readings arrive: the last good one, its time, and what was counted."""

import math
from collections import Counter, deque
from functools import partial
from typing import Any

from kinematics.errors import Fault
from kinematics.sensor import Measure, Sensor
from kinematics.units import LengthUnit, to_metres
from service.text import plain

from . import raw
from .fused import Fused
from .scale import Scale, Value

MOST_KEPT = 1024
_LONGEST_WORD = 60


class Channel:
    """A sensor's latest reading. `first`: where its numbers stand in the set's row of readings.

    `born` is when the reading was true of the world, by our monotonic clock: when it was taken less the sensor's latency.
    `per`: of `unit` in a rad or a metre; `si`: "rad" or "m"; `scale` and `si_scale` read them. `words`: the last error
    that was reported; `error`: the same, or why raw frames give nothing, until a reading. `fused`: of raw frames, the
    last of which came at `raw_at`. `beyond`: the last readings out of range, each with when it was true; those in range
    are in the feed's track.
    """

    __slots__ = (
        "arrived", "beyond", "born", "counts", "error", "feeder", "first", "fused", "limit_s", "name", "pair", "per",
        "raw_at", "read", "said_last", "scale", "sensor", "si", "si_scale", "taken", "unit", "value", "words",
    )  # fmt: skip

    def __init__(self, name: str, sensor: Sensor, first: int) -> None:
        self.name, self.sensor, self.first = name, sensor, first
        self.unit = "mm" if sensor.measures == Measure.LENGTH else "deg"
        self.si = sensor.unit
        self.per = 1e3 if self.unit == "mm" else math.degrees(1.0)
        self.pair = sensor.measures == Measure.PITCH_ROLL
        low, high = sensor.range.low, sensor.range.high
        right = 0.5 * math.pi  # an arcsine, the first of two numbers, goes no further
        first_ends = (max(low, -right), min(high, right)) if self.pair else (low, high)
        ends = first_ends, (low, high)
        into = partial(to_metres, unit=LengthUnit.MM) if self.unit == "mm" else math.radians
        self.scale = Scale(self.unit, self.per, into, ends, pair=self.pair)
        self.si_scale = Scale(self.si, 1.0, float, ends, pair=self.pair)
        self.read = self.scale.read
        self.limit_s = sensor.age_limit_s
        self.value: Value | None = None
        self.born = self.arrived = self.raw_at = -math.inf
        self.fused: Fused | None = None
        self.beyond: deque[tuple[float, Value]] = deque(maxlen=MOST_KEPT)
        self.said_last: float | None = None
        self.taken = 0
        self.counts: Counter[str] = Counter()
        self.words = self.error = ""
        self.feeder: object = None

    def carry(self, before: "Channel") -> None:
        """Go on counting where another channel of this sensor's name stopped."""
        self.taken, self.counts, self.words = before.taken, before.counts, before.words

    def keep(self, reading: dict[str, Any], ours: float, since: float) -> None:
        """Keep a reading that was refused for its range, for a fitting, unless it was true before `since`."""
        scale = self.scale if self.unit in reading else self.si_scale
        value = scale.anyhow(reading[scale.unit])
        if value is not None:
            self._keep(value, ours, since)

    def _keep(self, value: Value, ours: float, since: float) -> None:
        born = ours - self.sensor.latency_s
        if born >= since and (not self.beyond or born > self.beyond[-1][0]):
            self.beyond.append((born, value))

    def fuse(self, reading: dict[str, Any], ours: float, now: float, since: float) -> Value | Fault:
        """What a raw frame comes to (rad), or why it comes to nothing; that is told until a reading comes."""
        if not self.sensor.by_gravity:
            return Fault(
                "bad-reading", raw.FORCE, f"a raw frame of {self.name}, which measures {self.sensor.measures}",
                f"sensor, at_s and {self.unit} or {self.si}", "send raw frames of sensors of gravity alone",
            )  # fmt: skip
        if reading.keys() != raw.NAMES:
            keys = ", ".join(sorted(map(str, reading)))[:80]
            return Fault("bad-reading", "", keys, f"sensor, at_s, {raw.FORCE} and {raw.RATES}, nothing else")
        if self.arrived > self.raw_at and now - self.arrived < ONE_KIND_S:
            return _another_kind("a raw frame", "finished readings")
        if self.fused is None:
            self.fused = Fused()
        value = raw.fuse(self.fused, self.sensor, reading)
        if type(value) is Fault:
            if value.where in (raw.FORCE, raw.RATES) and value.code != "gyro-disagrees":
                return value
            self.raw_at = now
            if value.code != "duplicate-reading":
                self.error = f"{value.code}: {value.advice}"
            return value
        self.raw_at = now
        fault = self.scale.outside(value)  # type: ignore[arg-type]  # no fault, see above
        if fault is None:
            return value
        self._keep(value, ours, since)  # type: ignore[arg-type]
        return fault

    def finished(self, now: float) -> Fault | None:
        """Whether a finished reading may be taken while raw frames come."""
        return _another_kind("a finished reading", "raw frames") if now - self.raw_at < ONE_KIND_S else None

    def take(self, value: Value, at_s: float, ours: float, now: float) -> Fault | None:
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
        return Fault("bad-reading", "", keys, f"sensor, at_s and {self.unit} or {self.si}, nothing else")

    def told(self) -> float | list[float] | None:
        """The last good reading in deg or mm."""
        if self.value is None:
            return None
        if isinstance(self.value, tuple):
            return [part * self.per for part in self.value]
        return self.value * self.per


ONE_KIND_S = 2.0
"""So long after the last of one kind the other may follow."""


def _another_kind(found: str, others: str) -> Fault:
    return Fault(
        "bad-reading", "", f"{found} within {ONE_KIND_S:g} s of {others}", "one kind of each sensor",
        "send either raw frames or finished readings",
    )  # fmt: skip
