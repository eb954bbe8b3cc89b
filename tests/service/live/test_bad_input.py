"""What nobody should send: told in words, counted, and no other machine's stream stops for it."""

import asyncio
import json
import socket
import statistics
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, closing, suppress
from itertools import pairwise
from typing import Any

import pytest
import websockets

from machine_profiles import shipped
from service.live import feeding
from tests.service.api.doing import JobDoer

from .making import MACHINE, Door, Feeder, Json, Viewer, alone, at_rest, dated, run, said
from .test_viewers import raw

HALF_OPEN_S, ASK_EVERY_S = 0.8, 0.2

REST = said(at_rest())
# Of a machine beside, read 20 times a second; a hold-up of the whole service shows as a gap.
# Another machine's numbers must come in time meanwhile.
pytestmark = pytest.mark.alone
HZ = 20.0
MOST_GAP_S = 0.5


@asynccontextmanager
async def beside(door: Door, job: JobDoer) -> AsyncIterator[None]:
    """Another machine at work meanwhile, whose viewer has to get a number all the time."""
    async with Feeder(door, job) as feeder, Viewer(door, job, "target=footing") as viewer:
        going = await alone(feeder.keep_saying(lambda: REST, HZ))
        await viewer.readout()
        times: list[float] = []
        begun = len(viewer.told.all)

        async def watch() -> None:
            while True:
                await viewer.told.next(within=10.0)
                times.append(time.monotonic())

        watching = await alone(watch())
        try:
            yield
            await asyncio.sleep(3 / HZ)
        finally:
            going.cancel()
            watching.cancel()
            await asyncio.gather(going, watching, return_exceptions=True)
        told = viewer.told.all[begun:]
        assert told
        assert all(each["readout"] is not None for each in told), "its numbers stopped"
        gaps = [b - a for a, b in pairwise(times)]
        assert max(gaps, default=0.0) < MOST_GAP_S, gaps
        assert statistics.median(each["latency_s"] for each in told) < 0.05


@pytest.fixture(scope="module")
def neighbour(door: Door) -> JobDoer:
    return door.dug()


@pytest.fixture
def job(door: Door) -> JobDoer:
    return door.dug()


GARBAGE = [
    "",
    "x",
    "{",
    "[]",
    "null",
    "NaN",
    '{"at_s": 1, "at_s": 1}',
    '{"sensor": "boom", "at_s": 1, "deg": NaN}',
    "[" * 30_000,
    '{"a":' * 10_000,
    '{"at_s": 1, "deg": ' + "[" * 900 + "]" * 900 + "}",
    '{"readings": 5}',
    '{"welcome": {}}',
    "\x00" * 500,
    '{"clock": 99, "at_s": 1.0}',
    '{"clock": [1], "at_s": 1.0}',
    '{"clock": 1, "at_s": "now"}',
    '{"clock": 1, "at_s": 1e400}',
    '{"readings": [1, null, "x", [], true]}',
    '{"readings": [{}, {"at_s": 1}]}',
    '{"at_s": 1e400, "sensor": "boom", "deg": 1}',
    '{"at_s": 1, "sensor": "boom", "deg": ' + "9" * 4000 + "}",
    '{"at_s": ' + "9" * 4000 + ', "sensor": "boom", "deg": 1}',
    '{"at_s": 1, "receiver_above_mm": ' + "9" * 4000 + "}",
    '{"at_s": 1, "receiver_hit": "yes"}',
    '{"at_s": 1, "sensor": "\\ud800", "deg": 1}',
    '{"at_s": 1, "\\ud800": 1}',
    '{"at_s": 1, "sensor": "boom", "error": "\\ud800"}',
    json.dumps({"readings": [1] * 1001}),
]


def test_garbage(door: Door, job: JobDoer, neighbour: JobDoer) -> None:
    """All of it from one connection, which is as good as before afterwards."""

    async def go() -> None:
        async with beside(door, neighbour), Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            await asyncio.gather(viewer.readout(), feeder.say(REST))
            for each in GARBAGE:
                await feeder.send(each.replace('"at_s": 1,', f'"at_s": {feeder.clock()},'))
            await feeder.send(b"\x00\xff{}")
            faults: dict[str, Json] = {}

            def all_told(message: Json) -> bool:
                for each in message.get("refused", []):
                    assert each["found"]
                    assert each["expected"]
                    assert len(each["found"]) <= 130
                    faults[each["code"]] = each
                return {"bad-frame", "bad-clock", "bad-reading", "out-of-range", "no-such-sensor"} <= set(
                    faults
                )

            await feeder.told.first(all_told)
            await asyncio.gather(viewer.told.next(lambda m: m["readout"]), feeder.say(REST))
            assert feeder.told.closed is None
            counts = (await asyncio.to_thread(door.health, job))["refused"]
            assert counts["bad-clock"] == 4
            assert counts["bad-frame"] >= 14
            told = [each["counts"] for each in feeder.told.all if "counts" in each][-1]
            assert told == {code: n for code, n in counts.items() if code != "slowed"}

    run(go())


