"""What the command `sniff` does, apart from reading flags and printing."""

import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, Refused, refuse
from service.text import shown

from .any_feeder import Say
from .can_log import LOGS, read_frames
from .dbc import read_dbc
from .drafting import write_draft
from .frames import Frame
from .layouts import Layout
from .live_bus import LiveBus
from .log import wrong_ending
from .sensor_map import SensorMap, read_map, refuse_columns
from .sniff import Sniffing

LONGEST_S = 3600.0
_TELL_EVERY_S, _WITHIN_S = 2.0, 0.1
SILENT = (
    "no frame came. Look at these:",
    "  power: are the units on, and is the ignition?",
    "  bitrate: J1939 is 250000 or 500000 bit/s; a wrong one shows nothing, or error frames",
    "  the interface: is it up (ip link show), is it the right channel?",
    "  termination: 60 ohm between CAN-H and CAN-L with all switched off, 120 at either end (common practice, no source)",
    "  listen-only: a unit alone with a listener gets no acknowledgement; have a second unit on the bus",
)


def run_sniff(
    log: Path | None, *, bus: str | None, seconds: float, bitrate: int | None, dbc: Sequence[Path],
    map_file: Path | None, draft: Path | None, say: Say,
) -> dict[str, Any]:  # fmt: skip
    """What is on a bus within so many seconds (Ctrl-C ends it sooner), or in a CAN log; `Sniffing.told`.

    Raises `Refused`: "bad-option", and as `read_map`, `read_dbc`, `read_frames`, `LiveBus`, `write_draft`.
    """
    refuse(_option_faults(log, bus, seconds, bitrate, draft))
    by, layouts = _read(map_file, dbc, "a CAN log" if bus is None else "a CAN bus")
    sniffing = Sniffing(by, layouts)
    frames = read_frames(log) if log is not None else _live(str(bus), bitrate, seconds, sniffing, say)
    _all(frames, sniffing, say, live=log is None)
    told = sniffing.told()
    told["of"] = str(bus) if log is None else str(log)
    if sniffing.passed_over:
        say(f"{sniffing.passed_over} frames of further messages are not listed.")
    if not told["ok"]:
        for line in SILENT:
            say(line)
        return told
    if draft is not None:
        named = [] if by is None or map_file is None else [map_file.parent / each for each in by.dbc]
        write_draft(draft, sniffing.rows.values(), [*dbc, *named])
        told["draft"] = str(draft)
        say(
            f"A draft of the map is in {draft}: give its sensors the names that they have in the machine's profile."
        )
    return told


def _read(map_file: Path | None, dbc: Iterable[Path], what: str) -> tuple[SensorMap | None, list[Layout]]:
    """The map and the layouts of the DBC files. Raises `Refused` with the faults of all of them."""
    by: SensorMap | None = None
    layouts: list[Layout] = []
    faults: list[Fault] = []
    try:
        if map_file is not None:
            by = read_map(map_file)
            refuse_columns(by, map_file, what)
    except Refused as refused:
        faults += refused.faults
    for file in dbc:
        try:
            layouts += read_dbc(file)
        except Refused as refused:
            faults += refused.faults
    refuse(faults)
    return by, layouts


def _all(frames: Iterable[Frame], sniffing: Sniffing, say: Say, *, live: bool) -> None:
    try:
        for frame in frames:
            sniffing.take(frame)
    except KeyboardInterrupt:
        if not live:
            raise
        say("Stopped.")


def _live(words: str, bitrate: int | None, seconds: float, sniffing: Sniffing, say: Say) -> Iterator[Frame]:
    with LiveBus(words, bitrate=bitrate, say=say) as bus:
        began = told = time.monotonic()
        say(f"Listening on {words} for {seconds:g} s; Ctrl-C ends it sooner. Nothing is sent on the bus.")
        while (left := began + seconds - time.monotonic()) > 0.0:
            yield from bus.take(min(left, _WITHIN_S))
            now = time.monotonic()
            if now - told >= _TELL_EVERY_S:
                told = now
                say(
                    f"{now - began:6.0f} s  {sum(sniffing.kinds.values())} frames, {len(sniffing.rows)} messages"
                )
            sniffing.find(now)


def _option_faults(
    log: Path | None, bus: str | None, seconds: float, bitrate: int | None, draft: Path | None
) -> Iterator[Fault]:
    if (log is None) == (bus is None):
        yield Fault("bad-option", "LOG", "both or neither", "a log, or --bus INTERFACE:CHANNEL")
    if log is not None and log.suffix.lower() not in LOGS:
        yield wrong_ending("LOG", log, LOGS)
    if log is not None and bitrate is not None:
        yield Fault("bad-option", "--bitrate", str(bitrate), "none with a log")
    if not 0.0 < seconds <= LONGEST_S:
        yield Fault("bad-option", "--seconds", shown(seconds), f"above 0, at most {LONGEST_S:g}")
    if draft is not None and draft.exists():
        yield Fault("file-exists", "--draft", str(draft), "a new file", "name another, or remove it")
