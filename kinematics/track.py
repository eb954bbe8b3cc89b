"""What each sensor of a set read over the last seconds. Times are the caller's, in seconds, any zero."""

import math
import numbers
from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Sequence
from itertools import islice
from operator import itemgetter
from typing import Any

import numpy as np

from .errors import Fault, Refused, refuse
from .reading_series import MOST_GAP_S, Floats, Told, told, unrolled
from .sensor import Measure, Sensor
from .sensor_health import Health, health
from .sensor_set import SensorSet

MOST_KEPT = 4096
"""Of one sensor: 4 s at a thousand a second. Of more the oldest go."""
LONGEST_KEEP_S = 3600.0

_time = itemgetter(0)


class Track:
    """The readings of every sensor of `sensors`, checks too, of the last `keep_s` seconds before its own newest.

    Raises `Refused` "out-of-range" for a `keep_s` that is not more than 0 and at most an hour.
    """

    __slots__ = ("_kept", "keep_s", "sensors")

    def __init__(self, sensors: SensorSet, keep_s: float = 4.0) -> None:
        if not 0.0 < keep_s <= LONGEST_KEEP_S:
            raise Refused([
                Fault("out-of-range", "keep_s", f"{keep_s} s", f"more than 0, at most {LONGEST_KEEP_S:g} s")
            ])  # fmt: skip
        self.sensors = sensors
        self.keep_s = keep_s
        self._kept: dict[str, tuple[deque[tuple[float, Told]], float, float, bool]] = {
            name: (deque(maxlen=MOST_KEPT), sensor.range.low, sensor.range.high, sensor.measures == Measure.PITCH_ROLL)
            for name, sensor in sensors.all.items()
        }  # fmt: skip

    def copy(self, t0: float = -math.inf, t1: float = math.inf) -> "Track":
        """The same readings from `t0` to `t1` (s), both included, apart from what is added from now on."""
        other = Track(self.sensors, self.keep_s)
        for name in self._kept:
            other._kept[name][0].extend(self.window(name, t0, t1))
        return other

    def add(self, name: str, at_s: float, value: Told) -> None:
        """A reading (rad or m, a pair of a pair's sensor) that was true at `at_s` (s), later than the one before it.

        Nothing of a refused reading is kept. Raises `Refused`: "no-such-sensor", "not-a-number", "not-finite",
        "out-of-range" beyond the sensor's range, "not-rising".
        """
        try:
            kept, low, high, pair = self._kept[name]
        except KeyError:
            raise Refused([self._unknown(name)]) from None
        if pair:
            good = (
                type(value) is tuple
                and len(value) == 2
                and type(value[0]) is float
                and type(value[1]) is float
                and low <= value[0] <= high
                and low <= value[1] <= high
            )
        else:
            good = type(value) is float and low <= value <= high
        # Every comparison with NaN is false.
        if not (good and type(at_s) is float and (kept[-1][0] if kept else -math.inf) < at_s < math.inf):
            at_s, value = self._checked(name, at_s, value)
        kept.append((at_s, value))
        oldest = at_s - self.keep_s
        while kept[0][0] < oldest:
            kept.popleft()

    def _checked(self, name: str, at_s: Any, value: Any) -> tuple[float, Told]:
        """The same as plain floats, or every fault."""
        kept, low, high, pair = self._kept[name]
        faults: list[Fault] = []
        when = _number(f"{name}.at_s", at_s, faults)
        if kept and when <= kept[-1][0]:
            faults.append(
                Fault("not-rising", f"{name}.at_s", f"{when:.6f} s", f"later than {kept[-1][0]:.6f} s", "leave it out")
            )  # fmt: skip
        if not pair:
            parts = [_number(name, value, faults)]
        elif isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 2:
            parts = []
            faults.append(Fault("not-a-number", name, repr(value), "two numbers: pitch, roll"))
        else:
            parts = [_number(f"{name}.{i}", each, faults) for i, each in enumerate(value)]
        sensor = self.sensors.all[name]
        faults += [
            _outside(name, sensor, each) for each in parts if math.isfinite(each) and not low <= each <= high
        ]
        refuse(faults)
        return when, (parts[0], parts[1]) if pair else parts[0]

    def _unknown(self, name: object) -> Fault:
        return Fault(
            "no-such-sensor", str(name), "a sensor", "one of " + ", ".join(self._kept), "check the name"
        )

    def _of(self, name: str) -> deque[tuple[float, Told]]:
        if name not in self._kept:
            raise Refused([self._unknown(name)])
        return self._kept[name][0]

    def latest(self) -> dict[str, tuple[float, Told]]:
        """(time in s, reading) newest of each sensor, by name; without those not read yet."""
        return {name: kept[-1] for name, (kept, *_) in self._kept.items() if kept}

    def window(self, name: str, t0: float, t1: float) -> list[tuple[float, Told]]:
        """(time in s, reading) of a sensor from `t0` to `t1`, both included, as they came. Raises "no-such-sensor"."""
        kept = self._of(name)
        return list(islice(kept, bisect_left(kept, t0, key=_time), bisect_right(kept, t1, key=_time)))

    def series(self, name: str, t0: float, t1: float) -> tuple[Floats, Floats]:
        """The same as times (n,) and values (n, 1), or (n, 2) of a pair, angles without jumps of whole turns."""
        found = self.window(name, t0, t1)
        if not found:
            return np.empty(0), np.empty((0, 2 if self._kept[name][3] else 1))
        return np.array([at_s for at_s, _ in found]), unrolled(
            self.sensors.all[name], [said for _, said in found]
        )

    def at(self, t: float) -> dict[str, Told]:
        """What every sensor read at a time (s), straight between the readings around it, angles the short way round.

        179 deg at 1.0 s, -179 deg at 1.2 s: at 1.15 s -179.5. Raises `Refused` "not-read-then" for each sensor that was
        not read around that time, or not within `MOST_GAP_S`.
        """
        found: dict[str, Told] = {}
        faults: list[Fault] = []
        for name, (kept, *_) in self._kept.items():
            after = bisect_left(kept, t, key=_time)
            if after < len(kept) and kept[after][0] == t:
                found[name] = kept[after][1]
            elif not 0 < after < len(kept) or kept[after][0] - kept[after - 1][0] > MOST_GAP_S:
                faults.append(_not_read(name, t, kept, after))
            else:
                (t0, before), (t1, then) = kept[after - 1], kept[after]
                sensor = self.sensors.all[name]
                first, second = unrolled(sensor, [before, then]).tolist()
                part = (t - t0) / (t1 - t0)
                found[name] = told(sensor, [a + part * (b - a) for a, b in zip(first, second, strict=True)])
        refuse(faults)
        return found

    def health(self) -> dict[str, Health]:
        """Of every sensor, by name, over what is kept."""
        return {name: health(*self.series(name, -math.inf, math.inf)) for name in self._kept}


