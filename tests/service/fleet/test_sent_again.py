"""A crossing under way when the broker or the keeper went away: judged once, whole, from the frames sent once more."""

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from kinematics.crossing_seen import CrossingSeen, crossing_of
from kinematics.striking import InPlane
from kinematics.track import Track
from service.access.caller import LOCAL, Caller
from service.broker.topics import WINDOW, Topics
from service.fleet.envelopes import Here
from service.fleet.fed import BACK_S, HELD_S, Before, Behind, Fed, Followed
from service.fleet.keeping import Keeping, Kept
from service.fleet.means import Means
from service.fleet.roll import Roll
from service.live import feed as live
from service.live.feed import SILENT_S, Feed, Fitted
from tests.service.live.making import Json, dated, sensed, serving
from tests.service.live.passing import BAND_M, HZ, readings, through
from tests.service.live.test_feed import LASER, SLAB, state
from tests.service.mosquitto import own_broker

from .conftest import at_broker
from .machine import Machine, playing
from .waiting import until

ME = "0123abcd"
ZERO = 500.0  # what the sender's clock shows less than ours
REST_S = 14.0  # a service that was killed is seen gone after 7.5 s, then a `here` may be 5 s away


class Hall:
    """A hub for one feed, with a clock that a test sets; what crossed is kept with the readings about it."""

    clock = ME

    def __init__(self) -> None:
        self.at = 0.0
        self.made: list[tuple[InPlane, Track]] = []

    def now(self) -> float:
        return self.at

    def caught_up(self, feed: Feed) -> None:
        """As the hub does."""
        assert feed.track is not None
        seen = feed.seen_to(self.at)
        self.made += [(each, feed.track.copy(feed.reach(seen), seen)) for each in feed.receiver.crossed(seen)]

    def seen(self, feed: Feed) -> list[CrossingSeen]:
        """What was made of it."""
        return [crossing_of(track, each, feed.state.strike_rules) for each, track in self.made]


async def anybody(_: Feed) -> Caller:
    return LOCAL


def fed(hall: Hall, feed: Feed, first: int, before: Before | None = None) -> Fed:
    found = Fed(
        hall, feed, LOCAL, "cab", Here("abcd", first), lambda _: None, per_s=1e6,  # type: ignore[arg-type]
        welcome=lambda _: {}, check=anybody, before=before,
    )  # fmt: skip
    found.begin()
    answers(found, hall)
    return found


def answers(one: Behind, hall: Hall) -> None:
    """Its clock question, at once, where there is one."""
    for asked in [each for each in one.due() if "clock" in each]:
        one.heard(
            json.dumps({"stream": "abcd", "clock": asked["clock"], "of": ME, "at_s": hall.at - ZERO}).encode()
        )


def frames(more_s: float = REST_S) -> list[tuple[float, bytes]]:
    """A pass up and down, then rest, 20 frames a second: when (s, ours) and what."""
    track = readings(*through(0.022))
    found = []
    for k in range(int(len(track) + more_s * HZ)):
        at_s = k / HZ
        _, says, above = track[min(k, len(track) - 1)]
        hit = [{"receiver_hit": abs(above) <= 0.5 * BAND_M, "at_s": at_s}] if k % 2 == 0 else []
        what = {"stream": "abcd", "n": k + 1, "readings": dated(says, at_s) + hit}
        found.append((ZERO + at_s, json.dumps(what).encode()))
    return found


def struck() -> Feed:
    return Feed("pit", Fitted(state(SLAB, LASER), sensed()))


def listen(one: Behind, hall: Hall, some: list[tuple[float, bytes]]) -> None:
    """In real time, its clock asked now and again; crossings looked for with every frame."""
    for at_s, payload in some:
        hall.at = at_s + 0.01
        answers(one, hall)
        one.heard(payload)
        if not one.feed.follows:
            hall.caught_up(one.feed)


def rush(one: Behind, some: list[tuple[float, bytes]]) -> None:
    """All at once."""
    for _, payload in some:
        one.heard(payload)


def hits() -> list[int]:
    """The numbers of the frames with the receiver in the plane."""
    return [k for k, (_, payload) in enumerate(frames(0.0), 1) if b'"receiver_hit": true' in payload]


def keeping(hall: Hall, feed: Feed) -> Keeping:
    means = Means(hall, Topics(), None, None, None, None, per_s=1e6, readouts_hz=1.0)  # type: ignore[arg-type]
    found = Keeping(means, Roll(ME), None, lambda _: None)  # type: ignore[arg-type]
    found.kept["pit"] = Kept(feed, lambda number, _: (number or 0, ""))
    return found


