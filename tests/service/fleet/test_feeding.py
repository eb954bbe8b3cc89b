"""A machine behind a real broker: as over the WebSocket, and each frame once, whatever happens to it on its way."""

import asyncio
import json
from typing import Any

import httpx
import pytest

from service.api.live_message import LiveOut
from service.broker.topics import WINDOW
from service.fleet import fed
from tests.service.api.doing import JobDoer
from tests.service.live.making import Door, Feeder, Json, Viewer, at_rest, run, said
from tests.service.mosquitto import Broker

from .conftest import at_broker
from .machine import Anybody, Machine
from .waiting import until

REST = said(at_rest())
POSES = [said(at_rest(part=part)) for part in (0.4, 0.5, 0.55)]


def plain(door: Door) -> JobDoer:
    """A job whose receiver strikes nothing: there is no laser on it."""
    job = door.job()
    job.benchmark("slab", 100.0)
    job.setup("crawler-14t", "tilting-1800")
    return job


def taken_of(door: Door, job: JobDoer, sensor: str = "boom") -> int:
    found: int = door.health(job)["sensors"][sensor]["taken"]
    return found


def same_but_for_its_job(readout: Json, job: JobDoer) -> str:
    return json.dumps(readout).replace(f'"{job.id}"', '"job"')


def published_as(anybody: Anybody, readout: Json, since: int) -> bytes:
    return anybody.first(lambda _, text: json.loads(text)["readout"] == readout, since)


def test_readouts_are_those_of_the_websocket_to_the_letter(door: Door, broker: Broker) -> None:
    """On the service's own streams and, with the default aim, on the broker."""
    wired, brokered = door.dug(), door.dug()

    async def go() -> None:
        with Machine(broker.port, brokered.id) as machine, Anybody(broker.port) as anybody:
            anybody.listen(anybody.topics.readout(brokered.id))
            await asyncio.to_thread(machine.welcomed)
            async with (
                Feeder(door, wired) as feeder, Viewer(door, wired) as one, Viewer(door, brokered) as other
            ):  # fmt: skip
                for pose in POSES:
                    seen = len(anybody.heard)
                    await asyncio.gather(one.readout(), feeder.say(pose))
                    waiting = asyncio.ensure_future(other.readout())
                    await asyncio.sleep(0)
                    machine.say(pose)
                    await waiting
                    first, second = (each.told.all[-1]["readout"] for each in (one, other))
                    assert same_but_for_its_job(first, wired) == same_but_for_its_job(second, brokered)
                    published = await asyncio.to_thread(published_as, anybody, second, seen)
                    assert json.loads(published)["believe_for_s"] > 0.0

    run(go())


def test_the_welcome_is_that_of_the_websocket(door: Door, broker: Broker) -> None:
    wired, brokered = plain(door), plain(door)

    async def welcome() -> Json:
        async with Feeder(door, wired) as feeder:
            found: Json = feeder.welcome
            return found

    with Machine(broker.port, brokered.id) as machine:
        assert machine.welcomed() | {"job": ""} == run(welcome()) | {"job": ""}
        told = machine.wait(lambda told: "welcome" in told)
        assert told["from"] == {"stream": machine.stream, "n": 1}
        assert told["of"] == door.hub.clock


def test_frames_sent_twice_are_taken_once(door: Door, broker: Broker) -> None:
    job = plain(door)
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        for _ in range(5):
            n = machine.send(frame_of(machine), lost=True)
            frame = machine.kept[n]
            for _ in range(3):
                machine.put(machine.topics.readings(job.id, "cab"), frame)
        machine.taken(5)
        until(lambda: door.health(job)["refused"].get("repeated", 0) == 10)
        health = door.health(job)
        assert health["sensors"]["boom"]["taken"] == 5
        assert health["refused"] == {"repeated": 10}
        assert machine.kept == {}


def test_a_gap_is_asked_for_and_filled(door: Door, broker: Broker) -> None:
    """Of frames that come in another order none is taken before those ahead of it, and none is left out."""
    job = plain(door)
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        machine.say(REST)
        machine.taken(1)
        since = len(machine.told)
        lost = [machine.send(frame_of(machine), lost=True) for _ in range(3)]
        for n in (4, 3):
            machine.put(machine.topics.readings(job.id, "cab"), machine.kept[n])
        machine.say(REST)
        asked = machine.wait(lambda told: "from" in told, since)["from"]
        assert asked == {"stream": machine.stream, "n": lost[0]}
        machine.taken(5)
        health = door.health(job)
        assert health["sensors"]["boom"]["taken"] == 5
        assert health["refused"]["gap"] >= 1


def frame_of(machine: Machine) -> list[Json]:
    at_s = machine.clock()
    return [{"sensor": name, "at_s": at_s, **each} for name, each in REST.items()]


