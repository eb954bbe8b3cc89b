"""What a service tells whoever feeds it, over whichever way: what it expects, what it refused, strikes, why it ends."""

import re
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from threading import Condition
from types import TracebackType
from typing import Any, Self

from kinematics.errors import Fault, Refused, refuse

from .entries import Entry
from .expecting import misfits
from .tallies import AGAIN_S, MOST_PLACES

MOST_IN_FRAME = 500
"""Readings in one frame; the longest takes some 100 bytes of the 65536 that a frame may have."""
GREETED_WITHIN_S, TOLD_WITHIN_S = 10.0, 1.5
AGAIN = frozenset({408, 425, 429})
_FIGURES = re.compile(r"[\d.]+")
Say = Callable[[str], None]


class AnyFeeder(ABC):
    """Feeds readings to one job. A context manager; `ready` before `send`.

    `welcome`: what the service said it expects. `refused`: readings refused, by code, over all connections. `strikes`:
    what it said of each pass through the laser plane. `sent`, `lost` readings; `connections` that were greeted.
    """

    def __init__(self, say: Say, clock: Callable[[], float]) -> None:
        self._say, self.clock = say, clock
        self._welcomed = Condition()
        self._over: Refused | None = None
        self._before: Counter[str] = Counter()
        self._now: Counter[str] = Counter()
        self._expected: Callable[[Mapping[str, Any]], tuple[Fault, ...]] = lambda _: ()
        self._told_s: dict[str, float] = {}
        self.welcome: dict[str, Any] = {}
        self.strikes: list[dict[str, Any]] = []
        self.connections = self.sent = self.lost = 0

    @abstractmethod
    def ready(self, give_up_s: float | None = None) -> float:
        """Be able to `send`; the seconds that had to be waited for it. Raises `Refused`, also of what was told since."""

    @abstractmethod
    def send(self, readings: Sequence[Mapping[str, Any]]) -> bool:
        """Send readings, each with its time on this feeder's clock; False where some of them are lost."""

    @abstractmethod
    def settle(self) -> None:
        """Wait until the service has had time to say what it made of the last."""

    @property
    @abstractmethod
    def connected(self) -> bool:
        """Whether readings can be sent."""

    @property
    def told(self) -> dict[str, Any]:
        """Counts of this way alone, for programs."""
        return {}

    @abstractmethod
    def close(self) -> None:
        """Feed nothing more."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self.close()

    @property
    def refused(self) -> dict[str, int]:
        """Readings that the service refused, by code."""
        return dict(self._before + self._now)

    def expect(self, entries: Sequence[Entry], *, partly: bool = False, receiver: bool = False) -> None:
        """Hold a map of sensors against the machine on the job, all faults at once; after `ready`, before `send`.

        `feeder.expect(map.entries, receiver=map.receiver is not None)`. `partly`: somebody else feeds the machine's other
        sensors. Raises `Refused` as `misfits`. From then on every later welcome is held against it too: where the map
        does not fit, `ready` and `send` raise the reason and nothing more is sent.
        """

        def faults(welcome: Mapping[str, Any]) -> tuple[Fault, ...]:
            return tuple(misfits(welcome, entries, partly=partly, receiver=receiver))

        with self._welcomed:
            self._expected = faults
            found = faults(self.welcome)
        refuse(found)

    @property
    def latencies_s(self) -> dict[str, float]:
        """The latency of each sensor that the service takes off by itself; 0 of an older service, which does not say."""
        sensors: Mapping[str, Mapping[str, Any]] = self.welcome.get("sensors", {})
        return {name: float(each.get("latency_s", 0.0)) for name, each in sensors.items()}

    def welcomed_as(
        self, good: Callable[[Mapping[str, Any]], bool], within_s: float = GREETED_WITHIN_S
    ) -> bool:
        """Wait for a welcome of this kind: a machine that was just put on the job is told a moment later."""
        with self._welcomed:
            return self._welcomed.wait_for(lambda: good(self.welcome), timeout=within_s)

    def _raise_if_over(self) -> None:
        if self._over is not None:
            raise self._over

    # What the service says, on a thread of its own.

    def _hear_welcome(self, welcome: dict[str, Any]) -> bool:
        """False where the map does not fit: it is over."""
        with self._welcomed:
            self.welcome = welcome
            faults = self._expected(welcome)
            self._welcomed.notify_all()
        if faults:
            self._over = Refused(faults)
        return not faults

    def _hear_strike(self, strike: dict[str, Any]) -> None:
        self.strikes.append(strike)
        self._say(_strike(strike))

    def _hear_problem(self, problem: Mapping[str, Any]) -> bool:
        """False where it is for good: it is over."""
        again = problem.get("status", 0) >= 500 or problem.get("status") in AGAIN or _half_open(problem)
        if not again:
            self._over = told(problem, "a connection it closed")
        return again

    def _tell_refused(self, refused: Sequence[Mapping[str, Any]]) -> None:
        """Each kind once, then at most every 30 s with the count of its code: it comes anew each second."""
        now, counts = self.clock(), self.refused
        for each in refused:
            code, found = str(each.get("code")), str(each.get("found"))
            kind = f"{code} {_FIGURES.sub('', found)}"
            if len(self._told_s) >= MOST_PLACES:
                kind = code
            told = self._told_s.get(kind)
            if told is not None and now - told < AGAIN_S:
                continue
            self._told_s[kind] = now
            again = "" if told is None else f"; {counts.get(code, 0)} readings of {code} by now"
            self._say(f"Refused {code}: expected {each.get('expected')}, found {found}{again}")


def told(problem: Any, otherwise: str) -> Refused:
    """A problem document as what is refused; `otherwise` where it is none."""
    errors = problem.get("errors") if isinstance(problem, dict) else None
    if not errors:
        found = problem.get("title", otherwise) if isinstance(problem, dict) else otherwise
        return Refused([Fault("no-service", "--to", str(found), "the answer of this service")])
    return Refused(
        Fault(
            e.get("code", ""),
            e.get("pointer", ""),
            e.get("found", ""),
            e.get("expected", ""),
            e.get("advice", ""),
        )
        for e in errors
    )


def _half_open(problem: Mapping[str, Any]) -> bool:
    return any(each.get("code") == "half-open" for each in problem.get("errors", ()))


def _strike(strike: Mapping[str, Any]) -> str:
    because = "; ".join(
        f"{why.get('found')} (expected {why.get('expected')})" for why in strike.get("because", ())
    )
    number = strike.get("seq")
    if strike.get("verdict") == "crossed once":
        return "The receiver crossed the plane; the way back makes it one strike of two crossings."
    return f"Strike{'' if number is None else f' {number}'}: {strike.get('verdict')}" + (
        f", {because}" if because else ""
    )
