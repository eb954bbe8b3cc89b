"""What the commands on logs and buses do, apart from reading flags and printing."""

from pathlib import Path
from typing import Any

from kinematics.errors import Fault, refuse

from .feeder import Feeder, Say
from .log import read_log
from .replay import replay

SLOWEST, FASTEST = 0.1, 100.0


def run_replay(
    file: Path, *, to: str, job: str, map_file: Path | None, speed: float, token: str | None, say: Say
) -> dict[str, Any]:
    """Feed a log to a job. What came of it, for programs. Raises `Refused` as `read_log` and the feeder."""
    refuse(option_faults(to, job, speed))
    log = read_log(file, map_file)
    with Feeder(to, job, token, say) as feeder:
        replay(log, feeder, say, speed=speed)
        feeder.settle()
    first, last = log.signals[0].t_s, log.signals[-1].t_s
    return {
        "ok": not feeder.refused, "log": str(file), "job": job, "seconds": round(last - first, 3),
        "readings": len(log.signals), "ignored_frames": log.ignored, **fed(feeder),
    }  # fmt: skip


def fed(feeder: Feeder) -> dict[str, Any]:
    """What became of the readings of a feeder."""
    return {
        "sent": feeder.sent, "lost": feeder.lost, "connections": feeder.connections,
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
