"""What each sensor does, by the map: moves, rests, is silent, jumps, lacks; and what is in no map."""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any

from kinematics.errors import Fault
from kinematics.units import sensor_unit

from .entries import Part
from .framing import named
from .reading import Reading
from .seen import Number, Row
from .sensor_map import SensorMap
from .silence import PERIODS, SILENT_S

RECEIVER = "receiver"
_JUMPS = ("two-on-one-source", "values-jump")


class Lacking:
    """Which sensors of the map have no value: none at the end, or none half of the time."""

    def __init__(self) -> None:
        self._good: Counter[str] = Counter()
        self._bad: Counter[str] = Counter()
        self._last: dict[str, bool] = {}

    def take(self, readings: Iterable[Reading]) -> None:
        """The readings of a frame."""
        for each in readings:
            sensor = each.said.get("sensor")
            if sensor is not None:
                self._last[sensor] = bad = "error" in each.said
                (self._bad if bad else self._good)[sensor] += 1

    def of(self, sensor: str) -> bool:
        """Whether this one has none."""
        return self._last.get(sensor, False) or self._bad[sensor] > self._good[sensor]


def doings(
    rows: Sequence[Row], by: SensorMap | None, findings: Iterable[Fault], lacking: Lacking, silent: Collection[str],
    until_s: float,
) -> list[dict[str, Any]]:  # fmt: skip
    """A line of each sensor of the map and message, in the map's order, then of each message that is not in it.

    `does` is "" where nothing can be said: too few frames, or no number in them. `numbers` is in words.
    """
    jumping = {fault.where for fault in findings if fault.code in _JUMPS}
    order = {} if by is None else {entry.sensor: i for i, entry in enumerate(by.entries)}
    lines: list[dict[str, Any]] = []
    heard = set()
    for row in rows:
        parts = _parts(row, by)
        jumps = jumping & {named(row.can_id, extended=row.extended), _origin(row)}
        quiet = row.count > 1 and until_s - row.last > max(SILENT_S, PERIODS / (row.rate or PERIODS))
        uses: list[tuple[str | None, Part | None]] = [*parts] or [(None, None)]
        for sensor, part in uses:
            names = _telling(row) if part is None else [name for name in part.names if name in row.numbers]
            numbers = [row.numbers[name] for name in names]
            if jumps and numbers:
                does = "jumps"
            elif quiet if sensor in (None, RECEIVER) else sensor in silent:
                does = "silent"
            elif _all_lack(row, numbers) if sensor in (None, RECEIVER) else lacking.of(str(sensor)):
                does = "lacks"
            else:
                does = _moves(row, names)
            words = "; ".join(_words(name, row.numbers[name]) for name in names) or _bytes(row)
            lines.append(
                _line(sensor, does, words, row.name, row.source, f"0x{row.can_id:X}", mapped=by is not None)
            )
            heard.add((sensor, row.name))
    for sensor, part in _wanted(by):
        layout = part.layout
        if layout is not None and (sensor, layout.name) not in heard:
            identifier = None if layout.can_id is None or part.source is not None else f"0x{layout.can_id:X}"
            lines.append(
                _line(sensor, "silent", "no frame", layout.name, part.source, identifier, mapped=True)
            )
    last = len(order)
    return sorted(
        lines, key=lambda line: last + 1 if line["sensor"] is None else order.get(line["sensor"], last)
    )


def _line(
    sensor: str | None, does: str, words: str, message: str, source: int | None, identifier: str | None, *, mapped: bool
) -> dict[str, Any]:  # fmt: skip
    return {
        "sensor": sensor, "map": mapped, "does": does, "numbers": words, "message": message, "source": source,
        "identifier": identifier,
    }  # fmt: skip


def _wanted(by: SensorMap | None) -> Iterator[tuple[str, Part]]:
    """The sensors of the map with their parts, the receiver last."""
    if by is None:
        return
    for entry in by.entries:
        for part in entry.parts:
            yield entry.sensor, part
    if by.receiver is not None:
        yield RECEIVER, by.receiver.part


def _parts(row: Row, by: SensorMap | None) -> Iterator[tuple[str, Part]]:
    """Those of the map that a message feeds."""
    for sensor, part in _wanted(by):
        layout = part.layout
        if layout is None or row.layout is None or layout.name != row.layout.name:
            continue
        if part.source == row.source if part.source is not None else layout.can_id == row.can_id:
            yield sensor, part


def _origin(row: Row) -> str:
    return f"identifier 0x{row.can_id:X}" if row.source is None else f"source 0x{row.source:02X}"


def _telling(row: Row) -> list[str]:
    """The names of a message's numbers that tell a measure, or all where none has a unit known here."""
    layout = row.layout
    if layout is None:
        return []
    aside = {*layout.merits.values(), layout.latency}
    names = [name for name in row.numbers if name not in aside]
    return [name for name in names if sensor_unit(row.numbers[name].unit) is not None] or names


def _all_lack(row: Row, numbers: Sequence[Number]) -> bool:
    """Whether a message tells nothing, or at its end lacks what it told before; an axis never told is no lack."""
    if row.layout is None or not row.layout.items:
        return False
    told = [each for each in numbers if each.count]
    return not told or any(isinstance(each.last, str) for each in told)


def _moves(row: Row, names: Sequence[str]) -> str:
    layout = row.layout
    if layout is None or not names:
        if row.count < 2 or not row.bytes_seen:
            return ""
        return "moves" if any(low != high for low, high in row.bytes_seen) else "rests"
    told = [row.numbers[name].course.moves(layout.items[name].unit, layout.items[name].bit)
            if sensor_unit(layout.items[name].unit) is not None
            else row.numbers[name].least != row.numbers[name].greatest
            for name in names if row.numbers[name].count]  # fmt: skip
    if any(told):
        return "moves"
    return "" if None in told or not told else "rests"


def _words(name: str, number: Number) -> str:
    if not number.count:
        return f"{name} {', '.join(number.lacks)}"
    low, high = _figure(number.least), _figure(number.greatest)
    return f"{name} {low if low == high else f'{low} to {high}'} {number.unit}".rstrip()


def _figure(value: float) -> str:
    if value == int(value) or abs(value) >= 1e6:
        return f"{value:.0f}" if abs(value) < 1e15 else f"{value:g}"
    return f"{value:.2f}" if abs(value) >= 1.0 else f"{value:.3f}"


def _bytes(row: Row) -> str:
    moved = [str(i) for i, (low, high) in enumerate(row.bytes_seen, 1) if low != high]
    if moved:
        return f"byte {moved[0]} moves" if len(moved) == 1 else f"bytes {', '.join(moved)} move"
    return "no byte moves" if row.bytes_seen else ""
