"""Waiting for what comes by itself, with an end."""

import time
from collections.abc import Callable

PATIENCE_S = 15.0


def until(wanted: Callable[[], object], within: float = PATIENCE_S) -> None:
    """Until it is so; fails where it does not become so."""
    end = time.monotonic() + within
    while not wanted():
        assert time.monotonic() < end, f"not so within {within} s"
        time.sleep(0.02)
