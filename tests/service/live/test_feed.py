"""One job's readings with hand-made times: what is taken, what is refused and counted, how old it is, who is named."""

import math
from dataclasses import replace
from typing import Any

import pytest

from kinematics.errors import Fault
from service.access.caller import LOCAL
from service.book import payloads as p
from service.book.state import Entry, JobState, Named, fold
from service.live.channel import Channel
from service.live.clock import SenderClock
from service.live.feed import Feed, Fitted, stands
from service.live.receiver import HANDED_ON_S, Link
from service.store import utc_now

from .making import Json, at_rest, said, sensed

# Ours is 1000 when theirs is 0.
ZERO = 1000.0
REST = said(at_rest())
LATENCY = {name: each.latency_s for name, each in sensed().all.items()}


def state(*more: p.Payload) -> JobState:
    """A job with the crawler on it, and further entries."""
    payloads = (p.JobOpened(name="A pit", units="m", datum="", rules=p.Rules()),
                p.SetupBegun(machine="crawler-14t", machine_hash="0" * 64, attachment="tilting-1800",
                             attachment_hash="1" * 64), *more)  # fmt: skip
    now = utc_now()
    return fold(
        [Entry(i + 1, p.NAMES[type(each)], each, "", "olaf", now, now) for i, each in enumerate(payloads)]
    )


SLAB = p.BenchmarkDeclared(name="slab", elevation_m=100.0, entered="100.0")
LASER = p.LaserSetUp(revolutions_per_s=10.0, fall_percent=0.0)


class Sender:
    """A connection whose clock shows 0 when ours shows 1000, to the bit."""

    def __init__(self, feed: Feed, now: float = ZERO) -> None:
        self.feed = feed
        self.link = Link(SenderClock(now), LOCAL)
        feed.links.add(self.link)
        self.knows(now)

    def knows(self, now: float) -> None:
        assert self.link.clock.answer(self.link.clock.ask(now), now - ZERO, now) is None

    def say(self, now: float, at: float | None = None, **reading: Any) -> str:
        """The code of the refusal of a reading got at `at` by our clock, "" if it was taken."""
        wrong = self.feed.take(self.link, reading | {"at_s": (now if at is None else at) - ZERO}, now)
        if wrong is None:
            return ""
        assert wrong.found
        assert wrong.expected
        return wrong.code

    def all(self, now: float, but: str = "") -> None:
        for name, each in REST.items():
            if name != but:
                assert self.say(now, sensor=name, **each) == ""


def fed(*more: p.Payload) -> tuple[Feed, Sender]:
    feed = Feed("pit", Fitted(state(*more), sensed()))
    return feed, Sender(feed)


def boom(deg: Any) -> Json:
    return {"sensor": "boom", "deg": deg}


def test_taken() -> None:
    feed, sender = fed()
    assert sender.say(1001.0, 1000.9, **boom(31.02)) == ""
    channel = feed.channels["boom"]
    assert channel.born == pytest.approx(1000.9 - LATENCY["boom"], abs=1e-9)
    assert channel.told() == pytest.approx(31.02, abs=1e-12)
    assert (channel.taken, channel.counts, feed.counts) == (1, {}, {})
    assert feed.said[channel.first] == math.radians(31.02)
    assert sender.say(1001.0, sensor="body", deg=[0.61, -0.4]) == ""
    assert feed.channels["body"].told() == pytest.approx([0.61, -0.4], abs=1e-12)


