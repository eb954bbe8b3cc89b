"""The live door for minutes: machines that feed, viewers that read, stall and vanish, feeders that come again.

Memory must be flat: what the service holds, after the first quarter, may not rise by more than `MOST_GROWTH_MB` from one
half of the rest to the other, and no steady viewer may ever wait longer than `LONGEST_WAIT_S`.
"""

import asyncio
import contextlib
import random
import statistics
import tempfile
import time
from collections.abc import Awaitable, Callable
from pathlib import Path

import httpx

from tests.benchmarks.live import begin, poses
from tests.benchmarks.live_machine import Machine
from tests.endurance.lookers import never_reads, vanishes
from tests.endurance.processes import process_on, resident_mb
from tests.service.running import service

MACHINES, RATE_HZ = 10, 20.0
STALLERS, VANISHERS = 10, 5
# A page or two that the allocator keeps; a queue of readouts would grow by 0.7 MB a second.
MOST_GROWTH_MB = 4.0
LONGEST_WAIT_S = 5.0
_EVERY_S = 2.0
Say = Callable[[str], None]


def soak(seconds: float, say: Say) -> tuple[dict[str, float], list[str]]:
    """(numbers, what did not hold)."""
    with tempfile.TemporaryDirectory() as folder, service(Path(folder)) as address:
        return asyncio.run(_Soak(address, seconds, say).run())


class _Soak:
    def __init__(self, address: str, seconds: float, say: Say) -> None:
        self._address, self._say = address, say
        self._port = int(address.rpartition(":")[2])
        self._process = process_on(self._port)
        self._seconds = seconds
        self._end = 0.0
        self._frames = self._stalls = self._vanished = self._again = 0
        self._longest = 0.0
        self._memory: list[float] = []
        self._random = random.Random(5)  # noqa: S311  # a schedule, no secret

    async def run(self) -> tuple[dict[str, float], list[str]]:
        jobs = [f"pit-{i}" for i in range(MACHINES)]
        with httpx.Client(base_url=self._address, timeout=30) as client:
            for job in jobs:
                begin(client, job)
        self._end = time.monotonic() + self._seconds
        works: list[Awaitable[None]] = [self._machine(job) for job in jobs]
        works += [self._stall(self._random.choice(jobs)) for _ in range(STALLERS)]
        works += [self._vanish(self._random.choice(jobs)) for _ in range(VANISHERS)]
        await asyncio.gather(*works, self._measure())
        return self._judged()

    def _judged(self) -> tuple[dict[str, float], list[str]]:
        settled = self._memory[len(self._memory) // 4 :]
        half = len(settled) // 2
        growth = statistics.median(settled[half:]) - statistics.median(settled[:half])
        numbers = {
            "soak_minutes": self._seconds / 60.0, "soak_frames": float(self._frames), "soak_growth_mb": growth,
            "soak_memory_mb": self._memory[-1], "soak_longest_wait_s": self._longest,
            "soak_stalled_viewers": float(self._stalls), "soak_vanished_viewers": float(self._vanished),
            "soak_feeders_again": float(self._again),
        }  # fmt: skip
        faults = []
        if not growth <= MOST_GROWTH_MB:
            faults.append(f"memory grew by {growth:.1f} MB, expected at most {MOST_GROWTH_MB:g}")
        if not self._longest <= LONGEST_WAIT_S:
            faults.append(f"a viewer waited {self._longest:.1f} s, expected at most {LONGEST_WAIT_S:g}")
        return numbers, faults

    def _left(self) -> float:
        return self._end - time.monotonic()

    async def _machine(self, job: str) -> None:
        """Feed and view; every half minute or so cut both connections and come again."""
        said = poses()
        while self._left() > 0.0:
            async with contextlib.AsyncExitStack() as stack:
                machine = Machine(self._port, job, said)
                await machine.connect(stack)
                until = min(self._end, time.monotonic() + self._random.uniform(20.0, 40.0))
                while time.monotonic() < until:
                    start = time.monotonic()
                    await machine.turn(whole=True)
                    self._longest = max(self._longest, time.monotonic() - start)
                    self._frames += 1
                    await asyncio.sleep(1.0 / RATE_HZ)
            self._again += 1

    async def _stall(self, job: str) -> None:
        while self._left() > 0.0:
            self._stalls += 1
            await never_reads(self._port, job, min(max(self._left(), 0.0), self._random.uniform(5.0, 60.0)))

    async def _vanish(self, job: str) -> None:
        while self._left() > 0.0:
            await vanishes(self._port, job)
            self._vanished += 1
            await asyncio.sleep(self._random.uniform(0.1, 1.0))

    async def _measure(self) -> None:
        said = time.monotonic()
        while self._left() > 0.0:
            await asyncio.sleep(_EVERY_S)
            self._memory.append(resident_mb(self._process))
            if time.monotonic() - said > 30.0:
                said = time.monotonic()
                self._say(
                    f"{self._left():.0f} s left, {self._frames} frames, {self._memory[-1]:.1f} MB, "
                    f"longest wait {self._longest * 1e3:.0f} ms"
                )
