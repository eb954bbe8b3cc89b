"""The clock by which readings are dated, at both ends; and what is done about the other one, which somebody may set."""

import time
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from threading import Lock

seconds: Callable[[], float] = (
    partial(time.clock_gettime, time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic
)
"""Seconds by a clock that nobody sets and that, where there is one, does not stop while the computer sleeps: what was
read before an hour's sleep is an hour old."""
STEP_S = 1.0
"""A clock that is disciplined gains or loses less between two looks; one that is set is off by more, or does no harm."""


class NeverBack:
    """UTC by the computer's clock, that goes on by `steady` where that clock is set back: what has expired stays so.

    `ahead`: of the computer's clock, when it was last asked.
    """

    def __init__(self, now: Callable[[], datetime], steady: Callable[[], float] = seconds) -> None:
        self._now, self._steady = now, steady
        self._last, self._at = now(), steady()
        self._lock = Lock()
        self.ahead = timedelta(0)

    def __call__(self) -> datetime:
        """Now, and no earlier than it was told before and has passed since."""
        with self._lock:
            at, told = self._steady(), self._now()
            self._last = max(told, self._last + timedelta(seconds=at - self._at))
            self._at, self.ahead = at, self._last - told
            return self._last


class Steps:
    """Whether the computer's clock was set since it was last looked at, held against the one that nobody sets.

    `total_s`: how far in all, on and back counted alike.
    """

    def __init__(self, clock: Callable[[], float] = time.time, steady: Callable[[], float] = seconds) -> None:
        self._clock, self._steady = clock, steady
        self._ahead = clock() - steady()
        self.total_s = 0.0

    def look(self) -> float:
        """How far it was set since the last look, in seconds, back: negative; 0 where it was not."""
        ahead = self._clock() - self._steady()
        step, self._ahead = ahead - self._ahead, ahead
        if abs(step) < STEP_S:
            return 0.0
        self.total_s += abs(step)
        return step
