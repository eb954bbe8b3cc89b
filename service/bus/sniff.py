"""What is on a bus or in a log: every message with its rate, its length and its numbers, so that a map can be written."""

import math
from collections import Counter
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, refuse

from .decoding import Decoder, Taken
from .duplicates import NAMES_PGN
from .entries import Entry, Heard, Part
from .frames import Frame
from .framing import RECEIVER, SSI, SSI2, Lack, State, apart
from .layouts import BUILT_IN, RECEIVED, Layout
from .sensor_map import SensorMap
from .watch import Watch

MOST_ROWS = 4096
_MOST_STATES = 4
_SLOPES = (SSI2, SSI)
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
            self.least, self.greatest = min(self.least, said), max(self.greatest, said)


@dataclass(slots=True)
class Row:
    """One message of one sender: `source` None of an identifier that is none of J1939's; gaps in s."""

    source: int | None
    pgn: int | None
    can_id: int
    extended: bool
    layout: Layout | None = None
    sensors: tuple[str, ...] = ()
    count: int = 0
    first: float = 0.0
    last: float = 0.0
    shortest: float = math.inf
    longest: float = 0.0
    lengths: Counter[int] = field(default_factory=Counter)
    numbers: dict[str, Number] = field(default_factory=dict)

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
            self.sensors = tuple(entry.sensor for entry in taken.entries)
        if taken.layout is not None:
            self.layout = taken.layout
            for name, said in (taken.values or {}).items():
                number = self.numbers.get(name)
                if number is None:
                    number = self.numbers[name] = Number(taken.layout.items[name].unit)
                    if name in taken.layout.merits.values():
                        number.codes = Counter()
                number.take(said)


def _merit(said: object) -> str:
    """A figure of merit in words."""
    if isinstance(said, Lack):
        return said.value
    return (
        {0: "good", 1: "degraded", 2: "error", 3: "not told"}.get(int(said), str(said))
        if isinstance(said, int | float)
        else str(said)
    )


class Sniffing:
    """Takes every frame. `rows` by sender and message, `findings` as the watch tells them, `kinds` of frames."""

    def __init__(self, by: SensorMap | None, layouts: Iterable[Layout] = ()) -> None:
        known = SensorMap(()) if by is None else by
        known = replace(known, layouts=(*layouts, *known.layouts))
        self._decoder, self.watch = Decoder(known), Watch(by)
        self.rows: dict[Hashable, Row] = {}
        self.kinds: Counter[str] = Counter()
        self.findings: dict[tuple[str, str], Fault] = {}
        self.first = self.last = math.nan
        self._told = -math.inf
        self.passed_over = 0

    def take(self, frame: Frame) -> None:
        """One frame, in order of time."""
        self.kinds[frame.kind] += 1
        if math.isnan(self.first):
            self.first = frame.at_s
        self.last = frame.at_s
        taken = self._decoder.take(frame)
        self.watch.take(frame, taken)
        if frame.at_s - self._told > 1.0:
            self.find(frame.at_s)
        if frame.kind != "data":
            return
        row = self._row(frame, taken)
        if row is not None:
            row.take(frame, taken)

    def find(self, now_s: float) -> None:
        """Ask the watch."""
        self._told = now_s
        self._found(self.watch.findings(now_s))

    def _found(self, faults: Iterable[Fault]) -> None:
        for fault in faults:
            self.findings[fault.code, fault.where] = fault

    def _row(self, frame: Frame, taken: Taken) -> Row | None:
        group = frame.extended and (taken.layout is None or taken.layout.pgn is not None)
        pgn, source = apart(frame.can_id) if group else (None, None)
        key: Hashable = (pgn, source) if group else (frame.can_id, frame.extended, None)
        row = self.rows.get(key)
        if row is None:
            if len(self.rows) >= MOST_ROWS:
                self.passed_over += 1
                return None
            row = self.rows[key] = Row(source, pgn, frame.can_id, frame.extended)
        return row

    def told(self) -> dict[str, Any]:
        """All of it, for programs: rows by source, then identifiers; times in ms, numbers in the messages' units."""
        if self.kinds:
            self._found(self.watch.end(self.last))
        seconds = 0.0 if math.isnan(self.first) else self.last - self.first
        rows = sorted(
            self.rows.values(), key=lambda row: (row.source is None, row.source or 0, row.pgn or row.can_id)
        )
        return {
            "ok": bool(self.kinds), "seconds": round(seconds, 3), "frames": sum(self.kinds.values()),
            "kinds": dict(self.kinds), "messages": [_told(row) for row in rows],
            "claims": [
                {"source": source, "name": f"{claim.name:016X}", **claim.parts}
                for source in sorted(self.watch.claims.by_source) for claim in self.watch.claims.of(source)
            ],
            "findings": [
                {"code": f.code, "where": f.where, "found": f.found, "expected": f.expected, "advice": f.advice}
                for f in (*_lengths(rows), *self.findings.values())
            ],
        }  # fmt: skip


