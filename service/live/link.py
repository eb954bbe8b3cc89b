"""One connection that feeds readings: its frames in, and what it is told.

Nothing here waits for whoever does not read: what is to be told is kept small, the newest of it, and sent by a task of
its own; a sender too fast is read more slowly, so that it waits and the others do not.
"""

import asyncio
import json
from collections.abc import Awaitable, Callable
from typing import Any

from fastapi import WebSocket
from starlette.websockets import WebSocketDisconnect, WebSocketState

from kinematics.errors import Fault
from service.access.caller import Caller
from service.problems import Problem, as_response
from service.text import FaultOut, fault, pointer

from .clock import ASK_EVERY_S, HALF_OPEN_S, SenderClock
from .feed import Feed
from .frames import in_short, objects
from .hub import Hub
from .receiver import Link

SEND_WITHIN_S = 10.0
CHECK_EVERY_S = 5.0
# A frame that is none costs as much as so many readings: garbage must not cost more than sense.
GARBAGE_COSTS = 20.0
# Long texts cost by their length, whatever is in them: one of 64 KiB as much as 650 readings.
LETTERS_A_READING = 100.0
MOST_IN_A_ROW = 50.0
MOST_GARBAGE = 200
_MOST_TOLD = 20
_TELL_EVERY_S = 1.0
_TURN_S = 0.05

Welcome = Callable[[Feed], dict[str, Any]]
Check = Callable[[Feed], Awaitable[Caller]]
"""The caller as it counts now. Raises a `Problem` where it may no longer feed this job."""


class _Over(Exception):  # not an error: the connection is at its end
    """The connection ends, for a problem that it is told or for none."""

    def __init__(self, problem: Problem | None = None) -> None:
        self.problem = problem
        super().__init__()


