"""A log fed through the readings door again, at its own pace or another."""

from collections.abc import Callable, Iterator

from .any_feeder import AnyFeeder, Say
from .log import Log
from .pacing import Pacer, pour
from .reading import Reading

TELL_EVERY_S = 10.0
TAKEN_PER_S = 2000
"""Of one connection, as the service is set from the start."""


def replay(log: Log, feeder: AnyFeeder, say: Say, *, speed: float = 1.0) -> Pacer:
    """Feed a log at `speed` times its pace, its first reading now; times in it may start anywhere.

    Beyond speed 1 every movement is as much faster to the service too. Raises `Refused` as the feeder does.
    """
    first, last = log.signals[0].t_s, log.signals[-1].t_s
    say(f"{len(log.signals)} readings of {last - first:.1f} s, at {speed:g} times their pace.")
    per_s = speed * len(log.signals) / (last - first) if last > first else 0.0
    if per_s > TAKEN_PER_S:
        say(
            f"{per_s:.0f} readings a second are more than the {TAKEN_PER_S} that a service takes: it will hold this up."
        )
    feeder.ready()
    pacer = Pacer(first, speed, feeder.clock)
    pour(_telling(log, say, feeder.clock), pacer, feeder)
    return pacer


def _telling(log: Log, say: Say, clock: Callable[[], float]) -> Iterator[Reading]:
    first, last = log.signals[0].t_s, log.signals[-1].t_s
    told = clock()
    for signal in log.signals:
        if (now := clock()) - told >= TELL_EVERY_S:
            told = now
            say(f"{signal.t_s - first:7.1f} s of {last - first:.1f} s fed.")
        yield signal
