"""Viewers that come and go: of every job one that stays, and others that never read, vanish, look in by server-sent
events or ask for pages."""

import asyncio
import contextlib
import random
from collections.abc import Awaitable, Callable, Coroutine, Sequence
from functools import partial
from typing import Any

import httpx
import websockets
from websockets.exceptions import ConnectionClosed, InvalidHandshake

from tests.endurance.lookers import never_reads, vanishes

from .pits import Pit

RATE_HZ = 1.0
NEVER_READ, VANISH, LOOK_IN, ASK = 10, 6, 4, 2
_BROKEN = (OSError, ConnectionClosed, InvalidHandshake, TimeoutError, EOFError, httpx.TransportError)
_ASKED = (*2 * ("", "/level-book", "/sensors", "/events", "/targets", "/checks/summary"), "/record")
_ANSWERS = frozenset({200, 503})


class Looking:
    """All of them. `over` ends them; `came`: how often each kind did."""

    def __init__(self, address: str, pits: Sequence[Pit]) -> None:
        self._address, self._pits = address, pits
        self._port = int(address.rpartition(":")[2])
        self._random = random.Random(7)  # noqa: S311  # a schedule, no secret
        self.over = False
        self.came = {"steady": 0, "never read": 0, "vanished": 0, "looked in": 0, "asked": 0}
        self.faults: list[str] = []

    def works(self) -> list[Coroutine[Any, Any, None]]:
        """What they do, until it is over."""
        kinds = [
            (NEVER_READ, self._never_reads),
            (VANISH, self._vanishes),
            (LOOK_IN, self._looks_in),
            (ASK, self._asks),
        ]
        works = [self._again(what) for count, what in kinds for _ in range(count)]
        return [*works, *(self._again(partial(self._steady, pit)) for pit in self._pits)]

    async def _again(self, what: Callable[[], Awaitable[None]]) -> None:
        while not self.over:
            with contextlib.suppress(*_BROKEN):  # the service was stopped, as it is meant to be
                await what()
            await asyncio.sleep(self._random.uniform(0.2, 1.0))

    def _one(self) -> Pit:
        return self._random.choice(self._pits)

    async def _steady(self, pit: Pit) -> None:
        uri = (
            f"ws://127.0.0.1:{self._port}/v1/jobs/{pit.job}/readouts/live?target=footing&rate_hz={RATE_HZ:g}"
        )
        async with websockets.connect(uri, compression=None, close_timeout=1.0) as viewer:
            self.came["steady"] += 1
            async for text in viewer:
                pit.see(text)
                if self.over:
                    return

    async def _never_reads(self) -> None:
        self.came["never read"] += 1
        await never_reads(self._port, self._one().job, self._random.uniform(5.0, 40.0))

    async def _vanishes(self) -> None:
        await vanishes(self._port, self._one().job)
        self.came["vanished"] += 1

    async def _looks_in(self) -> None:
        """By server-sent events, a few of them."""
        pit, left = self._one(), self._random.randint(3, 20)
        url = f"{self._address}/v1/jobs/{pit.job}/readouts/live?target=footing&rate_hz=2"
        async with (
            httpx.AsyncClient(timeout=30, trust_env=False) as client,
            client.stream("GET", url) as stream,
        ):
            self.came["looked in"] += 1
            async for line in stream.aiter_lines():
                if line.startswith("data:"):
                    pit.see(line.removeprefix("data:"))
                    left -= 1
                if left <= 0 or self.over:
                    return

    async def _asks(self) -> None:
        pit, what = self._one(), self._random.choice(_ASKED)
        async with httpx.AsyncClient(base_url=self._address, timeout=60, trust_env=False) as client:
            answer = await client.get(f"/v1/jobs/{pit.job}{what}")
        self.came["asked"] += 1
        if answer.status_code not in _ANSWERS:
            self.faults.append(f"{pit.job}{what}: status {answer.status_code}: {answer.text[:200]}")