class Feeder:
    """A connection that has been accepted, for as long as it lasts."""

    def __init__(
        self, socket: WebSocket, hub: Hub, feed: Feed, caller: Caller, *, per_s: float, welcome: Welcome, check: Check
    ) -> None:  # fmt: skip
        self._socket, self._hub, self._feed = socket, hub, feed
        self._stir = asyncio.Event()
        self.link = Link(
            SenderClock(hub.now()), caller, tell=self.tell, stir=self._stir.set, check=self._allowed
        )  # fmt: skip
        self._welcome, self._check = welcome, check
        self._per_s, self._left, self._filled = per_s, per_s, hub.now()
        self._garbage = 0
        self._faults: dict[str, Fault] = {}
        self.told: list[dict[str, Any]] = []

    async def run(self) -> None:
        """Until either side ends it."""
        feed = self._feed
        feed.links.add(self.link)
        tasks = {asyncio.create_task(work) for work in (self._listen(), self._speak())}
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            ends = [task.exception() for task in done]
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            feed.links.discard(self.link)
            feed.used = self._hub.now()
        for end in ends:
            if isinstance(end, _Over):
                await self._close(end.problem)
            elif end is not None:
                raise end

    def tell(self, what: dict[str, Any]) -> None:
        """Have something told; of what waits the oldest goes."""
        self.told = [*self.told[1 - _MOST_TOLD :], what]
        self._stir.set()

    # Frames in.

    async def _listen(self) -> None:
        receive, now = self._socket.receive, self._hub.now
        since = 0.0
        while True:
            message = await receive()
            if message["type"] == "websocket.disconnect":
                raise _Over
            text = message.get("text")
            cost = self._frame(text, now()) + (0.0 if text is None else len(text) / LETTERS_A_READING)
            self._left -= cost
            since += cost
            if self._left < 0.0:
                await self._slow_down(now())
            elif (
                since > MOST_IN_A_ROW
            ):  # the server may have more of this one's frames ready: others have their turn
                since = 0.0
                await asyncio.sleep(0)

    def _frame(self, text: str | None, now: float) -> float:
        """Take one frame; what it costs of the pace."""
        found = objects(text)
        if type(found) is Fault:
            return self._bad(found)
        answer, readings = found  # type: ignore[misc]  # no fault, see above
        if answer is not None:
            wrong = self.link.clock.answer(answer["clock"], answer["at_s"], now)
            if wrong is not None:
                self._feed.counts[wrong.code] += 1
                self._refused(wrong)
            return 1.0
        feed, link, good = self._feed, self.link, False
        for reading in readings:
            wrong = feed.take(link, reading, now) if type(reading) is dict else self._no_object(reading)
            if wrong is None:
                good = True
            else:
                self._refused(wrong)
        if good:
            self._garbage = 0
            feed.changed()
        return 1.0 + len(readings)

    def _bad(self, wrong: Fault) -> float:
        self._feed.counts[wrong.code] += 1
        self._garbage += 1
        self._refused(wrong)
        if self._garbage >= MOST_GARBAGE:
            told = fault(
                "bad-frame", f"{MOST_GARBAGE} frames in a row that are none", "readings", "see /guide/live"
            )
            raise _Over(Problem("bad-frame", [told]))
        return GARBAGE_COSTS

    def _no_object(self, found: object) -> Fault:
        self._feed.counts["bad-reading"] += 1
        return Fault("bad-reading", "", in_short(found), "a JSON object")

    def _refused(self, wrong: Fault) -> None:
        self.link.refused[wrong.code] += 1
        self._faults[wrong.code] = wrong  # the latest of each kind says enough
        self._stir.set()

    async def _slow_down(self, now: float) -> None:
        self._left = min(self._per_s, self._left + (now - self._filled) * self._per_s)
        self._filled = now
        if self._left < 0.0:
            self._feed.counts["slowed"] += 1
            await asyncio.sleep(-self._left / self._per_s)

    # What it is told.

    async def _speak(self) -> None:
        now = self._hub.now
        asked = checked = told = now()
        channels = self._feed.channels
        await self._greet()
        while True:
            clock = self.link.clock
            await self._stirred(
                min(asked + ASK_EVERY_S, checked + CHECK_EVERY_S, clock.answered + HALF_OPEN_S)
            )
            at = now()
            if at - clock.answered >= HALF_OPEN_S:
                found = fault("half-open", f"no answer to a clock question for {HALF_OPEN_S:g} s", "one each time",
                              "answer {\"clock\": n, \"at_s\": your clock now}")  # fmt: skip
                raise _Over(Problem("half-open", [found]))
            if at - checked >= CHECK_EVERY_S:
                checked = at
                await self._checked()
            # Another machine or attachment stands on the job.
            if channels is not self._feed.channels and not self._feed.fitting:
                channels, asked = self._feed.channels, at
                await self._checked()
                await self._greet()
            elif at - asked >= ASK_EVERY_S:
                asked = at
                await self._send({"clock": self.link.clock.ask(now())})
            while self.told:
                await self._send(self.told.pop(0))
            if self._faults and at - told >= _TELL_EVERY_S:
                told = at
                faults, self._faults = list(self._faults.values()), {}
                await self._send({
                    "refused": [_out(each).model_dump(mode="json") for each in faults], "counts": dict(self.link.refused)
                })  # fmt: skip

    async def _stirred(self, until: float) -> None:
        """Until there is something to tell or `until`; at most one turn in 50 ms, whatever pours in."""
        if self.told:  # came while the last was being sent
            until = 0.0
        self._stir.clear()
        wait = min(max(until - self._hub.now(), 0.0), _TELL_EVERY_S if self._faults else ASK_EVERY_S)
        try:
            async with asyncio.timeout(wait):
                await self._stir.wait()
        except TimeoutError:
            return
        await asyncio.sleep(_TURN_S)

    async def _greet(self) -> None:
        await self._send(
            {"welcome": self._welcome(self._feed), "clock": self.link.clock.ask(self._hub.now())}
        )

    async def _allowed(self) -> None:
        self.link.caller = await self._check(self._feed)

    async def _checked(self) -> None:
        try:
            await self._allowed()
        except Problem as problem:
            receiver = self._feed.receiver
            if receiver.link is self.link:  # nothing more goes on the log in this name
                receiver.link = receiver.pending = None
            raise _Over(problem) from None

    async def _send(self, what: dict[str, Any]) -> None:
        try:
            async with asyncio.timeout(SEND_WITHIN_S):
                await self._socket.send_text(json.dumps(what, allow_nan=False))
        except (TimeoutError, WebSocketDisconnect):
            raise _Over from None

    async def _close(self, problem: Problem | None) -> None:
        await close_with(self._socket, problem)


async def close_with(socket: WebSocket, problem: Problem | None) -> None:
    """Say why, if it can still be said, and close."""
    if (
        socket.application_state is not WebSocketState.CONNECTED
        or socket.client_state is not WebSocketState.CONNECTED
    ):
        return
    try:
        async with asyncio.timeout(1.0):
            if problem is not None:
                document = json.loads(bytes(as_response(problem).body))
                await socket.send_text(json.dumps({"problem": document}))
            await socket.close(1000 if problem is None else 1008, "" if problem is None else problem.slug)
    except (TimeoutError, RuntimeError, WebSocketDisconnect):
        return


def _out(told: Fault) -> FaultOut:
    return fault(told.code, told.found, told.expected, told.advice, pointer(told.where.split(".")) if told.where else "",
                 told.numbers)  # fmt: skip
