"""The live door: frames a second over a bare WebSocket echo, and how late a readout is with many machines at work."""

import asyncio
import json
import math
import statistics
import subprocess
import sys
import time
from collections.abc import Awaitable, Callable
from contextlib import AsyncExitStack

import httpx
import websockets
from websockets.asyncio.client import ClientConnection

from kinematics.reach import place_edge
from kinematics.sensing import Told, readings_of
from machine_profiles import shipped
from machine_profiles.sensor_pair import sensor_set
from tests.demo_machine import ATTACHMENT, MACHINE, arm_of_demo

MACHINES, FRAMES, WARM, BLOCKS = 20, 150, 40, 9
CROWD, RATE_HZ, SECONDS = 50, 50.0, 4.0
# What a live readout of this job measures, to a hundred letters; checked below.
SIZE = 3500
_LETTERS = 250
Readings = dict[str, float | list[float]]
Turn = Callable[[int], Awaitable[None]]


def live() -> dict[str, float]:
    """Medians of alternating blocks: echo, then ours; then the crowd."""
    command = [sys.executable, "-m", "tests.benchmarks.live_servers", str(SIZE)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as servers:
        try:
            assert servers.stdout is not None
            ours, floor = json.loads(servers.stdout.readline())
            return asyncio.run(_measured(ours, floor))
        finally:
            servers.terminate()


async def _measured(ours: int, floor: int) -> dict[str, float]:
    jobs, said = [f"pit-{i}" for i in range(CROWD)], poses()
    with httpx.Client(base_url=f"http://127.0.0.1:{ours}", timeout=30) as client:
        for job in jobs:
            begin(client, job)
    async with AsyncExitStack() as stack:
        machines = [Machine(ours, job, said) for job in jobs[:MACHINES]]
        for machine in machines:
            await machine.connect(stack)
        echoes = [await stack.enter_async_context(_socket(floor, "/echo")) for _ in range(MACHINES)]
        frame = machines[0].frame(0)

        async def echo(socket: ClientConnection) -> None:
            await socket.send(frame)
            assert len(await socket.recv()) == SIZE

        turns: list[Turn] = [lambda i: echo(echoes[i]), lambda i: machines[i].turn()]
        times: tuple[list[float], list[float]] = ([], [])
        for machine in machines:  # what was read while others connected is too old by now
            await machine.refresh()
        for turn in turns:
            await _block(turn, WARM)
        assert abs(machines[0].size - SIZE) <= _LETTERS, machines[0].size
        for _ in range(BLOCKS):
            for series, turn in zip(times, turns, strict=True):
                series.append(await _block(turn, FRAMES))
        ratio = statistics.median(a / b for a, b in zip(*times, strict=True))
        base, our = (statistics.median(series) for series in times)
    late = await _crowd(ours, jobs, said)
    return {"ws_frames_over_floor": ratio, "ws_frame_us": our * 1e6, "ws_floor_us": base * 1e6} | late


async def _block(turn: Turn, count: int) -> float:
    """Seconds a frame, `count` of each machine."""

    async def turns(i: int) -> None:
        for _ in range(count):
            await turn(i)

    start = time.perf_counter()
    await asyncio.gather(*(turns(i) for i in range(MACHINES)))
    return (time.perf_counter() - start) / (count * MACHINES)


async def _crowd(port: int, jobs: list[str], said: list[Readings]) -> dict[str, float]:
    """How long from sending a frame of all sensors to its readout, with every machine at `RATE_HZ`."""
    late: list[float] = []
    async with AsyncExitStack() as stack:
        machines = [Machine(port, job, said) for job in jobs]
        for machine in machines:
            await machine.connect(stack)
        for machine in machines:
            await machine.refresh()
        first = time.perf_counter() + 0.1

        async def work(i: int, machine: Machine) -> None:
            for k in range(int(SECONDS * RATE_HZ)):
                due = first + (k + i / CROWD) / RATE_HZ
                await asyncio.sleep(max(due - time.perf_counter(), 0.0))
                start = time.perf_counter()
                await machine.turn(whole=True)
                late.append(time.perf_counter() - start)

        await asyncio.gather(*(work(i, machine) for i, machine in enumerate(machines)))
    late.sort()
    assert len(late) == int(SECONDS * RATE_HZ) * CROWD
    return {
        "live_p50_ms": 1e3 * late[len(late) // 2],
        "live_p99_ms": 1e3 * late[math.ceil(0.99 * len(late)) - 1],
        "live_machines": float(CROWD), "live_rate_hz": RATE_HZ,
    }  # fmt: skip


class Machine:
    """One that feeds readings, and one viewer of it."""

    def __init__(self, port: int, job: str, said: list[Readings]) -> None:
        self._port, self._job = port, job
        self._poses = said
        self._names = list(self._poses[0])
        self._turn = 0
        self.size = 0

    async def connect(self, stack: AsyncExitStack) -> None:
        """Both connections, every sensor read once."""
        self._feed = await stack.enter_async_context(_socket(self._port, f"/v1/jobs/{self._job}/readings"))
        where = f"/v1/jobs/{self._job}/readouts/live?target=footing"
        self._view = await stack.enter_async_context(_socket(self._port, where))
        asked = json.loads(await self._feed.recv())["clock"]
        await self._feed.send(json.dumps({"clock": asked, "at_s": time.monotonic()}))
        answering = asyncio.create_task(self._answer())
        stack.callback(answering.cancel)
        await self.refresh()

    async def refresh(self) -> None:
        """Read every sensor once, and wait for a readout."""
        await self._feed.send(self._all(self._poses[0]))
        while '"readout":null' in (text := str(await self._view.recv())):
            pass
        self._number = _number(text)

    async def _answer(self) -> None:
        async for text in self._feed:
            told = json.loads(text)
            assert "refused" not in told, told
            if "clock" in told:
                await self._feed.send(json.dumps({"clock": told["clock"], "at_s": time.monotonic()}))

    def frame(self, turn: int) -> str:
        """One reading of one sensor."""
        name = self._names[turn % len(self._names)]
        said = self._poses[turn % len(self._poses)][name]
        return json.dumps({"sensor": name, "at_s": time.monotonic(), "deg": said})

    def _all(self, said: Readings) -> str:
        now = time.monotonic()
        return json.dumps({"readings": [{"sensor": n, "at_s": now, "deg": v} for n, v in said.items()]})

    async def turn(self, *, whole: bool = False) -> None:
        """A frame, and the first readout that was computed after it."""
        self._turn += 1
        text = self._all(self._poses[self._turn % len(self._poses)]) if whole else self.frame(self._turn)
        await self._feed.send(text)
        told = str(await self._view.recv())
        assert _number(told) > self._number
        if '"readout":null' in told:  # this machine paused for longer than a reading counts
            await self.refresh()
            return
        self._number, self.size = _number(told), len(told)


def _number(text: str) -> int:
    return int(text[10 : text.index(",")])


def _socket(port: int, path: str) -> websockets.connect:
    return websockets.connect(f"ws://127.0.0.1:{port}{path}", compression=None, max_size=None)


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
