"""One who feeds readings, however connected: its frames in, its pace, and what it is asked and told.

Nothing here waits for whoever does not read: what is to be told is kept small, the newest of it.
"""

from collections.abc import Awaitable, Callable, Iterator
from typing import Any

from kinematics.errors import Fault
from service.access.caller import Caller
from service.problems import Problem
from service.text import FaultOut, fault, pointer

from .clock import ASK_EVERY_S, HALF_OPEN_S, SenderClock
from .feed import Feed
from .frames import in_short
from .hub import Hub
from .receiver import Link

CHECK_EVERY_S = 5.0
# A frame that is none costs as much as so many readings: garbage must not cost more than sense.
GARBAGE_COSTS = 20.0
# Long texts cost by their length, whatever is in them: one of 64 KiB as much as 650 readings.
LETTERS_A_READING = 100.0
MOST_GARBAGE = 200
TELL_EVERY_S = 1.0
_MOST_TOLD = 20

Welcome = Callable[[Feed], dict[str, Any]]
Check = Callable[[Feed], Awaitable[Caller]]
"""The caller as it counts now. Raises a `Problem` where it may no longer feed this job."""


class Over(Exception):  # not an error: the connection is at its end
    """The connection ends, for a problem that it is told or for none."""

    def __init__(self, problem: Problem | None = None) -> None:
        self.problem = problem
        super().__init__()


