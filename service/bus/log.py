"""Logs of readings: NDJSON as the readings door takes them, one a line; and any log, CAN too, as readings in order."""

import json
import math
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from kinematics.errors import Fault, Refused, refuse
from service.text import shown

from .can_log import LOGS, MOST_FAULTS, read_can
from .reading import Reading
from .sensor_map import map_beside, read_map

NDJSON = ".ndjson"
_KINDS = {
    "sensor": ({"deg"}, {"mm"}, {"error"}),
    "receiver_hit": (set[str](),),
    "receiver_above_mm": (set[str](),),
}


@dataclass(frozen=True, slots=True)
class Log:
    """Readings in order of time, `t_s` as in the log; `ignored`: frames of a CAN log that are none of ours."""

    signals: tuple[Reading, ...]
    ignored: int = 0


def write_log(file: Path, said: Iterable[Reading]) -> int:
    """Write readings as NDJSON, times in seconds from the start of the course; how many lines."""
    count = 0
    with file.open("x", encoding="utf-8") as out:
        for signal in said:
            out.write(json.dumps(signal.at(signal.t_s), allow_nan=False, separators=(",", ":")) + "\n")
            count += 1
    return count


def read_log(file: Path, map_file: Path | None = None) -> Log:
    """A log by its ending: .ndjson, or a CAN log with its map, the one beside it if none is given.

    Raises `Refused` with every faulty line or frame, by number, at most 100: "malformed-json", "bad-reading",
    "not-finite", "out-of-order" where time goes back, and what `bus.read_can` and `read_map` refuse; "empty-log".
    """
    ending = file.suffix.lower()
    if ending == NDJSON:
        if map_file is not None:
            raise Refused(
                [Fault("bad-option", "--map", str(map_file), f"no map for {NDJSON}: it names its sensors")]
            )
        log = Log(tuple(_read_ndjson(file)))
    elif ending in LOGS:
        log = _can_log(file, map_beside(file) if map_file is None else map_file)
    else:
        raise Refused([wrong_ending("LOG", file)])
    if not log.signals:
        raise Refused(
            [Fault("empty-log", str(file), f"no reading, {log.ignored} frames of others", "at least one")]
        )
    return log


def wrong_ending(option: str, file: Path) -> Fault:
    """The fault of a log whose ending says no kind."""
    return Fault("bad-option", option, shown(file.name), f"a name that ends in {NDJSON}, " + ", ".join(LOGS))


def _can_log(file: Path, map_file: Path) -> Log:
    signals: list[Reading] = []
    ignored = 0
    for t, said in read_can(file, read_map(map_file)):
        if said is None:
            ignored += 1
        else:
            signals.append(Reading(t, said))
    # A bus analyser may write what came within a millisecond out of order.
    signals.sort(key=lambda signal: signal.t_s)
    return Log(tuple(signals), ignored)


def _read_ndjson(file: Path) -> Iterator[Reading]:
    faults: list[Fault] = []
    last = -math.inf
    try:
        with file.open(encoding="utf-8") as lines:
            for number, text in enumerate(lines, 1):
                if not text.strip():
                    continue
                try:
                    signal = _signal(text)
                    if signal.t_s < last:
                        _bad(
                            "out-of-order", f"at_s {signal.t_s:g} after {last:g}", "times that do not go back"
                        )
                    last = signal.t_s
                    yield signal
                except Refused as refused:
                    faults += [fault.at(f"{file}:{number}") for fault in refused.faults]
                    if len(faults) >= MOST_FAULTS:
                        break
    except (OSError, UnicodeDecodeError) as error:
        raise Refused([Fault("unreadable", str(file), str(error), "a log of readings in UTF-8")]) from None
    refuse(faults)


def _signal(text: str) -> Reading:
    try:
        said = json.loads(text)
    except (ValueError, RecursionError) as error:
        _bad("malformed-json", str(error), "one JSON object a line")
    if not isinstance(said, dict):
        _bad("bad-reading", shown(said), "one JSON object a line")
    at = said.pop("at_s", None)
    if not _number(at):
        _bad("bad-reading", f"at_s {shown(at)}", "at_s, a finite number of seconds")
    kind = next((name for name in _KINDS if name in said), None)
    if kind is None:
        _bad("bad-reading", shown(", ".join(said)), "sensor, receiver_hit or receiver_above_mm")
    if set(said) - {kind} not in _KINDS[kind]:
        wanted = " or ".join(name for each in _KINDS[kind] for name in each) or "nothing else"
        _bad(
            "bad-reading",
            f"{kind} with {shown(', '.join(set(said) - {kind}))}",
            f"{kind} with at_s and {wanted}",
        )
    _values(kind, said)
    return Reading(float(at), said)


def _values(kind: str, said: dict[str, Any]) -> None:
    if kind == "receiver_hit":
        if not isinstance(said[kind], bool):
            _bad("bad-reading", shown(said[kind]), "receiver_hit true or false")
        return
    for name, value in said.items():
        if name in ("sensor", "error"):
            if not isinstance(value, str):
                _bad("bad-reading", f"{name} {shown(value)}", f"{name} in words")
        elif isinstance(value, list) and name == "deg":
            if len(value) != 2 or not all(map(_number, value)):
                _bad("bad-reading", f"deg {value!r:.60}", "one finite number, or two of a pitch-roll")
        elif not _number(value):
            _bad("bad-reading", f"{name} {shown(value)}", f"{name}, a finite number")


def _number(value: object) -> bool:
    # A whole number may be larger than any float.
    return isinstance(value, float | int) and not isinstance(value, bool) and abs(value) <= sys.float_info.max


def _bad(code: str, found: str, expected: str) -> NoReturn:
    raise Refused([Fault(code, "", found, expected)])
