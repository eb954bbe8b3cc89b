"""One text for one value: what is hashed, stored and compared."""

import json
import math
from collections.abc import Mapping
from typing import Any, NoReturn

from .errors import NotStorable

Fault = tuple[str, str, str]


def canonical_json(value: Any) -> str:
    """`value` as JSON with keys sorted by code point, no spaces, and letters as they are.

    Floats are written shortest-exact (repr), so that reading gives the same 64 bits. Tuples become arrays, any
    mapping an object. Raises `NotStorable` with every fault by JSON pointer: NaN, infinity, a key that is no
    text, text with half a surrogate pair, a type that JSON has not.
    """
    faults: list[Fault] = []
    plain = _plain(value, "", faults)
    if faults:
        raise NotStorable(faults)
    return _written(plain)


def _written(plain: Any) -> str:
    return json.dumps(plain, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))


def read_canonical(text: str) -> Any:
    """The value of a text that `canonical_json` wrote. Raises ValueError for any other text, JSON or not."""
    value = json.loads(text, parse_constant=_no_constant)
    # It is of JSON's own types alone: there is nothing to look for in it, which saves half of the time.
    if _written(value) != text:
        raise ValueError("JSON that is not in canonical form")
    return value


def text_faults(place: str, value: object) -> list[Fault]:
    """What keeps `value` from being a text that every database returns as given; empty if nothing does."""
    if not isinstance(value, str):
        return [(place, f"a {type(value).__name__}", "a text")]
    if not value:
        return [(place, "an empty text", "a text")]
    if "\x00" in value:  # PostgreSQL has no NUL in a text
        return [(place, f"{value!r}", "a text without NUL")]
    return [] if _encodable(value) else [(place, f"{value!r}", "a text that UTF-8 can write")]


def _plain(value: Any, place: str, faults: list[Fault]) -> Any:
    """A copy in JSON's own types, so that no subclass brings its own way of being written."""
    match value:
        case None | bool():
            return value
        case str():
            if not _encodable(value):
                faults.append((place, f"{value!r}", "a text that UTF-8 can write"))
            return str.__str__(value)
        case int():
            return int(value)
        case float():
            if not math.isfinite(value):
                faults.append((place, f"{value}", "a finite number"))
            return float(value)
        case Mapping():
            return {
                _key(key, place, faults): _plain(item, _at(place, key), faults) for key, item in value.items()
            }
        case list() | tuple():
            return [_plain(item, _at(place, index), faults) for index, item in enumerate(value)]
    faults.append((place, f"a {type(value).__name__}", "a JSON value"))
    return None


def _key(key: Any, place: str, faults: list[Fault]) -> str:
    if not isinstance(key, str):
        faults.append((place, f"the key {key!r}", "keys that are texts"))
        return ""
    if not _encodable(key):
        faults.append((place, f"the key {key!r}", "keys that UTF-8 can write"))
    return str.__str__(key)


def _at(place: str, part: object) -> str:
    return f"{place}/{str(part).replace('~', '~0').replace('/', '~1')}"


def _encodable(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name}, which is no JSON number")
