"""A first sensor map of what was seen, with placeholders for names."""

import os
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from kinematics.errors import Fault, refuse
from kinematics.units import Quantity, sensor_unit

from .entries import Entry, Heard, Part
from .framing import RECEIVER, SSI, SSI2
from .layouts import BUILT_IN, RECEIVED
from .map_fitting import scaled
from .seen import Row
from .sensor_map import SensorMap

_SLOPES = (SSI2, SSI)
_LONGEST_NAME = 40
_HEAD = (
    "# A draft: the names are placeholders. Give each sensor the name that it has in the machine's profile,\n"
    '# signals = ["pitch"] to one that reads one angle, and take out what is no sensor of this machine.\n'
)
_OF_DBC = "# Merits and latency of a DBC's messages are not guessed: add them where the unit tells them.\n"


def draft(rows: Iterable[Row], dbc: Sequence[str] = ()) -> str:
    """A map with a placeholder for every slope message (SSI2, else SSI) and every message of a DBC that tells an angle or
    a length: "sensor-a0" of source 0xA0, "sensor-stickunit" of StickUnit, "sensor-swing-b2" where several send it.

    `signals` are pitch, and roll where the unit tells it; of a DBC the first two angles, else the first length, that it
    tells, the others in a comment. `dbc`: the files of those messages, as the map is to name them. Raises `Refused`
    "nothing-to-draft" where there was none.
    """
    seen = sorted(rows, key=lambda each: each.pgn != SSI2)
    entries: dict[int, Entry] = {}
    receiver = None
    for row in seen:
        layout, source = row.layout, row.source
        if layout is None or layout.length not in row.lengths or source is None:
            continue
        if layout is RECEIVED and row.pgn == RECEIVER and receiver is None:
            receiver = Heard(Part(RECEIVED, source, ("hit",)))
        if layout is BUILT_IN.get(layout.name) and row.pgn in _SLOPES and source not in entries:
            told = [name for name in ("pitch", "roll") if name in row.numbers and row.numbers[name].count]
            entries[source] = Entry(f"sensor-{source:02x}", (Part(layout, source, tuple(told or ["pitch"])),))
    own, others = _of_dbc(seen)
    made = (*(entries[source] for source in sorted(entries)), *own)
    if not made:
        refuse([
            Fault("nothing-to-draft", "--draft",
                  "no slope message (SSI, SSI2) of 8 bytes, and none of a DBC with an angle or length", "at least one",
                  "write the map by hand, of the messages that were seen; see /guide/bus")
        ])  # fmt: skip
    head = _HEAD + (_OF_DBC if own else "") + "".join(f"# {line}\n" for line in others)
    return head + SensorMap(made, receiver, dbc=tuple(dbc) if own else ()).text()


def _of_dbc(rows: Iterable[Row]) -> tuple[list[Entry], list[str]]:
    """Entries of the messages of DBC files, and in words what they have besides."""
    whole = [
        row
        for row in rows
        if row.layout is not None and row.layout.origin and row.layout.length in row.lengths
    ]
    senders = Counter(row.name for row in whole)
    entries: list[Entry] = []
    others = []
    for row in whole:
        names = list(_measures(row))
        layout = row.layout
        if not names or layout is None:
            continue
        if row.name in BUILT_IN:
            others.append(
                f"{row.name} of {layout.origin} has the name of a message built in: rename it there."
            )
            continue
        kind = sensor_unit(layout.items[names[0]].unit)
        alike = [name for name in names if _fits_with(row, name, names[0])]
        chosen = alike[: 2 if kind is not None and kind[0] is Quantity.ANGLE else 1]
        name = re.sub(r"[^a-z0-9_-]", "-", f"sensor-{row.name}".lower())
        if row.source is not None and senders[row.name] > 1:
            name = f"{name[: _LONGEST_NAME - 3]}-{row.source:02x}"
        name = name[:_LONGEST_NAME]
        if any(each.sensor == name for each in entries):
            name = f"{name[: _LONGEST_NAME - 3]}-{len(entries) + 1}"
        entries.append(
            Entry(name, (Part(layout, row.source if layout.pgn is not None else None, tuple(chosen)),))
        )
        if left := [each for each in names if each not in chosen]:
            others.append(f"{row.name} tells these too: {', '.join(left)}.")
    return entries, others


def _measures(row: Row) -> Iterator[str]:
    """The angles a message told, then its lengths."""
    layout = row.layout
    assert layout is not None  # noqa: S101 - asked of messages of a DBC only
    for wanted in (Quantity.ANGLE, Quantity.LENGTH):
        for name, number in row.numbers.items():
            unit = sensor_unit(number.unit)
            if unit is not None and unit[0] is wanted and number.count and scaled(layout.items[name]):
                yield name


def _fits_with(row: Row, name: str, first: str) -> bool:
    """Whether two numbers make one reading: of one kind, and in the same frames of a message that selects."""
    layout = row.layout
    assert layout is not None  # noqa: S101 - asked of messages of a DBC only
    one, two = layout.items[name], layout.items[first]
    units = sensor_unit(one.unit), sensor_unit(two.unit)
    return (
        one.when == two.when and units[0] is not None and units[1] is not None and units[0][0] is units[1][0]
    )


def write_draft(file: Path, rows: Iterable[Row], dbc: Iterable[Path] = ()) -> None:
    """`draft` as a new file; it names the DBC files from where it stands. `Refused` "file-exists", "unreadable"."""
    text = draft(rows, [_from(file, each) for each in dbc])
    try:
        with file.open("x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError:
        refuse([Fault("file-exists", "--draft", str(file), "a new file", "name another, or remove it")])
    except OSError as error:
        refuse(
            [Fault("unreadable", "--draft", error.strerror or str(error), "a folder that can be written to")]
        )


def _from(file: Path, dbc: Path) -> str:
    try:
        return Path(os.path.relpath(dbc, file.parent)).as_posix()
    except ValueError:  # on another drive
        return dbc.resolve().as_posix()
