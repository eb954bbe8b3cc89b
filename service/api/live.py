"""The live door: readings in by WebSocket, readouts out by WebSocket and server-sent events, the sensors' health."""

import asyncio
import json
import math
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Annotated, Any, cast

from fastapi import APIRouter, Depends, Header, Query, Request, WebSocket
from fastapi.responses import StreamingResponse
from starlette.requests import HTTPConnection

from kinematics.errors import Fault, Refused
from kinematics.units import LengthUnit
from service.access.caller import Caller
from service.book.keeper import Keeper
from service.book.requests import Name
from service.live.feed import Feed
from service.live.hub import Hub
from service.live.link import CLOSED, Feeder, close_with
from service.problems import Problem, damaged
from service.store import JobUnknown, LogDamaged
from service.text import fault, nearest

from .answers import Reference, reference
from .door import CallerDep, KeeperDep
from .jobs import JobId
from .live_message import LiveOut, Watch
from .readouts import EdgePoint, Line, aim_of
from .standing import still_allowed

router = APIRouter(prefix="/v1/jobs/{job}", tags=["live"])
CHECK_EVERY_S = 5.0
SEND_WITHIN_S = 10.0
_RECONNECT_MS = 1000
# Whoever asks more often waits, and nobody else.
_QUESTION_EVERY_S = 0.05
_LONGEST_QUESTION, _MOST_NUMBER = 100, 2**53
_CATCH_UP = 0.1


async def hub_of(connection: HTTPConnection) -> Hub:
    """The feeds."""
    return cast(Hub, connection.app.state.hub)


HubDep = Annotated[Hub, Depends(hub_of)]


# Readings in.


@router.websocket("/readings")
async def feed_readings(socket: WebSocket, job: JobId, hub: HubDep, caller: CallerDep) -> None:
    """Readings of the machine's sensors, one a frame or many; see /guide/live."""
    feed = await feed_of(hub, job)

    async def check(feed: Feed) -> Caller:
        return await still_allowed(socket, feed.state)

    await check(feed)
    per_s: float = socket.app.state.readings_per_s
    await socket.accept()
    await Feeder(socket, hub, feed, caller, per_s=per_s, welcome=welcome, check=check).run()


def welcome(feed: Feed) -> dict[str, Any]:
    """What a feeder is told first: which sensors are expected, in which unit, and of which raw frames are taken."""
    receiver = None if feed.sensors is None else feed.sensors.assembly.machine.receiver
    return {
        "job": feed.job, "machine": _named(reference(feed.state.machine)),
        "attachment": _named(reference(feed.state.attachment)),
        "sensors": {
            name: {
                "unit": channel.unit, "numbers": 2 if channel.pair else 1, "age_limit_s": channel.limit_s,
                "place": channel.sensor.place, "measures": channel.sensor.measures.value,
                "latency_s": channel.sensor.latency_s, "raw": channel.sensor.by_gravity,
            }
            for name, channel in feed.channels.items()
        },
        "receiver": receiver is not None,
        "no_sensors_because": [str(each) for each in feed.why],
    }  # fmt: skip


def _named(what: Reference | None) -> dict[str, Any] | None:
    return None if what is None else what.model_dump()


async def feed_of(hub: Hub, job: str) -> Feed:
    """The feed of a job. Raises the `Problem` "unknown-job", "log-damaged"."""
    try:
        return await hub.feed(job)
    except JobUnknown:
        told = fault("unknown-job", repr(job), "a job on record", "open it first; /v1/jobs lists them")
        raise Problem("unknown-job", [told]) from None
    except LogDamaged as error:
        raise damaged(error) from None


# Readouts out.


