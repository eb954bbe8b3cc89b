"""Frames of a live bus, or lines from standard input, as readings to a job, for as long as they come."""

import math
import signal
import threading
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType, TracebackType
from typing import Any, Protocol, Self, TextIO

from kinematics.errors import Fault, Refused, refuse

from .any_feeder import AnyFeeder, Say
from .decoding import Decoder
from .feeder import FIRST_PAUSE_S, LONGEST_PAUSE_S
from .frames import Frame
from .live_bus import LiveBus
from .ndjson_log import reading_of
from .reading import Reading
from .run import fed
from .sensor_map import SensorMap, read_map, refuse_columns
from .watch import Watch
from .ways import Through, feeder_to

TELL_EVERY_S, LOOK_EVERY_S, BAD_LINES_EVERY_S = 30.0, 0.2, 1.0
TAKE_WITHIN_S = 0.1
STALE_S = 0.5
"""What waited longer, since the service was not reached, is let go of: it would be late, and the newest is wanted."""
NEW_MAP = "A new map? tipdatum fit --job {job} shows whether each sensor is the one it is called."
LONGEST_LINE, MOST_LINES = 65_536, 10_000


class Source(Protocol):
    """Where readings come from."""

    @property
    def dropped(self) -> int:
        """What there was no room for."""

    def take(self, within_s: float) -> list[Reading]:
        """What came, after at most so long."""

    def clear(self) -> int:
        """Let go of what waits; how many."""

    def tell(self, now_s: float) -> list[Fault]:
        """What there is to tell."""

    def over(self) -> bool:
        """Whether nothing more can come."""


class BusSource:
    """Frames of a bus through decoder and watch. A context manager, as the bus is."""

    begun = "Listening to the bus; nothing is sent on it"

    def __init__(self, bus: LiveBus, by: SensorMap) -> None:
        self._bus, self._decoder, self.watch = bus, Decoder(by), Watch(by)

    def __enter__(self) -> Self:
        self._bus.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self._bus.__exit__(kind, error, at)

    @property
    def told(self) -> dict[str, Any]:
        """Its counts, for programs."""
        watch = self.watch
        return {
            "frames": watch.frames, "dropped": self.dropped, "thinned": watch.thinned, "withheld": watch.withheld,
            "noticed": watch.counts,
        }  # fmt: skip

    @property
    def dropped(self) -> int:
        """Frames for which there was no room."""
        return self._bus.dropped

    def take(self, within_s: float) -> list[Reading]:
        """The readings of the frames that came, after at most so long."""
        return [reading for frame in self._bus.take(within_s) for reading in self._read(frame)]

    def clear(self) -> int:
        """Let go of the frames that wait; how many."""
        return self._bus.clear()

    def tell(self, now_s: float) -> list[Fault]:
        """What the watch has to tell."""
        return self.watch.findings(now_s)

    def over(self) -> bool:
        """A bus is never over: its interface may come back."""
        return False

    def _read(self, frame: Frame) -> tuple[Reading, ...]:
        watch = self.watch
        return watch.take(frame, self._decoder.take(frame) if watch.wanted(frame) else None)


