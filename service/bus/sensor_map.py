"""Which numbers on a bus or in a log are which sensor, as a file beside the log: read, fitted, written."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from kinematics.errors import Fault, refuse

from .entries import Entry, Heard, Part
from .layouts import BUILT_IN, RECEIVED, Layout
from .map_fitting import Fitting
from .map_tables import Csv, read_tables


@dataclass(frozen=True, slots=True)
class SensorMap:
    """`layouts`: every message known, those of the DBC files before those built in. `dbc`: those files, as the map names
    them."""

    entries: tuple[Entry, ...]
    receiver: Heard | None = None
    csv: Csv | None = None
    dbc: tuple[str, ...] = ()
    layouts: tuple[Layout, ...] = (*BUILT_IN.values(), RECEIVED)

    def text(self) -> str:
        """As a file."""
        lines = ["# Which numbers are which sensor; see /guide/bus.", "sensor_map = 1"]
        if self.dbc:
            lines.append(f"dbc = {json.dumps(list(self.dbc), ensure_ascii=False)}")
        lines.append("")
        if self.csv is not None:
            lines += ["[csv]", f"time = {_quoted(self.csv.time)}", f'time_unit = "{self.csv.time_unit}"',
                      f"delimiter = {_quoted(self.csv.delimiter)}", ""]  # fmt: skip
        for entry in self.entries:
            lines += ["[[sensors]]", f"sensor = {_quoted(entry.sensor)}"]
            if entry.raw:
                for name, part in zip(("accelerometer", "gyro"), entry.parts, strict=True):
                    lines.append(f"{name} = {{ {', '.join(_keys(part))} }}")
            else:
                lines += _keys(entry.parts[0])
            if entry.degraded != "error":
                lines.append(f'degraded = "{entry.degraded}"')
            lines.append("")
        if self.receiver is not None:
            lines += ["[receiver]", *_heard(self.receiver), ""]
        return "\n".join(lines)


def map_beside(log: Path) -> Path:
    """The map file of a log: pit.log has pit.log.map.toml."""
    return log.with_name(log.name + ".map.toml")


def read_map(file: Path) -> SensorMap:
    """The map of a file, with the DBC files it names, beside it.

    Raises `Refused` with every fault at its line: of TOML and keys first, then of the DBC files, then of what does not
    fit them: "name-taken", "given-twice", "unknown-message", "unknown-signal", "wrong-count", "no-source", "no-unit",
    "contradicts", "incomplete", "too-long", "bad-factor".
    """
    document, lines = read_tables(file)
    fitting = Fitting(document, lines, file.parent)
    refuse(fitting.faults)
    return SensorMap(fitting.entries, fitting.receiver, document.csv, tuple(document.dbc), fitting.layouts)


def refuse_columns(by: SensorMap, file: Path, what: str) -> None:
    """Raise `Refused` "wrong-map" where a map has nothing on a bus; `what` it is read with: "a CAN log"."""
    heard = by.receiver is not None and by.receiver.part.layout is not None
    if not heard and not any(entry.on_bus for entry in by.entries):
        found = f"the map describes columns of a CSV log, this is {what}"
        refuse(
            [
                Fault(
                    "wrong-map",
                    str(file),
                    found,
                    "a map of messages",
                    "tipdatum sniff --draft writes a first one",
                )
            ]
        )


def refuse_messages(by: SensorMap, file: Path) -> None:
    """Raise `Refused` "wrong-map" where a map has no column at all, read with a CSV log."""
    heard = by.receiver is not None and by.receiver.part.layout is None
    if not heard and all(entry.on_bus for entry in by.entries):
        found = "the map describes messages on a bus, this is a CSV log"
        refuse(
            [
                Fault(
                    "wrong-map",
                    str(file),
                    found,
                    "a map with [csv], and columns at its sensors",
                    "see /guide/bus",
                )
            ]
        )


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _keys(part: Part) -> list[str]:
    names = json.dumps(list(part.signals), ensure_ascii=False)
    if part.layout is None:
        return [f"columns = {names}", f"unit = {_quoted(part.unit or '')}"]
    keys = [f"message = {_quoted(part.layout.name)}"]
    if part.source is not None:
        keys.append(f"source = 0x{part.source:X}")
    keys.append(f"signals = {names}")
    if part.unit is not None:
        keys.append(f"unit = {_quoted(part.unit)}")
    if part.merits:
        keys.append(f"merits = {json.dumps(list(part.merits), ensure_ascii=False)}")
    if part.latency is not None:
        keys.append(f"latency = {_quoted(part.latency)}")
    return keys


def _heard(heard: Heard) -> Iterator[str]:
    part = heard.part
    if heard.tells is None:
        yield f"source = 0x{part.source:X}"
        return
    if part.layout is None:
        yield f"column = {_quoted(part.signals[0])}"
    else:
        yield f"message = {_quoted(part.layout.name)}"
        if part.source is not None:
            yield f"source = 0x{part.source:X}"
        yield f"signal = {_quoted(part.signals[0])}"
    yield f'tells = "{heard.tells}"'
    if part.unit is not None:
        yield f"unit = {_quoted(part.unit)}"


__all__ = [
    "Entry",
    "Heard",
    "Part",
    "SensorMap",
    "map_beside",
    "read_map",
    "refuse_columns",
    "refuse_messages",
]
