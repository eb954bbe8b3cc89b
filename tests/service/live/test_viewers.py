"""Those who look: by socket or by event stream the same, at their own pace, and nobody waits for another."""

import asyncio
import gc
import json
import math
import socket
import statistics
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, closing
from functools import partial
from itertools import pairwise

import httpx
import pytest
from starlette.websockets import WebSocketDisconnect, WebSocketState

from kinematics.sensor_set import LEAN
from service.api import live
from service.live import hub
from service.live.feed import Feed, Fitted
from tests.service.api.doing import INDEX, JobDoer

from .making import DEADLINE_S, Door, Feeder, Json, Viewer, alone, at_rest, differences, run, said, sensed
from .test_feed import state

REST = said(at_rest())


@asynccontextmanager
async def events(
    door: Door, job: JobDoer, asked: str = "", last: int | str | None = None
) -> AsyncIterator[AsyncIterator[tuple[str, str, Json]]]:
    """(id, event, data) of an event stream, comments and the like left out."""
    headers = {} if last is None else {"last-event-id": str(last)}
    path = f"http://127.0.0.1:{door.port}/v1/jobs/{job.id}/readouts/live?{asked}"

    async def each(answer: httpx.Response) -> AsyncIterator[tuple[str, str, Json]]:
        fields: dict[str, str] = {}
        async for line in answer.aiter_lines():
            if line:
                name, _, value = line.partition(": ")
                assert name in {"id", "event", "data", "retry"}, line
                fields[name] = value
            elif "data" in fields:
                yield fields.pop("id", ""), fields.pop("event", ""), json.loads(fields.pop("data"))

    async with (
        httpx.AsyncClient(timeout=DEADLINE_S) as client,
        client.stream("GET", path, headers=headers) as answer,
    ):
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/event-stream")
        assert answer.headers["cache-control"] == "no-store"
        yield each(answer)


def test_both_kinds_tell_the_same(door: Door) -> None:
    job = door.dug()

    async def go() -> None:
        async with (
            Feeder(door, job) as feeder,
            Viewer(door, job, "target=footing") as viewer,
            events(door, job, "target=footing") as stream,
        ):
            told: dict[int, Json] = {}
            for part in (0.5, 0.51, 0.52):
                await feeder.say(said(at_rest(part=part)))
                async for number, event, data in stream:
                    assert event == "readout"
                    assert number == str(data["number"])
                    if data["readout"] is not None:
                        told[data["number"]] = data
                        break
            assert len(told) == 3
            for shown, data in told.items():
                other = await viewer.told.first(partial(numbered, shown))
                assert data.keys() == other.keys()
                for key in data.keys() - {"at", "at_s", "age_s", "latency_s", "skipped"}:
                    assert data[key] == other[key], key
                assert abs(data["age_s"] - other["age_s"]) < 0.1
            heights = {json.dumps(each["readout"]["points"]["centre"]["elevation"]) for each in told.values()}
            assert len(heights) == 3

    run(go())


def numbered(number: int, message: Json) -> bool:
    return bool(message["number"] == number)


def test_a_pace(door: Door) -> None:
    """Asked for 10 a second while 60 a second come: no more than that, evenly, each the newest."""
    job = door.dug()

    async def go() -> None:
        async with (
            Feeder(door, job) as feeder,
            Viewer(door, job, "rate_hz=10") as paced,
            Viewer(door, job) as every,
        ):
            going = await alone(feeder.keep_saying(lambda: REST, hz=60.0))
            await paced.readout()
            begun, many, first = time.monotonic(), len(every.told.all), len(paced.told.all)
            times = []
            for _ in range(12):
                await paced.told.next()
                times.append(time.monotonic())
            going.cancel()
            took = times[-1] - begun
            assert len(paced.told.all) - first <= 10.0 * took + 2
            assert len(every.told.all) - many >= 30.0 * took
            gaps = [b - a for a, b in pairwise(times)]
            assert 0.07 <= statistics.median(gaps) <= 0.14, gaps
            assert all(each["skipped"] > 0 for each in paced.told.all[first + 1 :])
            assert all(each["age_s"] < 0.2 for each in paced.told.all[first:])

    run(go())


