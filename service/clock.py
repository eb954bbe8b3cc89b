"""The clock by which readings are dated, at both ends."""

import time
from collections.abc import Callable
from functools import partial

seconds: Callable[[], float] = (
    partial(time.clock_gettime, time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic
)
"""Seconds by a clock that nobody sets and that, where there is one, does not stop while the computer sleeps: what was
read before an hour's sleep is an hour old."""
