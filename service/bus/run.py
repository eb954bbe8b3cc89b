"""What the commands on logs and buses do, apart from reading flags and printing."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from kinematics.errors import Fault, refuse

from .any_feeder import AnyFeeder, Say
from .log import Log, read_log
from .replay import replay
from .ways import Through, feeder_to

SLOWEST, FASTEST = 0.1, 100.0


def run_replay(
    file: Path, *, to: str, job: str, map_file: Path | None, speed: float, token: str | None, say: Say,
    as_far: bool = False, partly: bool = False, broker: Through | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Feed a log to a job; with `as_far` what comes before its first fault. What came of it, for programs.

    It goes to the service at `to`, or by a broker. Its map must fit the machine on the job, all of it or, `partly`, what
    it names. Raises `Refused` as `read_log`, the feeder and its `expect`.
    """
    refuse(option_faults(to, job, speed))
    log = read_log(file, map_file, as_far=as_far, say=say)
    for words in _found(log):
        say(words)
    with feeder_to(to, job, token, say, broker) as feeder:
        if log.map is not None:
            feeder.ready()
            entries = [each for each in log.map.entries if each.on_bus == (log.frames > 0)]
            feeder.expect(entries, partly=partly, receiver=log.map.receiver is not None)
        replay(log, feeder, say, speed=speed)
        feeder.settle()
    first, last = log.signals[0].t_s, log.signals[-1].t_s
    return {
        "ok": not feeder.refused, "log": str(file), "job": job, "seconds": round(last - first, 3),
        "readings": len(log.signals), "ignored_frames": log.ignored, "other_frames": log.kinds,
        "faults": [as_json(fault) for fault in log.faults],
        "broken": None if log.broken is None else as_json(log.broken), **fed(feeder),
    }  # fmt: skip


def _found(log: Log) -> Iterator[str]:
    """What a log has besides readings, in words."""
    if log.broken is not None:
        yield f"Read only as far as it goes: {log.broken}."
    if log.ignored:
        yield f"{log.ignored} frames of others, not read."
    if passed := log.kinds.get("passed over"):
        yield f"{passed} lines of other events, not read."
    for fault in log.faults:
        yield f"{fault.code}: {fault}."


def as_json(fault: Fault) -> dict[str, Any]:
    """A fault for programs."""
    return {
        "code": fault.code, "where": fault.where, "expected": fault.expected, "found": fault.found,
        "advice": fault.advice, "numbers": dict(fault.numbers),
    }  # fmt: skip


def fed(feeder: AnyFeeder) -> dict[str, Any]:
    """What became of the readings of a feeder."""
    return {
        "sent": feeder.sent, "lost": feeder.lost, "connections": feeder.connections, **feeder.told,
        "refused_readings": feeder.refused, "strikes": feeder.strikes,
    }  # fmt: skip


def option_faults(to: str | None, job: str | None, speed: float) -> list[Fault]:
    """What is wrong with the options that say whom to feed, and how fast."""
    faults = []
    if (to is None) != (job is None):
        missing = "--to" if to is None else "--job"
        faults.append(Fault("bad-option", missing, "nothing", "--to and --job together, or neither"))
    if not SLOWEST <= speed <= FASTEST:
        faults.append(Fault("bad-option", "--speed", f"{speed:g}", f"{SLOWEST:g} to {FASTEST:g}"))
    return faults
