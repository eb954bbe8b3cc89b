"""What comes from the broker, as objects: payloads that mean one thing, of the size and shape that is taken."""

import re
from dataclasses import dataclass
from typing import Any

from kinematics.errors import Fault
from service.broker.topics import MOST_BYTES, STREAM
from service.live.frames import MOST_READINGS, frame_of, in_short
from service.text import plain

MOST_NUMBER = 2**53
_STREAM = re.compile(STREAM)
_SERVICE = re.compile(r"[0-9a-f]{8}")
_LONGEST_TOKEN = 200
_ADVICE = "see /guide/broker"


@dataclass(frozen=True, slots=True)
class Here:
    """A feeder that says it is there: its stream, its first frame that was not taken yet, the last one that it has sent
    (none told: 0), the token it shows; whether it wants the `welcome`, as one that has just connected."""

    stream: str
    next: int
    last: int = 0
    token: str | None = None
    welcome: bool = False

    def said(self) -> dict[str, Any]:
        """As it was said."""
        many = (("last", self.last), ("token", self.token), ("welcome", self.welcome))
        more = {name: value for name, value in many if value}
        return {"stream": self.stream, "next": self.next, **more}


def document(payload: bytes, most: int = MOST_BYTES) -> dict[str, Any] | Fault:
    """The JSON object of a payload; a `Fault` "bad-frame" for anything else, and for what is too long."""
    if len(payload) > most:
        return bad(f"{len(payload)} bytes", f"at most {most}")
    try:
        text = payload.decode()
    except UnicodeDecodeError:
        return bad("bytes that are no UTF-8", "one JSON object")
    return frame_of(text)


def here_of(payload: bytes) -> Here | Fault:
    """{"stream": "5f0c", "next": 12, "last": 17, "token": "...", "welcome": true}; `last` and `welcome` may be left out,
    and so is the token where there is no access control."""
    found = document(payload)
    if type(found) is Fault:
        return found
    said: dict[str, Any] = found  # type: ignore[assignment]  # no fault, see above
    if not {"stream", "next"} <= said.keys() <= {"stream", "next", "last", "token", "welcome"}:
        return bad(_names(said), "stream, next, last, welcome and, with access control, token")
    token = said.get("token")
    if token is not None and (type(token) is not str or len(token) > _LONGEST_TOKEN):
        return bad("a token that is none", f"a text of at most {_LONGEST_TOKEN} letters")
    if type(said.get("welcome", False)) is not bool:
        return bad(f"welcome: {in_short(said['welcome'])}", "true or false")
    last = said.get("last", 0)
    fault = wrong_stream(said["stream"]) or wrong_number("next", said["next"])
    if fault is None and last != 0:
        fault = wrong_number("last", last)
    return fault or Here(said["stream"], said["next"], int(last), token, said.get("welcome", False))


def wrong_frame(said: dict[str, Any]) -> Fault | None:
    """What is wrong with a frame of readings or an answer to a clock question, if anything is."""
    if "readings" in said:
        if said.keys() != {"stream", "n", "readings"}:
            return bad(_names(said), "stream, n and readings")
        fault = wrong_stream(said["stream"]) or wrong_number("n", said["n"])
        if fault is not None:
            return fault
        many = said["readings"]
        if type(many) is not list or len(many) > MOST_READINGS:
            found = f"{len(many)} readings" if type(many) is list else in_short(many)
            return bad(f"readings: {found}", f"a list of at most {MOST_READINGS}")
        return None
    if said.keys() != {"stream", "clock", "of", "at_s"}:
        return bad(_names(said), "{stream, n, readings}, or an answer {stream, clock, of, at_s}")
    if type(said["of"]) is not str:
        return bad(f"of: {in_short(said['of'])}", "the service that asked")
    return wrong_stream(said["stream"])


def wrong_stream(found: object) -> Fault | None:
    """What is wrong with the name of a stream."""
    if type(found) is str and _STREAM.fullmatch(found):
        return None
    return bad(f"stream: {in_short(found)}", "4 to 32 hexadecimal digits")


def wrong_number(name: str, found: object) -> Fault | None:
    """What is wrong with the number of a frame."""
    if type(found) is int and 1 <= found < MOST_NUMBER:
        return None
    return bad(f"{name}: {in_short(found)}", "a whole number from 1")


def service_of(payload: bytes) -> str | Fault:
    """The service in {"service": "0123abcd"}."""
    found = document(payload)
    if type(found) is Fault:
        return found
    named = found.get("service")  # type: ignore[union-attr]  # no fault, see above
    if type(named) is str and _SERVICE.fullmatch(named):
        return named
    return bad(f"service: {in_short(named)}", "eight hexadecimal digits")


def bad(found: str, expected: str) -> Fault:
    """A payload that is none of ours."""
    return Fault("bad-frame", "", found, expected, _ADVICE)


def _names(said: dict[str, Any]) -> str:
    return plain(", ".join(sorted(said)), 60) or "an empty object"
