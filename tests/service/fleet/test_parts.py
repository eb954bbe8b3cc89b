"""The parts of the service's broker side, without a broker: who keeps what, frames by number, snapshots, payloads."""

import asyncio
import json
import math
from collections import Counter
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import Fault
from service.access.caller import LOCAL, Caller
from service.broker.topics import Topics
from service.fleet.asking import Asking
from service.fleet.envelopes import Here, document, here_of, wrong_frame
from service.fleet.fed import HELD_FRAMES, HELD_S, Fed, Followed
from service.fleet.roll import Roll
from service.fleet.snapshot import agrees, restored, snapshot
from service.live.feed import Feed, Fitted
from service.live.feeding import Over
from tests.service.live.making import Json, at_rest, dated, said, sensed
from tests.service.live.test_feed import state

REST = said(at_rest())
ME, OTHER = "0123abcd", "4567abcd"


# Who keeps what.


@given(st.lists(st.tuples(st.sampled_from([ME, OTHER, "89abcdef"]), st.booleans()), max_size=12))
def test_all_who_hear_the_same_agree_on_who_keeps_a_job(heard: list[tuple[str, bool]]) -> None:
    """The last name of one who is there; at most one holds itself for the keeper."""
    rolls = [Roll(name) for name in (ME, OTHER, "89abcdef")]
    for roll in rolls:
        for name in (ME, OTHER):
            roll.hear_service(name, there=True)
        for name, named in heard:
            roll.hear_keeper("pit", name if named else None)
    assert len({roll.keeper("pit") for roll in rolls}) == 1
    assert sum(roll.mine("pit") for roll in rolls) <= 1
    assert not rolls[2].mine("pit"), "it is not there"


def test_a_name_counts_while_its_service_is_there() -> None:
    roll = Roll(ME)
    roll.hear_service(OTHER, there=True)
    roll.hear_keeper("pit", OTHER)
    assert roll.keeper("pit") == OTHER
    roll.hear_service(OTHER, there=False)
    assert roll.keeper("pit") is None
    roll.hear_service(OTHER, there=True)
    assert roll.keeper("pit") == OTHER
    roll.forget()
    assert roll.keeper("pit") is None


def test_one_that_says_nothing_for_long_is_not_there() -> None:
    roll = Roll(ME)
    for name, at in ((ME, 0.0), (OTHER, 5.0)):
        roll.hear_service(name, there=True, at=at)
    roll.hear_keeper("pit", OTHER)
    assert (roll.silent(5.0), roll.keeper("pit")) == ([], OTHER)
    roll.hear_service(OTHER, there=True, at=9.0)
    assert (roll.silent(9.0), roll.keeper("pit")) == ([], OTHER)
    assert (roll.silent(9.1), roll.keeper("pit")) == ([OTHER], None)
    assert ME in roll.services, "it knows that of itself"


# Frames by number.


class Hall:
    """As much of a hub as a feeder needs, with a clock that a test sets."""

    clock = ME

    def __init__(self) -> None:
        self.at = 100.0

    def now(self) -> float:
        return self.at

    def caught_up(self, _feed: Feed) -> None:
        """Nothing strikes here."""


def fed(first: int = 1, per_s: float = 2000.0) -> tuple[Fed, Hall, list[Json]]:
    """A feeder whose clock is ours, and what it is told at once."""
    hall = Hall()
    told: list[Json] = []

    async def check(_: Feed) -> Caller:
        return LOCAL

    found = Fed(
        hall, Feed("pit", Fitted(state(), sensed())), LOCAL, "cab", Here("abcd", first), told.append, per_s=per_s,  # type: ignore[arg-type]
        welcome=lambda _: {}, check=check,
    )  # fmt: skip
    found.begin()
    found.heard(json.dumps({"stream": "abcd", **answer(list(found.due()), hall)}).encode())
    return found, hall, told


def answer(told: list[Json], hall: Hall) -> Json:
    asked = told[0]
    assert asked["of"] == ME
    return {"clock": asked["clock"], "of": ME, "at_s": hall.at}


def frame(n: int, at_s: float = 99.9, what: Any = None) -> bytes:
    readings = dated(REST, at_s) if what is None else what
    return json.dumps({"stream": "abcd", "n": n, "readings": readings}).encode()