def _number(where: str, value: Any, faults: list[Fault]) -> float:
    if isinstance(value, bool) or not isinstance(value, float | int | numbers.Real):
        faults.append(Fault("not-a-number", where, repr(value), "a number"))
        return math.nan
    said = float(value) if not isinstance(value, int) or abs(value) <= _LARGEST else math.inf
    if not math.isfinite(said):
        faults.append(Fault("not-finite", where, str(said), "a finite number"))
        return math.nan
    return said


_LARGEST = 10**300  # an int may be too large for a float


def _outside(name: str, sensor: Sensor, value: float) -> Fault:
    def shown(number: float) -> str:
        return f"{number * 1e3:.1f} mm" if sensor.unit == "m" else f"{math.degrees(number):.2f} deg"

    low, high = sensor.range.low, sensor.range.high
    return Fault(
        "out-of-range", name, shown(value), f"{shown(low)} to {shown(high)}",
        "check its unit, its wiring and the sensor's range", {"value": value, "low": low, "high": high},
    )  # fmt: skip


def _not_read(name: str, t: float, kept: deque[tuple[float, Told]], after: int) -> Fault:
    if not kept:
        found = "no reading"
    elif after == 0:
        found = f"first read {kept[0][0] - t:.3f} s later"
    elif after == len(kept):
        found = f"last read {t - kept[-1][0]:.3f} s before"
    else:
        found = f"readings {kept[after][0] - kept[after - 1][0]:.3f} s apart"
    return Fault(
        "not-read-then", name, found, f"readings before and after, at most {MOST_GAP_S:g} s apart",
        "look at the sensor's wiring and at what feeds it",
    )  # fmt: skip
