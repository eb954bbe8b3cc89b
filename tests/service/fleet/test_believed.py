"""What a feeder behind the broker may not bring about: an old reading taken for fresh, a pace of its own, two keepers."""

import asyncio
import json
from typing import Any

from service.access.caller import LOCAL
from service.broker.topics import Topics
from service.fleet.keeping import Keeping
from service.fleet.means import Means
from service.fleet.roll import Roll
from service.live.feed import Feed, Fitted
from tests.service.live.making import sensed
from tests.service.live.test_feed import state

from .test_parts import ME, OTHER, REST, Hall, fed, frame


def test_a_late_answer_to_another_question_says_nothing() -> None:
    """To a question that was asked before this feeder was let in anew, 2.5 s under way: its clock stays unknown."""
    first, hall, _ = fed()
    first.end()
    again, _, _ = fed()
    numbers = {first.question(hall.at)["clock"], again.question(hall.at)["clock"]}
    assert len(numbers) == 2
    assert all(0 < number < 2**53 for number in numbers), "whole numbers that every JSON reader keeps"
    old = {"stream": "abcd", "clock": min(numbers) - 1_000, "of": ME, "at_s": 97.5}
    again.link.clock.answered = before = -1.0
    again.heard(json.dumps(old).encode())
    assert again.link.clock.answered == before
    assert again.feed.counts["bad-clock"] == 1


def test_short_frames_keep_the_pace_too() -> None:
    """Twenty thousand frames of one reading in two seconds, of which ten are let in for each of the pace's."""
    found, hall, _ = fed(per_s=2000.0)
    one = {"sensor": "boom", **REST["boom"]}
    begun = hall.at
    for n in range(1, 20_001):
        hall.at = begun + n / 10_000
        found.heard(frame(n, what=[{**one, "at_s": hall.at - 0.5}]))
    taken = found.feed.channels["boom"].taken
    assert 0 < taken <= 2000.0 + 2.0 * 2000.0, "what it may at once, and what it may in two seconds"
    assert found.feed.counts["slowed"] > 0


def test_answers_cost_as_well() -> None:
    """A flood of answers slows its own feeder: no frame of readings is taken beside it."""
    found, hall, _ = fed(per_s=100.0)
    text = json.dumps({"stream": "abcd", "clock": 7, "of": ME, "at_s": 99.9}).encode()
    for _ in range(1000):
        found.heard(text)
    found.heard(frame(1))
    assert found.next == 1
    hall.at += 60.0
    found.heard(frame(1, at_s=hall.at - 0.1))
    assert found.feed.counts["slowed"] > 0


def test_another_s_name_while_the_broker_is_asked() -> None:
    """Between our name on a job and the broker's word that we hear its readings comes another's: that one keeps it."""

    async def go() -> tuple[Keeping, list[Any]]:
        feed, topics, roll = Feed("pit", Fitted(state(), sensed())), Topics(""), Roll(ME)
        roll.services |= dict.fromkeys((ME, OTHER), 0.0)
        sent: list[Any] = []

        class Hub(Hall):
            async def feed(self, _job: str) -> Feed:
                return feed

        class Wire:
            def publish(self, topic: str, payload: str, **_: Any) -> None:
                sent.append((topic, payload))
                if topic == topics.keeper("pit"):
                    asyncio.get_running_loop().call_soon(heard, ME)

            async def subscribe(self, _topics: Any) -> None:
                await asyncio.sleep(0)
                heard(OTHER)
                await asyncio.sleep(0)

            def unsubscribe(self, topics: Any) -> None:
                sent.append(("unsubscribed", topics))

        async def admit(_feed: Feed, _token: str | None) -> Any:
            return LOCAL

        means = Means(
            Hub(), topics, admit, lambda _: {}, lambda _: lambda _n, _now: (1, '{"number":1,"readout":null}'),  # type: ignore[arg-type]
            lambda _: {}, 2000.0, 5.0,
        )  # fmt: skip
        keeping = Keeping(means, roll, Wire(), lambda _job: {})  # type: ignore[arg-type]

        def heard(service: str) -> None:
            roll.hear_keeper("pit", service)
            keeping.heard_keeper("pit")

        keeping.here("pit", "cab", json.dumps({"stream": "abcd", "next": 1}).encode())
        for _ in range(20):
            await asyncio.sleep(0)
        return keeping, sent

    keeping, sent = asyncio.run(go())
    assert not keeping.kept
    topics = Topics("")
    assert ("unsubscribed", [topics.readings("pit")]) in sent
    passed = [json.loads(payload) for topic, payload in sent if topic == topics.of_service(OTHER, "here")]
    assert [each["feeder"] for each in passed] == ["cab"]
