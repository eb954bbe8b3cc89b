"""Who sends on the CAN bus, as a file beside the log; readings to log files and live buses, and a log back to readings.

Logs and buses are python-can's: candump .log, .asc, .blf, .trc, and every interface it knows. Tried with its virtual
interface and its files alone; no adapter and no real bus has been tried.
"""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Annotated, Any, Literal, Protocol, Self

from pydantic import Field, ValidationError

from kinematics.errors import Fault, Refused, refuse
from kinematics.sensor import BY_GRAVITY, Measure
from machine_profiles.table import Table
from service.text import misfit, shown

from .dig import Dig
from .framing import RECEIVER, SSI, SSI2, apart, frame_of, identifier, read_frame, words_of
from .signals import Signal, instruments
from .tables import SensorName

LOGS = (".log", ".asc", ".blf", ".trc")
FIRST_SOURCE, RECEIVER_SOURCE = 0xA0, 0xC0
MOST_FAULTS = 100
_PGN = {"SSI2": SSI2, "SSI": SSI}
Address = Annotated[int, Field(ge=0, le=253)]


class Wired(Table):
    """One sensor: its source address, how many numbers it tells (one: as pitch), by which message."""

    source: Address
    sensor: SensorName
    numbers: Literal[1, 2] = 1
    message: Literal["SSI2", "SSI"] = "SSI2"


class Heard(Table):
    """The receiver's source address."""

    source: Address


class MapDocument(Table):
    """Which source address is which sensor."""

    can_map: Literal[1]
    sensors: Annotated[list[Wired], Field(min_length=1, max_length=64)]
    receiver: Heard | None = None


@dataclass(frozen=True, slots=True)
class BusMap:
    """Source addresses and sensors, each once."""

    sensors: Mapping[str, Wired]
    receiver: int | None

    def text(self) -> str:
        """As a file."""
        lines = ["# Which source address on the bus is which sensor.", "can_map = 1", ""]
        if self.receiver is not None:
            lines += ["[receiver]", f"source = 0x{self.receiver:X}", ""]
        for each in self.sensors.values():
            lines += [
                "[[sensors]]", f"source = 0x{each.source:X}", f'sensor = "{each.sensor}"', f"numbers = {each.numbers}",
                f'message = "{each.message}"', "",
            ]  # fmt: skip
        return "\n".join(lines)


def map_beside(log: Path) -> Path:
    """The map file of a log: pit.log has pit.log.map.toml."""
    return log.with_name(log.name + ".map.toml")


def map_for(dig: Dig) -> BusMap:
    """A map for the sensors of a dig, from source address 0xA0 on.

    Raises `Refused` "no-slope-message" for every sensor that is no slope sensor: a length or an encoder's angle.
    """
    refuse(
        Fault("no-slope-message", f"sensors.{name}", f"{sensor.measures}, which no slope message carries",
              "sensors of gravity on the bus", "log readings as .ndjson, or feed them with --to")
        for name, sensor in dig.sensors.all.items()
        if sensor.measures not in BY_GRAVITY
    )  # fmt: skip
    wired = {
        name: Wired(
            source=FIRST_SOURCE + i, sensor=name, numbers=2 if sensor.measures == Measure.PITCH_ROLL else 1
        )
        for i, (name, sensor) in enumerate(dig.sensors.all.items())
    }
    heard = dig.document.laser is not None and dig.assembly.machine.receiver is not None
    return BusMap(wired, RECEIVER_SOURCE if heard else None)


def read_map(file: Path) -> BusMap:
    """The map of a file. `Refused` with every fault: TOML, keys, an address or a sensor given twice."""
    try:
        document = MapDocument.model_validate(tomllib.loads(file.read_text(encoding="utf-8")))
    except ValidationError as error:
        raise Refused(
            Fault(
                told.code,
                f"{file}: {'.'.join(map(str, each['loc']))}",
                told.found,
                told.expected,
                told.advice,
            )
            for each in error.errors(include_url=False)
            for told in [misfit({**each, "loc": ("body", *each["loc"])}, None)]
        ) from None
    except FileNotFoundError:
        raise Refused([
            Fault("unreadable", str(file), "no such file", "a map of source addresses in TOML",
                  "simulate writes one beside each CAN log; see /guide/simulation")
        ]) from None  # fmt: skip
    except (OSError, ValueError) as error:
        raise Refused(
            [Fault("unreadable", str(file), str(error), "a map of source addresses in TOML")]
        ) from None
    sources = [each.source for each in document.sensors]
    sources += [] if document.receiver is None else [document.receiver.source]
    names = [each.sensor for each in document.sensors]
    refuse(
        Fault("name-taken", str(file), f"{what} twice", "each address and each sensor once")
        for what in (
            *(f"source 0x{s:X}" for i, s in enumerate(sources) if s in sources[:i]),
            *(shown(n) for i, n in enumerate(names) if n in names[:i]),
        )
    )
    return BusMap(
        {each.sensor: each for each in document.sensors},
        None if document.receiver is None else document.receiver.source,
    )


class _Sink(Protocol):
    def put(self, message: Any) -> None:
        """Take one frame."""

    def stop(self) -> None:
        """Close."""


