"""A text frame of the readings door, as objects: JSON that means one thing, of the size and shape that is taken."""

import json
from typing import Any, cast

from pydantic_core import from_json

from kinematics.errors import Fault
from service.text import plain

MOST_BYTES = 65_536
MOST_READINGS = 1000
_LONGEST_FOUND = 60


class _TwiceError(ValueError):
    """A name that stands twice in one object."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _TwiceError
    return found


def _no_number(name: str) -> Any:
    raise ValueError(name)


_read = json.JSONDecoder(object_pairs_hook=_once, parse_constant=_no_number).decode


def _all_of(text: str) -> Any:
    """What a text says. Where it has as many names as colons no object has a name twice."""
    try:
        plainly = from_json(text, allow_inf_nan=False)
    except ValueError:  # or read by the other alone
        return _read(text)
    if type(plainly) is dict and text.count(":") == _names(plainly):
        return plainly
    return _read(text)


def _names(frame: dict[str, Any]) -> int:
    """The names in a frame and in the objects of its lists; deeper ones are left to the slower way."""
    names = len(frame)
    for value in frame.values():
        if type(value) is list:
            for each in value:
                if type(each) is dict:
                    names += len(each)
    return names


def frame_of(text: str) -> dict[str, Any] | Fault:
    """The one JSON object of a text; a `Fault` "bad-frame" for anything else."""
    try:
        frame = _all_of(text)
    except _TwiceError:
        return _bad("a name that stands twice in one object", "each name once")
    except (ValueError, RecursionError):
        return _bad(repr(text[:_LONGEST_FOUND]), "one JSON object, without NaN or Infinity")
    return frame if type(frame) is dict else _bad(in_short(frame), "a JSON object")


def objects(text: str | None) -> tuple[dict[str, Any] | None, list[Any]] | Fault:
    """(an answer to a clock question or None, readings) in a frame; a `Fault` "bad-frame" for anything else."""
    if text is None:
        return _bad("a binary frame", "text")
    frame = frame_of(text)
    if type(frame) is Fault:
        return frame
    frame = cast(dict[str, Any], frame)
    if "at_s" in frame and "clock" not in frame:
        return None, [frame]
    if frame.keys() == {"clock", "at_s"}:
        return frame, []
    if frame.keys() == {"readings"} and type(frame["readings"]) is list:
        many = frame["readings"]
        if len(many) > MOST_READINGS:
            return _bad(f"{len(many)} readings in a frame", f"at most {MOST_READINGS}")
        return None, many
    found = plain(", ".join(frame), _LONGEST_FOUND) or "an empty object"
    return _bad(found, "a reading with at_s, an answer {clock, at_s}, or {readings: [...]}")


def in_short(found: object) -> str:
    """What was found where something else belongs, in few letters, however deep or long it is."""
    if isinstance(found, list | dict):
        kind, inside = ("a list", "parts") if isinstance(found, list) else ("an object", "names")
        return f"{kind} of {len(found)} {inside}"
    return repr(found)[:_LONGEST_FOUND]


def _bad(found: str, expected: str) -> Fault:
    return Fault("bad-frame", "", found, expected, "see /guide/live")