def test_nothing_but_garbage_closes_it(door: Door, job: JobDoer, neighbour: JobDoer) -> None:
    async def go() -> None:
        async with beside(door, neighbour), Feeder(door, job) as feeder:
            with suppress(websockets.ConnectionClosed):
                for _ in range(400):
                    await feeder.send("x")
            assert await feeder.told.end_of() == (1008, "bad-frame")
            problem = feeder.told.all[-1]["problem"]
            assert problem["type"] == "/guide/problems#bad-frame"
            assert problem["errors"][0]["advice"] == "see /guide/live"

    run(go())


def test_a_huge_frame(door: Door, job: JobDoer, neighbour: JobDoer) -> None:
    """64 KiB are taken; more closes the connection before it is read."""
    fits = json.dumps({"readings": dated(REST, 0.0)})
    fits += " " * (65_536 - len(fits))

    async def go() -> None:
        async with beside(door, neighbour):
            async with Feeder(door, job) as feeder:
                await feeder.send(fits)
                await feeder.refused("future-dated")
                await feeder.send(fits + " ")
                assert (await feeder.told.end_of())[0] == 1009
            async with Feeder(door, job) as feeder:
                with suppress(websockets.ConnectionClosed):
                    await feeder.send("[" * 3_000_000)
                assert (await feeder.told.end_of())[0] == 1009

    run(go())


def test_a_flood(door: Door, job: JobDoer, neighbour: JobDoer) -> None:
    """From three connections as fast as they go, readings and garbage; who sends waits, the others do not."""

    async def go() -> None:
        async with (
            beside(door, neighbour), Feeder(door, job) as one, Feeder(door, job) as two, Feeder(door, job) as three
        ):  # fmt: skip
            until = time.monotonic() + 2.0

            async def pour(feeder: Feeder, text: str) -> None:
                with suppress(websockets.ConnectionClosed):
                    while time.monotonic() < until:
                        await feeder.send(text)
                        await asyncio.sleep(0)

            small = json.dumps({"sensor": "boom", "at_s": one.clock(), "deg": 1.0})
            many = json.dumps({"readings": [{"sensor": "lever", "at_s": 1.0, "deg": 1.0}] * 1000})
            pouring = [pour(one, small), pour(two, many), pour(three, "{" * 60_000)]
            tasks = [await alone(each) for each in pouring]
            await asyncio.sleep(2.0)
            for each in tasks:  # a sender that waits may wait for long
                each.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            counts = (await asyncio.to_thread(door.health, job))["refused"]
            assert counts["slowed"] > 0
            assert counts["no-such-sensor"] <= 3.0 * 2000 + 4000
            for feeder in (one, two, three):
                feeder.socket.transport.abort()

    run(go(), within=30.0)


def test_long_frames_cost_by_their_length(door: Door, job: JobDoer, neighbour: JobDoer) -> None:
    """One reading with sixty thousand letters in it counts as six hundred: who sends such is soon read slowly."""

    async def go() -> None:
        async with beside(door, neighbour), Feeder(door, job) as one:
            text = json.dumps({"sensor": "boom", "at_s": one.clock(), "deg": "x" * 60_000})
            for _ in range(12):
                await one.send(text)
            async with asyncio.timeout(10.0):
                while not (await asyncio.to_thread(door.health, job))["refused"].get("slowed"):
                    await asyncio.sleep(0.05)
            counts = (await asyncio.to_thread(door.health, job))["refused"]
            assert counts["bad-reading"] <= 8
            one.socket.transport.abort()

    run(go(), within=30.0)


def test_cut_off_within_a_frame(door: Door, job: JobDoer, neighbour: JobDoer) -> None:
    async def go() -> None:
        async with beside(door, neighbour):
            for count in range(6):
                with closing(await asyncio.to_thread(raw, door, f"/v1/jobs/{job.id}/readings")) as socket_:
                    head = bytes([0x81, 0xFE, 0x40, 0x00, 1, 2, 3, 4])  # a masked text frame of 16 KiB
                    socket_.sendall((head + b"x" * 5000)[: (1, 3, 8, 9, 2000, 5008)[count]])
            async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
                await asyncio.gather(viewer.readout(), feeder.say(REST))

    run(go())