@pytest.mark.parametrize(
    ("said", "code"),
    [
        (True, "bad-reading"),
        (False, "bad-reading"),
        ("31", "bad-reading"),
        (None, "bad-reading"),
        ([31.0], "bad-reading"),
        ([31.0, 2.0], "bad-reading"),
        ({}, "bad-reading"),
        (math.nan, "not-finite"),
        (math.inf, "not-finite"),
        (-math.inf, "not-finite"),
        (180.1, "out-of-range"),
        (-1e8, "out-of-range"),
        (1e300, "out-of-range"),
        (10**30, "out-of-range"),
        (-(10**4000), "out-of-range"),
    ],
)
def test_no_reading(said: Any, code: str) -> None:
    feed, sender = fed()
    sender.all(1001.0)
    before = feed.channels["boom"].value
    assert sender.say(1001.1, **boom(said)) == code
    channel = feed.channels["boom"]
    assert channel.value == before
    assert channel.counts == {code: 1}
    assert feed.counts == {code: 1}
    assert channel.taken == 1


@pytest.mark.parametrize(
    ("said", "code"),
    [
        (3.0, "bad-reading"),
        ([], "bad-reading"),
        ([1.0], "bad-reading"),
        ([1.0, 2.0, 3.0], "bad-reading"),
        (["1", 2.0], "bad-reading"),
        ([1.0, None], "bad-reading"),
        ([True, 1.0], "bad-reading"),
        ([[1.0], 1.0], "bad-reading"),
        ([1.0, math.nan], "not-finite"),
        ([91.0, 0.0], "out-of-range"),
        ([0.0, 90.5], "out-of-range"),
        ([10**4000, 0], "out-of-range"),
    ],
)
def test_no_pair(said: Any, code: str) -> None:
    feed, sender = fed()
    assert sender.say(1001.0, sensor="body", deg=said) == code
    assert feed.channels["body"].value is None
    assert feed.channels["body"].counts == {code: 1}


@pytest.mark.parametrize(
    "reading",
    [{"sensor": "boom"}, {"sensor": "boom", "mm": 3.0}, {"sensor": "boom", "deg": 1.0, "mm": 1.0},
     {"sensor": "boom", "deg": 1.0, "note": "x"}, {"sensor": "boom", "error": 5}, {"sensor": "boom", "error": None},
     {"sensor": "boom", "deg": 1.0, "receiver_hit": True}],
)  # fmt: skip
def test_another_shape(reading: Json) -> None:
    feed, sender = fed(LASER)
    assert sender.say(1001.0, **reading) == "bad-reading"
    assert feed.channels["boom"].value is None


@pytest.mark.parametrize("name", ["lever", "", "BOOM", None, 3, True, ["boom"], {"boom": 1}, "x" * 5000])
def test_a_sensor_that_is_none(name: Any) -> None:
    feed, sender = fed()
    assert sender.say(1001.0, sensor=name, deg=1.0) == "no-such-sensor"
    assert feed.counts == {"no-such-sensor": 1}
    assert not any(channel.counts for channel in feed.channels.values())


def test_nothing_named_at_all() -> None:
    _, sender = fed()
    assert sender.say(1001.0, deg=1.0) == "no-such-sensor"


def test_an_error_is_told_until_a_reading_comes() -> None:
    feed, sender = fed()
    assert sender.say(1001.0, sensor="boom", error="not available") == "sensor-error"
    told = {each.where: each for each in feed.silent(1001.0)}
    assert told["boom"].advice == "not available"
    assert sender.say(1001.0, sensor="boom", error="x" * 500) == "sensor-error"
    assert len(feed.channels["boom"].words) <= 60
    sender.all(1001.2)
    told = {each.where: each for each in feed.silent(1003.0)}
    assert "xxx" not in told["boom"].advice, "it has been read since"
    assert feed.channels["boom"].words.startswith("xxx"), "for the health of the sensors"


def test_in_order() -> None:
    feed, sender = fed()
    assert sender.say(1001.0, 1000.5, **boom(1.0)) == ""
    assert sender.say(1001.1, 1000.5, **boom(1.0)) == "duplicate-reading"
    assert sender.say(1001.1, 1000.4, **boom(2.0)) == "out-of-order"
    assert feed.channels["boom"].told() == pytest.approx(1.0)
    assert sender.say(1001.1, 1000.50001, **boom(3.0)) == ""
    assert feed.channels["boom"].counts == {"duplicate-reading": 1, "out-of-order": 1}
    # Of one sensor alone.
    assert sender.say(1001.1, 1000.4, sensor="stick", deg=2.0) == ""


