"""Logs of readings as the readings door takes them, one JSON object a line."""

import json
import math
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, NoReturn

from kinematics.errors import Fault, Refused
from service.text import shown

from .reading import Reading

NDJSON = ".ndjson"
_RAW = {"accelerometer_m_s2", "gyro_rad_s"}
_KINDS: dict[str, tuple[set[str], ...]] = {
    "sensor": ({"deg"}, {"rad"}, {"mm"}, {"m"}, {"error"}, _RAW),
    "receiver_hit": (set(),),
    "receiver_above_mm": (set(),),
    "receiver_above_m": (set(),),
}


def write_log(file: Path, said: Iterable[Reading]) -> int:
    """Write readings as NDJSON, times in seconds from the start of the course; how many lines."""
    count = 0
    with file.open("x", encoding="utf-8") as out:
        for signal in said:
            out.write(json.dumps(signal.at(signal.t_s), allow_nan=False, separators=(",", ":")) + "\n")
            count += 1
    return count


def read_ndjson(file: Path) -> Iterator[Reading | Fault]:
    """Readings in order, and in their place each fault by its line: "malformed-json", "bad-reading", "out-of-order" where
    time goes back. Raises `Refused` "unreadable"."""
    last = -math.inf
    try:
        with file.open(encoding="utf-8") as lines:
            for number, text in enumerate(lines, 1):
                if not text.strip():
                    continue
                try:
                    signal = reading_of(text)
                    if signal.t_s < last:
                        _bad(
                            "out-of-order", f"at_s {signal.t_s:g} after {last:g}", "times that do not go back"
                        )
                    last = signal.t_s
                    yield signal
                except Refused as refused:
                    yield from (fault.at(f"{file}:{number}") for fault in refused.faults)
    except FileNotFoundError:
        raise Refused(
            [Fault("unreadable", str(file), "No such file", "a log of readings in UTF-8")]
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise Refused([Fault("unreadable", str(file), str(error), "a log of readings in UTF-8")]) from None


def reading_of(text: str, arrived_s: float | None = None) -> Reading:
    """The reading of one line; one that arrives live is dated then, and says no time of its own. `Refused`."""
    try:
        said = json.loads(text, object_pairs_hook=_once)
    except (ValueError, RecursionError) as error:
        _bad("malformed-json", str(error), "one JSON object a line, each field once")
    if not isinstance(said, dict):
        _bad("bad-reading", shown(said), "one JSON object a line")
    at = said.pop("at_s", arrived_s)
    if arrived_s is not None and at is not arrived_s:
        _bad(
            "bad-reading",
            f"at_s {shown(at)}",
            "no at_s: the service knows this program's clock, not the sender's",
        )
    if not _number(at):
        _bad("bad-reading", f"at_s {shown(at)}", "at_s, a finite number of seconds")
    kind = next((name for name in _KINDS if name in said), None)
    if kind is None:
        _bad("bad-reading", shown(", ".join(said)), "one of " + ", ".join(_KINDS))
    if set(said) - {kind} not in _KINDS[kind]:
        wanted = " or ".join(" with ".join(sorted(each)) for each in _KINDS[kind]) or "nothing else"
        _bad(
            "bad-reading",
            f"{kind} with {shown(', '.join(set(said) - {kind}))}",
            f"{kind} with at_s and {wanted}",
        )
    for name, value in said.items():
        _value(name, value)
    return Reading(float(at), said)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError("a field twice")
    return made


def _value(name: str, value: object) -> None:
    if name == "receiver_hit":
        if not isinstance(value, bool):
            _bad("bad-reading", shown(value), "receiver_hit true or false")
    elif name in ("sensor", "error"):
        if not isinstance(value, str):
            _bad("bad-reading", f"{name} {shown(value)}", f"{name} in words")
    elif name in _RAW:
        if not _numbers(value, 3):
            _bad("bad-reading", f"{name} {value!r:.60}", "three finite numbers: ahead, left, up")
    elif isinstance(value, list) and name in ("deg", "rad"):
        if not _numbers(value, 2):
            _bad("bad-reading", f"{name} {value!r:.60}", "one finite number, or two of a pitch-roll")
    elif not _number(value):
        _bad("bad-reading", f"{name} {shown(value)}", f"{name}, a finite number")


def _numbers(value: object, count: int) -> bool:
    return isinstance(value, list) and len(value) == count and all(map(_number, value))


def _number(value: object) -> bool:
    # A whole number may be larger than any float.
    return isinstance(value, float | int) and not isinstance(value, bool) and abs(value) <= sys.float_info.max


def _bad(code: str, found: str, expected: str) -> NoReturn:
    raise Refused([Fault(code, "", found, expected)])