class LineSource:
    """Lines of readings, dated as they arrive; bad ones are told by number, at most one a second, and left out.

    A context manager, that begins to read.
    """

    begun = "Reading lines of standard input"

    def __init__(self, lines: TextIO, clock: Callable[[], float]) -> None:
        self._lines, self._clock = lines, clock
        self._waiting: deque[tuple[int, str, float]] = deque()
        self._came = threading.Condition()
        self._ended = False
        self._bad: list[Fault] = []
        self._told = -BAD_LINES_EVERY_S
        self.lines = self.bad = 0
        self._dropped = 0

    def __enter__(self) -> Self:
        # It may wait for a line that never comes, and is left to it.
        threading.Thread(target=self._listen, daemon=True).start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self._ended = True

    @property
    def told(self) -> dict[str, Any]:
        """Its counts, for programs."""
        return {"lines": self.lines, "bad_lines": self.bad, "dropped": self.dropped}

    def take(self, within_s: float) -> list[Reading]:
        """The readings of the lines that came, after at most so long."""
        with self._came:
            self._came.wait_for(lambda: self._waiting or self._ended, timeout=within_s)
            some = list(self._waiting)
            self._waiting.clear()
        readings = []
        for number, text, at in some:
            if not text.strip():
                continue
            self.lines += 1
            try:
                readings.append(reading_of(text, at))
            except Refused as refused:
                self.bad += 1
                self._bad = [fault.at(f"line {number}") for fault in refused.faults]
        return readings

    @property
    def dropped(self) -> int:
        """Lines for which there was no room."""
        return self._dropped

    def clear(self) -> int:
        """Let go of the lines that wait; how many."""
        with self._came:
            count = len(self._waiting)
            self._waiting.clear()
        return count

    def tell(self, now_s: float) -> list[Fault]:
        """The latest bad line."""
        if not self._bad or now_s - self._told < BAD_LINES_EVERY_S:
            return []
        self._told = now_s
        bad, self._bad = self._bad, []
        return bad

    def over(self) -> bool:
        """Whether the input has ended."""
        return self._ended and not self._waiting

    def _listen(self) -> None:
        number = 0
        try:
            while text := self._lines.readline(LONGEST_LINE):
                number += 1
                with self._came:
                    if len(self._waiting) >= MOST_LINES:
                        self._waiting.popleft()
                        self._dropped += 1
                    self._waiting.append((number, text, self._clock()))
                    self._came.notify()
        except (OSError, ValueError):  # closed under our hands, or bytes that are not UTF-8
            pass
        finally:
            with self._came:
                self._ended = True
                self._came.notify()


class Feeding:
    """Pours a source to a feeder, batch by batch, until `seconds` are over, the source is, or `stop` is set.

    `hint` is said once, with the first rates. `per_sensor`: readings sent by sensor. `late`: frames or readings let go of
    because the service was not reached.
    """

    def __init__(
        self, source: Source, feeder: AnyFeeder, say: Say, *, seconds: float | None = None,
        stop: threading.Event | None = None, hint: str = "",
    ) -> None:  # fmt: skip
        self._hint, self._first = hint, math.inf
        self._source, self._feeder, self._say = source, feeder, say
        self._seconds, self._stop = seconds, stop or threading.Event()
        self._since: Counter[str] = Counter()
        self.per_sensor: Counter[str] = Counter()
        self.late = 0
        self.ending = False
        self._pause_s = FIRST_PAUSE_S
        self.began = self._told = self._looked = feeder.clock()

    def run(self) -> None:
        """Until it is over. Raises `Refused` as the feeder: a machine that the map does not fit, no right any more."""
        while (left := self._left()) > 0.0 and not (
            self.ending or self._stop.is_set() or self._source.over()
        ):
            self._send(self._source.take(min(left, TAKE_WITHIN_S)))
            self._tell()
        self._tell(last=True)

    def _left(self) -> float:
        return TELL_EVERY_S if self._seconds is None else self.began + self._seconds - self._feeder.clock()

    def _send(self, readings: Sequence[Reading]) -> None:
        feeder = self._feeder
        if readings:
            self._first = min(self._first, readings[0].t_s)
        if not feeder.connected:
            self._again()
            self.late += len(readings) + self._source.clear()
            return
        new = feeder.clock() - STALE_S
        fresh = [each for each in readings if each.t_s >= new]
        self.late += len(readings) - len(fresh)
        latencies = feeder.latencies_s
        if fresh and feeder.send([each.at(each.dated(latencies)) for each in fresh]):
            names = Counter(each.said.get("sensor", "receiver") for each in fresh)
            self._since += names
            self.per_sensor += names

    def _again(self) -> None:
        """One attempt to connect again, and a growing pause where it fails. Raises `Refused` of all but "no-service"."""
        try:
            self._feeder.ready(0.0)
            self._pause_s = FIRST_PAUSE_S
        except Refused as refused:
            if refused.code != "no-service":
                raise
            self._say(f"Not connected ({refused.faults[0].found}); again in {self._pause_s:g} s.")
            self._stop.wait(max(min(self._left(), self._pause_s), 0.0))
            self._pause_s = min(2.0 * self._pause_s, LONGEST_PAUSE_S)

    def _tell(self, *, last: bool = False) -> None:
        now = self._feeder.clock()
        if not last and now - self._looked < LOOK_EVERY_S:
            return
        self._looked = now
        for fault in self._source.tell(now):
            self._say(f"{fault.code}: {fault}")
        if now - self._told >= TELL_EVERY_S:
            # Before the first frame came nothing was at any rate.
            took = max(now - max(self._told, min(self._first, now)), LOOK_EVERY_S)
            rates = ", ".join(f"{name} {n / took:.0f}/s" for name, n in sorted(self._since.items()))
            self._say(f"{now - self.began:7.0f} s  {rates or 'no readings'}")
            if self._hint:
                self._say(self._hint)
                self._hint = ""
            self._told = now
            self._since.clear()


