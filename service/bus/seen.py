"""What was seen of each message: how often, how long, its numbers from least to greatest, its bytes."""

import math
from collections import Counter
from dataclasses import dataclass, field

from .courses import Course
from .decoding import Taken
from .duplicates import NAMES_PGN
from .entries import Entry
from .frames import Frame
from .framing import Lack, State
from .layouts import Layout

_MOST_STATES = 4
_NAMES = {NAMES_PGN: "address claim"}


@dataclass(slots=True)
class Number:
    """One number of a message, in its unit: least, greatest, last, and how often something stood in its place."""

    unit: str
    least: float = math.inf
    greatest: float = -math.inf
    last: float | str = ""
    count: int = 0
    lacks: Counter[str] = field(default_factory=Counter)
    codes: Counter[str] | None = None
    course: Course = field(default_factory=Course)

    def take(self, said: object) -> None:
        """One more."""
        if self.codes is not None:
            self.codes[_merit(said)] += 1
        if isinstance(said, State | Lack):
            words = said.value if isinstance(said, Lack) else str(said)
            self.last = words
            if words in self.lacks or len(self.lacks) < _MOST_STATES:
                self.lacks[words] += 1
            else:
                self.lacks["other words"] += 1
        elif isinstance(said, int | float):
            self.count += 1
            self.last = float(said)
            self.course.take(self.last)
            self.least, self.greatest = min(self.least, said), max(self.greatest, said)


@dataclass(slots=True)
class Row:
    """One message of one sender: `source` None of an identifier that is none of J1939's; gaps in s.

    `bytes_seen`: least and greatest of each byte, of frames that no layout describes or that are not as long as theirs.
    """

    source: int | None
    pgn: int | None
    can_id: int
    extended: bool
    layout: Layout | None = None
    entries: tuple[Entry, ...] = ()
    count: int = 0
    first: float = 0.0
    last: float = 0.0
    shortest: float = math.inf
    longest: float = 0.0
    lengths: Counter[int] = field(default_factory=Counter)
    numbers: dict[str, Number] = field(default_factory=dict)
    bytes_seen: list[tuple[int, int]] = field(default_factory=list)

    @property
    def sensors(self) -> tuple[str, ...]:
        """The sensors of the map that it feeds."""
        return tuple(entry.sensor for entry in self.entries)

    @property
    def name(self) -> str:
        """Built in or of a DBC file, else "unknown"."""
        return self.layout.name if self.layout is not None else _NAMES.get(self.pgn or 0, "unknown")

    @property
    def rate(self) -> float | None:
        """Frames a second, None of fewer than two."""
        return (self.count - 1) / (self.last - self.first) if self.last > self.first else None

    def take(self, frame: Frame, taken: Taken) -> None:
        """One more frame of it."""
        if self.count:
            gap = max(frame.at_s - self.last, 0.0)
            self.shortest, self.longest = min(self.shortest, gap), max(self.longest, gap)
        else:
            self.first = frame.at_s
        self.last = max(frame.at_s, self.last) if self.count else frame.at_s
        self.count += 1
        self.lengths[len(frame.data)] += 1
        if taken.entries:
            self.entries = taken.entries
        if taken.values is None and self.pgn not in _NAMES:
            self._bytes(frame.data)
        if taken.layout is not None:
            self.layout = taken.layout
            for name, said in (taken.values or {}).items():
                number = self.numbers.get(name)
                if number is None:
                    number = self.numbers[name] = Number(taken.layout.items[name].unit)
                    if name in taken.layout.merits.values():
                        number.codes = Counter()
                number.take(said)

    def _bytes(self, data: bytes) -> None:
        seen = self.bytes_seen
        for i, byte in enumerate(data):
            if i == len(seen):
                seen.append((byte, byte))
            else:
                seen[i] = min(seen[i][0], byte), max(seen[i][1], byte)


def _merit(said: object) -> str:
    """A figure of merit in words."""
    if isinstance(said, Lack):
        return said.value
    return (
        {0: "good", 1: "degraded", 2: "error", 3: "not told"}.get(int(said), str(said))
        if isinstance(said, int | float)
        else str(said)
    )
