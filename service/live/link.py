"""One WebSocket that feeds readings.

What is to be told is sent by a task of its own; a sender too fast is read more slowly, so that it waits and the others do
not.
"""

import asyncio
import json
from typing import Any

from fastapi import WebSocket
from starlette.websockets import WebSocketDisconnect, WebSocketState

from kinematics.errors import Fault
from service.access.caller import Caller
from service.problems import Problem, as_response

from .clock import ASK_EVERY_S
from .feed import Feed
from .feeding import LETTERS_A_READING, TELL_EVERY_S, Check, Feeding, Over, Welcome
from .frames import objects
from .hub import Hub

SEND_WITHIN_S = 10.0
MOST_IN_A_ROW = 50.0
# The server's own words for the other side having closed while we send: before it has told us, and after.
CLOSED = (WebSocketDisconnect, RuntimeError)
_TURN_S = 0.05


class Feeder(Feeding):
    """A connection that has been accepted, for as long as it lasts."""

    def __init__(
        self, socket: WebSocket, hub: Hub, feed: Feed, caller: Caller, *, per_s: float, welcome: Welcome, check: Check
    ) -> None:  # fmt: skip
        self._socket = socket
        self._stir = asyncio.Event()
        super().__init__(hub, feed, caller, per_s=per_s, welcome=welcome, check=check)

    async def run(self) -> None:
        """Until either side ends it."""
        self.begin()
        tasks = {asyncio.create_task(work) for work in (self._listen(), self._speak())}
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            ends = [task.exception() for task in done]
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            self.end()
        for end in ends:
            if isinstance(end, Over):
                await close_with(self._socket, end.problem)
            elif end is not None:
                raise end

    # Frames in.

    async def _listen(self) -> None:
        receive, now = self._socket.receive, self.hub.now
        since = 0.0
        while True:
            message = await receive()
            if message["type"] == "websocket.disconnect":
                raise Over
            text = message.get("text")
            cost = self._frame(text, now()) + (0.0 if text is None else len(text) / LETTERS_A_READING)
            since += cost
            wait = self.pay(cost, now())
            if wait > 0.0:
                await asyncio.sleep(wait)
            elif (
                since > MOST_IN_A_ROW
            ):  # the server may have more of this one's frames ready: others have their turn
                since = 0.0
                await asyncio.sleep(0)

    def _frame(self, text: str | None, now: float) -> float:
        """Take one frame; what it costs of the pace."""
        found = objects(text)
        if type(found) is Fault:
            return self.bad(found)
        answer, readings = found  # type: ignore[misc]  # no fault, see above
        if answer is not None:
            self.answer(answer["clock"], answer["at_s"], now)
            return 1.0
        self.take(readings, now)
        return 1.0 + len(readings)

    # What it is told.

    def stir(self) -> None:
        """There is something to tell."""
        self._stir.set()

    async def _speak(self) -> None:
        while True:
            if self.unchecked(self.hub.now()):
                await self.checked()
            for what in self.due():
                await self._send(what)
            await self._stirred(self.wakes())

    async def _stirred(self, until: float) -> None:
        """Until there is something to tell or `until`; at most one turn in 50 ms, whatever pours in."""
        if self.told:  # came while the last was being sent
            until = 0.0
        self._stir.clear()
        wait = min(max(until - self.hub.now(), 0.0), TELL_EVERY_S if self.waits else ASK_EVERY_S)
        try:
            async with asyncio.timeout(wait):
                await self._stir.wait()
        except TimeoutError:
            return
        await asyncio.sleep(_TURN_S)

    async def _send(self, what: dict[str, Any]) -> None:
        try:
            async with asyncio.timeout(SEND_WITHIN_S):
                await self._socket.send_text(json.dumps(what, allow_nan=False))
        except (TimeoutError, *CLOSED):
            raise Over from None


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
    except (TimeoutError, *CLOSED):
        return
