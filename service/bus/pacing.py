"""Readings of a course or a log poured out in their time, or faster; a pause of the door is a pause of the machine."""

import time
from collections.abc import Callable, Iterable
from typing import Protocol

from service.clock import seconds

from .any_feeder import AnyFeeder
from .reading import Reading

SLIP_S = 0.1


class Pacer:
    """Seconds of a course or log (`t`) on the sender's clock: `speed` of them in each of its own.

    At speed 2 the second 10 comes 5 s after the start. `slip`: the machine stood still meanwhile.
    """

    def __init__(
        self, begin_s: float, speed: float, clock: Callable[[], float] = seconds,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:  # fmt: skip
        self._speed, self._clock, self._sleep = speed, clock, sleep
        self._base = clock() - begin_s / speed
        self._unix = time.time() - clock()
        # From a second of the course, at a time of the clock, with a pace.
        self._turns = [(begin_s, self._base + begin_s / speed, speed)]
        self._t = begin_s

    def clock_at(self, t: float) -> float:
        """The sender's clock at second `t`."""
        return self._base + t / self._speed

    def wait(self, t: float) -> bool:
        """Until second `t`; False where it had come already."""
        left = self.clock_at(t) - self._clock()
        self._t = t
        if left <= 0.0:
            return False
        self._sleep(left)
        return True

    def due(self, t: float) -> bool:
        """Whether second `t` has come; where it has, what follows in `slip` stands still from there."""
        if self.clock_at(t) > self._clock():
            return False
        self._t = t
        return True

    def slip(self, seconds: float) -> None:
        """Everything from now on comes so much later; meanwhile the machine stands still."""
        self._turns.append((self._t, self.clock_at(self._t), 0.0))
        self._base += seconds
        self._turns.append((self._t, self.clock_at(self._t), self._speed))

    def unix_at(self, t: float) -> float:
        """Second `t` in seconds of the world's time, as far as this machine's clock is right."""
        return self._unix + self.clock_at(t)

    def t_at(self, unix_s: float) -> float:
        """The second of the course at a time of the world."""
        at = unix_s - self._unix
        t, since, speed = next((turn for turn in reversed(self._turns) if turn[1] <= at), self._turns[0])
        return t + (at - since) * speed


class Sink(Protocol):
    """Where readings go besides the door: a bus."""

    def put(self, signal: Reading, at_s: float) -> None:
        """One reading at `at_s` of the sender's clock."""


class Act(Protocol):
    """Something to do in its turn among readings."""

    @property
    def at_s(self) -> float:
        """Its second of the course."""

    def do(self) -> None:
        """Do it; may take its time."""


def pour(
    items: Iterable[Reading | Act], pacer: Pacer, feeder: AnyFeeder | None, bus: Sink | None = None
) -> None:
    """Readings and acts in order of time, each when it is due; readings due together go in one frame.

    After a disconnect, and after an act that took long, the rest comes as much later. Raises `Refused` as the feeder,
    the bus and the acts do.
    """
    waiting: list[Reading] = []

    def flush() -> None:
        if not waiting:
            return
        if feeder is not None:
            waited = feeder.ready()
            if waited:
                pacer.slip(waited)
            began = time.monotonic()
            late = feeder.latencies_s
            feeder.send([signal.at(pacer.clock_at(signal.dated(late))) for signal in waiting])
            if (took := time.monotonic() - began) > SLIP_S:  # read more slowly than we send
                pacer.slip(took)
        if bus is not None:
            for signal in waiting:
                bus.put(signal, pacer.clock_at(signal.t_s))
        waiting.clear()

    for item in items:
        if isinstance(item, Reading):
            if not pacer.due(item.t_s):
                flush()
                pacer.wait(item.t_s)
            waiting.append(item)
            continue
        flush()
        pacer.wait(item.at_s)
        began = time.monotonic()
        item.do()
        if (took := time.monotonic() - began) > SLIP_S:
            pacer.slip(took)
    flush()