def test_from_the_future() -> None:
    feed, sender = fed()
    assert sender.say(1001.0, 1001.5, **boom(1.0)) == "future-dated"
    assert sender.say(1001.0, 1001.0, **boom(1.0)) == ""
    assert feed.counts == {"future-dated": 1}


@pytest.mark.parametrize("step", [30.0, -30.0])
def test_a_clock_that_is_set(step: float) -> None:
    """Until it is asked again nothing it says makes a number; then all goes on, and the old gets no younger."""
    feed, sender = fed()
    sender.all(1001.0)
    assert feed.fresh(1001.1)
    code = sender.say(1001.2, 1001.2 + step, **boom(5.0))
    assert code == ("future-dated" if step > 0 else "out-of-order")
    assert not feed.fresh(1002.0)
    link = sender.link.clock
    assert link.answer(link.ask(1005.0), 5.0 + step, 1005.0) is None
    sender_zero = ZERO - step
    wrong = feed.take(sender.link, boom(6.0) | {"at_s": 1005.1 - sender_zero}, 1005.1)
    assert wrong is None
    assert feed.channels["boom"].born == pytest.approx(1005.1 - LATENCY["boom"], abs=1e-3)
    assert [each.where for each in feed.silent(1005.1)] == [name for name in REST if name != "boom"]


def test_a_day_apart() -> None:
    feed = Feed("pit", Fitted(state(), sensed()))
    for apart in (86_400.0, -86_400.0):
        link = Link(SenderClock(1000.0), LOCAL)
        assert link.clock.answer(link.clock.ask(1000.0), 1000.0 + apart, 1000.01) is None
        now = 1001.0 if apart > 0 else 1004.0
        assert feed.take(link, boom(1.0) | {"at_s": now + apart}, now + 0.02) is None
        assert feed.channels["boom"].born == pytest.approx(now - LATENCY["boom"], abs=0.011)


def test_two_that_feed_one_sensor() -> None:
    feed, first = fed()
    second = Sender(feed)
    assert first.say(1001.0, **boom(1.0)) == ""
    assert second.say(1001.5, **boom(9.0)) == "fed-by-another"
    assert feed.channels["boom"].told() == pytest.approx(1.0)
    assert second.say(1001.5, sensor="stick", deg=9.0) == "", "another sensor it may"
    # What is refused keeps no sensor: only readings do.
    assert first.say(1002.0, **boom("x")) == "bad-reading"
    assert second.say(1001.0 + HANDED_ON_S + 0.01, **boom(9.0)) == ""
    assert first.say(1003.1, **boom(1.0)) == "fed-by-another"


def test_handed_on_at_once_where_the_first_is_gone() -> None:
    feed, first = fed()
    assert first.say(1001.0, **boom(1.0)) == ""
    feed.links.discard(first.link)
    assert Sender(feed).say(1001.2, **boom(2.0)) == ""


def test_two_that_feed_the_receiver() -> None:
    """Samples of two clocks, or of two receivers, are no passage through one plane."""
    feed, first = fed(LASER)
    second = Sender(feed)
    assert first.say(1001.0, receiver_hit=False) == ""
    assert second.say(1001.1, receiver_hit=True) == "fed-by-another"
    assert feed.receiver.counts == {"fed-by-another": 1}
    assert second.say(1001.0 + HANDED_ON_S + 0.01, receiver_hit=True) == ""
    feed.links.discard(second.link)
    assert first.say(1003.2, receiver_hit=True) == ""
    assert feed.receiver.taken == 3


