"""What the command `simulate` does, apart from reading flags and printing."""

from pathlib import Path
from typing import Any

import httpx

from kinematics.errors import Fault, Refused, refuse
from service.bus.any_feeder import Say
from service.bus.can_log import LOGS
from service.bus.log import wrong_ending
from service.bus.ndjson_log import NDJSON, write_log
from service.bus.pacing import Pacer, pour
from service.bus.run import as_json, fed, option_faults
from service.bus.sensor_map import map_beside
from service.bus.ways import Through, feeder_to

from .course import Course
from .dig import Dig, read_dig, shipped_dig
from .frames_out import CanOut, bus_out, log_out, map_for
from .motion import plan
from .play import announced, play
from .signals import signals
from .truth import write_truth


def run_simulation(
    file: Path | None, *, to: str | None, job: str | None, log: Path | None, bus: str | None, truth: Path | None,
    seed: int | None, speed: float, token: str | None, say: Say, broker: Through | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Simulate a described dig, the shipped one without a file: files first, then live. What came of it, for programs.

    `refused_steps`: what the service would not record. Raises `Refused` with what keeps it from being done at all.
    """
    refuse([*option_faults(to, job, speed), *_file_faults(log, truth)])
    dig = shipped_dig() if file is None else read_dig(_text(file), str(file), file.parent)
    course = plan(dig)
    seed = dig.document.seed if seed is None else seed
    told: dict[str, Any] = {
        "ok": True, "dig": dig.document.name, "machine": dig.machine.id, "attachment": dig.attachment.id,
        "seed": seed, "seconds": round(course.seconds, 3), "steps": len(dig.document.steps),
    }  # fmt: skip
    say(f"{dig.document.name}: {told['steps']} steps, {course.seconds:.0f} s, seed {seed}.")
    if bus is not None:
        map_for(dig)
    if truth is not None:
        told["truth"] = {"file": str(truth), "lines": write_truth(dig, course, truth)}
        say(f"The truth is in {truth}.")
    if log is not None:
        told["log"] = {"file": str(log), "readings": _write(dig, course, seed, log)}
        say(f"{told['log']['readings']} readings are in {log}.")
    if bus is None and to is None:
        if log is None and truth is None:
            say(
                "Nothing was written or sent: --log FILE, --truth FILE, --to ADDRESS with --job JOB, or --bus."
            )
        return told
    out = None if bus is None else bus_out(dig, seed, bus)
    try:
        if to is not None and job is not None:
            told |= _live(dig, course, seed, to, job, speed, token, out, say, broker)
        else:
            items = announced(signals(dig, course, seed), course, dig, say)
            pour(items, Pacer(0.0, speed), None, out)
    finally:
        if out is not None:
            told["frames"] = out.count
            out.close()
    return told


def _live(
    dig: Dig, course: Course, seed: int, to: str, job: str, speed: float, token: str | None, out: CanOut | None, say: Say,
    broker: Through | None,
) -> dict[str, Any]:  # fmt: skip
    headers = {} if token is None else {"Authorization": f"Bearer {token}"}
    with (
        httpx.Client(base_url=to, headers=headers, timeout=30.0) as client,
        feeder_to(to, job, token, say, broker) as feeder,
    ):
        played = play(dig, client, feeder, job, say, seed=seed, speed=speed, bus=out, course=course)
        feeder.settle()
    return {
        "ok": not (played.refused or feeder.refused), "job": job, "recorded": played.recorded, **fed(feeder),
        "refused_steps": [as_json(fault) for fault in played.refused],
    }  # fmt: skip


def _write(dig: Dig, course: Course, seed: int, log: Path) -> int:
    said = signals(dig, course, seed)
    if log.suffix.lower() == NDJSON:
        return write_log(log, said)
    with log_out(dig, seed, log) as out:
        for signal in said:
            out.put(signal, signal.t_s)
    return out.count


def _file_faults(log: Path | None, truth: Path | None) -> list[Fault]:
    faults = []
    written = [("--truth", truth), ("--log", log)]
    if log is not None:
        if log.suffix.lower() not in (NDJSON, *LOGS):
            faults.append(wrong_ending("--log", log, (NDJSON, *LOGS)))
        elif log.suffix.lower() != NDJSON:
            written.append(("--log", map_beside(log)))
    for option, file in written:
        if file is not None and file.exists():
            faults.append(Fault("file-exists", option, str(file), "a new file", "name another, or remove it"))
        elif file is not None and not file.parent.is_dir():
            faults.append(Fault("unreadable", option, str(file.parent), "a folder that is there"))
    named = [file.resolve() for _, file in written if file is not None]
    if len(set(named)) < len(named):
        faults.append(Fault("bad-option", "--truth", str(truth), "another file than --log and its map"))
    return faults


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        found = (
            error.strerror if isinstance(error, OSError) and error.strerror else "bytes that are not UTF-8"
        )
        raise Refused([Fault("unreadable", str(file), found, "a described dig, TOML in UTF-8")]) from None
