"""The jobs that this service keeps: it admits their feeders, takes their frames, tells them, publishes their readouts.

A feeder's `here` reaches one service. That one passes it to the service which keeps the job, or claims the job where
nobody does who is there; it keeps it once it has heard its own claim come back, in the broker's order.
"""

import asyncio
import json
import logging
import math
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.exc import SQLAlchemyError

from service.access.caller import Caller
from service.broker.client import Away
from service.live.feed import Feed
from service.live.feeding import Over
from service.live.receiver import HANDED_ON_S
from service.problems import Problem, as_response, damaged
from service.store import JobUnknown, LogDamaged, StoreError
from service.text import fault

from .envelopes import Here, document, here_of
from .fed import BACK_S, Fed
from .means import Means, Message, Wire
from .roll import Roll

CLAIM_WITHIN_S = 5.0
IDLE_S = 60.0
"""Without a feeder for so long a job is given up."""
MOST_HERE = 2000
_log = logging.getLogger("tipdatum")


@dataclass(slots=True)
class Kept:
    """A job that is kept: its feeders by name, and what was published of it last.

    `back`: those who fed it when the broker went away, and did not say since that they are there.
    """

    feed: Feed
    message: Message
    feeders: dict[str, Fed] = field(default_factory=dict)
    back: set[str] = field(default_factory=set)
    number: int | None = None
    due: float = -math.inf
    idle: float = math.inf


