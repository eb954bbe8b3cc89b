"""Machines that feed: most by a plain connection each, as the guide has it, some by the service's own feeder."""

import asyncio
import json
import time
from collections import Counter

import websockets
from websockets.exceptions import ConnectionClosed, InvalidHandshake

from kinematics.errors import Refused
from service.bus.feeder import Feeder
from service.clock import seconds

from .pits import Pit

RATE_HZ = 5.0
_AGAIN_S, GIVE_UP_S = 0.3, 600.0


class Feeding:
    """All of them. `over` ends them."""

    def __init__(self, address: str) -> None:
        self._address = address
        self.over = False
        self.connections = 0
        self.refused: Counter[str] = Counter()
        self.faults: list[str] = []

    async def plain(self, pit: Pit) -> None:
        """Feed, and come again whenever it is cut off."""
        while not self.over:
            try:
                uri = f"ws{self._address.removeprefix('http')}/v1/jobs/{pit.job}/readings"
                async with websockets.connect(uri, compression=None, close_timeout=1.0) as door:
                    self.connections += 1
                    sending: asyncio.Task[None] | None = None
                    try:
                        async for text in door:
                            told = json.loads(text)
                            if "clock" in told:
                                await door.send(json.dumps({"clock": told["clock"], "at_s": seconds()}))
                                sending = sending or asyncio.create_task(self._send(pit, door))
                            self._heard(pit, told)
                            if self.over:
                                break
                    finally:
                        if sending is not None:
                            sending.cancel()
                            await asyncio.gather(sending, return_exceptions=True)
            except (OSError, ConnectionClosed, InvalidHandshake, TimeoutError, EOFError):
                pass
            if not self.over:
                await asyncio.sleep(_AGAIN_S)

    async def _send(self, pit: Pit, door: websockets.ClientConnection) -> None:
        due = time.monotonic()
        while not self.over:
            await door.send(json.dumps({"readings": pit.readings(seconds())}))
            due = max(due + 1.0 / RATE_HZ, time.monotonic() - 1.0)
            await asyncio.sleep(max(due - time.monotonic(), 0.0))
        await door.close()

    def _heard(self, pit: Pit, told: dict[str, object]) -> None:
        refused = told.get("refused")
        if isinstance(refused, list):
            self.refused.update(str(each["code"]) for each in refused)
        if "problem" in told:
            self.faults.append(f"{pit.job}: its feeder was turned away: {told['problem']}")

    def ordinary(self, pit: Pit) -> None:
        """The same by the service's own feeder, which waits for its service as it does; for a thread."""
        with Feeder(self._address, pit.job, give_up_s=GIVE_UP_S) as feeder:
            due = time.monotonic()
            while not self.over:
                try:
                    feeder.ready()
                    feeder.send(pit.readings(feeder.clock()))
                except Refused as refused:
                    self.faults.append(f"{pit.job}: its feeder gave up: {refused}")
                    return
                due = max(due + 1.0 / RATE_HZ, time.monotonic() - 1.0)
                time.sleep(max(due - time.monotonic(), 0.0))
            self.connections += feeder.connections
            self.refused.update(feeder.refused)
