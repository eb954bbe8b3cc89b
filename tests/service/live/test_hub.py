"""Feeds kept up with their logs, whatever is recorded while the sensors of a new machine are being read."""

import asyncio
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from kinematics.errors import Fault, Refused
from kinematics.sensor_set import SensorSet
from kinematics.striking import InPlane
from service.book import payloads as p
from service.book.state import JobState, Named, fold
from service.live.clock import SenderClock
from service.live.feed import Feed
from service.live.hub import IDLE_S, Hub

from .making import run, sensed
from .test_feed import LASER, REST, SLAB, Sender, state

TRENCHING = Named("trenching-600", "2" * 64)


class Log:
    """One job's log; what is asked of profiles takes until it is let."""

    def __init__(self) -> None:
        self.told = state()
        self.ready = threading.Event()
        self.ready.set()
        self.wrong: Exception | None = None

    def now(self) -> datetime:
        return datetime.now(UTC)

    def state(self, _job: str) -> JobState:
        return self.told

    def latest(self, _job: str) -> JobState:
        return self.told

    def damage(self, _job: str) -> None:
        return None

    def later_revisions(self, _state: JobState) -> list[object]:
        return []

    def sensed(self, asked: JobState) -> SensorSet:
        assert self.ready.wait(5.0)
        if self.wrong is not None:
            raise self.wrong
        return sensed("crawler-14t", "trenching-600") if asked.attachment == TRENCHING else sensed()


async def nothing(_feed: Feed, _made: list[InPlane], _now: float) -> None:
    """No strikes here."""


async def fitted(feed: Feed) -> None:
    async with asyncio.timeout(5.0):
        while feed.fitting:
            await asyncio.sleep(0.005)


async def opened(log: Log) -> tuple[Hub, Feed]:
    hub = Hub(log, nothing)  # type: ignore[arg-type]  # as much of a keeper as it asks
    return hub, await hub.feed("pit")


def test_entries_while_the_sensors_are_read_anew() -> None:
    log = Log()

    async def go() -> None:
        hub, feed = await opened(log)
        assert "tilt" in feed.channels
        log.ready.clear()
        log.told = replace(state(), attachment=TRENCHING)
        hub.keep_up(feed)
        assert feed.fitting
        assert [each.code for each in feed.silent(0.0)] == ["no-setup"]
        # A laser and a benchmark in the meantime.
        for more in ((LASER,), (LASER, SLAB)):
            log.told = replace(state(*more), attachment=TRENCHING)
            hub.keep_up(feed)
        log.ready.set()
        await fitted(feed)
        assert "boom" in feed.channels
        assert "tilt" not in feed.channels
        assert feed.state is log.told
        assert feed.receiver.striking is not None

    run(go())


def test_a_log_that_has_lost_entries_is_followed() -> None:
    """A server was set back to a backup: what was lost is not shown on."""
    log = Log()

    async def go() -> None:
        log.told = state(SLAB, LASER)
        hub, feed = await opened(log)
        assert feed.receiver.striking is not None
        log.told = state(SLAB)
        hub.keep_up(feed)
        assert feed.state is log.told
        assert feed.receiver.striking is None

    run(go())


def test_a_feed_just_opened_is_not_idle() -> None:
    """By a clock that has run for days: dropped at once, its feeder would feed what no viewer looks at."""

    async def go() -> None:
        hub = Hub(Log(), nothing, monotonic=lambda: 1e6)  # type: ignore[arg-type]
        opening = asyncio.create_task(hub._open("pit"))
        feed = await opening
        hub._drop_idle(IDLE_S)
        assert hub.known("pit") is feed
        assert await hub.feed("pit") is feed

    run(go())


def test_another_machine_while_the_sensors_are_read_anew() -> None:
    """Back to the first: the sensors of neither are those of the other."""
    log = Log()

    async def go() -> None:
        hub, feed = await opened(log)
        log.ready.clear()
        log.told = replace(state(), attachment=TRENCHING)
        hub.keep_up(feed)
        log.told = state(SLAB)
        hub.keep_up(feed)
        log.ready.set()
        await fitted(feed)
        await asyncio.sleep(0.05)  # the other reading may end later
        assert "tilt" in feed.channels
        assert feed.state is log.told

    run(go())


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        (Refused([Fault("missing-joint", "sensors", "none", "one")]), "missing-joint"),
        (OSError("a disk that is gone"), "database"),
    ],
)
def test_sensors_that_cannot_be_read(wrong: Exception, code: str, caplog: pytest.LogCaptureFixture) -> None:
    """A reason, rather than "a moment ago" for ever."""
    log = Log()

    async def go() -> None:
        hub, feed = await opened(log)
        log.wrong = wrong
        log.told = replace(state(), attachment=TRENCHING)
        hub.keep_up(feed)
        await fitted(feed)
        assert [each.code for each in feed.silent(0.0)] == [code]
        assert feed.channels == {}
        # Recorded once more it is asked again.
        log.wrong, log.told = None, state(SLAB)
        hub.keep_up(feed)
        await fitted(feed)
        assert "tilt" in feed.channels

    run(go())
    assert ("could not be read" in caplog.text) == (code == "database")


def test_those_who_ask_at_once_share_a_feed() -> None:
    log = Log()

    async def go() -> None:
        hub = Hub(log, nothing)  # type: ignore[arg-type]
        log.ready.clear()
        asking = [asyncio.ensure_future(hub.feed("pit")) for _ in range(20)]
        await asyncio.sleep(0)
        asking[0].cancel()  # one who left spoils it for nobody
        log.ready.set()
        found = await asyncio.gather(*asking[1:])
        assert len(set(map(id, found))) == 1

    run(go())


def test_a_feed_opened_after_a_move_takes_nothing_from_before_it() -> None:
    """A feeder that connects late brings what it had waiting; what was read before the move is no reading of now."""
    log = Log()
    ago = timedelta(seconds=1.0)
    log.told = fold(
        [replace(each, recorded_utc=each.recorded_utc - ago) for each in state(p.Moved()).entries]
    )

    async def go() -> None:
        hub, feed = await opened(log)
        now = hub.now()
        for read_ago, codes in ((1.2, {"observed-before", "sensor-quiet"}), (0.2, set())):
            sender = Sender(feed, now)
            sender.link.clock = SenderClock(now)
            assert sender.link.clock.answer(sender.link.clock.ask(now), 0.0, now) is None
            feed.links.clear()
            for name, each in REST.items():
                assert feed.take(sender.link, {"sensor": name, "at_s": -read_ago, **each}, now) is None
            assert {each.code for each in feed.silent(now)} <= codes
            assert feed.fresh(now) == (not codes)
            assert bool(feed.silent(now)) == bool(codes)
            assert feed.track is not None
            assert bool(feed.track.latest()) == (not codes)

    run(go())
