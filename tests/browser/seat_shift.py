"""The simulated machine under a page: its readings poured out in their time, and every wait held until whoever sits at
the page is done."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from service.bus.feeder import Feeder
from service.bus.pacing import Pacer, pour
from service.bus.reading import Reading
from service.simulation.dig import Dig, read_dig
from service.simulation.motion import plan
from service.simulation.signals import signals
from service.simulation.tables import Wait

FILE = Path(__file__).parent / "seat-shift.toml"
RESTED_S = 2.5
"""For as long the sensors are watched at most before a touch is believed."""
_PATIENCE_S = 60.0


def shift() -> Dig:
    return read_dig(FILE.read_text(encoding="utf-8"), FILE.name, None)


class Levers:
    """Plays a dig's readings against a service from a thread of its own. `held(step)` waits until the machine holds at
    that wait; `go_on()` lets it go on from there, what is left of the wait being left out."""

    def __init__(self, address: str, job: str, dig: Dig) -> None:
        self.dig, self.course = dig, plan(dig)
        waits = [i for i, step in enumerate(dig.document.steps, 1) if isinstance(step, Wait)]
        self._holds = [leg for leg in self.course.legs if leg.step in waits and leg.seconds > 0.0]
        self._reached = {leg.step: threading.Event() for leg in self._holds}
        self._released = {leg.step: threading.Event() for leg in self._holds}
        self._left_out: list[tuple[float, float]] = []
        self._address, self._job = address, job
        self._pacer: Pacer | None = None
        self._ended = threading.Event()
        self._wrong: list[BaseException] = []
        self._now = 0
        self._thread = threading.Thread(target=self._play, daemon=True)

    def __enter__(self) -> Levers:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join(_PATIENCE_S)
        assert not self._thread.is_alive()
        assert self._wrong == []

    def held(self, step: int) -> None:
        """Wait until the machine has held at this step for `RESTED_S`."""
        assert self._reached[step].wait(_PATIENCE_S), (step, self._wrong)
        self._now = step

    def go_on(self) -> None:
        """From the wait it was held at last."""
        self._released[self._now].set()

    def elevation(self, unix_s: float, point: str = "centre") -> float:
        """Where a point of the edge truly was (m) at a time of the world."""
        assert self._pacer is not None
        poured = self._pacer.t_at(unix_s)
        t = poured + sum(seconds for since, seconds in self._left_out if poured > since)
        return self.dig.document.slab.elevation_m + self.course.at(t).over_slab(point)

    def resting(self, step: int, point: str = "centre") -> float:
        """Where a point of the edge truly rests (m) while the machine holds at a step."""
        [leg] = [each for each in self._holds if each.step == step]
        return self.dig.document.slab.elevation_m + self.course.at(leg.start_s).over_slab(point)

    def _play(self) -> None:
        try:
            with Feeder(self._address, self._job) as feeder:
                feeder.ready()
                assert feeder.welcomed_as(lambda told: set(told["sensors"]) == set(self.dig.sensors.all))
                self._pacer = Pacer(0.0, 1.0, feeder.clock)
                pour(self._readings(), self._pacer, feeder)
        except BaseException as error:  # told where the block ends, on the test's own thread
            self._wrong.append(error)

    def _readings(self) -> Iterator[Reading]:
        """All of the course but what is left out of its waits; the rest comes as much earlier."""
        out = 0.0
        holds = iter(self._holds)
        hold = next(holds, None)
        since: float | None = None
        for reading in signals(self.dig, self.course, self.dig.document.seed):
            if self._ended.is_set():
                return
            while hold is not None and reading.t_s >= hold.start_s + hold.seconds:
                assert since is not None, f"step {hold.step} waited in vain"
                self._left_out.append((since - out, hold.start_s + hold.seconds - since))
                out += hold.start_s + hold.seconds - since
                hold, since = next(holds, None), None
            if hold is not None and reading.t_s >= hold.start_s:
                if reading.t_s >= hold.start_s + RESTED_S:
                    self._reached[hold.step].set()
                if since is None and self._released[hold.step].is_set():
                    since = reading.t_s
                if since is not None:
                    continue
            yield replace(reading, t_s=reading.t_s - out)