class Asked:
    """What a viewer wants to see, and how often."""

    def __init__(
        self,
        connection: HTTPConnection,
        target: Annotated[Name | None, Query(description="A target of the depth sheet.")] = None,
        line: Annotated[Line, Query(description="Cutting edge, or tooth tips where there are any.")] = "edge",
        edge_point: Annotated[
            EdgePoint, Query(description="Of the line: which point the corrections bring to the target.")
        ] = "centre",
        station: Annotated[
            str | None,
            Query(max_length=40, description="Station of the edge centre off a tape, in the job's units."),
        ] = None,
        rate_hz: Annotated[
            float | None,
            Query(ge=1, le=100, allow_inf_nan=False,
                  description="At most so many a second, 1 to 100; left out: each time something changed."),
        ] = None,
    ) -> None:  # fmt: skip
        unknown = [name for name in connection.query_params if name not in _PARAMETERS]
        if unknown:  # one misspelt would be left out in silence
            known = ", ".join(_PARAMETERS)
            raise Problem("invalid-request", [
                fault("unknown-field", f"the query parameter {name!r}", f"one of: {known}", nearest(name, _PARAMETERS))
                for name in unknown
            ])  # fmt: skip
        self.target, self.line, self.edge_point = target, line, edge_point
        self.station, self.rate_hz = station, rate_hz


_PARAMETERS = ("target", "line", "edge_point", "station", "rate_hz", "after")
AskedDep = Annotated[Asked, Depends(Asked)]


class Viewer:
    """One who looks at `feed`: the newest message whenever it is due."""

    def __init__(self, hub: Hub, feed: Feed, watch: Watch, rate_hz: float | None, last: int | None) -> None:
        self._hub, self.feed, self._watch = hub, feed, watch
        self._period = 0.0 if rate_hz is None else 1.0 / rate_hz
        self._last = last
        self._due = self._told = -math.inf

    async def next(self) -> tuple[int, str]:
        """(number, text) of the newest, once something has changed and the pace allows."""
        feed, now = self.feed, self._hub.now
        last = self._last
        while last is not None and feed.number <= last:
            await feed.turn()
        if self._period:
            wait = self._due - now()
            if wait > 0.0:
                await asyncio.sleep(wait)
            # Who woke a little late may make up for it; an idle moment is not made up for by two at once.
            self._due = max(self._due, now() - _CATCH_UP * self._period) + self._period
        self._hub.keep_up(feed)
        self._told = now()
        self._last, text = self._watch.message(self._last, self._told)
        return self._last, text

    def told_for(self) -> float:
        """Seconds since the last message was made."""
        return self._hub.now() - self._told


async def _viewer(
    hub: Hub, keeper: Keeper, job: str, asked: Asked, caller: Caller, last: int | None
) -> Viewer:
    feed = await feed_of(hub, job)
    faults: list[Fault] = []
    station: float | str | None = None
    try:
        station = _station(asked.station, feed.state.units)
        aim_of(feed.state, asked.target, station)
    except Refused as refused:
        faults += refused.faults
    toothless = feed.sensors is not None and feed.sensors.assembly.attachment.teeth is None
    if asked.line == "teeth" and toothless:
        faults.append(
            Fault("no-such-point", "line", "teeth on a bucket without them", "edge", "choose the edge")
        )
    if faults:
        codes = {each.code for each in faults}
        slug = codes.pop() if codes <= {"unknown-target"} else "refused"
        raise Problem(slug, [fault(f.code, f.found, f.expected, f.advice) for f in faults])
    key = asked.target, asked.line, asked.edge_point, station, caller
    watch = feed.watches.get(key)
    if watch is None:
        watch = feed.watches[key] = Watch(
            keeper,
            feed,
            target=asked.target,
            line=asked.line,
            point=asked.edge_point,
            station=station,
            caller=caller,
        )
    # A number from before a restart would keep a viewer waiting.
    if last is not None and last > feed.number:
        last = None
    return Viewer(hub, feed, watch, asked.rate_hz, last)


def _station(given: str | None, units: LengthUnit) -> float | str | None:
    if given is None or units is LengthUnit.FTIN:
        return given
    try:
        return float(given)
    except ValueError:
        raise Refused([Fault("not-a-number", "station", repr(given), f"a number in {units}")]) from None


@router.websocket("/readouts/live")
async def show_live(
    socket: WebSocket, job: JobId, hub: HubDep, keeper: KeeperDep, caller: CallerDep, asked: AskedDep,
    after: Annotated[int | None, Query(ge=0, description="The last number seen.")] = None,
) -> None:  # fmt: skip
    """The newest readout, each time something has changed or at the rate asked for, and the clock to who asks for it;
    see /guide/live."""
    viewer = await _viewer(hub, keeper, job, asked, caller, after)
    await socket.accept()
    await _show(socket, viewer, hub)


