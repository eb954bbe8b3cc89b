"""Strikes that wait for their counterpart: whose they are, and what becomes of them meanwhile."""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest
from sqlalchemy.exc import OperationalError
from starlette.requests import HTTPConnection

from kinematics.crossing_seen import CrossingSeen
from kinematics.striking import InPlane
from service.access.caller import LOCAL
from service.api.standing import still_allowed
from service.book import payloads as p
from service.live import strikes
from service.live.clock import SenderClock
from service.live.feed import Feed, Fitted
from service.live.receiver import GRACE_S, Link, Waiting
from service.problems import Problem

from .making import sensed
from .test_feed import state

PASSED = InPlane(10.0, 9.9, 10.1, 3, None, None, left=True)


def seen(at_s: float = 10.0, *, up: bool | None = True) -> CrossingSeen:
    return CrossingSeen(PASSED, at_s, {}, {}, 2.0, up, 0.02, 0.0, 0.0, 1.5)


class Keeper:
    """Records nothing; says what it was asked to."""

    def __init__(self) -> None:
        self.recorded: list[str] = []

    def now(self) -> datetime:
        return datetime.now(UTC)


@pytest.fixture
def keeper(monkeypatch: pytest.MonkeyPatch) -> Keeper:
    made = Keeper()

    def record(_keeper: Any, _job: str, _asked: Any, last: Waiting, *_: Any) -> tuple[Any, int]:
        made.recorded.append(last.link.caller.name)
        return SimpleNamespace(taken=True, because=(), role="sets the laser plane"), 12

    monkeypatch.setattr(strikes, "_record", record)
    monkeypatch.setattr(strikes, "_asked", lambda *_: None)
    return made


@pytest.fixture
def feed() -> Feed:
    return Feed("pit", Fitted(state(), sensed()))


def judge(keeper: Keeper, feed: Feed, now: float) -> None:
    feed.receiver.crossed(now)  # as whoever has crossings judged looks for them before
    asyncio.run(strikes.judge(keeper, feed, [], now))  # type: ignore[arg-type]  # as much of a keeper as it asks


def link(name: str, check: Callable[[], Awaitable[None]] | None = None) -> Link:
    return Link(SenderClock(0.0), replace(LOCAL, name=name), check=check)


def settle(keeper: Keeper, feed: Feed, waiting: Waiting, now: float = 20.0) -> dict[str, Any]:
    feed.receiver.pending = waiting
    judge(keeper, feed, now)
    assert feed.receiver.last is not None
    return feed.receiver.last


def test_in_the_name_of_who_fed_it(keeper: Keeper, feed: Feed) -> None:
    anna = link("anna")
    feed.links.add(anna)
    told = settle(keeper, feed, Waiting(seen(), anna, feed.state))
    assert (told["verdict"], told["seq"]) == ("taken", 12)
    assert keeper.recorded == ["anna"]
    assert feed.receiver.pending is None


def test_not_before_its_counterpart_could_have_been_told(keeper: Keeper, feed: Feed) -> None:
    anna = link("anna")
    feed.links.add(anna)
    feed.receiver.pending = Waiting(seen(), anna, feed.state)
    judge(keeper, feed, 14.0 + GRACE_S)
    assert feed.receiver.pending is not None
    assert keeper.recorded == []


def test_whoever_fed_it_has_gone(keeper: Keeper, feed: Feed) -> None:
    told = settle(keeper, feed, Waiting(seen(), link("anna"), feed.state))
    assert told["verdict"] == "turned down"
    assert [each["code"] for each in told["because"]] == ["feeder-gone"]
    assert keeper.recorded == []


def test_whoever_fed_it_may_no_longer(keeper: Keeper, feed: Feed) -> None:
    async def revoked() -> None:
        raise Problem("unauthenticated", [])

    anna = link("anna", revoked)
    feed.links.add(anna)
    told = settle(keeper, feed, Waiting(seen(), anna, feed.state))
    assert (told["verdict"], told["seq"]) == ("turned down", None)
    assert keeper.recorded == []


def test_another_feeder_begins_anew(feed: Feed) -> None:
    """One bit of another does not finish what the first began, and what waits is not that one's."""
    anna, bert = link("anna"), link("bert")
    for each in (anna, bert):
        assert each.clock.answer(each.clock.ask(0.0), 0.0, 0.0) is None
    feed.adopt(state(p.LaserSetUp(revolutions_per_s=10.0, fall_percent=0.0)), -1.0)
    for k in range(4):
        now = 1.0 + 0.1 * k
        assert feed.take(anna, {"receiver_hit": True, "at_s": now}, now) is None
    feed.receiver.pending = Waiting(seen(), anna, feed.state)
    assert feed.take(bert, {"receiver_hit": False, "at_s": 4.0}, 4.0) is None
    assert feed.receiver.pending is None
    assert feed.receiver.link is bert
    assert feed.receiver.crossed(9.0) == []


def test_another_machine_has_come_meanwhile(keeper: Keeper, feed: Feed) -> None:
    """What was read of the one before is not held against its sensors."""
    anna = link("anna")
    feed.links.add(anna)
    waiting = Waiting(seen(), anna, feed.state)
    feed.adopt(state(p.Moved()), 15.0)
    told = settle(keeper, feed, waiting)
    assert [each["code"] for each in told["because"]] == ["observed-before"]
    assert keeper.recorded == []


def test_a_right_that_cannot_be_read_ends_in_words() -> None:
    """A database that does not answer: a problem that the stream is told, not a fault of ours in its log."""

    class Silent:
        async def again(self, _headers: Any, _sender: str, *, secure: bool) -> None:
            raise OperationalError("select", {}, Exception(f"locked, secure: {secure}"))

    app = SimpleNamespace(state=SimpleNamespace(access=Silent()))
    scope = {
        "type": "websocket",
        "scheme": "ws",
        "headers": [],
        "app": app,
        "sender": "here",
        "caller": LOCAL,
    }
    with pytest.raises(Problem) as caught:
        asyncio.run(still_allowed(HTTPConnection(scope)))
    assert caught.value.slug == "database"
