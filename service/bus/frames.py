"""One frame of a bus or log, whatever it came from."""

from dataclasses import dataclass
from typing import Any, Literal

Kind = Literal["data", "remote", "error", "fd"]


@dataclass(frozen=True, slots=True)
class Frame:
    """`at_s`: when it was got, on the clock of its log or bus; `can_id`: 29 bits where `extended`, else 11.

    Of a `kind` other than "data" nothing is read: a remote frame carries no data, an error frame none that was sent, and
    CAN FD is told apart because its frames may be longer than what any layout here describes.
    """

    at_s: float
    can_id: int
    extended: bool
    data: bytes
    kind: Kind = "data"


def frame_of(message: Any) -> Frame:
    """The frame of a message of python-can, dated as that is."""
    kind: Kind = "data"
    if message.is_error_frame:
        kind = "error"
    elif message.is_fd:
        kind = "fd"
    elif message.is_remote_frame:
        kind = "remote"
    return Frame(
        float(message.timestamp),
        message.arbitration_id,
        bool(message.is_extended_id),
        bytes(message.data),
        kind,
    )