def question(text: str | None) -> int | None:
    """The number of a viewer's question for the clock, {"clock": 7}; None for any other frame."""
    try:
        asked = json.loads(text or "") if len(text or "") <= _LONGEST_QUESTION else None
    except ValueError:
        return None
    number = asked.get("clock") if type(asked) is dict else None
    return number if type(number) is int and 0 <= number < _MOST_NUMBER else None


async def _show(socket: WebSocket, viewer: Viewer, hub: Hub) -> None:
    problems: list[Problem] = []
    waits = False
    speaking = asyncio.Lock()  # one frame at a time, whoever sends it

    async def send() -> None:
        nonlocal waits
        while True:
            _, text = await viewer.next()
            waits = True
            try:
                async with speaking:
                    await socket.send({"type": "websocket.send", "text": text})
            except CLOSED:
                return
            waits = False

    async def listen() -> None:
        while (message := await socket.receive())["type"] != "websocket.disconnect":
            number = question(message.get("text"))
            if number is None:
                continue  # viewers have nothing else to say
            try:
                async with speaking:
                    told = json.dumps({"clock": number, "of": hub.clock, "at_s": hub.now()})
                    await socket.send({"type": "websocket.send", "text": told})
            except CLOSED:
                return
            await asyncio.sleep(_QUESTION_EVERY_S)

    async def check() -> None:
        while not (waits and viewer.told_for() > SEND_WITHIN_S):
            await asyncio.sleep(CHECK_EVERY_S)
            try:
                await still_allowed(socket)
            except Problem as problem:
                problems.append(problem)
                return

    viewer.feed.viewers += 1
    try:
        await _first_of(send, listen, check)
    finally:
        viewer.feed.viewers -= 1
    await close_with(socket, problems[0] if problems else None)


async def _first_of(*works: Callable[[], Awaitable[None]]) -> None:
    """Run all until one ends, then stop the rest; an error of one that ended by itself is raised."""
    tasks = [asyncio.ensure_future(work()) for work in works]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    for task in done:
        task.result()


class EventStream(StreamingResponse):
    """Server-sent events (WHATWG HTML, 9.2)."""

    media_type = "text/event-stream"


@router.get(
    "/readouts/live", summary="The newest readouts, as server-sent events", response_class=EventStream,
    responses={200: {
        "model": LiveOut, "description": "Events named `readout`, each with this in its data.",
        "content": {"text/event-stream": {"schema": {"type": "object"}}},  # else it is called a string as well
    }},
)  # fmt: skip
async def stream_live(
    request: Request, job: JobId, hub: HubDep, keeper: KeeperDep, caller: CallerDep, asked: AskedDep,
    last_event_id: Annotated[str | None, Header(description="The last number seen, as browsers send it.")] = None,
) -> EventStream:  # fmt: skip
    """The newest readout each time something has changed, at most `rate_hz` a second. A WebSocket at the same address
    tells the same, one JSON text a frame.

    curl -sN 'localhost:8311/v1/jobs/pump-house/readouts/live?rate_hz=2'
    """
    viewer = await _viewer(hub, keeper, job, asked, caller, _last_event(last_event_id))
    return EventStream(_events(request, viewer, hub))


def _last_event(given: str | None) -> int | None:
    """A number of ours; whatever else stands there is from another stream, and is begun anew."""
    return int(given) if given and given.isascii() and given.isdigit() and len(given) < 16 else None


async def _events(request: Request, viewer: Viewer, hub: Hub) -> AsyncIterator[str]:
    viewer.feed.viewers += 1
    checked = hub.now()
    try:
        yield f"retry: {_RECONNECT_MS}\n\n"
        while True:
            number, text = await viewer.next()
            if hub.closing:
                return
            if hub.now() - checked >= CHECK_EVERY_S:
                checked = hub.now()
                try:
                    await still_allowed(request)
                except Problem as problem:
                    yield f'event: problem\ndata: {{"type": "/guide/problems#{problem.slug}"}}\n\n'
                    return
            yield f"id: {number}\nevent: readout\ndata: {text}\n\n"
    finally:
        viewer.feed.viewers -= 1
