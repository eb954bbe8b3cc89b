"""One machine of the live benchmark: it feeds readings and watches its readouts, and never waits without an end."""

import asyncio
import json
import time
from collections.abc import AsyncIterator, Sequence
from contextlib import AsyncExitStack, asynccontextmanager, suppress

import websockets
from websockets.asyncio.client import ClientConnection
from websockets.exceptions import ConnectionClosed

from tests.benchmarks.started import BenchmarkFailed

STAGE_S = 50.0
_AGAIN_S = 2.0
_QUIET_S = 0.1
Readings = dict[str, float | list[float]]


@asynccontextmanager
async def within(what: str, machines: Sequence["Machine"] = ()) -> AsyncIterator[None]:
    """Bounds a stage: `BenchmarkFailed` where it has not ended within `STAGE_S`, with what was refused meanwhile."""
    try:
        async with asyncio.timeout(STAGE_S):
            yield
    except TimeoutError:
        refusals = [each.refusal for each in machines if each.refusal]
        last = (
            f"; readings of {len(refusals)} machines were refused, such as {refusals[-1]}" if refusals else ""
        )
        raise BenchmarkFailed(f"expected {what} within {STAGE_S:g} s, they were not done{last}") from None


async def connected(port: int, path: str, stack: AsyncExitStack) -> ClientConnection:
    """A WebSocket, broken off where the stack ends: of a hundred, each closing handshake could wait for its own end."""
    socket = await websockets.connect(
        f"ws://127.0.0.1:{port}{path}", compression=None, max_size=None, open_timeout=STAGE_S
    )
    stack.callback(socket.transport.abort)
    return socket


class Machine:
    """One that feeds readings, and one viewer of it. `missed`: readings refused, and turns without a readout in
    time; `refusal`: the last of them, as it was told."""

    def __init__(self, port: int, job: str, said: list[Readings]) -> None:
        self._port, self.job = port, job
        self._poses = said
        self._names = list(self._poses[0])
        self._turn = 0
        self._fault: BaseException | str = ""
        self.missed = 0
        self.refusal = ""
        self.size = 0

    async def connect(self, stack: AsyncExitStack) -> None:
        """Both connections, every sensor read once."""
        await self.feed(stack)
        where = f"/v1/jobs/{self.job}/readouts/live?target=footing"
        self._view = await connected(self._port, where, stack)
        await self.refresh()

    async def feed(self, stack: AsyncExitStack) -> None:
        """Be let in as a feeder, and answer what is asked until the stack ends."""
        self._feed = await connected(self._port, f"/v1/jobs/{self.job}/readings", stack)
        asked = json.loads(await self._feed.recv())["clock"]
        await self.put(json.dumps({"clock": asked, "at_s": time.monotonic()}))
        answering = asyncio.create_task(self._answer())
        stack.callback(answering.cancel)

    async def put(self, text: str) -> None:
        """Send a frame."""
        await self._feed.send(text)

    async def refresh(self) -> None:
        """Read every sensor until there is a readout, and let pass what else is under way."""
        text = '"readout":null'
        while '"readout":null' in text:
            try:
                await self.put(self._all(self._poses[0]))
                async with asyncio.timeout(_AGAIN_S):
                    while '"readout":null' in (text := await self._told()):
                        pass
                    self._number = _number(text)
            except TimeoutError:
                continue
            except ConnectionClosed as error:
                raise self._closed(error) from error
        with suppress(TimeoutError):
            async with asyncio.timeout(_QUIET_S):
                while True:
                    self._number = _number(await self._told())

    async def _told(self) -> str:
        try:
            return str(await self._view.recv())
        except ConnectionClosed as error:
            raise self._closed(error) from error

    def _closed(self, error: ConnectionClosed) -> BenchmarkFailed:
        why = repr(self._fault) if self._fault else str(error)
        return BenchmarkFailed(f"expected readouts of {self.job}, found its connection broken off: {why}")

    async def _answer(self) -> None:
        """Answers what the door asks of a feed, and reads anew what it refuses; its own end ends the viewer too."""
        try:
            async for text in self._feed:
                told = json.loads(text)
                if "refused" in told:  # on a machine that paused: too old
                    self.missed, self.refusal = self.missed + 1, str(text)
                    await self.put(self._all(self._poses[self._turn % len(self._poses)]))
                if "clock" in told:
                    await self.put(json.dumps({"clock": told["clock"], "at_s": time.monotonic()}))
            self._fault = "the feed was closed"
        except Exception as error:  # whatever it is, the next turn says it
            self._fault = error
        self._view.transport.abort()

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
        before = self.missed
        try:
            await self.put(text)
            told = str(await self._view.recv())
        except ConnectionClosed as error:
            raise self._closed(error) from error
        number = _number(told)
        if number <= self._number:
            raise BenchmarkFailed(
                f"expected a readout of {self.job} after number {self._number}, found {number}"
            )
        # This machine paused for longer than a reading counts.
        if '"readout":null' in told or self.missed > before:
            self.missed += self.missed == before
            await self.refresh()
            return
        self._number, self.size = number, len(told)


def _number(text: str) -> int:
    return int(text[10 : text.index(",")])
