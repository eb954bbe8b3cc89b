"""Backups of a folder that is served, each brought back elsewhere and held against what had been acknowledged before it
began."""

import asyncio
import json
import shutil
import subprocess
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from service.store import open_database
from service.store.events import read_events
from tests.service.running import COMMAND

from .clerk import Acknowledged
from .lives import DATABASE, ROOT
from .verdict import Log, lost

PATIENCE_S = 300.0


class Nightly:
    """Backups of one data folder. `made` so far, `longest_s` of them, `bytes` of the last."""

    def __init__(self, data: Path, folder: Path) -> None:
        self._data, self._folder = data, folder
        self.made = 0
        self.longest_s = 0.0
        self.bytes = 0
        self.faults: list[str] = []

    async def one(self, ledger: Sequence[Acknowledged]) -> None:
        """One of them; `ledger`: what has been acknowledged so far."""
        before, began = list(ledger), time.monotonic()
        name = f"night-{self.made + 1}"
        file, again = self._folder / f"{name}.zip", self._folder / name
        if not await self._does("backup", str(file), "--data", str(self._data)):
            return
        self.longest_s, self.bytes = max(self.longest_s, time.monotonic() - began), file.stat().st_size
        self.made += 1
        if await self._does("restore", str(file), "--data", str(again)) and await self._does(
            "verify", "--data", str(again)
        ):
            jobs = {each.job for each in before}
            log = await asyncio.to_thread(read_log, again, sorted(jobs))
            self.faults += [f"{name}: {each}" for each in lost(before, log)]
        await asyncio.to_thread(shutil.rmtree, again, ignore_errors=True)
        file.unlink()

    async def _does(self, *words: str) -> bool:
        done = await asyncio.to_thread(command, *words)
        if done.returncode != 0:
            said = f"{done.stdout[-500:]}{done.stderr[-500:]}"
            self.faults.append(f"tipdatum {words[0]}: exit code {done.returncode}: {said}")
        return done.returncode == 0


def command(*words: str) -> subprocess.CompletedProcess[str]:
    """A command, its answer as JSON."""
    return subprocess.run(
        [*COMMAND, *words, "--json"],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
        cwd=ROOT,
    )


def verified(data: Path) -> list[str]:
    """What `tipdatum verify` finds wrong with a folder."""
    done = command("verify", "--data", str(data))
    told = json.loads(done.stdout) if done.stdout else {}
    if done.returncode == 0 and told.get("ok") is True:
        return []
    return [f"tipdatum verify: {told.get('wrong', told)} {done.stderr[-500:]}"]


def read_log(data: Path, jobs: Sequence[str]) -> Log:
    """(number, UUID) of each entry of each job, as they lie on disk."""
    with open_database(f"sqlite:///{data / DATABASE}") as database:
        return {
            job: [(each.seq, str(each.uuid)) for each in database.read(partial(read_events, job_id=job))]
            for job in jobs
        }