def test_what_a_crossing_may_hang_on_is_not_told_as_taken(
    door: Door, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With laser and receiver, for some seconds or so many frames: so that the next keeper can judge what was begun."""
    job = door.dug()
    with Machine(broker.port, job.id, here_every_s=60.0) as machine:
        machine.welcomed()
        assert 0 < fed.HELD_FRAMES < WINDOW
        held = 300  # of more so fast some would be too much for its pace
        monkeypatch.setattr(fed, "HELD_FRAMES", held)
        for _ in range(held + 20):
            machine.say(REST)
        machine.taken(1)
        until(lambda: taken_of(door, job) == held + 20)
        assert max(machine.kept) == held + 20
        assert len(machine.kept) >= held - 1


def test_of_a_stream_that_rests_the_last_is_told_as_taken(
    door: Door, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fed, "HELD_S", 1.0)
    job = door.dug()
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        for _ in range(7):
            machine.say(REST)
        machine.taken(7)


def test_who_comes_again_is_welcomed_again(door: Door, broker: Broker) -> None:
    """A process that was started anew goes on in the stream of the one before, and has to know what is expected."""
    job = plain(door)
    with Machine(broker.port, job.id, here_every_s=60.0) as machine:
        machine.welcomed()
        machine.say(REST)
        machine.taken(1)
        since = len(machine.told)
        here = {"stream": machine.stream, "next": 2, "last": 1, "welcome": True}
        machine.put(machine.topics.here(job.id, "cab"), json.dumps(here).encode())
        told = machine.wait(lambda told: "welcome" in told, since)
        assert told["from"] == {"stream": machine.stream, "n": 2}


@pytest.mark.parametrize(
    "payload",
    [
        b"", b"x", b"\xff\xfe", b"[]", b"{}", b"null", b'{"stream": "abcd", "n": 1}', b"[" * 30_000, b'{"a":' * 9_000,
        b'{"stream": "abcd", "n": NaN, "readings": []}', b'{"stream": "ABCD", "n": 1, "readings": []}',
        b'{"stream": "abcd", "n": 1.0, "readings": []}', b'{"stream": "abcd", "n": true, "readings": []}',
        b'{"stream": "abcd", "n": 0, "readings": []}', b'{"stream": "abcd", "n": 1, "n": 2, "readings": []}',
        b'{"stream": "abcd", "n": 1, "readings": {}}', b'{"stream": "abcd", "n": 1, "readings": [], "more": 1}',
        b'{"stream": 7, "clock": 1, "of": "0", "at_s": 1}', b'{"clock": 1, "of": "0", "at_s": 1}',
        b'{"stream": "abcd", "clock": 1, "of": 3, "at_s": 1}',
        b'{"stream": "abcd", "n": 1, "readings": [' + b",".join([b"{}"] * 1001) + b"]}", b" " * 1_000_000,
    ],
)  # fmt: skip
def test_poisoned_payloads_are_counted_and_the_rest_goes_on(
    door: Door, broker: Broker, payload: bytes
) -> None:
    job = plain(door)
    with Machine(broker.port, job.id) as machine, Anybody(broker.port) as stranger:
        machine.welcomed()
        machine.say(REST)
        machine.taken(1)
        stranger.put(stranger.topics.readings(job.id, "cab"), payload)
        machine.say(REST)
        machine.taken(2)
        health = door.health(job)
        assert health["refused"] == {"bad-frame": 1}
        assert health["sensors"]["boom"]["taken"] == 2


@pytest.mark.parametrize(
    "what", ["here", "keeper", "service", "asked", "answers", "passed on", "told", "elsewhere", "readout"]
)  # fmt: skip
@pytest.mark.parametrize(
    "payload", [b"x", b'{"stream": "abcd"}', b"\xff", b"[" * 20_000, b'{"service": "zz"}']
)
def test_poison_on_any_topic(door: Door, broker: Broker, what: str, payload: bytes) -> None:
    """The service keeps on; a name taken off a job is put on it again at the next `here`."""
    job, me = plain(door), door.hub.clock
    with Machine(broker.port, job.id, here_every_s=0.2) as machine, Anybody(broker.port) as stranger:
        topics = stranger.topics
        machine.welcomed()
        stranger.put({
            "here": topics.here(job.id, "cab"), "keeper": topics.keeper(job.id), "service": topics.service("0123abcd"),
            "asked": topics.of_service(me, "asked"), "answers": topics.of_service(me, "answers"),
            "passed on": topics.of_service(me, "here"), "told": topics.told(job.id, "dozer"),
            "elsewhere": f"{topics.root}/jobs/{job.id}/here", "readout": topics.readout(job.id),
        }[what], payload)  # fmt: skip
        n = machine.say(REST)
        machine.taken(n)
    assert at_broker(door) == "here"


def test_a_stranger_that_did_not_say_it_is_there(door: Door, broker: Broker) -> None:
    job = plain(door)
    with Machine(broker.port, job.id) as machine, Anybody(broker.port) as stranger:
        machine.welcomed()
        frame = {"stream": "abcd", "n": 1, "readings": frame_of(machine)}
        stranger.put(stranger.topics.readings(job.id, "stranger"), frame)
        stranger.put(stranger.topics.readings(job.id, "cab"), frame)
        machine.say(REST)
        machine.taken(1)
        health = door.health(job)
        assert health["refused"] == {"not-here": 1, "another-stream": 1}
        assert health["feeders"] == 1
        assert health["sensors"]["boom"]["taken"] == 1


def test_a_second_sender_of_the_same_name_is_told(door: Door, broker: Broker) -> None:
    job = plain(door)
    with Machine(broker.port, job.id) as machine, Machine(broker.port, job.id) as second:
        machine.welcomed()
        told = second.wait(lambda told: "problem" in told or machine.say(REST) < 0)["problem"]
        assert told["errors"][0]["code"] == "fed-by-another"


def test_a_job_that_is_not_on_record(door: Door, broker: Broker) -> None:
    with Machine(broker.port, "nowhere") as machine:
        told = machine.wait(lambda told: "problem" in told)["problem"]
        assert told["type"] == "/guide/problems#unknown-job"
        assert told["status"] == 404


def test_what_is_refused_is_told_as_over_the_websocket(door: Door, broker: Broker) -> None:
    job = plain(door)
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()
        machine.send([{"sensor": "mast", "at_s": machine.clock(), "deg": 3.0}])
        told = machine.wait(lambda told: "refused" in told)
        assert [each["code"] for each in told["refused"]] == ["no-such-sensor"]
        assert told["counts"] == {"no-such-sensor": 1}
        machine.taken(1)


def test_one_that_never_answers_the_clock(
    door: Door, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.live import feeding  # noqa: PLC0415

    monkeypatch.setattr(feeding, "HALF_OPEN_S", 0.8)
    job = plain(door)
    with Machine(broker.port, job.id, answers=False, here_every_s=60.0) as machine:
        machine.welcomed()
        machine.say(REST)
        told = machine.wait(lambda told: "problem" in told)["problem"]
        assert told["status"] == 408
        health = door.health(job)
        assert health["refused"] == {}
        assert health["sensors"]["boom"]["taken"] == 0
        assert health["feeders"] == 0


def test_one_who_sends_too_much_waits_and_loses_nothing(door: Door, broker: Broker) -> None:
    """More than the pace is not taken and not told as taken; sent again later it is."""
    job, neighbour = plain(door), plain(door)
    many = 30
    with Machine(broker.port, job.id) as machine, Machine(broker.port, neighbour.id) as other:
        machine.welcomed()
        other.welcomed()
        at_s = machine.clock()
        for k in range(many):
            # 200 readings each, 1 ms apart
            machine.send([
                {"sensor": "boom", "at_s": at_s + 1e-3 * (200 * k + i) - 60.0, "deg": 30.0} for i in range(200)
            ])  # fmt: skip
        other.say(REST)
        other.taken(1)
        until(lambda: machine.kept == {})
        health = door.health(job)
        assert health["sensors"]["boom"]["taken"] == 200 * many
        assert health["refused"]["slowed"] > 0


def test_a_quiet_machine_has_a_readout_that_says_so(door: Door, broker: Broker) -> None:
    """Whoever comes later sees why there is no number; the number before it was believed for less than a second."""
    job = door.dug()
    with Machine(broker.port, job.id) as machine, Anybody(broker.port) as anybody:
        anybody.listen(anybody.topics.readout(job.id))
        machine.welcomed()
        until(lambda: machine.say(REST) and any(b'"readout":{' in text for _, text in list(anybody.heard)))
        shown = json.loads(anybody.first(lambda _, text: b'"readout":{' in text))
        assert 0.0 < shown["believe_for_s"] <= 0.5
        assert shown["made_at"].endswith("Z")
        extra = shown.keys() - LiveOut.model_fields.keys()
        assert extra == {"made_at", "believe_for_s"}
        since = len(anybody.heard)
        anybody.first(lambda _, text: b'"readout":null' in text, since)
        with Anybody(broker.port) as late:
            late.listen(late.topics.readout(job.id))
            told = json.loads(late.first(lambda *_: True))
            assert told["readout"] is None
            assert told["believe_for_s"] == 0.0
            assert set(told["quiet"]) == set(REST)
            assert {each["code"] for each in told["no_number_because"]} == {"sensor-quiet"}


def test_readouts_keep_to_their_pace(door: Door, broker: Broker) -> None:
    job = door.dug()
    with Machine(broker.port, job.id) as machine, Anybody(broker.port) as anybody:
        anybody.listen(anybody.topics.readout(job.id))
        machine.welcomed()
        until(lambda: machine.say(REST) >= 100, 20.0)
        machine.wait(lambda told: told.get("taken", {}).get("n", -1) >= 0)
        times = [json.loads(text)["at_s"] for _, text in list(anybody.heard)]
        assert len(times) > 3
        # Five a second; one may make up for a late one.
        assert len(times) <= 5.0 * (times[-1] - times[0]) + 3.0


def test_touches_read_what_came_by_the_broker(door: Door, broker: Broker) -> None:
    job = door.dug()
    with Machine(broker.port, job.id) as machine:
        machine.welcomed()

        def touched() -> bool:
            machine.say(REST)
            body: Any = {"point": "slab", "purpose": "reference", "edge_point": "centre"}
            answer: httpx.Response = door.http.http.post(f"/v1/jobs/{job.id}/touches", json=body)
            return answer.status_code == 201

        until(touched)
