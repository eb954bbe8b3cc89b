"""Who says nothing: the whole bus, or one sensor of the map; from when, and when it is over."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from kinematics.errors import Fault

from .entries import Entry

SILENT_S, PERIODS = 1.0, 5.0
_LEARN = 0.1


@dataclass(slots=True)
class _Heard:
    """One that should be heard: its last frame, its usual period, whether its silence was told."""

    code: str
    where: str
    advice: str
    last: float | None = None
    period: float = 0.0
    told: bool = False

    @property
    def limit(self) -> float:
        return max(SILENT_S, PERIODS * self.period)

    def frame(self, at: float) -> Iterator[Fault]:
        if self.told and self.last is None:
            yield Fault(f"{self.code}-back", self.where, "its first frame", "frames all the time")
        elif self.last is not None and at > self.last:
            gap = at - self.last
            if self.told:
                words = f"frames again after {gap:.1f} s of none"
                yield Fault(
                    f"{self.code}-back", self.where, words, "frames all the time", "", {"seconds": gap}
                )
            elif gap > self.limit:
                words, limit = f"no frame for {gap:.1f} s, now again", self.limit
                yield Fault(f"{self.code}-silent", self.where, words, f"one within {limit:.1f} s", self.advice,
                            {"seconds": gap})  # fmt: skip
            else:
                self.period += _LEARN * (gap - self.period) if self.period else gap
        self.last = at if self.last is None else max(at, self.last)
        self.told = False

    def at(self, now: float, began: float) -> Iterator[Fault]:
        last = began if self.last is None else self.last
        if not self.told and now - last > self.limit:
            self.told = True
            ever = "no frame yet" if self.last is None else f"no frame for {now - last:.1f} s"
            yield Fault(f"{self.code}-silent", self.where, ever, f"one within {self.limit:.1f} s", self.advice,
                        {"seconds": now - last})  # fmt: skip


@dataclass(slots=True)
class Silences:
    """Of the sensors of a map that are on the bus, and of the bus itself."""

    entries: Sequence[Entry]
    _began: float | None = None
    _bus: _Heard = field(init=False)
    _sensors: dict[str, _Heard] = field(init=False)

    def __post_init__(self) -> None:
        self._bus = _Heard("bus", "the bus", "power, the interface, its bitrate, the plug; see /guide/bus")
        self._sensors = {
            each.sensor: _Heard("sensor", f"{each.sensor} ({_named(each)})", "its plug, its power, its source address")
            for each in self.entries if each.on_bus
        }  # fmt: skip

    def frame(self, at_s: float, entries: Sequence[Entry]) -> Iterator[Fault]:
        """A frame that came, with the sensors it is of; what is over with it."""
        if self._began is None:
            self._began = at_s
        last = self._bus.last
        for fault in self._bus.frame(at_s):
            yield fault
            for heard in self._sensors.values():  # while nobody spoke it was nobody's silence
                if last is not None and heard.last is not None and not heard.told:
                    heard.last += at_s - last
        for entry in entries:
            yield from self._sensors[entry.sensor].frame(at_s)

    def at(self, now_s: float) -> Iterator[Fault]:
        """What is silent at a time. While the whole bus is, its sensors are not told one by one."""
        if self._began is None:
            self._began = now_s
        yield from self._bus.at(now_s, self._began)
        if not self._bus.told:
            for heard in self._sensors.values():
                yield from heard.at(now_s, self._began)

    def silent(self) -> tuple[str, ...]:
        """The sensors told as silent."""
        return tuple(name for name, heard in self._sensors.items() if heard.told or self._bus.told)


def _named(entry: Entry) -> str:
    part = entry.parts[0]
    name = "" if part.layout is None else part.layout.name
    return name if part.source is None else f"{name} of source 0x{part.source:02X}"
