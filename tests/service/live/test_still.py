"""Touches without angles: what the sensors read while the edge rested, or why that is not to be had."""

import asyncio
import math
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Any

import pytest

from kinematics.arm import Pose, pose
from kinematics.errors import Refused
from service.api.still import Read
from service.book import payloads as p
from service.book.requests import TouchIn
from tests.service.api.doing import JobDoer, as_asked

from .making import DEADLINE_S, Door, Feeder, Json, Viewer, at_rest, run, said, sensed
from .test_feed import LASER, SLAB, state

REST = at_rest()
# The median of exact readings, through sensors and back; told in the log in degrees of 15 digits.
EXACT_M = 1e-8
LATE = {"too-few-readings", "sensor-quiet"}
TOUCH = {"point": "slab", "purpose": "check", "edge_point": "centre"}


def turned(boom_rad: float) -> Pose:
    arm = sensed().assembly
    angles = dict(zip(("boom", "stick", "bucket", "tilt"), (REST.q[i] for i in (3, 5, 6, 7)), strict=True))
    angles["boom"] += boom_rad
    return pose(
        arm, pitch=float(REST.q[0]), roll=float(REST.q[1]), **{n: float(a) for n, a in angles.items()}
    )


async def streaming(
    feeder: Feeder, seconds: float, hz: float = 20.0, creep_rad_s: float = 0.0, but: str = ""
) -> None:
    """Every sensor, but for one, read for so long while the boom sinks at this rate."""
    begun = time.monotonic()
    for k in range(math.ceil(seconds * hz)):
        await asyncio.sleep(begun + k / hz - time.monotonic())
        what = said(turned(-creep_rad_s * k / hz))
        what.pop(but, None)
        await feeder.say(what, begun + k / hz + feeder.zero)


@asynccontextmanager
async def streaming_on(feeder: Feeder, **how: Any) -> AsyncIterator[None]:
    """The same for as long as the block takes: a request that is long on its way finds readings as young as ever."""
    task = asyncio.create_task(streaming(feeder, DEADLINE_S, **how))
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def until(
    status: int,
    job: JobDoer,
    what: str,
    body: Json,
    wanted: Callable[[Json], bool] = lambda _: True,
    **headers: str,
) -> Json:
    """Ask until the answer is the one wanted: readings and request go different ways, and one may be late."""
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    async with asyncio.timeout(DEADLINE_S):
        while True:
            answer = await asyncio.to_thread(
                job.client.http.post, f"{job.path}/{what}", json=body, headers=named
            )
            found: Json = answer.json()
            if answer.status_code == status and wanted(found):
                return found
            assert answer.status_code == 422, found
            assert codes(found) <= LATE, found


async def post(job: JobDoer, what: str, body: Json, status: int, **headers: str) -> Json:
    answer: Json = await asyncio.to_thread(job.post, what, body, status, **headers)
    return answer


async def last(job: JobDoer) -> Json:
    """The last entry. On a thread, as all that is asked while others stream."""
    found: Json = (await asyncio.to_thread(job.events))[-1]
    return found


async def seq_of(job: JobDoer) -> int:
    return int((await asyncio.to_thread(job.get))["seq"])


def codes(problem: Json) -> set[str]:
    assert all(each["expected"] and each["found"] for each in problem["errors"])
    return {each["code"] for each in problem["errors"]}


async def soon(
    feeder: Feeder, job: JobDoer, seconds: float, body: Json, first: Callable[[], object] = lambda: None
) -> Json:
    """What is refused of a touch right after so many seconds of a stream that then ends, and what is done `first`.

    Once more, a second and a half later, where the touch itself came too late.
    """
    async with asyncio.timeout(DEADLINE_S):
        while True:
            await streaming(feeder, seconds)
            await asyncio.to_thread(first)
            problem = await post(job, "touches", body, 422)
            if codes(problem) != {"sensor-quiet"}:
                return problem
            await asyncio.sleep(1.5)


def one_is_quiet(problem: Json) -> bool:
    """And no other; before its age limit it only says too little."""
    return [each["code"] for each in problem["errors"]] == ["sensor-quiet"]


