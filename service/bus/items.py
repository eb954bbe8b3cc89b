"""One number of a message: where its bits lie and what they mean."""

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

from kinematics.errors import Fault, Refused

from .framing import Lack, Said, State

_ABSURD = 1e30  # what a float may say though no sensor does, and what would overflow in another unit
_RESERVED, _OUTSIDE = "the reserved code 0x", ", outside "
FLOATS = {16: ("e", "H"), 32: ("f", "I"), 64: ("d", "Q")}
"""Bits of a float, and how it and a whole number of as many are packed."""


@dataclass(frozen=True, slots=True)
class Item:
    """`unit` as the message's file writes it, `low` to `high` in it, both included, or None where not told.

    `start` as a DBC counts: of a little-endian number its lowest bit, of a `big` one its highest. `states`: raw values
    that are words. `coded`: J1939's codes for error and lack apply. `when`: (selecting item, its raw values) where the
    number is only there for some of them.
    """

    name: str
    unit: str
    low: float | None
    high: float | None
    start: int
    size: int
    bit: float = 1.0
    offset: float = 0.0
    big: bool = False
    signed: bool = False
    real: bool = False
    coded: bool = False
    states: Mapping[int, str] = field(default_factory=dict)
    when: tuple[str, frozenset[int]] | None = None

    def raw(self, data: bytes, little: int | None = None) -> int | float:
        """The bits as a whole number, or as the float that they are. `data` must be as long as its message; `little`: the
        same as one little-endian number, where it is at hand."""
        if self.big:
            first = 8 * (self.start // 8) + 7 - self.start % 8
            bits = int.from_bytes(data, "big") >> (8 * len(data) - first - self.size)
        else:
            bits = (int.from_bytes(data, "little") if little is None else little) >> self.start
        bits &= (1 << self.size) - 1
        if self.real:
            real, whole = FLOATS[self.size]
            value: float = struct.unpack(f"<{real}", struct.pack(f"<{whole}", bits))[0]
            return value
        if self.signed and bits >> (self.size - 1):
            bits -= 1 << self.size
        return bits

    def read(self, data: bytes, little: int | None = None) -> Said:
        """The number in `unit`, or what stands in its place; `data` and `little` as for `raw`."""
        raw = self.raw(data, little)
        if self.real and not math.isfinite(raw):
            return State(f"{raw}", "not-finite")
        if self.states and (name := self.states.get(int(raw))) is not None:
            return State(name)
        if self.coded and raw > highest(self.size):
            return _coded(int(raw), self.size)
        value = raw * self.bit + self.offset
        if not abs(value) < _ABSURD:
            return State(f"{value:g} {self.unit}".strip(), "out-of-range")
        if self.low is None and self.high is None:
            return value
        # Half a bit: a file's bounds are rounded as its maker saw fit.
        slack = abs(self.bit) / 2
        if (self.low is not None and value < self.low - slack) or (
            self.high is not None and value > self.high + slack
        ):
            return State(
                f"{value:g} {self.unit}".strip() + _OUTSIDE + _span(self.low, self.high), "out-of-range"
            )
        return value

    def put(self, said: float | Lack) -> int:
        """Bits, in place, of an unsigned little-endian number, to the nearest. `Refused` "out-of-range", "not-finite"."""
        if isinstance(said, Lack):
            ones = (1 << self.size) - 1
            raw = ones if said is Lack.NOT_AVAILABLE else ones - (1 << max(self.size - 8, 0))
        else:
            top = highest(self.size) if self.coded else (1 << self.size) - 1
            exact = (said - self.offset) / self.bit
            if not -0.5 <= exact <= top + 0.5:
                code = "out-of-range" if math.isfinite(said) else "not-finite"
                span = _span(self.offset, top * self.bit + self.offset)
                raise Refused([Fault(code, self.name, f"{said:g}", span, "no frame carries it")])
            raw = min(max(round(exact), 0), top)
        return raw << self.start


def kind_of(words: str) -> str:
    """Words in place of a number without its figures, so that each kind is counted: all reserved codes are one."""
    if words.startswith(_RESERVED):
        return "reserved"
    return "outside" if _OUTSIDE in words else words


@cache
def highest(size: int) -> int:
    """The last raw value of so many bits that is a number: 0xFA, 0x3FA, 0xFAFF, 0xFAFFFF (SAE J1939-71, memory)."""
    if size == 2:
        return 1
    if size == 4:
        return 0xD
    if size == 10:
        return 0x3FA
    return (0xFB << (size - 8)) - 1


CODED = (2, 4, 8, 10, 12, 16, 24, 32)
"""Sizes in bits for which J1939-71 keeps codes for error and lack (from memory)."""


def _coded(raw: int, size: int) -> Lack | State:
    # Of two, four and ten bits error and lack are one code each; of the others all codes with that highest byte.
    over = (1 << size) - 1 - raw if size in (2, 4, 8, 10) else 0xFF - (raw >> (size - 8))
    if over <= 1:
        return Lack.ERROR if over else Lack.NOT_AVAILABLE
    return State(f"{_RESERVED}{raw:X}", "reserved-code")


def _span(low: float | None, high: float | None) -> str:
    return f"{'any' if low is None else f'{low:g}'} to {'any' if high is None else f'{high:g}'}"
