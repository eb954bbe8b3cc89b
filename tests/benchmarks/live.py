"""The live door: frames a second over a bare WebSocket echo, and how late a readout is with many machines at work."""

import asyncio
import math
import statistics
import time
from collections.abc import Awaitable, Callable
from contextlib import AsyncExitStack

import httpx
from websockets.asyncio.client import ClientConnection

from kinematics.reach import place_edge
from kinematics.sensing import Told, readings_of
from machine_profiles import shipped
from machine_profiles.sensor_pair import sensor_set
from tests.benchmarks.live_machine import Machine, Readings, connected, within
from tests.benchmarks.started import BenchmarkFailed, started
from tests.demo_machine import ATTACHMENT, MACHINE, arm_of_demo

MACHINES, FRAMES, WARM, BLOCKS = 20, 150, 40, 9
CROWD, RATE_HZ, SECONDS = 50, 50.0, 4.0
Turn = Callable[[int], Awaitable[None]]


def live() -> dict[str, float]:
    """Medians of alternating blocks: echo, then ours; then the crowd."""
    with started("tests.benchmarks.live_servers") as (ours, floor):
        return asyncio.run(_measured(ours, floor))


async def _measured(ours: int, floor: int) -> dict[str, float]:
    jobs, said = [f"pit-{i}" for i in range(CROWD)], poses()
    with httpx.Client(base_url=f"http://127.0.0.1:{ours}", timeout=30) as client:
        for job in jobs:
            begin(client, job)
    async with AsyncExitStack() as stack:
        machines = await _connected(ours, jobs[:MACHINES], said, stack)
        await _block(lambda i: machines[i].turn(), WARM)
        size, frame = machines[0].size, machines[0].frame(0)
        async with within(f"{MACHINES} connections to the echo"):
            echoes = [await connected(floor, f"/echo/{size}", stack) for _ in range(MACHINES)]

        async def echo(socket: ClientConnection) -> None:
            await socket.send(frame)
            assert len(await socket.recv()) == size

        turns: list[Turn] = [lambda i: echo(echoes[i]), lambda i: machines[i].turn()]
        times: tuple[list[float], list[float]] = ([], [])
        for turn in turns:
            await _block(turn, WARM)
        for _ in range(BLOCKS):
            for series, turn in zip(times, turns, strict=True):
                series.append(await _block(turn, FRAMES))
        ratio = statistics.median(a / b for a, b in zip(*times, strict=True))
        base, our = (statistics.median(series) for series in times)
        missed = sum(machine.missed for machine in machines)
    told = await _crowd(ours, jobs, said)
    told["live_missed"] += missed
    return {"ws_frames_over_floor": ratio, "ws_frame_us": our * 1e6, "ws_floor_us": base * 1e6} | told


async def _connected(
    port: int, jobs: list[str], said: list[Readings], stack: AsyncExitStack
) -> list[Machine]:
    machines = [Machine(port, job, said) for job in jobs]
    async with within(f"{len(jobs)} machines connected, with a readout each", machines):
        await asyncio.gather(*(machine.connect(stack) for machine in machines))
        # What was read while others connected is too old by now.
        await asyncio.gather(*(machine.refresh() for machine in machines))
    return machines


async def _block(turn: Turn, count: int) -> float:
    """Seconds a frame, `count` of each machine."""

    async def turns(i: int) -> None:
        for _ in range(count):
            await turn(i)

    start = time.perf_counter()
    async with within(f"a block of {count} frames of each of {MACHINES} machines"):
        await asyncio.gather(*(turns(i) for i in range(MACHINES)))
    return (time.perf_counter() - start) / (count * MACHINES)


async def _crowd(port: int, jobs: list[str], said: list[Readings]) -> dict[str, float]:
    """How long from sending a frame of all sensors to its readout, with every machine at `RATE_HZ`."""
    late: list[float] = []
    async with AsyncExitStack() as stack:
        machines = await _connected(port, jobs, said, stack)
        first = time.perf_counter() + 0.1

        async def work(i: int, machine: Machine) -> None:
            for k in range(int(SECONDS * RATE_HZ)):
                due = first + (k + i / CROWD) / RATE_HZ
                await asyncio.sleep(max(due - time.perf_counter(), 0.0))
                start, before = time.perf_counter(), machine.missed
                await machine.turn(whole=True)
                if machine.missed == before:
                    late.append(time.perf_counter() - start)

        async with within(f"{CROWD} machines at {RATE_HZ:g} Hz for {SECONDS:g} s", machines):
            await asyncio.gather(*(work(i, machine) for i, machine in enumerate(machines)))
        missed = sum(machine.missed for machine in machines)
    if not late:
        raise BenchmarkFailed(
            f"expected readouts of {CROWD} machines, found {missed} missed and none in time"
        )
    late.sort()
    return {
        "live_p50_ms": 1e3 * late[len(late) // 2],
        "live_p99_ms": 1e3 * late[math.ceil(0.99 * len(late)) - 1],
        "live_missed": float(missed), "live_machines": float(CROWD), "live_rate_hz": RATE_HZ,
    }  # fmt: skip


def poses() -> list[Readings]:
    """What the sensors say in a few poses of a dig: some 0.2 m above the target, the heel clear, nothing to warn of."""
    arm, profiles = arm_of_demo(), shipped()
    sensors = sensor_set(profiles["machine", MACHINE], profiles["attachment", ATTACHMENT], arm)
    assert sensors is not None
    found = [
        place_edge(arm, pitch=math.radians(0.6), roll=math.radians(-0.4), point="centre", reach=5.2 - 0.01 * k,
                   height=-1.8 - 0.002 * k, floor_angle=math.radians(5.0), tilt=0.0).pose
        for k in range(8)
    ]  # fmt: skip
    return [{name: _degrees(said) for name, said in readings_of(sensors, pose).items()} for pose in found]


def _degrees(said: Told) -> float | list[float]:
    return [math.degrees(part) for part in said] if isinstance(said, tuple) else math.degrees(said)


def begin(client: httpx.Client, job: str) -> None:
    def post(what: str, body: dict[str, object]) -> None:
        answer = client.post(f"/v1/jobs{what}", json=body)
        assert answer.status_code == 201, answer.text

    at = f"/{job}"
    post("", {"id": job, "name": job, "units": "m"})
    post(f"{at}/benchmarks", {"name": "slab", "elevation": 100.0, "units": "m"})
    post(f"{at}/setups", {"machine": MACHINE, "attachment": ATTACHMENT})
    pose = {
        "angles_deg": {"boom": 14.0, "stick": -70.0, "bucket": 17.4, "tilt": 0.0},
        "attitude_deg": {"pitch": 0.6, "roll": -0.4},
    }
    post(f"{at}/touches", {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": pose})
    layers = [{"name": "floor", "thickness": 0.4}]
    post(f"{at}/targets", {"name": "footing", "benchmark": "slab", "units": "m", "layers": layers, "overdig": 0.0,
                           "tolerance": 0.03})  # fmt: skip