@pytest.mark.parametrize(
    ("reading", "code"),
    [
        ({"receiver_hit": 1}, "bad-reading"),
        ({"receiver_hit": "true"}, "bad-reading"),
        ({"receiver_hit": None}, "bad-reading"),
        ({"receiver_hit": True, "receiver_above_mm": 1.0}, "bad-reading"),
        ({"receiver_hit": True, "more": 1}, "bad-reading"),
        ({"receiver_above_mm": "1"}, "bad-reading"),
        ({"receiver_above_mm": True}, "bad-reading"),
        ({"receiver_above_mm": [1.0]}, "bad-reading"),
        ({"receiver_above_mm": None}, "bad-reading"),
        ({"receiver_above_mm": math.inf}, "not-finite"),
        ({"receiver_above_mm": math.nan}, "not-finite"),
        ({"receiver_above_mm": 3000.0}, "out-of-range"),
        ({"receiver_above_mm": 10**4000}, "out-of-range"),
        ({"receiver_above_mm": -(10**12)}, "out-of-range"),
    ],
)
def test_no_sample_of_a_receiver(reading: Json, code: str) -> None:
    feed, sender = fed(LASER)
    assert sender.say(1001.0, **reading) == code
    assert feed.receiver.counts == {code: 1}
    assert feed.counts == {code: 1}
    assert feed.receiver.link is None


def test_a_receiver_without_a_laser() -> None:
    feed, sender = fed()
    assert sender.say(1001.0, receiver_hit=True) == "no-laser"
    feed.adopt(state(LASER), 1001.1)
    assert sender.say(1001.2, receiver_hit=True) == ""
    assert sender.say(1001.2, receiver_hit=True) == "not-rising"
    assert sender.say(1001.3, receiver_above_mm=3) == "other-kind"


def test_who_is_silent() -> None:
    feed, sender = fed()
    assert [each.where for each in feed.silent(1001.0)] == list(REST)
    assert {each.found for each in feed.silent(1001.0)} == {"no reading yet"}
    assert feed.seen(1001.0) == (False, "body", -math.inf)
    sender.all(1001.0)
    assert feed.silent(1001.0) == []
    assert feed.fresh(1001.0)
    assert feed.seen(1001.0)[2] == pytest.approx(1001.0 - LATENCY["body"])
    assert feed.deadline() == pytest.approx(1001.0 - LATENCY["body"] + 0.5)
    assert feed.fresh(1001.459)
    assert not feed.fresh(1001.461)  # the body's latency counts
    [told] = feed.silent(1001.461)
    assert (told.code, told.where) == ("sensor-quiet", "body")
    assert told.numbers == pytest.approx({"age_s": 0.501, "limit_s": 0.5}, abs=1e-9)
    sender.all(1002.0, but="idler")
    assert [each.where for each in feed.silent(1002.0)] == ["idler"]


def test_the_stricter_limit_holds() -> None:
    feed, sender = fed()
    sender.all(1001.0)
    feed.adopt(state(p.RulesSet(rules=p.Rules(age_limit_s=0.2))), 1001.1)
    assert feed.fresh(1001.15)
    assert not feed.fresh(1001.17)
    feed.adopt(state(p.RulesSet(rules=p.Rules(age_limit_s=10.0))), 1001.2)
    assert not feed.fresh(1001.5), "the sensor's own is less"


@pytest.mark.parametrize("entry", [p.Moved(), p.Swung(), LASER, p.ReceiverClamped(place_m=(0.9, 0.1, 0.2))])
def test_readings_from_before_an_entry(entry: p.Payload) -> None:
    feed, sender = fed()
    sender.all(1001.0)
    feed.adopt(state(entry), 1001.1)
    assert not feed.fresh(1001.1)
    assert {each.code for each in feed.silent(1001.1)} == {"observed-before"}
    # Got after the entry, but true of before it: the sensor's latency counts.
    sender.all(1001.12)
    assert not feed.fresh(1001.12)
    assert {each.code for each in feed.silent(1001.12)} == {"observed-before"}
    sender.all(1001.15)
    assert feed.fresh(1001.15)
    assert feed.silent(1001.15) == []


