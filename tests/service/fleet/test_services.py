"""Two services at one broker and one database: one keeps a job, either answers whatever it is asked."""

import asyncio
import json
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from functools import partial
from typing import Any

import httpx
import pytest

from service.live.warm import warm
from tests.service.api.doing import JobDoer
from tests.service.live.making import Door, Json, Said, Viewer, at_rest, run, said, sensed, serving
from tests.service.live.passing import readings, through
from tests.service.mosquitto import Broker
from tests.service.postgres import own_database, server

from .conftest import at_broker
from .machine import Machine, playing
from .test_feeding import plain
from .waiting import PATIENCE_S, until

REST = said(at_rest())
Pair = tuple[Door, Door]
TOUCH: Json = {"point": "slab", "purpose": "reference", "edge_point": "centre"}


@pytest.fixture(scope="module")
def pair(broker: Broker, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pair]:
    warm(sensed("midi-8t", "coupled-900"))
    with own_database(server()) as url, ExitStack() as open_:
        one, other = (
            open_.enter_context(serving(tmp_path_factory.mktemp(name), mqtt=broker.url(), database=url))
            for name in ("one", "other")
        )
        until(lambda: [at_broker(each) for each in (one, other)] == ["here", "here"])
        yield one, other


def keeps(door: Door, job: str) -> bool:
    return job in door.app.state.fleet.keeping.kept


def follows(door: Door, job: str) -> bool:
    return job in door.app.state.fleet.following.jobs


def fed_at(door: Door, job: JobDoer) -> int:
    """How many feed a job there."""
    feed = door.hub.known(job.id)
    return 0 if feed is None else len(feed.links)


def kept_by(pair: Pair, job: JobDoer) -> Pair:
    """The service that keeps a job, and the other."""
    until(lambda: sorted(fed_at(door, job) for door in pair) == [0, 1])
    one, other = pair
    assert keeps(one, job.id) != keeps(other, job.id)
    return (one, other) if keeps(one, job.id) else (other, one)


def at(door: Door, job: JobDoer) -> JobDoer:
    """The same job, asked of another service."""
    return JobDoer(door.http, job.id, job.units)


def saying(machine: Machine, seconds: float = 1.6, what: Said = REST) -> None:
    """Rest, for as long as a touch looks back."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        machine.say(what)
        time.sleep(0.05)  # the pace of a machine


def test_each_job_is_kept_by_one(pair: Pair, broker: Broker) -> None:
    """Two feeders of each job say at once that they are there, and each is heard by any of the services."""
    jobs = [plain(pair[0]) for _ in range(6)]
    with ExitStack() as open_:
        machines = [
            Machine(broker.port, job.id, name, here_every_s=0.2) for job in jobs for name in ("cab", "mast")
        ]
        with ThreadPoolExecutor(len(machines)) as crew:
            list(crew.map(open_.enter_context, machines))
        for machine in machines:
            machine.welcomed()
        # Of two that claimed a job at once the one has stepped down.
        until(lambda: all(sorted(fed_at(door, job) for door in pair) == [0, 2] for job in jobs))
        for machine in machines[::2]:
            for _ in range(5):
                machine.say(REST)
            machine.taken(5)
        for job in jobs:
            [keeper] = [door for door in pair if keeps(door, job.id)]
            assert keeper.known(job.id).channels["boom"].taken == 5
            assert sorted(fed_at(door, job) for door in pair) == [0, 2]


def test_a_viewer_of_the_other_service_sees_the_same(pair: Pair, broker: Broker) -> None:
    job = pair[0].dug()

    async def go() -> None:
        with Machine(broker.port, job.id) as machine:
            await asyncio.to_thread(machine.welcomed)
            keeper, other = await asyncio.to_thread(kept_by, pair, job)
            async with Viewer(keeper, job) as near, Viewer(other, job) as far:
                feeding = asyncio.ensure_future(asyncio.to_thread(saying, machine, 4.0))
                await far.readout()
                await feeding
                pose = said(at_rest(part=0.4))
                seen = len(near.told.all), len(far.told.all)
                machine.say(pose)
                told = [
                    (await each.told.first(lambda m: m["readout"] is not None, since=since))["readout"]
                    for each, since in zip((near, far), seen, strict=True)
                ]
                assert told[0] == told[1]
                assert follows(other, job.id)
                assert not follows(keeper, job.id)
                assert other.known(job.id).counts == {}
            await asyncio.to_thread(until, lambda: not follows(other, job.id), 20.0)

    run(go(), within=60.0)


def refused(answer: Any) -> set[str]:
    assert answer.status_code in {409, 422}, answer.text
    return {each["code"] for each in answer.json()["errors"]}


def answered(machine: Machine, ask: Callable[[], httpx.Response]) -> Json:
    """The answer to a request that wants a second's rest, while the machine rests; a busy computer takes its time."""
    end = time.monotonic() + PATIENCE_S
    while True:
        saying(machine, 0.2)
        answer = ask()
        if answer.status_code in {200, 201}:
            found: Json = answer.json()
            return found
        assert time.monotonic() < end, answer.text


