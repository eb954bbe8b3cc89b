"""Run every benchmark and print one object of named numbers.

Ratios are gates and compare two things within this run; absolute times are only reported.
"""

import argparse
import faulthandler
import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from httpx import HTTPError

from tests.benchmarks import (
    batch,
    bulk,
    calibration,
    classroom,
    door,
    explaining,
    kernel,
    laboratory,
    live,
    seat,
    studies,
    trust,
    workshop,
)
from tests.benchmarks.gates import gate, has_wide_vectors, missed
from tests.benchmarks.started import BenchmarkFailed

BENCHMARKS: tuple[Callable[[], dict[str, float]], ...] = (
    kernel.single_pose, batch.start_up, batch.batch, trust.trust, calibration.calibration, explaining.explaining,
    laboratory.laboratory,
    door.post_pose, live.live, bulk.bulk, classroom.classroom, seat.seat, workshop.workshop,
    studies.studies,
)  # fmt: skip

MOST_RUNS = 3
PART_S = 180
_GRACE_S = 30  # to end what a part has started


@contextmanager
def _bounded(name: str) -> Iterator[None]:
    """Ends a part after `PART_S`; where it waits so that even that does not end it, the process, and says where."""

    def late(_signal: int, _frame: FrameType | None) -> None:
        raise BenchmarkFailed(f"expected {name} to end within {PART_S} s, it had not")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(PART_S)
    faulthandler.dump_traceback_later(PART_S + _GRACE_S, exit=True)
    try:
        yield
    finally:
        signal.alarm(0)
        faulthandler.cancel_dump_traceback_later()
        signal.signal(signal.SIGALRM, before)


def _run(benchmark: Callable[[], dict[str, float]]) -> dict[str, float]:
    name = benchmark.__name__
    begun = time.perf_counter()
    try:
        with _bounded(name):
            return benchmark()
    except BenchmarkFailed as failed:
        raise SystemExit(f"benchmark {name}: {failed}") from None
    except (OSError, HTTPError, subprocess.SubprocessError) as error:
        raise SystemExit(f"benchmark {name}: expected an answer in time, found {error!r}") from error
    except Exception as error:
        error.add_note(f"in the benchmark {name}")
        raise
    finally:
        sys.stderr.write(f"benchmark {name}: {time.perf_counter() - begun:.1f} s\n")
        sys.stderr.flush()


def main() -> int:
    """Print the numbers; exit code 1 if a gated ratio is missed or a part fails."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output")
    parser.add_argument(
        "--only", choices=[each.__name__ for each in BENCHMARKS], action="append", help="this part alone"
    )
    asked = parser.parse_args()
    cpuinfo = Path("/proc/cpuinfo")
    wide = cpuinfo.exists() and has_wide_vectors(cpuinfo.read_text())
    numbers: dict[str, float] = {}
    for benchmark in BENCHMARKS:
        if asked.only and benchmark.__name__ not in asked.only:
            continue
        numbers |= _run(benchmark)
        runs = 1
        # Another load on this machine can spoil one run.
        while runs < MOST_RUNS and missed(numbers, wide=wide):
            numbers |= _run(benchmark)
            runs += 1
        numbers[f"{benchmark.__name__}_runs"] = runs
    low = missed(numbers, wide=wide)
    if asked.json:
        sys.stdout.write(json.dumps(numbers, allow_nan=False) + "\n")
    else:
        for name, value in numbers.items():
            sys.stdout.write(f"{name:38} {value:12.3f}  {gate(name, numbers, wide=wide)}\n")
    for name in low:
        sys.stderr.write(f"missed: {name} = {numbers[name]:.3f}, {gate(name, numbers, wide=wide)}\n")
    return 1 if low else 0


if __name__ == "__main__":
    raise SystemExit(main())
