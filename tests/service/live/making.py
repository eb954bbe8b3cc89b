"""The live door behind a real server in this process, machines that feed it, and those who look.

Whoever feeds has a clock of its own, far from the service's. Every wait is bounded.
"""

import asyncio
import gc
import json
import math
import socket
import threading
import time
from collections.abc import Awaitable, Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol, Self, TypeVar

import httpx
import uvicorn
import websockets
from fastapi import FastAPI
from websockets.asyncio.client import ClientConnection

from kinematics.arm import Pose, pose
from kinematics.sensing import Told, readings_of
from kinematics.sensor_set import SensorSet
from machine_profiles import sensor_set, shipped
from service.app import create_app
from service.live.feed import Feed
from service.live.hub import Hub
from service.serving import bind, configured
from service.settings import Settings
from tests.service.api.doing import Client, JobDoer, as_asked, fitted, opened

Json = dict[str, Any]
Said = dict[str, Json]
T = TypeVar("T")
DEADLINE_S = 20.0
MACHINE, ATTACHMENT = "crawler-14t", "tilting-1800"
LEAN = {"pitch": math.radians(0.6), "roll": math.radians(-0.4)}


def run(work: Awaitable[T], within: float = DEADLINE_S) -> T:
    """The result of something awaited on a loop of its own."""

    async def bounded() -> T:
        async with asyncio.timeout(within):
            return await work

    return asyncio.run(bounded())


# The service.


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.up = threading.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        self.up.set()


SETTLED_S = 0.06


class OverHttp(Client):
    """The same client over a real connection."""

    def __init__(self, app: FastAPI, address: str) -> None:
        self.app = app
        self.http = httpx.Client(base_url=address, timeout=DEADLINE_S)  # type: ignore[assignment]  # as much as is used

    def close(self) -> None:
        self.http.close()


class Door:
    """A service that answers at a port of its own."""

    def __init__(self, app: FastAPI, port: int, server: _Server) -> None:
        self.app, self.port, self.server = app, port, server
        self.http = OverHttp(app, f"http://127.0.0.1:{port}")
        self._names = iter(range(1000))

    @property
    def hub(self) -> Hub:
        found: Hub = self.app.state.hub
        return found

    def known(self, job: str) -> Feed:
        """The feed of a job, to be looked at."""
        found = self.hub.known(job)
        assert found is not None
        return found

    def job(self, units: str = "m") -> JobDoer:
        """A new job."""
        return opened(self.http, f"live-{next(self._names)}", units)

    def dug(
        self, units: str = "m", machine: str = MACHINE, attachment: str = ATTACHMENT, below: float = 1.9
    ) -> JobDoer:
        """One with slab, machine, laser, height, and a level target "footing" a little below the first pose."""
        job = self.job(units)
        job.benchmark("slab", 100.0)
        job.setup(machine, attachment)
        if fitted(machine, attachment).machine.receiver is not None:
            job.laser()
        touched = at_rest(machine, attachment)
        body = {"point": "slab", "purpose": "reference", "edge_point": "centre", "pose": as_asked(touched)}
        job.post("touches", body)
        job.target("footing", below)
        return job

    def health(self, job: JobDoer) -> Json:
        """What GET sensors says, sensors by name."""
        found: Json = job.get("sensors")
        return found | {"sensors": {each["name"]: each for each in found["sensors"]}}


@contextmanager
def serving(folder: Path, **settings: Any) -> Iterator[Door]:
    """The application as `tipdatum serve` serves it, in a thread."""
    given = Settings(data_folder=folder, port=0, **settings)
    app = create_app(given)
    listener = bind("127.0.0.1", 0)
    # What the system keeps for one that does not read, else megabytes: tests would have to fill it first.
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 16_384)
    server = _Server(configured(app, given))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    door = None
    try:
        assert server.up.wait(DEADLINE_S), "the server did not start"
        # As `tipdatum serve` does: what thousands of tests have left would hold up every stream for most of a second.
        gc.collect()
        gc.freeze()
        door = Door(app, listener.getsockname()[1], server)
        yield door
    finally:
        if door is not None:
            door.http.close()
        server.should_exit = True
        thread.join(DEADLINE_S)
        listener.close()
        gc.unfreeze()
        assert not thread.is_alive()