def touch(machine: Machine, door: Door, job: JobDoer, asked: Callable[[], Json] = dict) -> Json:
    return answered(
        machine, lambda: door.http.http.post(f"/v1/jobs/{job.id}/touches", json={**TOUCH, **asked()})
    )


def test_a_touch_without_angles_on_a_service_that_neither_keeps_nor_follows(
    pair: Pair, broker: Broker
) -> None:
    job = pair[0].dug()
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        keeper, other = kept_by(pair, job)
        far, near = (touch(machine, each, job) for each in (other, keeper))
        assert not follows(other, job.id)
        # The same edge on the same slab, seen by the same readings.
        assert far["misclosure"]["m"] == near["misclosure"]["m"] == 0.0
        [one, two] = [each["payload"]["pose"]["given"]["readings"] for each in job.events()[-2:]]
        assert one["said"] == two["said"]


def test_when_it_was_asked_for_counts_by_the_clock_of_whoever_told_it(pair: Pair, broker: Broker) -> None:
    """`asked_at` of the keeper's stream, sent to the other service: the edge has rested since, or it has not."""
    job = pair[0].dug()
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        keeper, other = kept_by(pair, job)

        def asked(later: float = 0.0) -> Json:
            return {"asked_at": {"of": keeper.hub.clock, "at_s": keeper.hub.now() + later}}

        assert touch(machine, other, job, asked)["role"]
        url = f"/v1/jobs/{job.id}/touches"
        before = asked()
        assert refused(other.http.http.post(url, json={**TOUCH, **asked(60.0)})) == {"clock-ahead"}
        gone = {"asked_at": {"of": "00000000", "at_s": 1.0}}
        assert refused(other.http.http.post(url, json={**TOUCH, **gone})) == {"clock-unknown"}
        moved = said(at_rest(part=0.52))

        def late() -> bool:
            saying(machine, 0.2, moved)
            return refused(other.http.http.post(url, json={**TOUCH, **before})) == {"asked-too-long-ago"}

        until(late)


def test_health_and_posture_of_the_other_service(pair: Pair, broker: Broker) -> None:
    job = pair[0].dug()
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        keeper, other = kept_by(pair, job)
        path = f"/v1/jobs/{job.id}/fitting/posture"
        near, far = (answered(machine, partial(each.http.http.get, path)) for each in (keeper, other))
        assert near["said"] == far["said"]
        before = dict(keeper.known(job.id).counts)
        machine.send([{"sensor": "mast", "at_s": machine.clock(), "deg": 3.0}])
        until(lambda: at(keeper, job).get("sensors")["refused"] == before | {"no-such-sensor": 1})
        told = at(other, job).get("sensors")
        assert told["refused"]["no-such-sensor"] == 1
        assert told["feeders"] == 1


def test_a_move_recorded_on_the_other_counts(pair: Pair, broker: Broker) -> None:
    """Readings from before it are of no use to a touch, whoever has them."""
    job = pair[0].dug()
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        _, other = kept_by(pair, job)
        touch(machine, other, job)
        at(other, job).post("moves", {})
        answer = other.http.http.post(f"/v1/jobs/{job.id}/touches", json=TOUCH)
        assert refused(answer) <= {"observed-before", "sensor-quiet", "too-few-readings"}
        assert refused(answer)


