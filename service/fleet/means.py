"""What the service lends its broker side, and how that sends: so that each part of it can be tried alone."""

import logging
from collections import Counter
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from kinematics.errors import Fault
from service.access.caller import Caller
from service.broker.client import Reply
from service.broker.topics import Topics
from service.live.feed import Feed
from service.live.feeding import Welcome
from service.live.hub import Hub

from .fed import Before, Behind

_MOST_NOTED = 1000
_MOST_PAST = 2000
_log = logging.getLogger("tipdatum")

Message = Callable[[int | None, float], tuple[int, str]]
"""(number, JSON text) of the newest readout, for whoever was told a number last; at a time by the hub's clock."""


class Wire(Protocol):
    """A connection to a broker, as far as it is used."""

    def publish(
        self, topic: str, payload: str | bytes, *, qos: int = 0, retain: bool = False, reply: Reply | None = None
    ) -> None:  # fmt: skip
        """Send, if the broker is here."""

    async def subscribe(self, topics: Sequence[tuple[str, int]]) -> None:
        """Listen to topics; returns once the broker has said so. Raises `Away`."""

    def unsubscribe(self, topics: Sequence[str]) -> None:
        """Listen to topics no more."""


@dataclass(slots=True)
class Means:
    """The live door and what it needs of the rest of the service.

    `admit`: who a token lets in to feed a job, raising a `Problem` for nobody; `message`: the default readout of a job;
    `health`: how its sensors fare; `per_s` readings a second of each feeder; `readouts_hz` at most on the broker.
    """

    hub: Hub
    topics: Topics
    admit: Callable[[Feed, str | None], Awaitable[Caller]]
    welcome: Welcome
    message: Callable[[Feed], Message]
    health: Callable[[Feed], dict[str, Any]]
    per_s: float
    readouts_hz: float
    counts: Counter[str] = field(default_factory=Counter)
    past: dict[tuple[str, str], Before] = field(default_factory=dict)
    """By job and feeder, what is known of one that fed or was followed here and does so no more."""
    _noted: set[str] = field(default_factory=set)

    def remember(self, feeder: Behind) -> None:
        """For when it comes again; of too many the oldest go."""
        name = feeder.feed.job, feeder.name
        self.past.pop(name, None)
        self.past[name] = feeder.before()
        if len(self.past) > _MOST_PAST:
            del self.past[next(iter(self.past))]

    def wrong(self, topic: str, fault: Fault) -> None:
        """What came on a topic is none of ours: counted, and told in the log once."""
        self.counts[fault.code] += 1
        self.note(f"{fault.code} {topic}", f"not taken from {topic}: {fault}")

    def note(self, what: str, words: str) -> None:
        """A line of the log, once."""
        if what not in self._noted and len(self._noted) < _MOST_NOTED:
            self._noted.add(what)
            _log.warning("%s", words)
