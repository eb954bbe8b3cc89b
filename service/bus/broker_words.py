"""What goes through a broker between a feeder and services, in JSON, and what is refused there. See /guide/broker."""

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from kinematics.errors import Fault, Refused
from service.broker.address import Address

from .any_feeder import MOST_IN_FRAME

MOST_LETTERS = 60_000
"""Of the readings in one frame; with the words around them it stays below the 65536 of a payload."""


def frames_of(readings: Sequence[Mapping[str, Any]]) -> Iterator[tuple[int, str]]:
    """Readings as the JSON of frames, none too long for a payload; with how many each has."""
    some: list[str] = []
    letters = 0
    for reading in readings:
        text = json.dumps(reading, allow_nan=False, separators=(",", ":"))
        if some and (len(some) >= MOST_IN_FRAME or letters + len(text) >= MOST_LETTERS):
            yield len(some), f"[{','.join(some)}]"
            some, letters = [], 0
        some.append(text)
        letters += len(text) + 1
    if some:
        yield len(some), f"[{','.join(some)}]"


def place_of(said: Any) -> tuple[str, int]:
    """Stream and number. Raises TypeError, LookupError."""
    stream, n = said["stream"], said["n"]
    if not isinstance(stream, str) or isinstance(n, bool) or not isinstance(n, int):
        raise TypeError("no stream and number")
    return stream, n


def turned_down(address: Address, why: str) -> Refused:
    """Of a broker that does not let us in."""
    return Refused([
        Fault("turned-down", "--broker", f"{address}: {why}", "a user and password that the broker knows",
              "put the whole address into TIPDATUM_MQTT")
    ])  # fmt: skip


def nobody(address: Address, why: str, job: str) -> Refused:
    """Of a broker that does not answer, for `why`; "" where no service does."""
    found = why or f"nobody who answers for {job}"
    advice = (
        "start the broker, or look at its address"
        if why
        else "start a service with TIPDATUM_MQTT at this broker"
    )
    return Refused([
        Fault("no-broker", "--broker", f"{address}: {found}", "a broker with a running service", advice)
    ])  # fmt: skip
