"""The long run: fifty machines that feed, viewers that come and go, entries recorded, the service stopped, killed and
started again, backups brought back; then everything held against everything."""

import asyncio
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import httpx

from .clerk import Clerk
from .feeding import Feeding
from .lives import Sample, Served
from .looking import Looking
from .nightly import Nightly, read_log, verified
from .pits import Pit, walk
from .verdict import Grown, added, grown, growth_faults, held, in_short, lost

Say = Callable[[str], None]
ENDS = (0.05, 0.10, 0.15, 0.20, 0.80, 0.85, 0.90, 0.95)
"""Of the time; between them lies the long life that memory is judged by. Killed and stopped by turns."""
ENDS_OF_A_SHORT_ONE = (0.2, 0.6)
BACKUPS, BACKUPS_OF_A_SHORT_ONE, PAUSES = 12, 1, 20
"""In the time. While recording pauses, what grows does so by time alone."""
SAMPLE_EVERY_S, SAY_EVERY_S, SEEN_BY_S = 5.0, 60.0, 1500.0
_THREADS = 16
_MANY = httpx.Limits(max_connections=None, max_keepalive_connections=20)


@dataclass(frozen=True, slots=True)
class Size:
    """How much of everything. `own_feeder`: machines that the service's own feeder feeds, a thread each; `every_s`: from
    one entry of a machine to its next."""

    machines: int = 50
    own_feeder: int = 3
    every_s: float = 10.0


def long_run(seconds: float, say: Say, size: Size | None = None) -> tuple[dict[str, float], list[str]]:
    """(numbers, what did not hold)."""
    with tempfile.TemporaryDirectory() as folder:
        return asyncio.run(_Run(Path(folder), seconds, say, size or Size()).run())