class Feeding:
    """One who feeds the job of `feed`, from its first frame to its last."""

    def __init__(
        self, hub: Hub, feed: Feed, caller: Caller, *, per_s: float, welcome: Welcome, check: Check
    ) -> None:  # fmt: skip
        self.hub, self.feed = hub, feed
        now = hub.now()
        self.link = Link(SenderClock(now), caller, tell=self.tell, stir=self.stir, check=self.allowed)
        self._welcome, self.check = welcome, check
        self._per_s, self._left, self._filled = per_s, per_s, now
        self._asked = self._checked = self._last_told = now
        self._greeted: object = None
        self._garbage = 0
        self._faults: dict[str, Fault] = {}
        self.told: list[dict[str, Any]] = []

    def begin(self) -> None:
        """From now on it is one of those who feed the job."""
        self.feed.links.add(self.link)

    def end(self) -> None:
        """It no longer is."""
        self.feed.links.discard(self.link)
        self.feed.used = self.hub.now()

    # In.

    def answer(self, number: Any, at_s: Any, now: float) -> None:
        """An answer to a clock question."""
        wrong = self.link.clock.answer(number, at_s, now)
        if wrong is not None:
            self.feed.counts[wrong.code] += 1
            self.refuse(wrong)

    def take(self, readings: list[Any], now: float) -> None:
        """The readings of one frame, good and bad."""
        feed, link, good = self.feed, self.link, False
        for reading in readings:
            wrong = feed.take(link, reading, now) if type(reading) is dict else self._no_object(reading)
            if wrong is None:
                good = True
            else:
                self.refuse(wrong)
        if good:
            self._garbage = 0
            feed.changed()

    def bad(self, wrong: Fault) -> float:
        """A frame that is none; what it costs. Raises `Over` after too many in a row."""
        self.feed.counts[wrong.code] += 1
        self._garbage += 1
        self.refuse(wrong)
        if self._garbage >= MOST_GARBAGE:
            told = fault(
                "bad-frame", f"{MOST_GARBAGE} frames in a row that are none", "readings", "see /guide/live"
            )
            raise Over(Problem("bad-frame", [told]))
        return GARBAGE_COSTS

    def _no_object(self, found: object) -> Fault:
        self.feed.counts["bad-reading"] += 1
        return Fault("bad-reading", "", in_short(found), "a JSON object")

    def refuse(self, wrong: Fault) -> None:
        """Have it told what was refused; the latest of each kind says enough."""
        self.link.refused[wrong.code] += 1
        self._faults[wrong.code] = wrong
        self.stir()

    def pay(self, cost: float, now: float) -> float:
        """Take a cost off its pace; the seconds after which it may go on, 0 where it kept to it."""
        self._left -= cost
        if self._left >= 0.0:
            return 0.0
        self._left = min(self._per_s, self._left + (now - self._filled) * self._per_s)
        self._filled = now
        if self._left >= 0.0:
            return 0.0
        self.feed.counts["slowed"] += 1
        return -self._left / self._per_s

    # Out.

    def stir(self) -> None:
        """There may be something to tell."""

    def tell(self, what: dict[str, Any]) -> None:
        """Have something told; of what waits the oldest goes."""
        self.told = [*self.told[1 - _MOST_TOLD :], what]
        self.stir()

    @property
    def waits(self) -> bool:
        """Whether refusals wait for their turn."""
        return bool(self._faults)

    def wakes(self) -> float:
        """When there is something to ask, to check or to end, whatever comes or not; by the hub's clock."""
        return min(
            self._asked + ASK_EVERY_S, self._checked + CHECK_EVERY_S, self.link.clock.answered + HALF_OPEN_S
        )

    def greet(self) -> None:
        """It is to be greeted anew."""
        self._greeted = None

    def _another(self) -> bool:
        """Whether another machine or attachment stands on the job than it was greeted for."""
        return self._greeted is not self.feed.channels and not self.feed.fitting

    def unchecked(self, at: float) -> bool:
        """Whether `checked` is to be awaited before anything is told."""
        due = at - self._checked >= CHECK_EVERY_S
        return due or (self._greeted is not None and self._another())

    async def checked(self) -> None:
        """Look whether it still may feed. Raises `Over` with the problem where it may not."""
        self._checked = self.hub.now()
        try:
            await self.allowed()
        except Problem as problem:
            receiver = self.feed.receiver
            if receiver.link is self.link:  # nothing more goes on the log in this name
                receiver.link = receiver.pending = None
            raise Over(problem) from None

    async def allowed(self) -> None:
        """Bring the caller up to date. Raises a `Problem` where it may no longer feed this job."""
        self.link.caller = await self.check(self.feed)

    def question(self, at: float) -> dict[str, Any]:
        """A question for its clock, asked now."""
        return {"clock": self.link.clock.ask(at)}

    def greeting(self, at: float) -> dict[str, Any]:
        """What it is told first, and whenever another machine stands on the job."""
        return {"welcome": self._welcome(self.feed), **self.question(at)}

    def answered(self, at: float) -> None:
        """Raise `Over` where its clock was not answered for too long."""
        if at - self.link.clock.answered >= HALF_OPEN_S:
            found = fault("half-open", f"no answer to a clock question for {HALF_OPEN_S:g} s", "one each time",
                          "answer {\"clock\": n, \"at_s\": your clock now}")  # fmt: skip
            raise Over(Problem("half-open", [found]))

    def due(self) -> Iterator[dict[str, Any]]:
        """What is to be told now, each as it is fetched. Raises `Over` as `answered`."""
        at = self.hub.now()
        self.answered(at)
        if self._greeted is None or self._another():
            self._greeted, self._asked = self.feed.channels, at
            yield self.greeting(self.hub.now())
        elif at - self._asked >= ASK_EVERY_S:
            self._asked = at
            yield self.question(self.hub.now())
        while self.told:
            yield self.told.pop(0)
        if self._faults and at - self._last_told >= TELL_EVERY_S:
            self._last_told = at
            faults, self._faults = list(self._faults.values()), {}
            yield {
                "refused": [_out(each).model_dump(mode="json") for each in faults], "counts": dict(self.link.refused)
            }  # fmt: skip


def _out(told: Fault) -> FaultOut:
    return fault(told.code, told.found, told.expected, told.advice, pointer(told.where.split(".")) if told.where else "",
                 told.numbers)  # fmt: skip