# What sensors say.


@cache
def sensed(machine: str = MACHINE, attachment: str = ATTACHMENT) -> SensorSet:
    """The sensors of a shipped pair."""
    profiles = shipped()
    found = sensor_set(
        profiles["machine", machine], profiles["attachment", attachment], fitted(machine, attachment)
    )
    assert found is not None
    return found


@cache
def at_rest(machine: str = MACHINE, attachment: str = ATTACHMENT, part: float = 0.5) -> Pose:
    """Every joint at this part of its range, on ground that is not level."""
    fit = fitted(machine, attachment)
    joints = {name: each.low + part * (each.high - each.low) for name, each in fit.ranges.items()}
    for name in joints.keys() & {"tilt", "rotate", "swing_boom"}:
        joints[name] *= 0.1
    return pose(fit, **LEAN, **joints)


def said(found: Pose, sensors: SensorSet | None = None) -> Said:
    """What every sensor of the pair says in a pose: {"boom": {"deg": 31.0}}."""
    sensors = sensors or sensed()
    return {name: in_unit(sensors, name, value) for name, value in readings_of(sensors, found).items()}


def in_unit(sensors: SensorSet, name: str, value: Told) -> Json:
    per = 1e3 if sensors.all[name].unit == "m" else 180.0 / math.pi
    told = [per * each for each in value] if isinstance(value, tuple) else per * value
    return {"mm" if sensors.all[name].unit == "m" else "deg": told}


# Whoever feeds, and whoever looks.


class Messages:
    """Messages as they came, to be waited for."""

    def __init__(self) -> None:
        self.all: list[Json] = []
        self.closed: tuple[int, str] | None = None
        self._news = asyncio.Event()

    def add(self, message: Json) -> None:
        self.all.append(message)
        self._news.set()

    def end(self, code: int, reason: str) -> None:
        self.closed = code, reason
        self._news.set()

    async def first(self, wanted: Callable[[Json], object], within: float = 5.0, since: int = 0) -> Json:
        """The first message from number `since` on that is wanted; fails where the connection ends before it."""
        seen = since
        try:
            async with asyncio.timeout(within):
                while True:
                    while seen < len(self.all):
                        seen += 1
                        if wanted(self.all[seen - 1]):
                            return self.all[seen - 1]
                    assert self.closed is None, (self.closed, self.all[-2:])
                    self._news.clear()
                    await self._news.wait()
        except TimeoutError:
            raise AssertionError(f"not told within {within} s; last: {self.all[-2:]}") from None

    async def next(self, wanted: Callable[[Json], object] = lambda _: True, within: float = 5.0) -> Json:
        """The same of those still to come."""
        return await self.first(wanted, within, len(self.all))

    async def end_of(self, within: float = 5.0) -> tuple[int, str]:
        """How the connection was closed."""
        async with asyncio.timeout(within):
            while self.closed is None:
                self._news.clear()
                await self._news.wait()
        return self.closed


class Port(Protocol):
    """Where a service answers."""

    @property
    def port(self) -> int: ...


class Link:
    """A WebSocket whose messages are kept."""

    def __init__(self, door: Port, path: str, *, token: str | None = None, origin: str | None = None) -> None:
        headers = {} if token is None else {"authorization": f"Bearer {token}"}
        if origin is not None:
            headers["origin"] = origin
        self._asked = websockets.connect(
            f"ws://127.0.0.1:{door.port}{path}", compression=None, max_size=None, additional_headers=headers,
            max_queue=None, open_timeout=DEADLINE_S,
        )  # fmt: skip
        self.told = Messages()
        self.socket: ClientConnection

    async def __aenter__(self) -> Self:
        self.socket = await self._asked.__aenter__()
        self._listening = asyncio.create_task(self._listen())
        await self.begun()
        # What a job's log says last must be older than the sensors' latency, or the first readings are from before it.
        await asyncio.sleep(SETTLED_S)
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._listening.cancel()
        await asyncio.gather(self._listening, return_exceptions=True)
        await self._asked.__aexit__(kind, error, trace)

    async def begun(self) -> None:
        """What is to be done first."""

    async def heard(self, message: Json) -> None:
        """Something that was told."""

    async def _listen(self) -> None:
        try:
            async for text in self.socket:
                message = json.loads(text, parse_constant=_none)
                await self.heard(message)
                self.told.add(message)
        except websockets.ConnectionClosed:
            pass
        close = self.socket.protocol.close_rcvd
        self.told.end(*((0, "") if close is None else (int(close.code), close.reason)))