def test_what_was_on_its_way_while_an_entry_was_made_is_in_no_track() -> None:
    """Sent late, from before: no part of a median or a passage after it."""
    feed, sender = fed(LASER)
    sender.all(1001.0)
    assert sender.say(1001.0, receiver_hit=True) == ""
    feed.adopt(state(LASER, p.Moved()), 1002.0)
    assert feed.track is not None
    for late in (1001.5, 1002.01):  # latency counts
        assert sender.say(1002.02, late, **boom(3.0)) == ""
    for late in (1001.5, 1001.9):
        assert sender.say(1002.02, late, receiver_hit=True) == ""
    assert feed.track.window("boom", -math.inf, math.inf) == []
    assert feed.receiver.striking is not None
    assert feed.receiver.striking.due(1010.0) == []
    assert sender.say(1002.2, **boom(3.0)) == ""
    assert sender.say(1002.2, receiver_hit=True) == ""
    assert len(feed.track.window("boom", -math.inf, math.inf)) == 1
    assert [each.count for each in feed.receiver.striking.due(1010.0)] == [1]


def test_entries_that_move_nothing_leave_readings_alone() -> None:
    feed, sender = fed()
    sender.all(1001.0)
    track = feed.track
    feed.adopt(state(SLAB), 1001.1)
    assert feed.fresh(1001.1)
    assert feed.track is track


def test_another_machine_begins_anew_and_counts_on() -> None:
    feed, sender = fed()
    sender.all(1001.0)
    assert sender.say(1001.0, **boom("x")) == "bad-reading"
    other = replace(state(), attachment=Named("trenching-600", "2" * 64))
    # While its sensors are read anew there are none.
    feed.fit(Fitted(other, None, (Fault("no-setup", "", "x", "y"),)), 1001.1)
    assert feed.channels == {}
    assert not feed.fresh(1001.1)
    assert [each.code for each in feed.silent(1001.1)] == ["no-setup"]
    assert sender.say(1001.15, **boom(1.0)) == "no-such-sensor"
    feed.fit(Fitted(other, sensed("crawler-14t", "trenching-600")), 1001.2)
    assert "tilt" not in feed.channels
    assert feed.channels["boom"].value is None
    assert (feed.channels["boom"].taken, feed.channels["boom"].counts) == (1, {"bad-reading": 1})
    assert all(map(math.isnan, feed.said))


def test_what_stands() -> None:
    """Any entry that says how machine, laser or receiver stand; not a touch or a target; not one that was withdrawn."""
    assert stands(state()) == (2,)
    assert stands(state(LASER)) == (3,)
    assert stands(state(SLAB)) == (2,)
    assert stands(state(p.Moved(), p.Withdrawn(seq=3, reason="none"))) != stands(state(p.Moved()))


def test_numbers_rise() -> None:
    feed, sender = fed()
    begun = feed.number
    sender.all(1001.0)
    assert feed.number == begun, "one frame is one change, told by who took it"
    feed.changed()
    feed.keep("x", 5)
    assert feed.kept("x") == 5
    feed.changed()
    assert feed.kept("x") is None
    for k in range(200):
        feed.keep(k, k)
    assert len(feed._kept) <= 65


def test_lengths_are_in_mm() -> None:
    sensors = sensed("compact-1t8", "compact-bucket-400")
    wire = Channel("boom-wire", sensors.all["boom-wire"], 0)
    assert wire.unit == "mm"
    assert wire.read(1204) == pytest.approx(1.204, abs=1e-12)
    for bad, code in ((1.204e6, "out-of-range"), (-1.0, "out-of-range"), ("1204", "bad-reading")):
        found = wire.read(bad)
        assert isinstance(found, Fault)
        assert found.code == code