@contextmanager
def _ended_by_ctrl_c(feeding: Feeding) -> Iterator[None]:
    """Ctrl-C lets the batch under way end; a second one breaks off. An exception inside a library may get lost."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(number: int, _: FrameType | None) -> None:
        if feeding.ending:
            raise KeyboardInterrupt(number)
        feeding.ending = True

    before = signal.signal(signal.SIGINT, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def run_feed(
    bus: str | None, *, map_file: Path | None, to: str, job: str, seconds: float | None, bitrate: int | None,
    partly: bool, token: str | None, say: Say, lines: TextIO | None = None, stop: threading.Event | None = None,
    broker: Through | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Feed a bus, or `lines`, to a job at `to`, or by a broker, until Ctrl-C, `stop` or so many seconds. What came of it.

    Raises `Refused`: "bad-option", as `read_map`, `LiveBus` and the feeder, and as `Feeder.expect`.
    """
    refuse(_option_faults(bus, map_file, seconds, lines))
    by = None if map_file is None else read_map(map_file)
    if by is not None and map_file is not None:
        refuse_columns(by, map_file, "a CAN bus")
    live = None if bus is None else LiveBus(bus, bitrate=bitrate, say=say)
    with feeder_to(to, job, token, say, broker) as feeder:
        feeder.ready()
        if by is not None:
            feeder.expect(by.entries, partly=partly, receiver=by.receiver is not None)
        source = _source(live, by, lines, feeder.clock)
        hint = "" if by is None else NEW_MAP.format(job=job)
        feeding = Feeding(source, feeder, say, seconds=seconds, stop=stop, hint=hint)
        try:
            with source, _ended_by_ctrl_c(feeding):
                say(f"{source.begun}; Ctrl-C ends it.")
                feeding.run()
                feeder.settle()
        except KeyboardInterrupt:
            say("Stopped.")
        took = feeder.clock() - feeding.began
        return {
            "ok": not feeder.sent or sum(feeder.refused.values()) < feeder.sent, "job": job, "seconds": round(took, 3),
            "readings_by_sensor": dict(feeding.per_sensor), "late": feeding.late, **source.told, **fed(feeder),
        }  # fmt: skip


def _source(
    live: LiveBus | None, by: SensorMap | None, lines: TextIO | None, clock: Callable[[], float]
) -> BusSource | LineSource:
    if live is not None and by is not None:
        return BusSource(live, by)
    assert lines is not None  # noqa: S101 - one of both was asked for
    return LineSource(lines, clock)


def _option_faults(
    bus: str | None, map_file: Path | None, seconds: float | None, lines: TextIO | None
) -> Iterator[Fault]:
    if (bus is None) == (lines is None):
        yield Fault(
            "bad-option",
            "--bus",
            "both or neither",
            "--bus INTERFACE:CHANNEL, or - for lines of standard input",
        )
    if bus is not None and map_file is None:
        yield Fault("bad-option", "--map", "nothing", "the map that says which frames are which sensor",
                    "tipdatum sniff --draft writes a first one")  # fmt: skip
    if lines is not None and map_file is not None:
        yield Fault("bad-option", "--map", str(map_file), "no map for lines: they name their sensors")
    if seconds is not None and not 0.0 < seconds < float("inf"):
        yield Fault("bad-option", "--seconds", f"{seconds:g}", "a number above 0")