class CanOut:
    """Readings out as frames, into a log file or onto a live bus. A context manager."""

    def __init__(self, dig: Dig, seed: int, sink: _Sink) -> None:
        self._map = map_for(dig)
        self._late = {name: each.latency_s for name, each in instruments(dig, seed).items()}
        self._sink = sink
        self.count = 0

    def put(self, signal: Signal, at_s: float) -> None:
        """One reading at `at_s`. `Refused` "out-of-range", "bus-failed"."""
        import can  # noqa: PLC0415 - half a second, for those who use a bus

        name = signal.said.get("sensor")
        if name is None:
            if self._map.receiver is None:
                return
            pgn, source, late = RECEIVER, self._map.receiver, None
        else:
            wired = self._map.sensors[name]
            pgn, source, late = _PGN[wired.message], wired.source, self._late[name]
        data = frame_of(signal.said, pgn, late)
        message = can.Message(
            timestamp=at_s, arbitration_id=identifier(pgn, source), is_extended_id=True, data=data
        )
        try:
            self._sink.put(message)
        except can.CanError as error:
            raise Refused([Fault("bus-failed", "--bus", str(error), "a bus that takes frames")]) from None
        self.count += 1

    def close(self) -> None:
        """End the log, or leave the bus."""
        self._sink.stop()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self.close()


class _LogSink:
    def __init__(self, file: Path) -> None:
        import can  # noqa: PLC0415

        self._writer = can.Logger(file)

    def put(self, message: Any) -> None:
        self._writer(message)

    def stop(self) -> None:
        self._writer.stop()


class _BusSink:
    def __init__(self, interface: str, channel: str) -> None:
        import can  # noqa: PLC0415

        try:
            self._bus = can.Bus(interface=interface, channel=channel)
        except (can.CanError, OSError, ValueError, ImportError, NotImplementedError) as error:
            raise Refused([
                Fault("bus-failed", "--bus", f"{interface}:{channel}: {error}", "an interface and channel of python-can",
                      "such as virtual:pit, or socketcan:can0 on Linux")
            ]) from None  # fmt: skip

    def put(self, message: Any) -> None:
        self._bus.send(message)

    def stop(self) -> None:
        self._bus.shutdown()


def log_out(dig: Dig, seed: int, file: Path) -> CanOut:
    """Frames into a log file, its kind by its ending, and the map beside it. `Refused` as `map_for`."""
    text = map_for(dig).text()
    out = CanOut(dig, seed, _LogSink(file))
    with map_beside(file).open("x", encoding="utf-8") as beside:
        beside.write(text)
    return out


def bus_out(dig: Dig, seed: int, words: str) -> CanOut:
    """Frames onto a live bus, "interface:channel". `Refused` "bad-option", "bus-failed", and as `map_for`."""
    interface, colon, channel = words.partition(":")
    if not (interface and colon and channel):
        raise Refused(
            [Fault("bad-option", "--bus", shown(words), "INTERFACE:CHANNEL, such as socketcan:can0")]
        )
    map_for(dig)
    return CanOut(dig, seed, _BusSink(interface, channel))


def read_can(file: Path, by: BusMap) -> Iterator[tuple[float, dict[str, Any] | None]]:
    """(time s, reading without its time) of each frame that the map knows, and (time, None) of every other.

    Raises `Refused` after the last frame with every faulty one, by its number from 1: "wrong-length", "reserved-code",
    "not-mapped" for a slope frame from an address that the map does not name; "unreadable" for a file that is no log.
    """

    names = {each.source: each for each in by.sensors.values()}
    faults: list[Fault] = []
    try:
        binary = file.suffix.lower() == ".blf"
        with file.open("rb" if binary else "r") as opened, _reader(file.suffix.lower())(opened) as reader:
            for number, message in enumerate(reader, 1):
                said = None
                if message.is_extended_id and not message.is_error_frame and not message.is_remote_frame:
                    try:
                        said = _said(message.arbitration_id, bytes(message.data), names, by.receiver)
                    except Refused as refused:
                        faults += [fault.at(f"{file}: frame {number}") for fault in refused.faults]
                        if len(faults) >= MOST_FAULTS:
                            break
                yield float(message.timestamp), said
    except FileNotFoundError:
        raise Refused(
            [Fault("unreadable", str(file), "no such file", "a CAN log: " + ", ".join(LOGS))]
        ) from None
    except Refused:
        raise
    except Exception as error:  # each of python-can's readers has faults of its own
        found = f"what is no {file.suffix.lower()} log: {str(error) or type(error).__name__}"
        raise Refused([Fault("unreadable", str(file), found, "a CAN log: " + ", ".join(LOGS))]) from None
    refuse(faults)


def _reader(ending: str) -> Any:
    """python-can's own choice by ending, on a file that is ours to close."""
    import can  # noqa: PLC0415

    return {
        ".log": can.CanutilsLogReader,
        ".asc": can.ASCReader,
        ".blf": can.BLFReader,
        ".trc": can.TRCReader,
    }[ending]


def _said(
    can_id: int, data: bytes, names: Mapping[int, Wired], receiver: int | None
) -> dict[str, Any] | None:
    pgn, source = apart(can_id)
    wired = names.get(source)
    if pgn == RECEIVER:
        if source != receiver:
            return None
    elif pgn in (SSI, SSI2):
        if wired is None:
            raise Refused([
                Fault("not-mapped", "", f"a slope frame from source 0x{source:X}",
                      "a sensor for it in the map", "add it, or take its frames out of the log")
            ])  # fmt: skip
        if pgn != _PGN[wired.message]:
            return None
    frame = read_frame(can_id, data)
    if frame is None:
        return None
    return words_of(frame, "" if wired is None else wired.sensor, 1 if wired is None else wired.numbers)
