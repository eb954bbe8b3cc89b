"""Names of frames as SAE J1939 builds them, and what a frame may say in place of a number.

29 bits are priority (3), parameter group number (18) and source address (8): SSI2 from source 0xA2 is 0x0CF029A2.
"""

from enum import Enum

SSI2, SSI, ARI, ACCS, RECEIVER = 61481, 61459, 61482, 61485, 65290
PRIORITY = {SSI2: 3, SSI: 3, ARI: 3, ACCS: 3, RECEIVER: 6}
LENGTH = 8
HIGHEST_ADDRESS = 253
"""254 is nobody's, 255 everybody's (from memory of J1939-81)."""


class Lack(Enum):
    """What a frame says in place of a number."""

    ERROR = "error"
    NOT_AVAILABLE = "not available"


class State(str):
    """What a frame says in place of a number, in words.

    `code`: "state" where the layout names the value, else why it is no number: "reserved-code", "out-of-range",
    "not-finite".
    """

    code: str

    def __new__(cls, words: str, code: str = "state") -> "State":
        """Words with their code."""
        state = super().__new__(cls, words)
        state.code = code
        return state


Said = float | Lack | State


def identifier(pgn: int, source: int) -> int:
    """The 29 bits that name a frame."""
    return PRIORITY[pgn] << 26 | pgn << 8 | source


def apart(can_id: int) -> tuple[int, int]:
    """(PGN, source address) of 29 bits; to one address (PDU format below 240) the address is no part of the PGN."""
    pgn = can_id >> 8 & 0x3FFFF
    return (pgn if pgn >> 8 & 0xFF >= 0xF0 else pgn & 0x3FF00), can_id & 0xFF


def named(can_id: int, *, extended: bool) -> str:
    """The words for a frame: "PGN 61481 from source 0xA2", "identifier 0x123" of eleven bits."""
    if not extended:
        return f"identifier 0x{can_id:X}"
    pgn, source = apart(can_id)
    return f"PGN {pgn} from source 0x{source:02X}"
