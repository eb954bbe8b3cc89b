"""What is wrong on a bus, noticed as frames come by and told in numbers; what is not to be believed is not passed on.

The same for a bus and for a log: times are those of the frames.
"""

import math
from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field, replace

from kinematics.errors import Fault
from kinematics.units import Quantity, sensor_unit

from .decoding import Taken
from .duplicates import LEAST, NAMES_PGN, Claims, Jumping, Jumps
from .entries import Entry
from .flooding import FLOOD_LASTS_S, THINNED_PER_S, Bucket, Thinning
from .frames import Frame
from .framing import SSI2, apart, named
from .reading import Reading
from .sensor_map import SensorMap
from .silence import Silences
from .tallies import Tallies

DISTRUST_S = 10.0
"""Without a symptom for so long, a source is believed again."""
WITHHELD_AFTER_S = 0.5
LATE_S = 0.1
FRAMES_PER_S, BUS_FRAMES_PER_S = 500.0, 3000.0
PERIOD_S = {SSI2: 0.010}
_TWICE, _FAST_FOR = 1.6, 3
_MOST_STREAMS = 4096
_APART = "find both (take one off the bus) and give one of them another address"
_BIG = {Quantity.ANGLE: math.radians(5.0), Quantity.LENGTH: 0.05}
"""Numbers (rad, m) that jump by more from frame to frame are of no use, whatever makes them."""
_KINDS = {
    "error": ("error-frames", "an error frame", "none", "look at termination, wiring and bitrate"),
    "remote": (
        "remote-frames",
        "a remote frame",
        "none: sensors send by themselves",
        "nothing is read from it",
    ),
    "fd": ("can-fd", "a CAN FD frame", "classical CAN", "nothing is read from it"),
}


@dataclass(slots=True)
class _Number:
    """One number of a stream of frames; `big`: what is no use to anybody, where a sensor is made of it."""

    jumping: Jumping
    unit: str
    big: float
    since: float | None = None
    last: float = -math.inf


@dataclass(slots=True)
class _Stream:
    """Frames of one PGN and source, or of one identifier."""

    origin: Hashable
    where: str
    source: str
    pgn: int | None
    bucket: Bucket
    numbers: dict[str, _Number] | None = None
    began: float = 0.0
    count: int = 0
    fast: int = 0
    entries: tuple[Entry, ...] = ()


@dataclass(slots=True)
class _Distrust:
    """A source that is not believed: why, in the words of its readings and of the finding, and its last symptom."""

    why: str
    where: str
    last: float


