"""A builder's own DBC file as layouts, read by cantools, strictly."""

import math
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, Refused
from service.text import plain

from .framing import apart
from .items import CODED, FLOATS, Item
from .layouts import Layout

LARGEST = 20_000_000
NO_FILE = "no such file"
_WANTED = "a DBC file"


def read_dbc(file: Path) -> tuple[Layout, ...]:
    """The messages of a DBC file, those too that are longer than a frame.

    A message is known by its PGN where the file says so (attribute VFrameFormat "J1939PG"), else by its identifier.
    Raises `Refused` "unreadable" in cantools' own words: it does not parse, is no text, has no message, numbers that
    overlap or reach beyond their message; "too-large".
    """
    import cantools.database  # noqa: PLC0415 - half a second, for those who have such a file

    text = _text(file)
    try:
        base: Any = cantools.database.load_string(text, "dbc", strict=True)
        layouts = tuple(_layout(message, file.name) for message in base.messages)
    except Exception as error:  # its parser has faults of its own, and lets through those of Python
        words = str(getattr(error, "e_dbc", None) or error) or type(error).__name__
        raise _unreadable(file, plain(words, 300)) from None
    if not layouts:
        raise _unreadable(file, "no message in it")
    return layouts


def _text(file: Path) -> str:
    try:
        data = file.read_bytes()
    except FileNotFoundError:
        raise Refused([Fault("unreadable", str(file), NO_FILE, _WANTED)]) from None
    except OSError as error:
        raise Refused([Fault("unreadable", str(file), error.strerror or str(error), _WANTED)]) from None
    if len(data) > LARGEST:
        raise Refused([Fault("too-large", str(file), f"{len(data)} bytes", f"at most {LARGEST}")])
    if b"\0" in data:
        raise _unreadable(file, "bytes that are no text")
    for encoding in ("utf-8-sig", "cp1252"):  # what such files are written in, by memory
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise _unreadable(file, "bytes that are no text")


def _unreadable(file: Path, found: str) -> Refused:
    return Refused([Fault("unreadable", str(file), found, _WANTED, "its maker's tool should export it anew")])


def _layout(message: Any, origin: str) -> Layout:
    pgn = apart(message.frame_id)[0] if message.protocol == "j1939" and message.is_extended_frame else None
    items = {signal.name: _item(signal, j1939=pgn is not None) for signal in message.signals}
    return Layout(
        message.name,
        pgn,
        message.frame_id,
        message.length,
        items,
        bool(message.is_extended_frame),
        origin=origin,
    )


def _item(signal: Any, *, j1939: bool) -> Item:
    conversion = signal.conversion
    low, high = signal.minimum, signal.maximum
    if low is None or high is None or not low < high:  # [0|0] is how a DBC says nothing of it
        low = high = None
    numbers = conversion.scale, conversion.offset, *(each for each in (low, high) if each is not None)
    if not all(map(math.isfinite, numbers)):
        raise ValueError(f"the signal {signal.name} has a factor, offset or bound that is no number")
    when = None
    if signal.multiplexer_signal is not None and signal.multiplexer_ids:
        when = (signal.multiplexer_signal, frozenset(signal.multiplexer_ids))
    real = bool(conversion.is_float)
    if real and signal.length not in FLOATS:
        raise ValueError(f"the signal {signal.name} is a float of {signal.length} bits")
    return Item(
        signal.name, signal.unit or "", low, high, signal.start, signal.length, float(conversion.scale),
        float(conversion.offset), signal.byte_order == "big_endian", bool(signal.is_signed), real,
        coded=j1939 and not real and not signal.is_signed and signal.length in CODED,
        states={value: str(name) for value, name in (conversion.choices or {}).items()}, when=when,
    )  # fmt: skip