@given(st.lists(st.integers(1, 12), max_size=60))
def test_whatever_comes_is_taken_once_and_in_order(numbers: list[int]) -> None:
    """Frames in any order, any number of times: taken is the longest run from the first that came in turn."""
    found, _, told = fed()
    wanted = 1
    for n in numbers:
        found.heard(frame(n, 90.0 + 0.1 * n))
        wanted += n == wanted
    boom = found.feed.channels["boom"]
    assert boom.taken == wanted - 1
    assert found.next == wanted
    assert found.taken(100.0) == wanted - 1
    assert boom.counts == Counter()
    assert all(each["from"]["n"] <= wanted for each in told)


def test_a_gap_is_asked_for_at_once_and_then_now_and_again() -> None:
    found, hall, told = fed()
    for n in (2, 3, 4):
        found.heard(frame(n))
    assert told == [{"from": {"stream": "abcd", "n": 1}}]
    hall.at += 1.0
    found.heard(frame(5))
    assert len(told) == 2


def test_what_it_no_longer_has_is_not_waited_for() -> None:
    found, _, _ = fed()
    found.heard(frame(1))
    found.again(Here("abcd", 7))
    assert found.next == 7
    assert found.feed.counts["skipped"] == 5
    found.again(Here("abcd", 3))
    assert found.next == 7, "what was taken is not taken twice"


def test_the_last_of_a_stream_that_stopped_is_asked_for() -> None:
    found, hall, _ = fed()
    found.heard(frame(1))
    list(found.due())
    hall.at += 1.0
    found.again(Here("abcd", 2, last=3))
    assert {"from": {"stream": "abcd", "n": 2}} in list(found.due())


def test_frames_are_held_back_while_a_crossing_may_hang_on_them() -> None:
    found, hall, _ = fed()
    found.feed.receiver.striking = SimpleNamespace()  # type: ignore[assignment]  # one that there is
    for n in range(1, 201):
        found.heard(frame(n, hall.at - 0.05))
        hall.at += 0.05
    # Marks are set four times a second.
    assert found.taken(hall.at) == 0
    hall.at += HELD_S - 10.0 + 0.5
    assert 0 < found.taken(hall.at) <= 20
    for n in range(201, HELD_FRAMES + 101):
        found.heard(frame(n, hall.at - 0.001, []))
        hall.at += 0.001
    assert found.taken(hall.at) >= 95
    assert found.next - 1 - found.taken(hall.at) == HELD_FRAMES


def test_a_flood_is_not_taken_and_asked_for_again_later() -> None:
    found, hall, _ = fed(per_s=10.0)
    for n in range(1, 6):
        found.heard(frame(n, 99.0 + 0.1 * n))
    took = found.next - 1
    assert 1 <= took < 5
    assert found.feed.counts["slowed"] > 0
    hall.at += 10.0
    assert {"from": {"stream": "abcd", "n": took + 1}} in list(found.due())


@pytest.mark.parametrize("count", [199, 200])
def test_garbage_without_end(count: int) -> None:
    found, hall, _ = fed(per_s=1e6)
    ended = False
    for _ in range(count):
        hall.at += 0.01
        try:
            found.heard(b"x")
        except Over:
            ended = True
    assert ended is (count >= 200)


def test_another_service_s_questions_are_not_ours() -> None:
    found, _, _ = fed()
    found.heard(b'{"stream": "abcd", "clock": 1, "of": "4567abcd", "at_s": 5.0}')
    assert found.feed.counts == Counter()


def test_one_who_follows_waits_for_the_clock_and_tells_nothing() -> None:
    hall = Hall()
    feed = Feed("pit", Fitted(state(), sensed()))
    follows = Followed(hall, feed, "cab", "abcd", per_s=2000.0)  # type: ignore[arg-type]
    follows.begin()
    follows.heard(frame(1))
    assert feed.counts == Counter()
    follows.heard(json.dumps({"stream": "abcd", **answer(list(follows.due()), hall)}).encode())
    for n in (2, 3, 3, 5, 4):
        follows.heard(frame(n, 99.0 + 0.1 * n))
    assert feed.channels["boom"].taken == 3
    assert feed.counts == Counter()
    assert list(follows.due()) == []
    before = follows.before()
    assert (before.stream, before.last) == ("abcd", 5)


# Snapshots.


