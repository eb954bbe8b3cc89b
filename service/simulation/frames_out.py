"""A simulated machine's readings as CAN frames, into log files and onto live buses, and the map that names its sensors.

Logs and buses are python-can's: candump .log, .asc, .blf, .trc, and every interface it knows. Tried with its virtual
interface and its files alone; no adapter and no real bus has been tried.
"""

from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol, Self

from kinematics.errors import Fault, Refused, refuse
from kinematics.sensor import BY_GRAVITY, Measure
from service.bus.framing import RECEIVER, SSI2, Lack, identifier
from service.bus.layouts import BUILT_IN, RECEIVED
from service.bus.live_bus import lacking
from service.bus.reading import Reading
from service.bus.sensor_map import Entry, Heard, Part, SensorMap, map_beside
from service.text import shown

from .dig import Dig
from .signals import instruments

FIRST_SOURCE, RECEIVER_SOURCE = 0xA0, 0xC0
_NUMBERS = {False: ("pitch",), True: ("pitch", "roll")}
_MOST_MS = 125.0


def map_for(dig: Dig) -> SensorMap:
    """A map for the sensors of a dig, SSI2 each, from source address 0xA0 on.

    Raises `Refused` "no-slope-message" for every sensor that is no slope sensor: a length or an encoder's angle.
    """
    refuse(
        Fault("no-slope-message", f"sensors.{name}", f"{sensor.measures}, which no slope message carries",
              "sensors of gravity on the bus", "log readings as .ndjson, or feed them with --to")
        for name, sensor in dig.sensors.all.items()
        if sensor.measures not in BY_GRAVITY
    )  # fmt: skip
    entries = tuple(
        Entry(
            name, (Part(BUILT_IN["SSI2"], FIRST_SOURCE + i, _NUMBERS[sensor.measures == Measure.PITCH_ROLL]),)
        )
        for i, (name, sensor) in enumerate(dig.sensors.all.items())
    )
    heard = dig.document.laser is not None and dig.assembly.machine.receiver is not None
    return SensorMap(entries, Heard(Part(RECEIVED, RECEIVER_SOURCE, ("hit", "above"))) if heard else None)


def frame_for(said: Mapping[str, Any], latency_s: float | None) -> bytes:
    """The 8 bytes of a reading: of the receiver its own frame, else SSI2; one number is told as pitch, without a roll.

    A latency beyond 125 ms, which no code tells, is sent as not told. `Refused` "out-of-range", "not-finite".
    """
    if "receiver_hit" in said:
        return RECEIVED.write({"hit": float(said["receiver_hit"])})
    if "receiver_above_mm" in said:
        return RECEIVED.write({"above": said["receiver_above_mm"]})
    layout = BUILT_IN["SSI2"]
    values: dict[str, float | Lack] = dict.fromkeys(layout.items, 0.0)
    if "error" in said:
        # The merits too, that a reader who looks only there sees it.
        values |= {"pitch": Lack.ERROR, "roll": Lack.ERROR, "pitch_merit": 2.0, "roll_merit": 2.0}
    else:
        told = said["deg"]
        values["pitch"], values["roll"] = (
            told if isinstance(told, list | tuple) else (told, Lack.NOT_AVAILABLE)
        )
    told_ms = None if latency_s is None else latency_s * 1e3
    values["latency"] = Lack.NOT_AVAILABLE if told_ms is None or not 0.0 <= told_ms <= _MOST_MS else told_ms
    return layout.write(values)


class _Sink(Protocol):
    def put(self, message: Any) -> None:
        """Take one frame."""

    def stop(self) -> None:
        """Close."""


class CanOut:
    """Readings out as frames, into a log file or onto a live bus. A context manager."""

    def __init__(self, dig: Dig, seed: int, sink: _Sink) -> None:
        self._map = map_for(dig)
        self._sources = {each.sensor: FIRST_SOURCE + i for i, each in enumerate(self._map.entries)}
        self._late = {name: each.latency_s for name, each in instruments(dig, seed).items()}
        self._sink = sink
        self.count = 0

    def put(self, signal: Reading, at_s: float) -> None:
        """One reading at `at_s`. `Refused` "out-of-range", "bus-failed"."""
        import can  # noqa: PLC0415 - half a second, for those who use a bus

        name = signal.said.get("sensor")
        if name is None:
            if self._map.receiver is None:
                return
            pgn, source, late = RECEIVER, RECEIVER_SOURCE, None
        else:
            pgn, source, late = SSI2, self._sources[name], self._late[name]
        data = frame_for(signal.said, late)
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
                      lacking(interface) or "such as socketcan:can0; between two programs udp_multicast, see /guide/bus")
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