def test_a_move_recorded_while_the_median_was_made() -> None:
    """The request came before the move; the readings are from before it; it is decided after it."""
    asked = TouchIn(point="slab", purpose="reference", edge_point="centre")
    read = Read(asked, None, state())
    assert read.on(state()) is asked
    assert read.on(state(SLAB)) is asked
    for entry in (p.Moved(), p.Swung(), LASER):
        with pytest.raises(Refused, match="before the last move"):
            read.on(state(entry))


def test_at_rest_moving_and_the_rest(door: Door) -> None:
    """All at the same time, each a machine of its own."""

    async def still(job: JobDoer) -> None:
        async with Feeder(door, job) as feeder, streaming_on(feeder):
            touched = await until(201, job, "touches", TOUCH, idempotency_key="first")
            assert touched["role"] == "checks"
            assert abs(touched["misclosure"]["m"]) < EXACT_M
            payload = (await last(job))["payload"]
            readings = payload["pose"]["given"]["readings"]
            for name, each in said(REST).items():
                assert readings["said"][name]["deg"] == pytest.approx(each["deg"], abs=1e-9)
                assert 15 <= readings["counts"][name] <= 25
            assert readings["watched_s"] >= 1.0
            assert 0.0 <= readings["drift_mm"] < 0.1
            assert readings["drift_on_the_level_mm"] < 0.1
            check = (await until(201, job, "checks", {"target": "footing", "units": "m"}))["check"]
            assert abs(check["points"]["centre"]["elevation"]["m"] - 100.0) < EXACT_M
            assert (await last(job))["payload"]["pose"]["given"]["readings"]["watched_s"] >= 1.0
            stone = await until(201, job, "turning-points", {"name": "stone", "edge_point": "centre"})
            pole = {"name": "pole", "edge_point": "centre", "pose": as_asked(REST)}
            by_hand = await post(job, "turning-points", pole, 201)
            assert stone["elevation"]["m"] == pytest.approx(by_hand["elevation"]["m"], abs=EXACT_M)
            body = {"target": "apron", "station": 2.0, "edge_point": "centre", "units": "m"}
            await until(201, job, "stations", body)
            assert (await last(job))["payload"]["x_m"] == pytest.approx(
                float(REST.level("centre")[0]), abs=1e-6
            )
            problem = await until(
                422, job, "touches", TOUCH | {"point": "peg"}, lambda told: not codes(told) & LATE
            )
            assert codes(problem) == {"unknown-benchmark"}
        await repeated(job, touched)

    async def repeated(job: JobDoer, touched: Json) -> None:
        """Its answer was lost; the stream has ended meanwhile; it is answered again and recorded once."""
        await asyncio.sleep(0.6)  # all is too old by now
        before = await seq_of(job)
        again = await post(job, "touches", TOUCH, 201, idempotency_key="first")
        assert again == touched | {"replayed": True}
        assert await seq_of(job) == before
        problem = await post(job, "touches", TOUCH, 422, idempotency_key="second")
        assert codes(problem) == {"sensor-quiet"}
        other = await post(job, "touches", TOUCH | {"edge_point": "left"}, 409, idempotency_key="first")
        assert codes(other) == {"idempotency-conflict"}

    async def moving(job: JobDoer) -> None:
        async with Feeder(door, job) as feeder:
            async with streaming_on(feeder, creep_rad_s=0.01):
                problem = await until(409, job, "touches", TOUCH)
            assert problem["type"].endswith("#arm-moves")
            assert codes(problem) == {"arm-moves"}
            assert {each["pointer"] for each in problem["errors"]} <= {
                "/pose/centre_height",
                "/pose/centre_reach",
            }
            assert any("mm" in each["found"] for each in problem["errors"])

    async def short(job: JobDoer) -> None:
        async with Feeder(door, job) as feeder:
            problem = await soon(feeder, job, 0.4, TOUCH)
            assert codes(problem) == {"too-few-readings"}
            assert {each["pointer"] for each in problem["errors"]} == {
                f"/pose/{name}" for name in sensed().all
            }

    async def quiet(job: JobDoer) -> None:
        async with Feeder(door, job) as feeder:
            await streaming(feeder, 0.4)
            async with streaming_on(feeder, but="idler"):
                problem = await until(422, job, "touches", TOUCH, one_is_quiet)
            [told] = problem["errors"]
            assert told["pointer"] == "/pose/idler"

    async def asked_earlier(job: JobDoer) -> None:
        """Its request was long on its way, and the edge rests elsewhere by now; the next is late too, but at rest."""
        async with Feeder(door, job) as feeder, Viewer(door, job) as viewer:
            await viewer.socket.send('{"clock": 1}')
            pressed = await viewer.told.first(lambda told: "clock" in told)
            at = {name: pressed[name] for name in ("of", "at_s")}
            await streaming(feeder, 0.3, creep_rad_s=0.2)
            async with streaming_on(feeder):
                await asyncio.sleep(3.5)
                await later(job, viewer, at)

    async def later(job: JobDoer, viewer: Viewer, at: Json) -> None:
        """The edge rests for 3.5 s by now."""
        before = await seq_of(job)
        problem = await until(409, job, "touches", TOUCH | {"asked_at": at}, idempotency_key="late")
        assert problem["type"].endswith("#asked-too-long-ago")
        [told] = problem["errors"]
        assert (told["pointer"], told["code"]) == ("/asked_at", "asked-too-long-ago")
        assert told["numbers"]["age_s"] >= 3.5
        assert 1.0 <= told["numbers"]["rested_s"] < told["numbers"]["age_s"]
        assert await seq_of(job) == before
        for wrong, code in (
            ({"of": "another"}, "clock-unknown"),
            ({"at_s": at["at_s"] + 60}, "clock-ahead"),
        ):
            assert codes(await post(job, "touches", TOUCH | {"asked_at": at | wrong}, 422)) == {code}
        assert codes(await post(job, "touches", TOUCH | {"asked_at": at, "pose": as_asked(REST)}, 422)) == {
            "asked-with-pose"
        }
        await viewer.socket.send('{"clock": 2}')
        again = await viewer.told.first(lambda told: told.get("clock") == 2)
        now = {name: again[name] for name in ("of", "at_s")}
        await asyncio.sleep(1.4)  # longer on its way than the second that is read, and at rest ever since
        touched = await until(201, job, "touches", TOUCH | {"asked_at": now}, idempotency_key="late")
        # Its answer was lost, and it was pressed again: the same request, whenever it was asked for.
        once_more = await post(job, "touches", TOUCH | {"asked_at": at}, 201, idempotency_key="late")
        assert once_more == touched | {"replayed": True}

    async def moved_on(job: JobDoer) -> None:
        """Rest before the tracks moved is none after it."""
        async with Feeder(door, job) as feeder:
            touch = TOUCH | {"purpose": "reference"}
            problem = await soon(feeder, job, 1.2, touch, job.move)
            assert codes(problem) == {"observed-before"}
            problem = await soon(feeder, job, 0.3, touch)
            assert codes(problem) == {"too-few-readings"}

    async def none(job: JobDoer) -> None:
        for what, body in (
            ("touches", TOUCH), ("turning-points", {"name": "stone", "edge_point": "centre"}),
            ("stations", {"target": "apron", "station": 2.0, "edge_point": "centre", "units": "m"}),
        ):  # fmt: skip
            problem = await post(job, what, body, 422)
            assert codes(problem) == {"no-pose"}
            assert [each["pointer"] for each in problem["errors"]] == ["/pose"]
        problem = await post(job, "touches", TOUCH | {"observed_at": datetime.now(UTC).isoformat()}, 422)
        assert codes(problem) == {"no-pose"}

    async def all_of() -> None:
        works: list[Any] = [still, moving, short, quiet, moved_on, none, asked_earlier]
        jobs = [await asyncio.to_thread(door.dug) for _ in works]
        for job in (jobs[0], jobs[5]):
            job.post("targets", job.target_body("apron", 1.0) | {"along_percent": 2.0})
        before = [job.get()["seq"] for job in jobs]
        await asyncio.gather(*(work(job) for work, job in zip(works, jobs, strict=True)))
        for job, seq in zip(jobs[1:4] + jobs[5:6], before[1:4] + before[5:6], strict=True):
            assert job.get()["seq"] == seq, "a refused request was recorded"

    run(all_of())