def _told(row: Row) -> dict[str, Any]:
    rate, layout = row.rate, row.layout
    latency = row.numbers.get(layout.latency) if layout is not None and layout.latency is not None else None
    merits = {} if layout is None else layout.merits
    return {
        "source": row.source, "pgn": row.pgn, "identifier": f"0x{row.can_id:X}", "extended": row.extended,
        "message": row.name, "sensors": list(row.sensors), "frames": row.count,
        "rate_hz": None if rate is None else round(rate, 2),
        "shortest_gap_ms": None if row.count < 2 else round(row.shortest * 1e3, 3),
        "longest_gap_ms": None if row.count < 2 else round(row.longest * 1e3, 3),
        "lengths": {str(length): count for length, count in sorted(row.lengths.items())},
        "latency_ms": None if latency is None or not latency.count else [latency.least, latency.greatest],
        "numbers": {
            name: {
                "unit": each.unit, "least": each.least if each.count else None,
                "greatest": each.greatest if each.count else None, "last": each.last, "count": each.count,
                "not_told": dict(each.lacks),
                "merits": dict(row.numbers[merits[name]].codes or {}) if merits.get(name) in row.numbers else {},
            }
            for name, each in row.numbers.items() if name not in merits.values()
        },
    }  # fmt: skip


def _lengths(rows: Iterable[Row]) -> Iterable[Fault]:
    """Frames whose length is not their message's, of senders that no map names too."""
    for row in rows:
        wrong = {} if row.layout is None else {n: c for n, c in row.lengths.items() if n != row.layout.length}
        if wrong and row.layout is not None and not row.sensors:
            found = ", ".join(f"{count} of {length} bytes" for length, count in wrong.items())
            where = f"{row.name} of source 0x{row.source:02X}" if row.source is not None else row.name
            yield Fault("wrong-length", where, found, f"{row.layout.length} bytes",
                        "this unit lays it out in its own way: describe it in a DBC file")  # fmt: skip


def draft(rows: Iterable[Mapping[str, Any]]) -> str:
    """A map with a placeholder for every slope message (SSI2, else SSI) seen: "sensor-a0" of source 0xA0.

    Its `signals` are pitch, and roll where the unit tells it. Raises `Refused` "nothing-to-draft" where there was none.
    """
    entries: dict[int, Entry] = {}
    receiver = None
    for row in sorted(rows, key=lambda each: each["pgn"] != SSI2):
        source, pgn = row["source"], row["pgn"]
        layout = BUILT_IN.get(row["message"])
        if pgn == RECEIVER and row["message"] == RECEIVED.name and receiver is None:
            receiver = Heard(Part(RECEIVED, source, ("hit",)))
        if layout is None or pgn not in _SLOPES or pgn != layout.pgn or source in entries:
            continue
        told = [name for name in ("pitch", "roll") if row["numbers"].get(name, {}).get("count")]
        if str(layout.length) in row["lengths"]:
            entries[source] = Entry(f"sensor-{source:02x}", (Part(layout, source, tuple(told or ["pitch"])),))
    if not entries:
        refuse([
            Fault("nothing-to-draft", "--draft", "no slope message (SSI, SSI2) of 8 bytes", "at least one",
                  "write the map by hand, of the messages that were seen; see /guide/bus")
        ])  # fmt: skip
    ordered = tuple(entries[source] for source in sorted(entries))
    head = (
        "# A draft: the names are placeholders. Give each sensor the name that it has in the machine's profile,\n"
        '# signals = ["pitch"] to one that reads one angle, and take out what is no sensor of this machine.\n'
    )
    return head + SensorMap(ordered, receiver).text()


def write_draft(file: Path, rows: Iterable[Mapping[str, Any]]) -> None:
    """`draft` as a new file. `Refused` "file-exists", "unreadable"."""
    text = draft(rows)
    try:
        with file.open("x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError:
        refuse([Fault("file-exists", "--draft", str(file), "a new file", "name another, or remove it")])
    except OSError as error:
        refuse(
            [Fault("unreadable", "--draft", error.strerror or str(error), "a folder that can be written to")]
        )
