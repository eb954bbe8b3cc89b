"""The tables of a sensor map's file: closed, every fault with its line."""

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field, ValidationError

from kinematics.errors import Fault, Refused
from machine_profiles.places import line_of, lines_of, numbered
from machine_profiles.table import Table
from service.text import misfit, nearest

from .dbc import NO_FILE
from .framing import HIGHEST_ADDRESS
from .reading import SensorName

LARGEST = 1_000_000
WANTED = "a map of sensors in TOML; see /guide/bus"
Address = Annotated[int, Field(ge=0, le=HIGHEST_ADDRESS)]
Word = Annotated[str, Field(min_length=1, max_length=128, pattern=r"^[^\x00-\x1f\x7f]+$")]
Unit = Annotated[str, Field(min_length=1, max_length=20)]


class Of(Table):
    """Where three numbers of a raw sensor are: ahead, left, up. A name that begins with "-" has its sign turned."""

    message: Word | None = None
    source: Address | None = None
    signals: Annotated[list[Word], Field(min_length=1, max_length=3)] | None = None
    columns: Annotated[list[Word], Field(min_length=1, max_length=3)] | None = None
    unit: Unit | None = None
    merits: Annotated[list[Word], Field(min_length=1, max_length=3)] | None = None
    latency: Word | None = None


class Wired(Of):
    """One sensor: its angle or angles or its length, or of a raw one its accelerometer and gyro."""

    sensor: SensorName
    accelerometer: Of | None = None
    gyro: Of | None = None
    degraded: Literal["error", "take"] = "error"


class Receiver(Table):
    """The receiver: its own frame by source, or a signal of a message, or a column."""

    source: Address | None = None
    message: Word | None = None
    signal: Word | None = None
    column: Word | None = None
    tells: Literal["hit", "above"] | None = None
    unit: Unit | None = None


class Csv(Table):
    """How a CSV log tells its time, and what stands between its cells."""

    time: Word
    time_unit: Literal["s", "ms", "us"]
    delimiter: Annotated[str, Field(min_length=1, max_length=1, pattern=r"^[,;\t|]$")] = ","


class MapDocument(Table):
    """A sensor map."""

    sensor_map: Literal[1]
    dbc: Annotated[list[Word], Field(max_length=16, default_factory=list)]
    csv: Csv | None = None
    sensors: Annotated[list[Wired], Field(min_length=1, max_length=64)]
    receiver: Receiver | None = None


class Lines:
    """Dotted places of a map ("sensors.2.signals") to words: "rig.toml:14: sensor 3: signals"."""

    def __init__(self, file: Path, text: str) -> None:
        self._file = file
        self._lines = lines_of(numbered(text, ("sensors",)))

    def line(self, path: str) -> int:
        """The line of a place, or of the nearest around it."""
        return line_of(self._lines, path)

    def words(self, path: str) -> str:
        """The place as people find it."""
        first, _, rest = path.partition(".")
        if first == "sensors" and rest:
            number, _, rest = rest.partition(".")
            rest = f"sensor {int(number) + 1}" + (f": {rest}" if rest else "")
        else:
            rest = path
        return f"{self._file}:{self.line(path)}" + (f": {rest}" if rest else "")


def read_tables(file: Path) -> tuple[MapDocument, Lines]:
    """The tables of a file. `Refused`: "unreadable", "old-map", and every fault of keys and values."""
    text = _text(file)
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise Refused([Fault("unreadable", str(file), str(error), WANTED)]) from None
    lines = Lines(file, text)
    if "can_map" in raw:
        raise Refused([
            Fault("old-map", lines.words("can_map"), "can_map, the map of an earlier version", "sensor_map = 1",
                  'write sensor_map = 1 in its place, message = "SSI2" at each sensor, and signals = ["pitch"] for '
                  'numbers = 1, signals = ["pitch", "roll"] for numbers = 2')
        ])  # fmt: skip
    try:
        return MapDocument.model_validate(raw), lines
    except ValidationError as error:
        raise Refused([*_misfits(error, lines), *_missing(raw.get("dbc"), file.parent, lines)]) from None


def _missing(dbc: object, folder: Path, lines: Lines) -> Iterator[Fault]:
    """The DBC files that are not there, told with what else is wrong."""
    for i, name in enumerate(dbc if isinstance(dbc, list) else ()):
        if isinstance(name, str) and "\0" not in name and not (folder / name).exists():
            yield Fault("unreadable", lines.words(f"dbc.{i}"), f"{name}: {NO_FILE}", "a DBC file")


def _text(file: Path) -> str:
    try:
        data = file.read_bytes()
        if len(data) > LARGEST:
            raise Refused([Fault("too-large", str(file), f"{len(data)} bytes", f"at most {LARGEST}")])
        return data.decode("utf-8-sig")
    except FileNotFoundError:
        raise Refused([
            Fault("unreadable", str(file), "no such file", WANTED, "simulate writes one beside each CAN log")
        ]) from None  # fmt: skip
    except OSError as error:
        raise Refused([Fault("unreadable", str(file), error.strerror or str(error), WANTED)]) from None
    except UnicodeDecodeError:
        raise Refused([Fault("unreadable", str(file), "bytes that are not UTF-8", WANTED)]) from None


def _misfits(error: ValidationError, lines: Lines) -> Iterator[Fault]:
    for each in error.errors(include_url=False):
        told = misfit({**each, "loc": ("body", *each["loc"])}, None)
        expected, advice = told.expected, told.advice
        if each["type"] == "extra_forbidden":
            known = _known(each["loc"])
            expected = "one of: " + ", ".join(known)
            advice = nearest(str(each["loc"][-1]), known) or advice
        found, value = told.found, each.get("input")
        if each["loc"][-1] == "source" and type(value) is int and abs(value) < 1 << 32:
            found, expected = f"{value:#x}", f"a source address, 0x00 to 0x{HIGHEST_ADDRESS:02X}"
        place = lines.words(".".join(map(str, each["loc"])))
        yield Fault(told.code, place, found, expected, advice)


def _known(loc: tuple[Any, ...]) -> list[str]:
    table: type[BaseModel] = MapDocument
    inner: Mapping[Any, type[BaseModel]] = {
        "csv": Csv, "sensors": Wired, "receiver": Receiver, "accelerometer": Of, "gyro": Of,
    }  # fmt: skip
    for part in loc[:-1]:
        table = inner.get(part, table)
    return list(table.model_fields)
