"""How many machines a form of the service holds: each feeds all its sensors at 20 Hz and is watched by a viewer.

Late is counted from when a frame was due, not from when it went: what stands in a queue is late too. The load comes from
this machine as well, so that what is found is what both together can do.
"""

import asyncio
import contextlib
import math
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, AsyncExitStack
from dataclasses import dataclass
from pathlib import Path

import httpx

from tests.benchmarks.live import begin, poses
from tests.benchmarks.live_machine import Machine
from tests.benchmarks.started import BenchmarkFailed
from tests.endurance.processes import process_on, worked_s
from tests.service.running import service

RATE_HZ, WITHIN_S = 20.0, 0.1
"""Readings a second of each machine; what p99 must be under."""
MACHINES = (1, 10, 50, 75, 100, 200)
SECONDS = 20.0
# What was read while others still connected is too old at first; it is not counted.
SETTLED_S = 2.0
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Held:
    """What came of a number of machines. Seconds from due to readout; `missed`: turns without a readout in time; `cores`:
    seconds of a core in each second, by what used them."""

    machines: int
    p50_s: float
    p99_s: float
    longest_s: float
    missed: int
    turns: int
    cores: Mapping[str, float]

    @property
    def good(self) -> bool:
        """Whether it holds: p99 under 100 ms, and all but one in a thousand turns with a readout."""
        return self.p99_s < WITHIN_S and self.missed * 1000 <= self.turns


@dataclass(frozen=True, slots=True)
class Form:
    """A running service: where jobs are opened, its machines by job and place in line, its processes by what they do."""

    address: str
    machine: Callable[[str, int], Machine]
    processes: Mapping[str, Sequence[int]]


@contextlib.contextmanager
def embedded(folder: Path) -> Iterator[Form]:
    """One service, SQLite, WebSockets both ways."""
    said = poses()
    with service(folder) as address:
        port = int(address.rpartition(":")[2])
        yield Form(address, lambda job, _: Machine(port, job, said), {"service": [process_on(port)]})


def load(
    form: AbstractContextManager[Form], name: str, counts: Sequence[int], seconds: float, say: Say
) -> list[Held]:
    """What came of each count, in order; ends after the first that did not hold."""
    found: list[Held] = []
    with form as running:
        jobs = [f"pit-{i}" for i in range(max(counts))]
        with httpx.Client(base_url=running.address, timeout=60) as client:
            for job in jobs:
                begin(client, job)
        for count in counts:
            try:
                held = asyncio.run(_held(running, jobs[:count], seconds))
            except BenchmarkFailed as failed:
                say(f"{name}, {count} machines: {failed}")
                break
            found.append(held)
            say(f"{name}, {count} machines: p50 {1e3 * held.p50_s:.1f} ms, p99 {1e3 * held.p99_s:.1f} ms, "
                f"longest {1e3 * held.longest_s:.0f} ms, {held.missed} of {held.turns} missed; cores "
                + ", ".join(f"{name} {value:.2f}" for name, value in held.cores.items()))  # fmt: skip
            if not held.good:
                break
    return found


def numbers(name: str, found: Sequence[Held]) -> dict[str, float]:
    """By name: the highest count that holds (0: none), and p50 and p99 of each."""
    told = {f"{name}_held": float(max((each.machines for each in found if each.good), default=0))}
    for each in found:
        at = f"{name}_{each.machines}"
        told |= {f"{at}_p50_ms": 1e3 * each.p50_s, f"{at}_p99_ms": 1e3 * each.p99_s}
        told |= {f"{at}_{what}_cores": value for what, value in each.cores.items()}
    return told


async def _held(form: Form, jobs: list[str], seconds: float) -> Held:
    late: list[float] = []
    async with AsyncExitStack() as stack:
        machines = [form.machine(job, i) for i, job in enumerate(jobs)]
        for some in _tens(machines):
            await asyncio.gather(*(each.connect(stack) for each in some))
        for some in _tens(machines):
            await asyncio.gather(*(each.refresh() for each in some))
        worked = _worked(form)
        began = time.perf_counter()
        first = began + 0.2
        missed_turns = 0

        async def work(i: int, machine: Machine) -> None:
            nonlocal missed_turns
            for k in range(round((SETTLED_S + seconds) * RATE_HZ)):
                due = first + (k + i / len(machines)) / RATE_HZ
                await asyncio.sleep(max(due - time.perf_counter(), 0.0))
                missed = machine.missed
                await machine.turn(whole=True)
                if due < first + SETTLED_S:
                    continue
                if machine.missed == missed:
                    late.append(time.perf_counter() - due)
                else:
                    missed_turns += 1

        await asyncio.gather(*(work(i, each) for i, each in enumerate(machines)))
        took = time.perf_counter() - began
        cores = {what: (value - worked[what]) / took for what, value in _worked(form).items()}
    if not late:
        raise BenchmarkFailed(f"expected readouts of {len(jobs)} machines, found none in time")
    late.sort()
    return Held(
        len(jobs), late[len(late) // 2], late[math.ceil(0.99 * len(late)) - 1], late[-1], missed_turns,
        len(late) + missed_turns, cores,
    )  # fmt: skip


def _worked(form: Form) -> dict[str, float]:
    found = {what: sum(map(worked_s, some)) for what, some in form.processes.items()}
    return found | {"load": time.process_time()}


def _tens(machines: Sequence[Machine]) -> Iterator[Sequence[Machine]]:
    for i in range(0, len(machines), 10):
        yield machines[i : i + 10]