class _Run:
    def __init__(self, folder: Path, seconds: float, say: Say, size: Size) -> None:
        self._seconds, self._say, self._size = seconds, say, size
        self._long = seconds >= SEEN_BY_S
        self._served = Served(folder)
        self._nightly = Nightly(self._served.data, folder)
        self._samples: list[Sample] = []
        steps = walk()
        self._pits = [Pit(f"pit-{i}", steps, (37 * i) % steps.count) for i in range(size.machines)]
        self._feeding = Feeding(self._served.address)
        self._looking = Looking(self._served.address, self._pits)
        self._began = self._said = 0.0

    async def run(self) -> tuple[dict[str, float], list[str]]:
        """All of it."""
        asyncio.get_running_loop().set_default_executor(ThreadPoolExecutor(_THREADS))
        await self._served.start()
        try:
            async with httpx.AsyncClient(
                base_url=self._served.address, trust_env=False, limits=_MANY
            ) as client:
                self._clerk = Clerk(client, self._size.every_s, self._pausing)
                self._began = time.monotonic()
                await asyncio.gather(*(self._clerk.open(pit) for pit in self._pits))
                self._say(f"{len(self._pits)} jobs are open")
                await self._together()
        finally:
            if self._served.running:
                await self._served.end("stopped")
        return await self._judged()

    async def _together(self) -> None:
        plain = self._pits[self._size.own_feeder :]
        works = [self._feeding.plain(pit) for pit in plain]
        works += [
            asyncio.to_thread(self._feeding.ordinary, pit) for pit in self._pits[: self._size.own_feeder]
        ]
        works += self._looking.works()
        clerks = [self._clerk.work(pit) for pit in self._pits]
        async with asyncio.TaskGroup() as group:
            for each in works:
                group.create_task(each)
            recording = [group.create_task(each) for each in clerks]
            happening = [
                group.create_task(each) for each in (self._ends(), self._backs_up(), self._measures())
            ]
            try:
                await asyncio.wait(happening)
                self._clerk.over = True
                await asyncio.wait(recording)
            finally:
                self._clerk.over = self._feeding.over = self._looking.over = True  # threads are not cancelled

    def _pausing(self) -> bool:
        return int(PAUSES * self._gone / self._seconds) % 2 == 1

    @property
    def _gone(self) -> float:
        return time.monotonic() - self._began

    async def _until(self, part: float) -> None:
        await asyncio.sleep(max(part * self._seconds - self._gone, 0.0))

    async def _ends(self) -> None:
        for i, part in enumerate(ENDS if self._long else ENDS_OF_A_SHORT_ONE):
            await self._until(part)
            how = ("killed", "stopped")[i % 2]
            self._say(f"{self._gone:.0f} s: the service is {how}")
            await self._served.again(how)

    async def _backs_up(self) -> None:
        count = BACKUPS if self._long else BACKUPS_OF_A_SHORT_ONE
        for i in range(count):
            await self._until((i + 0.6) / count)
            await self._nightly.one(self._clerk.ledger)
            self._say(
                f"{self._gone:.0f} s: backup {self._nightly.made} took {self._nightly.longest_s:.1f} s at most"
            )

    async def _measures(self) -> None:
        while self._gone < self._seconds:
            await asyncio.sleep(SAMPLE_EVERY_S)
            sample = self._served.sample(self._began, len(self._clerk.ledger))
            if sample is not None:
                self._samples.append(sample)
                self._tell(sample)

    def _tell(self, last: Sample) -> None:
        if self._gone - self._said < SAY_EVERY_S:
            return
        self._said = self._gone
        shown = sum(len(pit.shown) for pit in self._pits) // 7
        self._say(
            f"{self._gone:.0f} of {self._seconds:.0f} s, life {last.life}: {last.resident_mb:.1f} MB, "
            f"{last.files} files, {last.threads} threads, {last.entries} entries, {shown} numbers shown, "
            f"{len(self._faults())} faults"
        )

    def _faults(self) -> list[str]:
        own = (self._served, self._nightly, self._clerk, self._feeding, self._looking)
        return [fault for each in own for fault in each.faults]

    async def _judged(self) -> tuple[dict[str, float], list[str]]:
        ledger = self._clerk.ledger
        faults = self._faults()
        faults += await asyncio.to_thread(verified, self._served.data)
        log = await asyncio.to_thread(read_log, self._served.data, [pit.job for pit in self._pits])
        faults += in_short(lost(ledger, log)) + in_short(added(ledger, log))
        at_s: dict[str, dict[int, float]] = {pit.job: {} for pit in self._pits}
        for each in ledger:
            at_s[each.job][each.seq] = each.at_s
        shown = [held(pit, at_s[pit.job]) for pit in self._pits]
        faults += in_short([why for each in shown for why in each.wrong])
        silent = sum(pit.without_reason for pit in self._pits)
        if silent:
            faults.append(f"{silent} times there was no number and no reason")
        found = grown(self._samples)
        if self._long:
            faults += growth_faults(found, self._samples)
        else:
            self._say(f"memory was not judged: that takes {SEEN_BY_S / 60.0:g} minutes")
        faults += [
            f"{pit.job}: no number was shown"
            for pit, each in zip(self._pits, shown, strict=True)
            if not each.numbers
        ]
        numbers = {
            "long_run_minutes": self._seconds / 60.0, "long_run_machines": float(len(self._pits)),
            "long_run_frames": float(sum(len(pit.fed) for pit in self._pits)),
            "long_run_feeder_connections": float(self._feeding.connections),
            "long_run_lives": float(len(self._served.ends)),
            "long_run_longest_start_s": self._served.away_s, "long_run_longest_stop_s": self._served.stopped_in_s,
            "long_run_entries": float(len(ledger)), "long_run_longest_answer_s": self._clerk.longest_s,
            **{f"long_run_{name.replace(' ', '_')}": float(count) for name, count in self._clerk.counts.items()},
            **{f"long_run_viewers_{name.replace(' ', '_')}": float(count) for name, count in self._looking.came.items()},
            "long_run_backups": float(self._nightly.made), "long_run_longest_backup_s": self._nightly.longest_s,
            "long_run_backup_mb": self._nightly.bytes / 1e6,
            "long_run_numbers_shown": float(sum(each.numbers for each in shown)),
            "long_run_wrong_numbers": float(sum(len(each.wrong) for each in shown)),
            "long_run_blank": float(sum(sum(pit.blank.values()) for pit in self._pits)),
            "long_run_age_told_older_by_s": max((each.older_s for each in shown), default=0.0),
            "long_run_behind_the_log_s": max((each.behind_s for each in shown), default=0.0),
            **_on_disk(self._samples), **_memory(found),
        }  # fmt: skip
        for name, count in sorted(self._feeding.refused.items()):
            self._say(f"readings refused as {name}: told {count} times")
        return numbers, faults


def _on_disk(samples: Sequence[Sample]) -> dict[str, float]:
    if not samples:
        return {}
    last = samples[-1]
    return {
        "long_run_database_mb": last.database_bytes / 1e6,
        "long_run_database_kb_per_entry": last.database_bytes / 1e3 / max(last.entries, 1),
        "long_run_most_wal_mb": max(each.wal_bytes for each in samples) / 1e6,
        "long_run_most_files": float(max(each.files for each in samples)),
        "long_run_most_threads": float(max(each.threads for each in samples)),
        "long_run_most_mb": max(each.resident_mb for each in samples),
    }


def _memory(found: Sequence[Grown]) -> dict[str, float]:
    numbers: dict[str, float] = {}
    for each in found:
        at = f"long_run_life_{each.life}"
        numbers |= {
            f"{at}_minutes": each.minutes, f"{at}_mb_per_hour": each.mb_per_hour, f"{at}_kb_per_entry": each.kb_per_entry,
            f"{at}_scatter_mb": each.scatter_mb, f"{at}_first_mb": each.first_mb, f"{at}_last_mb": each.last_mb,
            f"{at}_more_files": each.files, f"{at}_more_threads": each.threads,
        }  # fmt: skip
    return numbers
