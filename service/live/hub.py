"""Every job's feed, kept up with its log, and what has to happen though no reading comes."""

import asyncio
import logging
import math
import secrets
from collections import Counter
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace

from anyio import CapacityLimiter, to_thread
from fastapi.concurrency import run_in_threadpool

from kinematics.errors import Fault, Refused
from service.book.holding import Damage
from service.book.keeper import Keeper
from service.book.state import JobState
from service.book.trusting import sets_of
from service.clock import Steps, seconds

from .feed import FITTING, Feed, Fitted, stands
from .receiver import Passed
from .warm import warm

# A viewer hears of a sensor gone quiet at most so long after its limit.
TICK_S = 0.05
# Another process may write the same log; a viewer must not read an old one for longer. Where several services share the
# database that is usual, and looked for more often.
LOOK_EVERY_S, LOOK_EVERY_SHARED_S = 1.0, 0.25
# A viewer hears that all is as it was.
HEARTBEAT_S = 1.0
IDLE_S = 3600.0
MOST_FEEDS = 1000

Struck = Callable[[Feed, list[Passed], float], Awaitable[None]]
_log = logging.getLogger("tipdatum")


@dataclass(frozen=True, slots=True)
class Seen:
    """The live door at a moment, in numbers; counts are those since the service began.

    `quiet`: jobs that are fed and have no number; `lag_s`: how late it ticked at worst since this was last asked;
    `set_s`: by how much the computer's clock was set, on and back.
    """

    feeds: int
    feeders: int
    viewers: int
    quiet: int
    oldest_s: float
    lag_s: float
    taken: int
    refused: Counter[str]
    verdicts: Counter[str]
    set_s: float