@dataclass(slots=True)
class Watch:
    """Takes every frame of one bus or log in order of time, with what the decoder took from it.

    `watch.take(frame, decoder.take(frame))` for each frame gives the readings; `findings(now)` from time to time, and
    where a log ends `end(last)`.

    `frames`, `thinned`, `withheld`: how many came by; readings not passed because there were too many; readings in whose
    place an error was passed. `claims`: who said which address is theirs.
    """

    map: SensorMap | None
    claims: Claims = field(default_factory=Claims)
    frames: int = 0
    withheld: int = 0
    _streams: dict[Hashable, _Stream] = field(default_factory=dict)
    _distrusted: dict[Hashable, _Distrust] = field(default_factory=dict)
    _conflicts: frozenset[int] = frozenset()
    _tallies: Tallies = field(default_factory=Tallies)
    _thinning: Thinning = field(default_factory=Thinning)
    _bus: Bucket = field(default_factory=lambda: Bucket(BUS_FRAMES_PER_S))
    _silences: Silences = field(init=False)

    def __post_init__(self) -> None:
        self._silences = Silences(() if self.map is None else self.map.entries)

    @property
    def thinned(self) -> int:
        """Readings that were not passed on because there were too many of them."""
        return self._thinning.count

    @property
    def silent(self) -> tuple[str, ...]:
        """The sensors of the map that are silent now."""
        return self._silences.silent()

    @property
    def counts(self) -> dict[str, int]:
        """Everything noticed, by code."""
        return dict(self._tallies.totals)

    def wanted(self, frame: Frame) -> bool:
        """Whether a frame is worth decoding: of a flood most are not, and go to `take` with None."""
        stream = self._streams.get(_key(frame))
        if stream is None or not stream.entries or not self._floods(stream, frame.at_s):
            return True
        return any(self._thinning.due(each.sensor, frame.at_s, raw=each.raw) for each in stream.entries)

    def take(self, frame: Frame, taken: Taken | None) -> tuple[Reading, ...]:
        """The readings to use. Of a source that is not believed each is an error reading, its receiver's are left out."""
        at = frame.at_s
        self.frames += 1
        if self._bus.take(at):
            self._tallies.add("bus-flood", "the bus", f"more than {BUS_FRAMES_PER_S:.0f} frames/s", "less",
                              "a unit sends too much: look for it with tipdatum sniff")  # fmt: skip
        if frame.kind != "data":
            code, found, expected, advice = _KINDS[frame.kind]
            self._tallies.add(code, "the bus", found, expected, advice)
            self._tallies.all(self._silences.frame(at, ()))
            return ()
        stream = self._stream(frame, taken)
        if taken is not None and taken.entries:
            stream.entries = taken.entries
        self._tallies.all(self._silences.frame(at, stream.entries))
        self._paced(stream, at)
        if frame.extended and apart(frame.can_id)[0] == NAMES_PGN:
            self._claimed(frame)
        if taken is None:
            self._thinning.count += len(stream.entries)
            return ()
        for fault in taken.faults:
            self._tallies.fault(fault)
        self._look(stream, taken, at)
        return tuple(self._passed(stream, taken, at))

    def findings(self, now_s: float) -> list[Fault]:
        """What there is to tell at a time: what is new at once, the same again every 30 s with its count."""
        for origin, each in list(self._distrusted.items()):
            if now_s - each.last >= DISTRUST_S and origin not in self._conflicts:
                self._believe(origin, each, f"nothing of it for {DISTRUST_S:g} s")
        self._tallies.all(self._silences.at(now_s))
        return self._tallies.due(now_s)

    def end(self, at_s: float) -> list[Fault]:
        """What is left to tell where a log ends: sensors never heard, or silent since, and the last counts."""
        self._tallies.all(self._silences.at(at_s))
        return self._tallies.due(math.inf)

    def _stream(self, frame: Frame, taken: Taken | None) -> _Stream:
        key = _key(frame)
        found = self._streams.get(key)
        if found is None:
            by_group = taken is None or taken.layout is None or taken.layout.pgn is not None
            where = named(frame.can_id, extended=frame.extended)
            if frame.extended and by_group:
                source = frame.can_id & 0xFF
                found = _Stream(
                    source, where, f"source 0x{source:02X}", apart(frame.can_id)[0], Bucket(FRAMES_PER_S)
                )
            else:
                words = f"identifier 0x{frame.can_id:X}"
                found = _Stream((frame.can_id, frame.extended), where, words, None, Bucket(FRAMES_PER_S))
            found.began = frame.at_s
            if len(self._streams) < _MOST_STREAMS:
                self._streams[key] = found
        return found

    def _paced(self, stream: _Stream, at: float) -> None:
        """A flood at once; twice the rate of its kind, after three seconds of it, as a hint."""
        if stream.bucket.take(at):
            self._tallies.add("flood", stream.where, f"more than {FRAMES_PER_S:.0f} frames/s", "at most 100 or so",
                              f"of its sensor {THINNED_PER_S:.0f} readings a second are passed on")  # fmt: skip
        stream.count += 1
        if at - stream.began < 1.0:
            return
        rate = stream.count / (at - stream.began)
        stream.began, stream.count = at, 0
        period = None if stream.pgn is None else PERIOD_S.get(stream.pgn)
        stream.fast = stream.fast + 1 if period is not None and rate * period >= _TWICE else 0
        if stream.fast >= _FAST_FOR and period is not None:
            self._tallies.add("double-rate", stream.where, f"{rate:.0f} frames/s", f"{1.0 / period:.0f}",
                              "two units at this address that agree, or one set faster than its standard")  # fmt: skip

    def _claimed(self, frame: Frame) -> None:
        source = frame.can_id & 0xFF
        if not self.claims.take(source, frame.data, frame.at_s):
            self._tallies.add("wrong-length", named(frame.can_id, extended=True), f"{len(frame.data)} bytes",
                              "the 8 bytes of an address claim")  # fmt: skip
        conflicts = self.claims.conflicts()
        for address, claims in conflicts.items():
            if address not in self._conflicts:
                why = f"two units on source 0x{address:02X}"
                self._distrusted[address] = _Distrust(why, why.partition(" on ")[2], frame.at_s)
                names = " and ".join(f"0x{each.name:016X}" for each in claims)
                self._tallies.change("two-on-one-source", f"source 0x{address:02X}", f"claimed by {names}",
                                     "one name", _APART)  # fmt: skip
        for address in self._conflicts - conflicts.keys():
            if address in self._distrusted:
                self._believe(address, self._distrusted[address], "one of both claims another address")
        self._conflicts = frozenset(conflicts)

    def _believe(self, origin: Hashable, distrust: _Distrust, found: str) -> None:
        del self._distrusted[origin]
        self._tallies.change("believed-again", distrust.where, found, "one unit at one address",
                             "its readings are passed on again")  # fmt: skip

    def _look(self, stream: _Stream, taken: Taken, at: float) -> None:
        if taken.values is None or taken.layout is None:
            return
        if stream.numbers is None:
            stream.numbers = dict(_numbers(taken, stream.pgn))
        for name, number in stream.numbers.items():
            said = taken.values.get(name)
            if isinstance(said, int | float):
                found = number.jumping.take(at, said)
                if found is not None:
                    self._jumped(stream, name, number, found)

    def _jumped(self, stream: _Stream, name: str, number: _Number, found: Jumps) -> None:
        at = found.at_s
        if number.since is None or at - number.last > WITHHELD_AFTER_S:
            number.since = at
        number.last = at
        known = self._distrusted.get(stream.origin)
        if known is not None:
            known.last = at
        low, high = sorted(found.levels)
        words = f"{name} jumps between {low:.2f} and {high:.2f} {number.unit} and back, {found.frames} frames looked at"
        if found.two:
            why = f"two units on {stream.source}"
            if known is None or known.why != why:
                self._distrusted[stream.origin] = _Distrust(why, stream.source, at)
                self._tallies.change(
                    "two-on-one-source", stream.source, f"{words}: {found.two}", "one unit", _APART
                )
        elif known is None and at - number.since >= WITHHELD_AFTER_S:
            code, advice = "values-jump", "two units at this address, or one that shakes at half its own rate"
            if found.apart > number.big:
                self._distrusted[stream.origin] = _Distrust(f"{name} jumps to and fro", stream.source, at)
                advice += ": its readings are not passed on"
            self._tallies.add(code, stream.where, words, "one course", advice)

    def _floods(self, stream: _Stream, at: float) -> bool:
        return at - max(stream.bucket.flooded, self._bus.flooded) < FLOOD_LASTS_S

    def _passed(self, stream: _Stream, taken: Taken, at: float) -> Iterator[Reading]:
        distrust = self._distrusted.get(stream.origin)
        thin = self._floods(stream, at)
        for reading in taken.readings:
            sensor = reading.said.get("sensor")
            if reading.late_s > LATE_S:
                self._tallies.add(
                    "latency-high", f"{stream.where}: {sensor}", f"{reading.late_s * 1e3:.0f} ms",
                    f"at most {LATE_S * 1e3:.0f} ms", "a moving edge is behind by its speed times this",
                )  # fmt: skip
            if "error" in reading.said:
                self._tallies.add(
                    "no-value", f"{stream.where}: {sensor}", str(reading.said["error"]), "a number"
                )
            elif distrust is not None:
                self.withheld += 1
                if sensor is None:
                    continue
                reading = replace(reading, said={"sensor": sensor, "error": distrust.why})  # noqa: PLW2901
            if not thin or self._thinning.passes(sensor, at, raw="gyro_rad_s" in reading.said):
                yield reading


def _key(frame: Frame) -> Hashable:
    return apart(frame.can_id) if frame.extended else (frame.can_id,)


def _numbers(taken: Taken, pgn: int | None) -> Iterator[tuple[str, _Number]]:
    """The numbers of a stream that have a unit and a course, those that sensors are made of told apart."""
    layout = taken.layout
    assert layout is not None  # noqa: S101 - the caller looked
    units = {name: sensor_unit(item.unit) for name, item in layout.items.items()}
    mapped = set()
    for entry in taken.entries:
        for part in entry.parts:
            if part.layout is layout:
                mapped |= set(part.names)
                units |= dict(zip(part.names, part.units(), strict=True))
    for name, unit in units.items():
        if unit is None or name == layout.latency:
            continue
        quantity, per = unit
        item = layout.items[name]
        turn = 2.0 * math.pi / per if quantity is Quantity.ANGLE else None
        period = None if pgn is None else PERIOD_S.get(pgn)
        big = _BIG.get(quantity, math.inf) / per if name in mapped else math.inf
        yield name, _Number(Jumping(LEAST[quantity] / per, abs(item.bit), turn, period), item.unit, big)
