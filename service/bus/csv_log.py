"""Logs in CSV: a heading, a column of time, columns of numbers, as the map names them."""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, Refused, refuse
from service.text import nearest, shown

from .decoding import DECIMALS, DOOR, raw_reading
from .entries import Entry, Heard
from .map_tables import Csv
from .pairing import Half
from .reading import Reading
from .sensor_map import SensorMap

CSV = ".csv"
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_ABSURD = 1e30  # as in a frame: what would overflow in another unit
_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_PER_S = {"s": 1.0, "ms": 1e3, "us": 1e6}
_HITS = {"0": False, "1": True, "false": False, "true": True}
Row = Mapping[str, str]


def read_csv(file: Path, by: SensorMap) -> Iterator[Reading | Fault]:
    """Readings of a CSV log in order, and in their place each fault by its line; an empty cell is no reading.

    Raises `Refused` where it cannot be begun: "unreadable", "incomplete" for a map without [csv] or columns,
    "unknown-column" with those there are, "given-twice" for a heading twice.
    """
    entries = [entry for entry in by.entries if not entry.on_bus]
    heard = by.receiver if by.receiver is not None and by.receiver.part.layout is None else None
    if by.csv is None or not (entries or heard):
        raise Refused(
            [Fault("incomplete", str(file), "a map without columns", "[csv], and columns at the sensors")]
        )
    last: float | None = None
    try:
        with file.open(encoding="utf-8-sig", newline="") as opened:
            rows = csv.reader(opened, delimiter=by.csv.delimiter, strict=True)
            heading = [cell.strip() for cell in next(rows, [])]
            _heading(file, heading, by.csv, entries, heard)
            for cells in rows:
                if not any(cell.strip() for cell in cells):
                    continue
                where = f"{file}:{rows.line_num}"
                try:
                    row = _row(heading, cells)
                    at_s = _number(row, by.csv.time, None) / _PER_S[by.csv.time_unit]
                    if last is not None and at_s < last:
                        raise _bad(
                            "out-of-order",
                            f"{by.csv.time} {at_s:g} s after {last:g} s",
                            "times that do not go back",
                        )
                    last = at_s
                    for entry in entries:
                        yield from _reading(entry, row, at_s, where)
                    if heard is not None:
                        yield from _received(heard, row, at_s)
                except Refused as refused:
                    yield from (fault.at(where) for fault in refused.faults)
    except FileNotFoundError:
        raise Refused([Fault("unreadable", str(file), "no such file", "a log in CSV")]) from None
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise Refused([Fault("unreadable", str(file), str(error), "a log in CSV, UTF-8")]) from None


def _bad(code: str, found: str, expected: str, advice: str = "") -> Refused:
    return Refused([Fault(code, "", found, expected, advice)])


def _heading(
    file: Path, heading: Sequence[str], how: Csv, entries: Sequence[Entry], heard: Heard | None
) -> None:
    wanted = [how.time, *(name for entry in entries for part in entry.parts for name in part.names)]
    wanted += [] if heard is None else heard.part.names
    where = f"{file}:1"
    if not heading:
        raise Refused([Fault("unreadable", where, "nothing", "a heading with the names of the columns")])
    advice = ""
    if len(heading) == 1 and (others := [each for each in ",;\t|" if each in heading[0]]):
        advice = f"delimiter = {shown(others[0])} in [csv]?"
    faults = [
        Fault("unknown-column", where, f"no column {shown(name)}", "one of: " + ", ".join(map(shown, heading[:40])),
              advice or nearest(name, heading))
        for name in dict.fromkeys(wanted)
        if name not in heading
    ]  # fmt: skip
    faults += [
        Fault("given-twice", where, f"{heading.count(name)} columns {shown(name)}", "one")
        for name in dict.fromkeys(wanted)
        if heading.count(name) > 1
    ]
    refuse(faults)


def _row(heading: Sequence[str], cells: Sequence[str]) -> Row:
    if len(cells) != len(heading):
        advice = (
            "a decimal comma? write decimal points, or part the cells by semicolons"
            if len(cells) > len(heading)
            else ""
        )
        raise _bad("wrong-count", f"{len(cells)} cells", f"{len(heading)}, as the heading has", advice)
    return dict(zip(heading, (cell.strip() for cell in cells), strict=True))


def _number(row: Row, name: str, otherwise: float | None) -> float:
    text = row[name]
    if _NUMBER.fullmatch(text) and abs(float(text)) < _ABSURD:
        return float(text)
    if not text and otherwise is not None:
        return otherwise
    advice = (
        "write decimal points" if _COMMA.fullmatch(text) else "leave a cell empty where there is no value"
    )
    raise _bad("not-a-number", f"{name} {shown(text)}", f"a finite number, below {_ABSURD:g}", advice)


def _reading(entry: Entry, row: Row, at_s: float, where: str) -> Iterator[Reading | Fault]:
    halves = []
    names = [name for part in entry.parts for name in part.names]
    empty = [name for name in names if not row[name]]
    for part in entry.parts:
        units = part.units()
        numbers = [
            _number(row, name, 0.0) * sign * unit[1]
            for name, sign, unit in zip(part.names, part.signs, units, strict=True)
            if unit is not None
        ]
        halves.append(Half(at_s, numbers, 0.0))
    if empty:
        if len(empty) < len(names):
            yield Fault(
                "not-a-number",
                where,
                f"{entry.sensor} without {', '.join(empty)}",
                "all of its cells, or none",
            )
        return
    if entry.raw:
        yield raw_reading(entry.sensor, halves[0], halves[1])
        return
    word, per = DOOR[entry.quantity]
    told: list[Any] = [round(each * per, DECIMALS) for each in halves[0].numbers]
    yield Reading(at_s, {"sensor": entry.sensor, word: told[0] if len(told) == 1 else told})


def _received(heard: Heard, row: Row, at_s: float) -> Iterator[Reading]:
    [name] = heard.part.names
    [sign] = heard.part.signs
    text = row[name]
    if not text:
        return
    if heard.tells == "hit":
        if text.lower() not in _HITS:
            raise _bad("not-a-number", f"{name} {shown(text)}", "0 or 1, true or false")
        yield Reading(at_s, {"receiver_hit": _HITS[text.lower()] != (sign < 0.0)})
        return
    [unit] = heard.part.units()
    assert unit is not None  # noqa: S101 - a map with a unit not known was refused
    above_mm = _number(row, name, None) * sign * unit[1] * 1e3
    yield Reading(at_s, {"receiver_above_mm": round(above_mm, DECIMALS)})