class Hub:
    """The feeds by job. For the event loop; the database is asked on a thread."""

    def __init__(
        self, keeper: Keeper, struck: Struck, monotonic: Callable[[], float] = seconds, *,
        look_every_s: float = LOOK_EVERY_S, steps: Steps | None = None,
    ) -> None:  # fmt: skip
        self._keeper = keeper
        self._steps = steps or Steps()
        self._look_every_s = look_every_s
        self._blind = False
        self._struck = struck
        self._feeds: dict[str, Feed] = {}
        self._opening: dict[str, asyncio.Task[Feed]] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        self._judging: set[str] = set()
        self._passed: dict[str, list[Passed]] = {}
        self._reading: set[str] = set()
        self._looked = 0.0
        self._looking = asyncio.Lock()
        self._thread = CapacityLimiter(1)
        self._lag_s = 0.0
        self._gone_taken, self._gone_refused, self._gone_verdicts = 0, Counter[str](), Counter[str]()
        self.closing = False
        self.clock = secrets.token_hex(4)  # what `now` is of: seconds of another run are none of this one's
        self.now = monotonic

    def close(self) -> None:
        """The service stops: streams that would go on for ever end now."""
        self.closing = True
        for feed in self._feeds.values():
            feed.changed()

    async def feed(self, job: str) -> Feed:
        """The feed of a job, from now on kept up with its log. Raises the store's `JobUnknown`."""
        found = self._feeds.get(job)
        if found is None:
            opening = self._opening.get(job)
            if opening is None:
                opening = self._opening[job] = asyncio.create_task(self._open(job))
                opening.add_done_callback(lambda _: self._opening.pop(job, None))
            found = await asyncio.shield(opening)
        else:
            await run_in_threadpool(self._keeper.state, job)
        self.keep_up(found)
        found.used = self.now()
        return found

    async def _open(self, job: str) -> Feed:
        state = await run_in_threadpool(self._keeper.state, job)
        feed = Feed(job, await run_in_threadpool(self._fitted, state), self._stood(state))
        feed.used = (
            self.now()
        )  # else it would count as idle for as long as the clock runs, and whoever asked feed nobody
        if len(self._feeds) >= MOST_FEEDS:
            self._drop_idle(1.0)  # not what was just asked for
        self._feeds[job] = feed
        return feed

    def _stood(self, state: JobState) -> float:
        """When the log last said how machine, laser and receiver stand, by our clock."""
        elapsed = [
            (self._keeper.now() - state.entries[seq - 1].recorded_utc).total_seconds()
            for seq in stands(state)
        ]
        return self.now() - max(elapsed[0], 0.0) if elapsed else -math.inf

    @property
    def feeds(self) -> list[Feed]:
        """Of all jobs that have had one lately."""
        return list(self._feeds.values())

    def known(self, job: str) -> Feed | None:
        """The feed of a job that has had one lately."""
        return self._feeds.get(job)

    def _fitted(self, state: JobState) -> Fitted:
        """What stands on the job with its sensors; reads the database where it must."""
        if state.machine is None or state.attachment is None:
            return Fitted(state, None, (_NO_SETUP,))
        self._keeper.later_revisions(state)  # streams tell what was seen of it
        try:
            sensors = self._keeper.sensed(state)
        except Refused as refused:
            return Fitted(state, None, refused.faults)
        if sensors is None:
            return Fitted(state, None, (_no_sensors(state),))
        warm(sensors)
        return Fitted(state, sensors, sets=sets_of(self._keeper, state, sensors))

    def keep_up(self, feed: Feed) -> None:
        """Bring a feed to what its job's log says now, as far as this process has read it."""
        damage = self._keeper.damage(feed.job)
        if damage is not None:  # what stands in memory is from before something that cannot be read
            why = (_withheld(damage),)
            if feed.why != why:
                feed.fit(Fitted(feed.state, None, why), self.now())
            return
        state = self._keeper.latest(feed.job)
        if state is not None and state is not feed.state:
            now = self.now()
            if _on_the_job(state) == _on_the_job(feed.state):
                feed.adopt(state, now)
            else:
                feed.fit(Fitted(state, None, (FITTING,)), now)
                self._start(self._refit(feed, state))
        if feed.unread and feed.job not in self._reading:
            self._reading.add(feed.job)
            self._start(self._read_stands(feed))

    async def _read_stands(self, feed: Feed) -> None:
        """The sensors of stands of long ago, on which what a withdrawal brought back may rest."""
        state, sensors = feed.state, feed.sensors
        try:
            sets = await run_in_threadpool(sets_of, self._keeper, state, sensors)
            if sensors is feed.sensors:
                feed.know(sets)
        except Exception:  # a database that does not answer
            _log.exception("earlier stands of %s could not be read", feed.job)
            await asyncio.sleep(LOOK_EVERY_S)
        finally:
            self._reading.discard(feed.job)

    async def _refit(self, feed: Feed, state: JobState) -> None:
        try:
            fitted = await run_in_threadpool(self._fitted, state)
        except Exception:  # a database that does not answer
            _log.exception("the sensors of %s could not be read", feed.job)
            fitted = Fitted(state, None, (_UNREAD,))
        if self._keeper.damage(feed.job) is not None:
            return
        if _on_the_job(feed.state) == _on_the_job(state):  # whatever else was recorded meanwhile
            feed.fit(replace(fitted, state=feed.state), self.now())

    def _start(self, work: Awaitable[None]) -> None:
        task = asyncio.ensure_future(work)
        self._tasks.add(task)  # else it may be collected under way
        task.add_done_callback(self._done)

    def _done(self, task: asyncio.Task[None]) -> None:
        self._tasks.discard(task)
        if not task.cancelled() and task.exception() is not None:
            _log.error("a task of the live door failed", exc_info=task.exception())

    async def run(self) -> None:
        """Tick until cancelled: strikes that are complete, sensors gone quiet, logs written elsewhere."""
        while True:
            due = self.now() + TICK_S
            await asyncio.sleep(TICK_S)
            self._lag_s = max(self._lag_s, self.now() - due)
            try:
                await self._tick()
            except Exception:
                _log.exception("a tick of the live door failed")

    async def _tick(self) -> None:
        now = self.now()
        looks = now - self._looked >= self._look_every_s
        for feed in list(self._feeds.values()):
            self.keep_up(feed)
            self._strikes(feed, now)
            if feed.viewers or feed.published:
                late = feed.told < feed.deadline() <= now
                if late or now - max(feed.told, feed.arrived) >= HEARTBEAT_S:
                    feed.told = now
                    feed.changed()
        if looks:
            self._looked = now
            self._look_at_the_clock()
            self._drop_idle(IDLE_S)
            busy = [feed.job for feed in self._feeds.values() if feed.viewers or feed.links or feed.published]
            if busy and not self._looking.locked():
                self._start(self._look(busy))

    def _look_at_the_clock(self) -> None:
        step = self._steps.look()
        if step:
            _log.warning(
                "the computer's clock was set %s by %.0f s: live numbers and ages do not go by it, the dates of entries, "
                "tokens and certificates do",
                "on" if step > 0.0 else "back",
                abs(step),
            )

    def _strikes(self, feed: Feed, now: float) -> None:
        receiver = feed.receiver
        if receiver.striking is None or feed.follows or feed.track is None:
            return
        seen = feed.seen_to(now)
        made = receiver.crossed(seen)
        if made:  # now: what comes after drives these readings out
            track = feed.track.copy(feed.reach(seen), seen)
            self._passed.setdefault(feed.job, []).extend(Passed(each, track, feed.state) for each in made)
        if (feed.job in self._passed or receiver.waited(seen)) and feed.job not in self._judging:
            self._judging.add(feed.job)
            self._start(self._judge(feed))

    def caught_up(self, feed: Feed) -> None:
        """Readings of a while ago have come, and more of them may: look for crossings before they do."""
        self._strikes(feed, self.now())

    async def _judge(self, feed: Feed) -> None:
        """One after the other."""
        try:
            await self._struck(feed, self._passed.pop(feed.job, []), self.now())
        finally:
            self._judging.discard(feed.job)

    async def _look(self, jobs: list[str]) -> None:
        """On a thread of its own: a database busy with others must not keep a sensor's silence from being told."""
        async with self._looking:
            try:
                await to_thread.run_sync(self._keeper.catch_up, jobs, limiter=self._thread)
                self._blind = False
            except Exception:
                if not self._blind:  # once, not at every look until it is back
                    _log.exception("what others recorded cannot be read")
                self._blind = True

    def _drop_idle(self, idle_s: float) -> None:
        now = self.now()
        for job, feed in list(self._feeds.items()):
            quiet = not (feed.viewers or feed.links or feed.published)
            if quiet and now - max(feed.used, feed.arrived) >= idle_s:
                self._gone_taken += feed.taken
                self._gone_refused += feed.counts
                self._gone_verdicts += feed.receiver.verdicts
                del self._feeds[job]

    def seen(self) -> Seen:
        """How it does, for whoever watches over the service."""
        now, feeds = self.now(), self._feeds.values()
        fed = [feed for feed in feeds if feed.links]
        ages = [now - feed.seen(now)[2] for feed in fed if feed.fresh(now)]
        lag_s, self._lag_s = self._lag_s, 0.0
        return Seen(
            len(feeds), sum(len(feed.links) for feed in feeds), sum(feed.viewers for feed in feeds),
            len(fed) - len(ages), max(ages, default=0.0), lag_s, self._gone_taken + sum(feed.taken for feed in feeds),
            sum((feed.counts for feed in feeds), self._gone_refused.copy()),
            sum((feed.receiver.verdicts for feed in feeds), self._gone_verdicts.copy()), self._steps.total_s,
        )  # fmt: skip


_NO_SETUP = Fault("no-setup", "", "a job without a machine", "a setup", "record a setup first")


_UNREAD = Fault(
    "database", "", "profiles that could not be read", "a database that answers", "record the setup once more"
)


def _withheld(damage: Damage) -> Fault:
    return Fault(
        damage.code, "", f"entry {damage.seq} of the log: {damage.at.found}", damage.at.expected,
        "start the later release that wrote it" if damage.later else
        "tipdatum verify tells what is wrong; bring back the last good backup (/guide/operations)",
    )  # fmt: skip


def _no_sensors(state: JobState) -> Fault:
    names = [repr(each.id) for each in (state.machine, state.attachment) if each is not None]
    return Fault(
        "no-sensors", "", f"no sensor in the profiles {' and '.join(names)}", "profiles with [sensors.NAME] tables",
        "describe the sensors (/guide/measuring), add the profile, and record a setup",
    )  # fmt: skip


def _on_the_job(state: JobState) -> tuple[object, ...]:
    return state.machine, state.attachment, state.receiver_place