@pytest.mark.parametrize("before_end", [1, 0])
@pytest.mark.parametrize("way", [0, 1])
def test_what_the_broker_cut_is_no_crossing(way: int, before_end: int) -> None:
    """In the beam: 2 samples of 3 or all of them. The same frames, once they come again, give what they would have."""
    whole = Hall()
    there = struck()
    one = fed_at(whole, there)
    listen(one, whole, frames())
    both = [each.receiver_height_m for each in whole.seen(there)]
    assert len(both) == 2

    hall, feed = Hall(), struck()
    first = fed_at(hall, feed)
    ours = keeping(hall, feed)
    ours.kept["pit"].feeders["cab"] = first
    feed.hold(30.0)
    in_plane = hits()
    after = [k for k, (a, b) in enumerate(pairwise(in_plane)) if b - a > 4]
    last = in_plane[after[0] if way == 0 else -1] - 2 * before_end
    listen(first, hall, frames()[:last])
    made = len(hall.made)
    assert made == way
    ours.lost()
    assert feed.links == set()
    for later in (1.0, 2.0 * SILENT_S, 600.0):
        hall.at = ZERO + last / HZ + later
        hall.caught_up(feed)
    assert len(hall.made) == made, "silence was made of it"

    hall.made.clear()
    hall.at = ZERO + len(frames()) / HZ + 1.0
    again = fed(hall, feed, 1, ours._means.past["pit", "cab"])
    for k, (_, payload) in enumerate(frames()):
        again.heard(payload)
        if k % 3 == 0:  # the hub's tick falls among them
            hall.caught_up(feed)
    assert [each.count for each, _ in hall.made] == [each.count for each, _ in whole.made]
    assert [each.receiver_height_m for each in hall.seen(feed)] == pytest.approx(both, abs=1e-5)
    keys = [feed.receiver.key(again.link, each) for each, _ in hall.made]
    assert None not in keys
    assert keys == [there.receiver.key(one.link, each) for each, _ in whole.made]


def fed_at(hall: Hall, feed: Feed) -> Fed:
    hall.at = ZERO
    return fed(hall, feed, 1)


def test_one_who_followed_judges_as_one_who_did_not() -> None:
    """12 s held back, 8 s until the keeper's end is seen, 5 s until the machine says that it is there."""
    found = []
    for follows in (False, True):
        hall, feed = Hall(), struck()
        before = None
        if follows:
            hall.at = ZERO
            feed.follows = True
            feed.hold(BACK_S)
            looks = Followed(hall, feed, "cab", "abcd", per_s=1e6)  # type: ignore[arg-type]
            looks.begin()
            listen(looks, hall, frames())
            before = looks.before()
            looks.end()
            feed.follows = False
        hall.at = frames()[-1][0] + 0.01
        rush(fed(hall, feed, 1, before), frames())
        hall.caught_up(feed)
        found.append([(each.up, each.receiver_height_m, each.steady_s) for each in hall.seen(feed)])
    assert [up for up, *_ in found[0]] == [True, False]
    for one, other in zip(*found, strict=True):
        assert one == pytest.approx(other, abs=1e-5)


@pytest.mark.parametrize("hz", [10.0, 25.0, 50.0, 100.0])
def test_what_a_crossing_may_hang_on_is_kept_at_any_rate(hz: float) -> None:
    """Up to a hundred frames a second by time alone, with room in the window for a second more."""
    hall, feed = Hall(), struck()
    one = fed_at(hall, feed)
    behind = 0
    for n in range(1, round(20.0 * hz)):
        hall.at = ZERO + n / hz
        answers(one, hall)
        what = {"stream": "abcd", "n": n, "readings": [{"receiver_hit": False, "at_s": n / hz}]}
        one.heard(json.dumps(what).encode())
        behind = max(behind, n - one.taken(hall.at))
        held_s = (n - one.taken(hall.at)) / hz
        assert held_s >= min((n - 1) / hz, HELD_S - 1.0 / hz)
    assert behind + hz <= WINDOW


@pytest.mark.parametrize("cut", [False, True])
def test_the_broker_away_for_long(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cut: bool) -> None:
    """One strike of both ways, though the broker was away after the first, or in it, for longer than a silence lasts."""
    monkeypatch.setattr(live, "SILENT_S", 1.0)
    track = readings(*through(0.022))
    with own_broker() as broker, serving(tmp_path, mqtt=broker.url()) as door:
        until(lambda: at_broker(door) == "here")
        job = door.dug()
        with Machine(broker.port, job.id) as machine:
            machine.welcomed()
            with playing(machine, track):
                if cut:
                    until(lambda: machine.last > hits()[1])
                else:
                    machine.wait(lambda told: told.get("strike", {}).get("verdict") == "crossed once")
                broker.stop()
                until(lambda: at_broker(door).startswith("away: "))
                gone = door.hub.now()
                until(lambda: door.hub.now() > gone + 8.0)
                assert strikes(job) == []
                since = len(machine.told)
                broker.start()
                told = machine.wait(lambda told: told.get("strike", {}).get("seq"), since, 40.0)["strike"]
                until(lambda: len(machine.kept) < 300)
        assert told["verdict"] == "taken"
        [entry] = strikes(job)
        assert entry["seq"] == told["seq"]
        assert len(entry["payload"]["poses"]) == 2


def strikes(job: Any) -> list[Json]:
    return [each for each in job.events() if each["type"] == "struck"]
