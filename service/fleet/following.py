"""The jobs that another service keeps and somebody looks at here: their frames are read here as well, nothing is told.

Which streams are a job's own the keeper says, on `told`: it has seen their tokens, a follower has not.
"""

import json
from dataclasses import dataclass, field

from kinematics.errors import Fault
from service.live.feed import Feed
from service.live.feeding import Over

from .envelopes import document, wrong_stream
from .fed import BACK_S, Followed
from .means import Means, Wire
from .roll import Roll

LOOKED_AT_S = 10.0
"""So long after the last viewer has gone a job is still followed."""
VOUCHED_S = 15.0
LONG_S = 8.0
"""Who has followed for so long has the last seconds of every sensor."""


@dataclass(slots=True)
class Job:
    """A job that is followed: its feeders by name, and until when."""

    feed: Feed
    until: float
    since: float
    feeders: dict[str, Followed] = field(default_factory=dict)


class Following:
    """All jobs that one service follows. For the event loop."""

    def __init__(self, means: Means, roll: Roll, wire: Wire) -> None:
        self._means, self._roll, self._wire = means, roll, wire
        self._hub, self._topics = means.hub, means.topics
        self.jobs: dict[str, Job] = {}
        self._wanted: list[str] = []
        self._by_topic: dict[str, Followed] = {}

    def long(self, job: str, now: float) -> bool:
        """Whether a job has been followed for long enough to answer from what is here."""
        followed = self.jobs.get(job)
        return (
            followed is not None and bool(followed.feeders) and
            all(now - each.begun >= LONG_S for each in followed.feeders.values())
        )  # fmt: skip

    def tick(self, now: float) -> None:
        """Begin with what is looked at, end with what is not, ask the clocks."""
        for feed in self._hub.feeds:
            if feed.viewers:
                followed = self.jobs.get(feed.job)
                if followed is not None:
                    followed.until = now + LOOKED_AT_S
                elif self._elsewhere(feed):
                    feed.follows = True
                    feed.hold(BACK_S)
                    self.jobs[feed.job] = Job(feed, now + LOOKED_AT_S, now)
                    self._wanted.append(feed.job)
        for job, followed in list(self.jobs.items()):
            if now >= followed.until:
                self.end(job)
                continue
            for each in list(followed.feeders.values()):
                self._ask(followed, each, now)

    def _elsewhere(self, feed: Feed) -> bool:
        keeper = self._roll.keeper(feed.job)
        return keeper is not None and keeper != self._roll.me and not feed.links

    def _ask(self, followed: Job, each: Followed, now: float) -> None:
        try:
            for what in each.due():
                self._wire.publish(self._topics.told(followed.feed.job, each.name), json.dumps(what))
        except Over:
            self._drop(followed, each)
            return
        if now - each.vouched > VOUCHED_S:
            self._drop(followed, each)

    async def listen(self) -> None:
        """Subscribe to what was begun with since. Raises `Away`."""
        wanted, self._wanted = [job for job in self._wanted if job in self.jobs], []
        if wanted:
            topics = [topic for job in wanted for topic in self._topics_of(job)]
            await self._wire.subscribe([(topic, 0) for topic in topics])

    def come_back(self) -> None:
        """The broker is here again: all is to be subscribed to anew."""
        self._wanted = list(self.jobs)

    def _topics_of(self, job: str) -> tuple[str, str]:
        return self._topics.readings(job), self._topics.told(job)

    def told(self, job: str, feeder: str, payload: bytes) -> None:
        """What the keeper tells a feeder."""
        followed = self.jobs.get(job)
        if followed is None:
            return
        said = document(payload)
        if isinstance(said, Fault):
            self._means.wrong(self._topics.told(job, feeder), said)
            return
        if "problem" in said:
            each = followed.feeders.get(feeder)
            if each is not None:
                self._drop(followed, each)
        elif "strike" in said:
            followed.feed.receiver.last = said["strike"]
            followed.feed.changed()
        else:
            for about in (said.get("taken"), said.get("from")):
                if type(about) is dict and wrong_stream(about.get("stream")) is None:
                    self._vouched(followed, feeder, about["stream"])

    def _vouched(self, followed: Job, feeder: str, stream: str) -> None:
        each = followed.feeders.get(feeder)
        if each is not None and each.stream == stream:
            each.vouched = self._hub.now()
            return
        if each is not None:
            self._drop(followed, each)
        each = Followed(self._hub, followed.feed, feeder, stream, per_s=self._means.per_s)
        each.begin()
        followed.feeders[feeder] = each
        self._by_topic[self._topics.readings(followed.feed.job, feeder)] = each

    def frame(self, topic: str, payload: bytes) -> bool:
        """A payload on a readings topic; False where it is of no feeder that is followed."""
        each = self._by_topic.get(topic)
        if each is None:
            return False
        try:
            each.heard(payload)
        except Over:
            self._drop(self.jobs[each.feed.job], each)
        return True

    def end(self, job: str) -> None:
        """Follow a job no more, if it was followed."""
        followed = self.jobs.pop(job, None)
        if followed is None:
            return
        for each in list(followed.feeders.values()):
            self._drop(followed, each)
        followed.feed.follows = False
        topics = self._topics_of(job)
        self._wire.unsubscribe(topics[1:] if self._roll.mine(job) else topics)

    def _drop(self, followed: Job, each: Followed) -> None:
        each.end()
        self._means.remember(each)
        del followed.feeders[each.name]
        self._by_topic.pop(self._topics.readings(followed.feed.job, each.name), None)
