"""How long a call takes, and how much memory a process."""

import statistics
import time
from collections.abc import Callable
from pathlib import Path

_KB_OF_A_MB = 1024.0


def median_ms(call: Callable[[], object], runs: int) -> float:
    """Milliseconds, the median of so many runs after a first."""
    call()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return statistics.median(times) * 1e3


def most_memory_mb() -> float:
    """The most that this process ever had in memory. Not `ru_maxrss`: that begins with what whoever started it had."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(float(line.split()[1]) for line in lines if line.startswith("VmHWM:")) / _KB_OF_A_MB
