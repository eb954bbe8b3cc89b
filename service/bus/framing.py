"""Readings as CAN frames of SAE J1939 and back: slope sensors by SSI and SSI2, the receiver by a frame of our own.

Layout and scaling as in the open descriptions of PGN 61459 (SSI) and 61481 (SSI2), little-endian; ranges of codes from
memory of SAE J1939-71. The receiver's frame is PGN 65290, a number that J1939 leaves to each maker (proprietary B):
byte 1: 0 off the plane, 1 on it, 0xFF not told; bytes 2-3: the beam's height over the receiver's centre along its mast,
0.1 mm a bit, offset -3200 mm, 0xFFFF not told; bytes 4-8: 0xFF.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from kinematics.errors import Fault, Refused

SSI2, SSI, RECEIVER = 61481, 61459, 65290
PRIORITY = {SSI2: 3, SSI: 3, RECEIVER: 6}
LENGTH = 8
NOT_TOLD = 0xFF
_LATENCY_S = 0.0005
_HIGHEST_BYTE = 0xFA
_ABOVE_MM, _ABOVE_OFFSET_MM = 0.1, -3200.0


class Lack(Enum):
    """What a frame says in place of a number."""

    ERROR = "error"
    NOT_AVAILABLE = "not available"


Said = float | Lack


@dataclass(frozen=True, slots=True)
class Scale:
    """How a number lies in a frame: so many bytes, unit a bit, value of the lowest code."""

    size: int
    bit: float
    offset: float

    @property
    def highest(self) -> int:
        """The last code that is a number: 0xFAFF of two bytes, 0xFAFFFF of three."""
        return ((_HIGHEST_BYTE + 1) << 8 * (self.size - 1)) - 1

    def put(self, value: Said, where: str) -> bytes:
        """The bytes of a number, to the nearest bit. `Refused` "out-of-range", "not-finite"."""
        if isinstance(value, Lack):
            high = 0xFE if value == Lack.ERROR else 0xFF
            return bytes([0xFF] * (self.size - 1) + [high])
        raw = (value - self.offset) / self.bit
        if not -0.5 <= raw <= self.highest + 0.5:
            top = self.highest * self.bit + self.offset
            code = "out-of-range" if math.isfinite(value) else "not-finite"
            raise Refused(
                [Fault(code, where, f"{value:g}", f"{self.offset:g} to {top:g}", "no frame carries it")]
            )
        return min(round(raw), self.highest).to_bytes(self.size, "little")

    def take(self, data: bytes, where: str) -> Said:
        """The number of these bytes. `Refused` "reserved-code" for 0xFBxx to 0xFDxx: neither number nor lack."""
        raw = int.from_bytes(data, "little")
        if raw <= self.highest:
            return raw * self.bit + self.offset
        if data[-1] >= 0xFE:
            return Lack.ERROR if data[-1] == 0xFE else Lack.NOT_AVAILABLE
        raise Refused([
            Fault("reserved-code", where, f"the code 0x{raw:X}", f"at most 0x{self.highest:X}, or one of error or lack",
                  "this unit does not keep to J1939-71")
        ])  # fmt: skip


_SLOPES = {SSI2: Scale(3, 1 / 32768, -250.0), SSI: Scale(2, 0.002, -64.0)}
_ABOVE = Scale(2, _ABOVE_MM, _ABOVE_OFFSET_MM)


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope frame: pitch and roll (deg), `latency_s` or None where it is not told, and byte 7 as it was sent.

    Byte 7 of SSI2 from the low end: compensation and merit of pitch, of roll, two bits each; makers document the
    compensation both ways round, so it is carried raw. Of SSI: merit of pitch, roll, rate; compensation.
    """

    pgn: int
    pitch: Said
    roll: Said
    latency_s: float | None
    quality: int

    @property
    def merits(self) -> tuple[int, int]:
        """Figures of merit of pitch and roll: 0 good, 1 degraded, 2 error, 3 not available."""
        first, second = (2, 6) if self.pgn == SSI2 else (0, 2)
        return self.quality >> first & 3, self.quality >> second & 3


@dataclass(frozen=True, slots=True)
class Received:
    """The receiver's frame: on the plane or not, or None; the beam's height over its centre in mm."""

    hit: bool | None
    above_mm: Said


def identifier(pgn: int, source: int) -> int:
    """The 29 bits that name a frame: SSI2 from source address 0xA2 is 0x0CF029A2."""
    return PRIORITY[pgn] << 26 | pgn << 8 | source