def test_a_job_that_is_given_up_is_kept_by_whoever_hears_of_it_next(pair: Pair, broker: Broker) -> None:
    """As a service does that stops; frames go on from where it was."""
    job = plain(pair[0])
    with Machine(broker.port, job.id, here_every_s=0.2) as machine:
        machine.welcomed()
        keeper, _ = kept_by(pair, job)
        n = machine.say(REST)
        machine.taken(n)
        since = len(machine.told)
        loop = keeper.server.servers[0].get_loop()
        asyncio.run_coroutine_threadsafe(_closed(keeper.app.state.fleet.keeping), loop).result(5.0)
        told = machine.wait(lambda told: "welcome" in told, since)
        # It may have said that it is there before it heard that its frame was taken.
        assert told["from"]["n"] in {n, n + 1}
        for _ in range(3):
            n = machine.say(REST)
        machine.taken(n)
        assert len([door for door in pair if keeps(door, job.id)]) == 1


async def _closed(keeping: Any) -> None:
    keeping.close()


def test_a_service_that_asks_in_vain_says_what_it_tried(
    pair: Pair, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = pair[0].dug()
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        keeper, other = kept_by(pair, job)
        monkeypatch.setattr(keeper.app.state.fleet._asking, "asked", lambda *_: None)
        answer = other.http.http.post(f"/v1/jobs/{job.id}/touches", json=TOUCH)
        [told] = answer.json()["errors"]
        assert told["code"] == "sensor-quiet"
        assert keeper.hub.clock in told["found"]
        health = at(other, job).get("sensors")
        assert any(keeper.hub.clock in each for each in health["no_angles_because"])


def always(answer: Json) -> Callable[[str, str], Json]:
    return lambda *_: answer


def test_poisoned_answers(pair: Pair, broker: Broker, monkeypatch: pytest.MonkeyPatch) -> None:
    """A snapshot that is none is no reading."""
    job = pair[0].dug()
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        keeper, other = kept_by(pair, job)
        touch(machine, other, job)
        asking = keeper.app.state.fleet._asking
        whole = asking._answer("seconds", job.id)
        snapshots: list[Json] = [
            {}, whole | {"now": "x"}, whole | {"sensors": {}}, whole | {"sensors": [1]}, whole | {"since": []},
            whole | {"sensors": {name: each | {"track": [[1.0]]} for name, each in whole["sensors"].items()}},
            whole | {"sensors": {name: each | {"born": "x"} for name, each in whole["sensors"].items()}},
        ]  # fmt: skip
        for broken in snapshots:
            monkeypatch.setattr(asking, "_answer", always(broken))
            answer = other.http.http.post(f"/v1/jobs/{job.id}/touches", json=TOUCH)
            assert refused(answer) == {"sensor-quiet"}
        monkeypatch.setattr(asking, "_answer", always(whole | {"stands": [1]}))
        assert refused(other.http.http.post(f"/v1/jobs/{job.id}/touches", json=TOUCH)) == {"observed-before"}


def test_a_strike_that_the_service_before_has_recorded_is_told_and_not_recorded_again(
    pair: Pair, broker: Broker
) -> None:
    """The next keeper sees the same crossing in the frames that were held back."""
    job = pair[0].dug()
    motion, seconds = through(0.022)
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        keeper, other = kept_by(pair, job)
        with playing(machine, readings(motion, seconds)):
            first = machine.wait(lambda told: told.get("strike", {}).get("seq"))["strike"]
            since = len(machine.told)
            loop = keeper.server.servers[0].get_loop()
            asyncio.run_coroutine_threadsafe(_given_to(keeper, other, job), loop).result(5.0)
            again = machine.wait(lambda told: told.get("strike", {}).get("seq"), since)["strike"]
    assert keeps(other, job.id)
    assert (first["verdict"], first["seq"]) == (again["verdict"], again["seq"])
    assert [each["seq"] for each in job.events() if each["type"] == "struck"] == [first["seq"]]


async def _given_to(keeper: Door, other: Door, job: JobDoer) -> None:
    """The other puts its name on a job, as one does that saw the keeper go."""
    fleet = keeper.app.state.fleet
    fleet.wire.publish(
        fleet.keeping._topics.keeper(job.id), json.dumps({"service": other.hub.clock}), qos=1, retain=True
    )
