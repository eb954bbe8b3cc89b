"""What is on a bus or in a log: every message with its rate, its length and its numbers, so that a map can be written."""

import math
from collections import Counter
from collections.abc import Hashable, Iterable
from dataclasses import replace
from typing import Any

from kinematics.errors import Fault

from .decoding import Decoder, Taken
from .doing import Lacking, doings
from .frames import Frame
from .framing import apart
from .items import kind_of
from .layouts import Layout
from .seen import Row
from .sensor_map import SensorMap
from .tallies import without_count
from .watch import Watch

MOST_ROWS = 4096


class Sniffing:
    """Takes every frame. `rows` by sender and message, `findings` as the watch tells them, `kinds` of frames."""

    def __init__(self, by: SensorMap | None, layouts: Iterable[Layout] = ()) -> None:
        known = SensorMap(()) if by is None else by
        known = replace(known, layouts=(*layouts, *known.layouts))
        self._decoder, self.watch = Decoder(known), Watch(by)
        self.rows: dict[Hashable, Row] = {}
        self.kinds: Counter[str] = Counter()
        self.findings: dict[tuple[str, str, str], Fault] = {}
        self.first = self.last = math.nan
        self._told = -math.inf
        self.passed_over = 0
        self._map = by
        self._lacking = Lacking()

    def take(self, frame: Frame) -> None:
        """One frame, in order of time."""
        self.kinds[frame.kind] += 1
        if math.isnan(self.first):
            self.first = frame.at_s
        self.last = frame.at_s
        taken = self._decoder.take(frame)
        self.watch.take(frame, taken)
        self._lacking.take(taken.readings)
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
            kind = kind_of(without_count(fault.found)) if fault.code == "no-value" else ""
            self.findings[fault.code, fault.where, kind] = fault

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
            "kinds": dict(self.kinds),
            "sensors": doings(rows, self._map, self.findings.values(), self._lacking, self.watch.silent, self.last),
            "messages": [_told(row) for row in rows],
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
        "bytes": [
            {"byte": i, "moved": low != high, "from": low, "to": high} for i, (low, high) in enumerate(row.bytes_seen, 1)
        ],
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