def _none(name: str) -> None:
    raise AssertionError(f"{name} in a message")


class Feeder(Link):
    """A machine with its sensors. `zero`: what its clock shows more than ours, in seconds."""

    def __init__(
        self, door: Port, job: JobDoer | str, *, zero: float = -5e6, answers: bool = True, **more: Any
    ) -> None:
        name = job if isinstance(job, str) else job.id
        super().__init__(door, f"/v1/jobs/{name}/readings", **more)
        self.zero, self._answers = zero, answers

    def clock(self) -> float:
        return time.monotonic() + self.zero

    async def begun(self) -> None:
        self.welcome = (await self.told.first(lambda m: "welcome" in m))["welcome"]

    async def heard(self, message: Json) -> None:
        if "clock" in message and self._answers:
            await self.send({"clock": message["clock"], "at_s": self.clock()})

    async def send(self, what: object) -> None:
        await self.socket.send(what if isinstance(what, str | bytes) else json.dumps(what))

    async def say(self, what: Mapping[str, Json], at_s: float | None = None) -> None:
        """Readings of these sensors, all of one moment, in one frame."""
        await self.send({"readings": dated(what, self.clock() if at_s is None else at_s)})

    async def refused(self, code: str, within: float = 4.0) -> Json:
        """The fault of this code, once it is told."""

        def has(message: Json) -> bool:
            return any(each["code"] == code for each in message.get("refused", []))

        found = await self.told.first(has, within)
        return next(each for each in found["refused"] if each["code"] == code)

    async def keep_saying(self, what: Callable[[], Mapping[str, Json]], hz: float = 20.0) -> None:
        """Readings of all of it, again and again, until cancelled."""
        due = time.monotonic()
        while True:
            await self.say(what())
            due += 1.0 / hz
            await asyncio.sleep(due - time.monotonic())


def dated(what: Mapping[str, Json], at_s: float) -> list[Json]:
    """Readings as they go into a frame."""
    return [{"sensor": name, "at_s": at_s, **each} for name, each in what.items()]


class Viewer(Link):
    """One who looks by WebSocket."""

    def __init__(self, door: Port, job: JobDoer | str, asked: str = "", **more: Any) -> None:
        name = job if isinstance(job, str) else job.id
        super().__init__(door, f"/v1/jobs/{name}/readouts/live?{asked}", **more)

    async def readout(self, within: float = 5.0) -> Json:
        """The next message that has a readout."""
        return await self.told.next(lambda m: m["readout"] is not None, within)

    async def quiet(self, within: float = 5.0) -> Json:
        """The next message without one."""
        return await self.told.next(lambda m: m["readout"] is None, within)


async def alone(work: Awaitable[Any]) -> asyncio.Task[Any]:
    """Work beside the test's own."""
    return asyncio.ensure_future(work)


def differences(a: object, b: object, most: float, where: str = "") -> list[str]:
    """Where two documents differ, numbers by more than `most`."""
    if isinstance(a, dict) and isinstance(b, dict):
        if a.keys() != b.keys():
            return [f"{where}: {sorted(a)} and {sorted(b)}"]
        return [each for key in a for each in differences(a[key], b[key], most, f"{where}.{key}")]
    if isinstance(a, list) and isinstance(b, list):
        if len(a) != len(b):
            return [f"{where}: {len(a)} and {len(b)} parts"]
        return [
            each
            for i, pair in enumerate(zip(a, b, strict=True))
            for each in differences(*pair, most, f"{where}.{i}")
        ]
    numbers = all(isinstance(each, int | float) and not isinstance(each, bool) for each in (a, b))
    if numbers:
        assert math.isfinite(a), where  # type: ignore[arg-type]
        assert math.isfinite(b), where  # type: ignore[arg-type]
        return [] if abs(a - b) <= most else [f"{where}: {a!r} and {b!r}"]  # type: ignore[operator]
    return [] if a == b else [f"{where}: {a!r} and {b!r}"]
