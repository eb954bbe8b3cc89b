"""A builder's own DBC file as layouts, read by cantools, strictly."""

import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, Refused
from service.text import plain

from .framing import apart
from .items import CODED, FLOATS, Item
from .layouts import Layout

LARGEST = 20_000_000
NO_FILE = "no such file"
# What the parser makes room for bit by bit, and number by number, whatever stands there.
_MOST = 65_536
_LONGEST = 9  # digits
# None goes back over what it has read: a file may be one line of digits.
_SIZE = re.compile(r"\bBO_\s++\d++\s++\w++\s*+:\s*+(\d++)")
_BITS = re.compile(r"(?<!\d)(\d++)\s*+\|\s*+(\d++)\s*+@")
_SELECTED = re.compile(r"\bSG_MUL_VAL_[^;]*+")
_SPAN = re.compile(r"(?<!\d)(\d++)\s*+-\s*+(\d++)")
_WANTED = "a DBC file"


def read_dbc(file: Path) -> tuple[Layout, ...]:
    """The messages of a DBC file, those too that are longer than a frame.

    A message is known by its PGN where the file says so (attribute VFrameFormat "J1939PG"), else by its identifier.
    Raises `Refused` "unreadable" in cantools' own words: it does not parse, is no text, has no message, numbers that
    overlap or reach beyond their message; "too-large".
    """
    import cantools.database  # noqa: PLC0415 - half a second, for those who have such a file

    text = _text(file)
    if (swollen := next(_swollen(text), None)) is not None:
        raise _unreadable(file, swollen)
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


def _swollen(text: str) -> Iterator[str]:
    """Sizes that no message has, in words."""
    for pattern, what in ((_SIZE, "bytes of a message"), (_BITS, "bits of a signal")):
        for found in pattern.finditer(text):
            yield from (f"{number[:20]} {what}" for number in found.groups() if _beyond("0", number))
    for selected in _SELECTED.finditer(text):
        for low, high in _SPAN.findall(selected[0]):
            if _beyond(low, high):
                yield f"a signal for all selections from {low[:20]} to {high[:20]}"


def _beyond(low: str, high: str) -> bool:
    return max(len(low), len(high)) > _LONGEST or int(high) - int(low) > _MOST


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