def test_connections_that_say_nothing(door: Door, job: JobDoer, neighbour: JobDoer) -> None:
    """A connection without a request, half a request, an opened socket in silence: they cost nobody anything."""

    async def go() -> None:
        silent: list[socket.socket] = []
        async with beside(door, neighbour):
            for k in range(30):
                made = socket.create_connection(("127.0.0.1", door.port))
                if k % 2:
                    made.sendall(b"GET /v1/jobs/x/readings HTTP/1.1\r\nHost: 127")
                silent.append(made)
            silent += [await asyncio.to_thread(raw, door, f"/v1/jobs/{job.id}/readings") for _ in range(10)]
            async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
                await asyncio.gather(viewer.readout(), feeder.say(REST))
        for each in silent:
            each.close()

    run(go())


HALF_OPEN_S, ASK_EVERY_S = 0.8, 0.2


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same times, shorter."""
    monkeypatch.setattr(feeding, "HALF_OPEN_S", HALF_OPEN_S)
    monkeypatch.setattr(feeding, "ASK_EVERY_S", ASK_EVERY_S)


@pytest.mark.usefixtures("impatient")
def test_one_that_never_answers(door: Door, job: JobDoer, neighbour: JobDoer) -> None:
    """Its readings are of no known time; then it is closed, while those who answer stay."""

    async def go() -> None:
        begun = time.monotonic()
        async with beside(door, neighbour), Feeder(door, job, answers=False) as feeder:
            await feeder.say(REST)
            assert await feeder.told.end_of() == (1008, "half-open")
            assert time.monotonic() - begun >= HALF_OPEN_S
            assert feeder.told.all[-1]["problem"]["status"] == 408
            questions = [each["clock"] for each in feeder.told.all if "clock" in each]
            assert questions == list(range(1, len(questions) + 1))
            # Asked at the greeting and then each time that has come; closed later there would be more of them.
            assert 3 <= len(questions) <= 1 + HALF_OPEN_S / ASK_EVERY_S
        counts = (await asyncio.to_thread(door.health, job))["refused"]
        assert counts == {"clock-unknown": len(REST)}

    run(go())


@pytest.mark.usefixtures("impatient")
def test_a_clock_that_jumps(door: Door, job: JobDoer, neighbour: JobDoer) -> None:
    """A day on, a day back: no number of the wrong time, and soon again numbers of the right one."""

    async def go() -> None:
        async with beside(door, neighbour), Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            await asyncio.gather(viewer.readout(), feeder.say(REST))
            for step in (86_400.0, -86_400.0):
                feeder.zero += step
                going = await alone(feeder.keep_saying(lambda: REST, HZ))
                begun = len(viewer.told.all)
                await viewer.told.first(lambda m: m["readout"] and m["age_s"] < 0.2, since=begun + 2)
                await asyncio.sleep(0.3)
                going.cancel()
                for each in viewer.told.all[begun:]:
                    assert each["readout"] is None or -0.01 <= each["age_s"] <= 0.5, each["age_s"]
                assert viewer.told.all[-1]["readout"] is not None

    run(go())


def machine_with(sensor: str, name: str) -> str:
    text = shipped()["machine", MACHINE].source_text + sensor
    return text.replace(f'id = "{MACHINE}"', f'id = "{name}"')


ENCODER = """
[sensors.more]
place = "PLACE"
measures = "angle"
sign = 1
mounting = 0
range = { low = -180, high = 180 }
noise = 0.05
latency_ms = 30
age_limit_ms = 500
"""


@pytest.mark.parametrize("place", ["swing_boom", "fore_boom", "boom", "lever"])
def test_a_profile_with_impossible_sensors(door: Door, neighbour: JobDoer, place: str) -> None:
    """A joint the machine lacks, one that another sensor gives, one that is none: refused with its place."""
    text = machine_with(ENCODER.replace("PLACE", place), f"crawler-{place.replace('_', '-')}")

    async def go() -> Any:
        async with beside(door, neighbour):
            return await asyncio.to_thread(door.http.post, "/v1/machines", {"toml": text}, 422)

    problem = run(go())
    assert problem["type"] == "/guide/problems#profile-faults"
    line = text.splitlines().index("[sensors.more]") + 1
    assert any("sensors.more" in each["found"] for each in problem["errors"]), problem["errors"]
    assert all(line <= each["numbers"]["line"] <= line + 2 for each in problem["errors"]), problem["errors"]