def test_a_snapshot_is_restored_to_the_letter() -> None:
    found, hall, _ = fed()
    for n in range(1, 40):
        found.heard(frame(n, hall.at - 0.03))
        hall.at += 0.05
    here = Feed("pit", Fitted(state(), sensed()))
    text = json.loads(json.dumps(snapshot(found.feed, hall.at), allow_nan=False))
    assert agrees(text, here)
    back, now = restored(text, here)
    assert now == hall.at
    assert back.track is not None
    assert found.feed.track is not None
    for name, channel in found.feed.channels.items():
        assert len(back.track.window(name, -math.inf, math.inf)) == 39
        assert back.track.window(name, -math.inf, math.inf) == found.feed.track.window(
            name, -math.inf, math.inf
        )
        assert (back.channels[name].born, back.channels[name].value) == (channel.born, channel.value)
    assert back.silent(now) == found.feed.silent(now) == []
    assert not agrees(text | {"stands": [3]}, here)


# Payloads.


@given(st.binary(max_size=300))
def test_any_bytes(payload: bytes) -> None:
    """Objects or a fault, never an error."""
    here_of(payload)
    found = document(payload)
    if isinstance(found, dict):
        wrong_frame(found)


@pytest.mark.parametrize(
    ("payload", "good"),
    [
        (b'{"stream": "abcd", "next": 1}', True), (b'{"stream": "abcd", "next": 1, "last": 0}', True),
        (b'{"stream": "abcd", "next": 1, "token": "x", "last": 3}', True), (b'{"stream": "abcd"}', False),
        (b'{"stream": "abcd", "next": 0}', False), (b'{"stream": "abcd", "next": 1.0}', False),
        (b'{"stream": "abcd", "next": true}', False), (b'{"stream": "abcd", "next": 1, "last": -1}', False),
        (b'{"stream": "abc", "next": 1}', False), (b'{"stream": "abcd", "next": 1, "token": 3}', False),
        (b'{"stream": "abcd", "next": 1, "more": 3}', False), (b'{"stream": "abcd", "next": 1e400}', False),
        (b'{"stream": "abcd", "next": 9007199254740992}', False), (b'{"stream": null, "next": 1}', False),
    ],
)  # fmt: skip
def test_who_says_that_it_is_there(payload: bytes, good: bool) -> None:
    found = here_of(payload)
    assert isinstance(found, Here) is good
    if isinstance(found, Here):
        assert here_of(json.dumps(found.said()).encode()) == found
    else:
        assert isinstance(found, Fault)
        assert found.code == "bad-frame"


# Questions.


def test_questions_find_their_answers() -> None:
    async def go() -> None:
        topics = Topics()
        one: Asking

        def from_other(topic: str, payload: str, reply: tuple[str, bytes]) -> None:
            assert topic == topics.of_service(ME, "answers")
            assert one.answered(b'{"answer": {"not": "this"}}', ("", b"another")) is None
            assert one.answered(payload.encode(), reply) is None

        def from_one(topic: str, payload: str, reply: tuple[str, bytes]) -> None:
            assert topic == topics.of_service(OTHER, "asked")
            assert other.asked(payload.encode(), reply) is None

        other = Asking(topics, OTHER, from_other, lambda what, job: {"what": what} if job == "pit" else None)
        one = Asking(topics, ME, from_one, lambda *_: None)
        assert await one.ask(OTHER, "seconds", "pit") == {"what": "seconds"}
        assert await one.ask(OTHER, "seconds", "quarry") is None
        silent = Asking(topics, ME, lambda *_: None, lambda *_: None)
        assert await silent.ask(OTHER, "seconds", "pit") is None

    asyncio.run(go())


@pytest.mark.parametrize(
    ("payload", "reply"),
    [(b"x", ("tipdatum/1/services/0123abcd/answers", b"1")), (b'{"ask": "seconds", "job": "pit"}', None),
     (b'{"ask": "seconds", "job": "pit"}', ("elsewhere", b"1")), (b'{"ask": 1, "job": "pit"}', None),
     (b'{"ask": 1, "job": "pit"}', ("tipdatum/1/services/0123abcd/answers", b"1"))],
)  # fmt: skip
def test_questions_that_are_none(payload: bytes, reply: tuple[str, bytes] | None) -> None:
    """Nothing is sent where it does not belong."""

    def send(*_: object) -> None:
        raise AssertionError

    found = Asking(Topics(), ME, send, lambda *_: {}).asked(payload, reply)
    assert isinstance(found, Fault)