class Keeping:
    """All jobs that one service keeps. For the event loop."""

    def __init__(self, means: Means, roll: Roll, wire: Wire, keeps: Callable[[str], None]) -> None:
        """`keeps` is called with each job that this service comes to keep: it follows it no more."""
        self._means, self._roll, self._wire, self._keeps = means, roll, wire, keeps
        self._hub, self._topics = means.hub, means.topics
        self.kept: dict[str, Kept] = {}
        self._by_topic: dict[str, Fed] = {}
        self._heres: dict[tuple[str, str], Here] = {}
        self._claims: dict[str, asyncio.Future[None]] = {}
        self._tasks: set[asyncio.Task[None]] = set()

    # Who is there.

    def here(self, job: str, feeder: str, payload: bytes) -> None:
        """A feeder says that it is there."""
        said = here_of(payload)
        if isinstance(said, Here):
            self._hear(job, feeder, said)
        else:
            self._means.wrong(self._topics.here(job, feeder), said)

    def passed_on(self, topic: str, payload: bytes) -> None:
        """The same, said to another service that does not keep the job."""
        said = document(payload)
        if not isinstance(said, dict):
            self._means.wrong(topic, said)
            return
        job, feeder = said.pop("job", None), said.pop("feeder", None)
        place = self._topics.place(self._topics.here(str(job), str(feeder)))
        inner = here_of(json.dumps(said).encode())
        if place is None or not isinstance(inner, Here):
            self._means.counts["bad-frame"] += 1
            return
        self._hear(place.job, place.feeder, inner)

    def _hear(self, job: str, feeder: str, here: Here) -> None:
        key = job, feeder
        if key in self._heres:  # being looked at: the newest counts
            self._heres[key] = here
        elif len(self._heres) < MOST_HERE:
            self._heres[key] = here
            self._start(self._look(job, feeder))
        else:
            self._means.counts["too-many-here"] += 1

    async def _look(self, job: str, feeder: str) -> None:
        try:
            await self._admit(job, feeder, self._heres[job, feeder])
        except Problem as problem:
            self._tell(job, feeder, _problem(problem))
        except Away:
            return
        except (StoreError, SQLAlchemyError):
            _log.exception("whether %s may feed %s could not be read", feeder, job)
            self._tell(
                job,
                feeder,
                _problem(Problem("database", detail="Whether you may feed this job could not be read.")),
            )
        finally:
            del self._heres[job, feeder]

    async def _admit(self, job: str, feeder: str, here: Here) -> None:
        if self._passes_on(job, feeder, here):
            return
        try:
            feed = await self._hub.feed(job)
        except JobUnknown:
            told = fault("unknown-job", repr(job), "a job on record", "open it first; /v1/jobs lists them")
            raise Problem("unknown-job", [told]) from None
        except LogDamaged as error:
            raise damaged(error) from None
        caller = await self._means.admit(feed, here.token)
        if self._roll.keeper(job) is None:
            await self._claim(job)
        if self._passes_on(job, feeder, here) or not self._roll.mine(job):
            return
        kept = self.kept.get(job) or await self._keep(job, feed)
        if kept is None:
            self._passes_on(job, feeder, here)
            return
        self._feeds(kept, feeder, here, caller)

    def _passes_on(self, job: str, feeder: str, here: Here) -> bool:
        """Pass it to the service that keeps the job, where that is another."""
        keeper = self._roll.keeper(job)
        if keeper is None or keeper == self._roll.me:
            return False
        said = {"job": job, "feeder": feeder, **here.said()}
        self._wire.publish(self._topics.of_service(keeper, "here"), json.dumps(said), qos=1)
        return True

    async def _claim(self, job: str) -> None:
        """Put our name on a job, and wait until the broker has told the order of all who do."""
        waiting = self._claims.get(job)
        if waiting is None:
            waiting = self._claims[job] = asyncio.get_running_loop().create_future()
            self._name(job)
        try:
            async with asyncio.timeout(CLAIM_WITHIN_S):
                await asyncio.shield(waiting)
        except TimeoutError:
            self._claims.pop(job, None)

    def _name(self, job: str) -> None:
        name = json.dumps({"service": self._roll.me})
        self._wire.publish(self._topics.keeper(job), name, qos=1, retain=True)

    def heard_keeper(self, job: str) -> None:
        """The broker has told a name on a job; the roll has it."""
        waiting = self._claims.pop(job, None)
        if waiting is not None and not waiting.done():
            waiting.set_result(None)
        if job in self.kept and not self._roll.mine(job):
            self._step_down(job)

    async def _keep(self, job: str, feed: Feed) -> Kept | None:
        """Keep a job from now on; None where another's name was put on it while the broker was asked."""
        await self._wire.subscribe([(self._topics.readings(job), 0)])
        kept = self.kept.get(job)
        if kept is None and not self._roll.mine(job):
            if not feed.follows:
                self._wire.unsubscribe([self._topics.readings(job)])
            return None
        if kept is None:
            self._keeps(job)
            kept = self.kept[job] = Kept(feed, self._means.message(feed))
            feed.published, feed.follows = True, False
        return kept

    def _feeds(self, kept: Kept, feeder: str, here: Here, caller: Caller) -> None:
        token = here.token

        async def check(feed: Feed) -> Caller:
            return await self._means.admit(feed, token)

        fed = kept.feeders.get(feeder)
        if fed is not None and fed.stream == here.stream:
            fed.link.caller, fed.check = caller, check
            fed.again(here)
            return
        if fed is not None:
            if self._hub.now() - fed.arrived < HANDED_ON_S:
                told = fault("fed-by-another", f"stream {here.stream} of {feeder!r} beside {fed.stream}",
                             "one sender of each name", "stop one of them, or give it another name")  # fmt: skip
                raise Problem("refused", [told])
            self._drop(kept, fed)
        job = kept.feed.job
        kept.feed.hold(BACK_S)
        fed = Fed(
            self._hub, kept.feed, caller, feeder, here, lambda what: self._tell(job, feeder, what),
            per_s=self._means.per_s, welcome=self._means.welcome, check=check,
            before=self._means.past.get((job, feeder)),
        )  # fmt: skip
        fed.begin()
        kept.feeders[feeder] = fed
        kept.back.discard(feeder)
        kept.idle = math.inf
        self._by_topic[self._topics.readings(job, feeder)] = fed

    # Frames.

    def frame(self, topic: str, payload: bytes) -> bool:
        """A payload on a readings topic; False where it is of no feeder of ours."""
        fed = self._by_topic.get(topic)
        if fed is None:
            return False
        try:
            fed.heard(payload)
        except Over as over:
            self._ends(fed, over)
        return True

    def _tell(self, job: str, feeder: str, what: dict[str, Any]) -> None:
        once = 1 if what.keys() & {"welcome", "strike", "problem"} else 0
        self._wire.publish(self._topics.told(job, feeder), json.dumps(what, allow_nan=False), qos=once)

    # By itself.

    def tick(self, now: float) -> None:
        """What is due: questions, checks, acknowledgements, readouts; jobs without feeders."""
        for job, kept in list(self.kept.items()):
            if self._roll.keeper(job) not in (None, self._roll.me):
                self._step_down(job)
                continue
            for fed in list(kept.feeders.values()):
                self._speak(fed, now)
            if now >= kept.due and kept.number != kept.feed.number:
                kept.due = max(kept.due, now - 1.0 / self._means.readouts_hz) + 1.0 / self._means.readouts_hz
                self._publish(kept, now)
            if not kept.feeders:
                kept.idle = min(kept.idle, now)
                if now - kept.idle >= IDLE_S:
                    self._give_up(job)

    def _speak(self, fed: Fed, now: float) -> None:
        if fed.checking:
            return
        if fed.unchecked(now):
            fed.checking = True
            self._start(self._checked(fed))
            return
        try:
            for what in fed.due():
                self._tell(fed.feed.job, fed.name, what)
        except Over as over:
            self._ends(fed, over)

    async def _checked(self, fed: Fed) -> None:
        try:
            await fed.checked()
        except Over as over:
            self._ends(fed, over)
        finally:
            fed.checking = False

    def _publish(self, kept: Kept, now: float) -> None:
        number, text = kept.message(kept.number, now)
        kept.number = number
        believed = 0.0 if '"readout":null' in text else max(0.0, kept.feed.deadline() - now)
        made = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        text = f'{{"made_at":"{made}","believe_for_s":{believed:.3f},{text[1:]}'
        self._wire.publish(self._topics.readout(kept.feed.job), text, retain=True)

    # Ends.

    def _ends(self, fed: Fed, over: Over) -> None:
        kept = self.kept.get(fed.feed.job)
        if kept is None or kept.feeders.get(fed.name) is not fed:
            return
        self._drop(kept, fed)
        if over.problem is not None:
            self._tell(fed.feed.job, fed.name, _problem(over.problem))

    def _drop(self, kept: Kept, fed: Fed) -> None:
        fed.end()
        del kept.feeders[fed.name]
        self._means.remember(fed)
        self._by_topic.pop(self._topics.readings(kept.feed.job, fed.name), None)

    def _step_down(self, job: str) -> None:
        """Another keeps the job from now on. A crossing under way is judged there, from frames that were held back."""
        kept = self.kept.pop(job)
        for fed in list(kept.feeders.values()):
            self._drop(kept, fed)
        kept.feed.published = False
        kept.feed.receiver.pending = None
        self._wire.unsubscribe([self._topics.readings(job)])

    def _give_up(self, job: str) -> None:
        self._publish(self.kept[job], self._hub.now())
        self._step_down(job)
        self._wire.publish(self._topics.keeper(job), b"", qos=1, retain=True)

    async def come_back(self) -> None:
        """The broker is here again: go on with what no other has taken over. Raises `Away`."""
        for job in list(self.kept):
            keeper = self._roll.keeper(job)
            if keeper is None:
                self._name(job)
            elif keeper != self._roll.me:
                self._step_down(job)
        if self.kept:
            await self._wire.subscribe([(self._topics.readings(job), 0) for job in self.kept])
        for kept in self.kept.values():
            kept.number = None

    def lost(self) -> None:
        """The broker is away: nothing that was asked of it comes, and a feeder unheard is not one that fell silent."""
        for kept in self.kept.values():
            kept.back |= kept.feeders.keys()
            for fed in list(kept.feeders.values()):
                self._drop(kept, fed)
        for waiting in self._claims.values():
            waiting.cancel()
        self._claims.clear()

    def close(self) -> None:
        """The service stops: others may keep its jobs, and nothing shows an old number for a new one."""
        for job in list(self.kept):
            self._give_up(job)

    def _start(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._done)

    def _done(self, task: asyncio.Task[None]) -> None:
        self._tasks.discard(task)
        if not task.cancelled() and task.exception() is not None:
            _log.error("a feeder could not be looked at", exc_info=task.exception())


def _problem(problem: Problem) -> dict[str, Any]:
    return {"problem": json.loads(bytes(as_response(problem).body))}