def apart(can_id: int) -> tuple[int, int]:
    """(PGN, source address) of 29 bits; to one address (PDU format below 240) the address is no part of the PGN."""
    pgn = can_id >> 8 & 0x3FFFF
    return (pgn if pgn >> 8 & 0xFF >= 0xF0 else pgn & 0x3FF00), can_id & 0xFF


def slope_frame(pgn: int, pitch: Said, roll: Said, latency_s: float | None, quality: int = 0) -> bytes:
    """The 8 bytes of SSI2 or SSI, angles in deg. A latency beyond 125 ms, which no code tells, is sent as not told.

    Raises `Refused` "out-of-range" for an angle that the frame does not carry: SSI ends at 64.51 deg.
    """
    scale = _SLOPES[pgn]
    angles = scale.put(pitch, "pitch") + scale.put(roll, "roll")
    late = NOT_TOLD if latency_s is None else round(latency_s / _LATENCY_S)
    if not 0 <= late <= _HIGHEST_BYTE:
        late = NOT_TOLD
    rate = b"\xff\xff" if pgn == SSI else b""
    return angles + rate + bytes([quality, late])


def receiver_frame(*, hit: bool | None, above_mm: Said) -> bytes:
    """The 8 bytes of the receiver's frame. `Refused` "out-of-range"."""
    bit = NOT_TOLD if hit is None else int(hit)
    return bytes([bit]) + _ABOVE.put(above_mm, "receiver_above_mm") + b"\xff" * 5


def read_frame(can_id: int, data: bytes) -> Slope | Received | None:
    """What a frame says, None of one that is none of ours.

    Raises `Refused`: "wrong-length" where it is not 8 bytes (some units send 6 under SSI2's number, laid out otherwise),
    "reserved-code".
    """
    pgn, _ = apart(can_id)
    if pgn not in PRIORITY:
        return None
    if len(data) != LENGTH:
        raise Refused([
            Fault("wrong-length", f"PGN {pgn}", f"{len(data)} bytes", f"{LENGTH} bytes",
                  "a unit that lays it out in its own way is not read: ask its maker for SSI2 of 8 bytes")
        ])  # fmt: skip
    if pgn == RECEIVER:
        if data[0] not in (0, 1, NOT_TOLD):
            raise Refused([Fault("reserved-code", "receiver", f"the code 0x{data[0]:X}", "0, 1 or 0xFF")])
        return Received(
            None if data[0] == NOT_TOLD else data[0] == 1, _ABOVE.take(data[1:3], "receiver_above_mm")
        )
    scale = _SLOPES[pgn]
    size = scale.size
    pitch, roll = scale.take(data[:size], "pitch"), scale.take(data[size : 2 * size], "roll")
    late = None if data[7] > _HIGHEST_BYTE else data[7] * _LATENCY_S
    slope = Slope(pgn, pitch, roll, late, data[6])
    pitch, roll = (
        Lack.ERROR if merit == 2 else n for n, merit in zip((pitch, roll), slope.merits, strict=True)
    )
    return Slope(pgn, pitch, roll, late, data[6])


def words_of(frame: Slope | Received, sensor: str, numbers: int) -> dict[str, Any] | None:
    """The reading (all but its time) of a frame from a sensor of one number (its pitch) or two; None of nothing told."""
    if isinstance(frame, Received):
        if not isinstance(frame.above_mm, Lack):
            return {"receiver_above_mm": round(frame.above_mm, 1)}
        return None if frame.hit is None else {"receiver_hit": frame.hit}
    told = (frame.pitch, frame.roll)[:numbers]
    lack = next((each for each in told if isinstance(each, Lack)), None)
    if lack is not None:
        return {"sensor": sensor, "error": lack.value}
    degrees = [round(each, 6) for each in told if not isinstance(each, Lack)]
    return {"sensor": sensor, "deg": degrees[0] if numbers == 1 else degrees}


def frame_of(said: Mapping[str, Any], pgn: int, latency_s: float | None) -> bytes:
    """The 8 bytes of a reading. One number is told as pitch, its roll not available. `Refused` "out-of-range"."""
    if "receiver_hit" in said:
        return receiver_frame(hit=said["receiver_hit"], above_mm=Lack.NOT_AVAILABLE)
    if "receiver_above_mm" in said:
        return receiver_frame(hit=None, above_mm=said["receiver_above_mm"])
    if "error" in said:
        # Merit 2 of both, that a reader who looks only there sees it too.
        merits = 0b10001000 if pgn == SSI2 else 0b00001010
        return slope_frame(pgn, Lack.ERROR, Lack.ERROR, latency_s, merits)
    told = said["deg"]
    pitch, roll = told if isinstance(told, list | tuple) else (told, Lack.NOT_AVAILABLE)
    return slope_frame(pgn, pitch, roll, latency_s)
