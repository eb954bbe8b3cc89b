"""Logs of CAN frames as readings: candump .log, .asc, .blf, .trc, by python-can's own readers."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, Refused, refuse

from .framing import RECEIVER, SSI, SSI2, apart, read_frame, words_of
from .sensor_map import PGN, BusMap, Wired

LOGS = (".log", ".asc", ".blf", ".trc")
MOST_FAULTS = 100


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
        if pgn != PGN[wired.message]:
            return None
    frame = read_frame(can_id, data)
    if frame is None:
        return None
    return words_of(frame, "" if wired is None else wired.sensor, 1 if wired is None else wired.numbers)
