"""How long a call takes."""

import statistics
import time
from collections.abc import Callable


def median_ms(call: Callable[[], object], runs: int) -> float:
    """Milliseconds, the median of so many runs after a first."""
    call()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return statistics.median(times) * 1e3