def test_something_comes_every_second(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    """By a second that is made a twentieth of it: at another pace so many would not come in time."""
    assert hub.HEARTBEAT_S == 1.0
    monkeypatch.setattr(hub, "HEARTBEAT_S", 0.05)
    job = door.dug()

    async def go() -> None:
        async with Viewer(door, job) as viewer:
            for _ in range(25):
                await viewer.told.next()

    run(go(), within=20.0)


def test_numbers_and_what_was_skipped(door: Door) -> None:
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            for _ in range(5):
                await asyncio.gather(viewer.told.next(), feeder.say(REST))
            first, *more = viewer.told.all
            assert first["skipped"] is None
            for before, after in zip([first, *more], more, strict=False):
                assert after["number"] > before["number"]
                assert after["skipped"] == after["number"] - before["number"] - 1
            seen = more[-1]["number"]
        for k in range(3):  # while nobody looks
            job.benchmark(f"peg {k}", 99.0)
        await resumed(door, job, seen)

    async def resumed(door: Door, job: JobDoer, seen: int) -> None:
        async with Viewer(door, job, f"after={seen}") as viewer, events(door, job, last=seen) as stream:
            told = await viewer.told.first(lambda _: True)
            assert told["number"] > seen
            assert told["skipped"] == told["number"] - seen - 1
            _, _, data = await anext(stream)
            assert data["skipped"] == data["number"] - seen - 1
            # Nothing new since: it waits, rather than tell the same twice.
            async with Viewer(door, job, f"after={told['number']}") as again:
                assert (await again.told.first(lambda _: True))["number"] > told["number"]
        # From before a restart, or no number at all: begun anew.
        for last in (10**9, "x", "", "-1", "9" * 30):
            async with events(door, job, last=last) as stream:
                _, _, data = await asyncio.wait_for(anext(stream), 2.0)
                assert data["skipped"] is None

    run(go())


def test_feeders_that_connect_again_go_on(door: Door) -> None:
    """Their own clock may have begun anew; readings go on, nothing is told twice."""
    job = door.dug()

    async def go() -> None:
        async with Viewer(door, job) as viewer:
            for zero in (-5e6, 0.0, 1.7e9):
                async with Feeder(door, job, zero=zero) as feeder:
                    await asyncio.gather(viewer.readout(), feeder.say(REST))
                    feeder.socket.transport.abort()  # cut off, not closed
            assert {each["skipped"] for each in viewer.told.all[1:]} == {0}
        assert door.health(job)["sensors"]["boom"]["taken"] == 3
        assert door.health(job)["refused"] == {}

    run(go())


def raw(door: Door, path: str) -> socket.socket:
    """A WebSocket opened by hand, that hardly takes anything in."""
    made = socket.socket()
    made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
    made.settimeout(DEADLINE_S)
    made.connect(("127.0.0.1", door.port))
    made.sendall(
        f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{door.port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
        "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
    )
    head = b""
    while not head.endswith(b"\r\n\r\n"):
        head += made.recv(1)
    assert head.startswith(b"HTTP/1.1 101"), head
    return made


def drained(stalled: socket.socket, newest: int) -> Json:
    """Read on until a message is as new as that."""
    data = b""
    while True:
        data += stalled.recv(65536)
        while len(data) >= 4:
            size, begin = data[1], 2
            if size == 126:
                size, begin = int.from_bytes(data[2:4], "big"), 4
            if begin + size > len(data):
                break
            kind, message, data = data[0], data[begin : begin + size], data[begin + size :]
            if kind == 0x81 and (found := json.loads(message))["number"] >= newest:
                return dict(found)


def unsent(door: Door) -> int:
    """Bytes that the service keeps for all who do not take them."""
    return sum(each.transport.get_write_buffer_size() for each in door.server.server_state.connections)


def test_one_that_stops_reading(door: Door) -> None:
    """It delays nobody, holds no memory, and has the newest when it reads on."""
    job = door.dug()
    path = f"/v1/jobs/{job.id}/readouts/live?target=footing"

    async def go() -> None:
        async with Feeder(door, job) as feeder, Viewer(door, job, "target=footing") as viewer:

            async def late(count: int) -> float:
                """Median of how long a reading takes to a readout (s)."""
                took = []
                for _ in range(count):
                    begun = time.perf_counter()
                    await asyncio.gather(viewer.told.next(), feeder.say(REST))
                    took.append(time.perf_counter() - begun)
                    await asyncio.sleep(0.004)  # no faster than readings are taken
                return statistics.median(took)

            before = await late(150)
            with closing(await asyncio.to_thread(raw, door, path)) as stalled:
                kept: list[int] = []
                while len(kept) < 60 and (len(kept) < 3 or kept[-1] != kept[-3] or kept[-1] == 0):
                    await late(40)  # until nothing more goes out
                    kept.append(unsent(door))
                assert 0 < kept[-1] < 200_000, kept
                during = await late(150)
                assert kept[-1] == unsent(door), "it grows"
                assert during < 3.0 * before, (during, before)
                newest = viewer.told.all[-1]["number"]

                got = await asyncio.to_thread(drained, stalled, newest)
                assert got["skipped"] > 100, "a queue of old ones"
                assert differences(got["readout"], viewer.told.all[-1]["readout"], 0.0) == []

    run(go(), within=30.0)
    assert eventually(lambda: unsent(door) == 0)


def test_one_that_never_reads_on_is_let_go(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "SEND_WITHIN_S", 0.3)
    monkeypatch.setattr(live, "CHECK_EVERY_S", 0.1)
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job) as feeder:
            going = await alone(feeder.keep_saying(lambda: REST, hz=200.0))
            with closing(await asyncio.to_thread(raw, door, f"/v1/jobs/{job.id}/readouts/live")):
                feed = door.known(job.id)
                assert await asyncio.to_thread(eventually, lambda: feed.viewers == 1)
                assert await asyncio.to_thread(eventually, lambda: feed.viewers == 0, 15.0)
            going.cancel()

    run(go(), within=30.0)


def eventually(true: Callable[[], bool], within: float = 5.0) -> bool:
    """Whether something comes true soon."""
    until = time.monotonic() + within
    while not true():
        if time.monotonic() > until:
            return False
        time.sleep(0.02)
    return True


def test_who_leaves_is_forgotten(door: Door) -> None:
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job), Viewer(door, job), Viewer(door, job), events(door, job) as stream:
            await anext(stream)
            health = await asyncio.to_thread(door.health, job)
            assert (health["feeders"], health["viewers"]) == (1, 3)
            async with Viewer(door, job, "target=footing"):
                assert len(door.known(job.id).watches) == 2, "who asks alike shares what is kept for it"

    run(go())
    assert eventually(lambda: door.health(job)["feeders"] == door.health(job)["viewers"] == 0)
    gc.collect()  # a connection's tasks and what they ended with hold one another
    assert len(door.known(job.id).watches) == 0


def test_the_health_of_the_sensors(door: Door) -> None:
    job = door.dug()

    async def go() -> None:
        async with Feeder(door, job) as feeder:
            going = await alone(feeder.keep_saying(lambda: REST, hz=50.0))
            await asyncio.sleep(1.0)  # what is asked is how often they come
            health = await asyncio.to_thread(door.health, job)
            going.cancel()
        assert set(health["sensors"]) == set(REST)
        for name, each in health["sensors"].items():
            assert 40.0 < each["rate_hz"] < 60.0
            assert 0.0 <= each["jitter_ms"] < 20.0
            assert each["noise"] < 1e-6
            assert each["noise_in_profile"] > 0.0
            assert each["quiet"] is False
            assert 0.0 < each["age_s"] < 0.3
            assert differences(each["last"], REST[name]["deg"], 1e-9) == []
        assert health["machine"]["id"] == "crawler-14t"
        assert health["no_sensors_because"] == health["no_angles_because"] == []
        for name, degrees in health["angles_deg"].items():
            place = LEAN.index(name) if name in LEAN else INDEX[name]
            assert differences(degrees, math.degrees(float(at_rest().q[place])), 1e-6) == []
        assert set(health["angles_deg"]) == {*LEAN, "boom", "stick", "bucket", "tilt"}

    run(go())
    assert eventually(lambda: door.health(job)["angles_deg"] is None), "an old angle would be believed"
    # One after another, by their own latencies.
    assert eventually(
        lambda: {each.split(":")[0] for each in door.health(job)["no_angles_because"]} == set(REST)
    )


@pytest.mark.parametrize("said", [WebSocketDisconnect(1006), RuntimeError("Unexpected ASGI message")])
def test_one_that_closes_while_it_is_told_is_no_error(said: Exception) -> None:
    """Servers say it in two ways; each was a page of the log for every viewer that went at the wrong moment."""

    class Socket:
        application_state = client_state = WebSocketState.DISCONNECTED

        async def send(self, _: object) -> None:
            raise said

        async def receive(self) -> None:
            await asyncio.Event().wait()

    class Told:
        feed = Feed("pit", Fitted(state(), sensed()))

        async def next(self) -> tuple[int, str]:
            return 1, "{}"

        def told_for(self) -> float:
            return 0.0

    async def go() -> None:
        async with asyncio.timeout(DEADLINE_S):
            await live._show(Socket(), Told(), None)  # type: ignore[arg-type]  # as much as is asked of them

    asyncio.run(go())
    assert Told.feed.viewers == 0
