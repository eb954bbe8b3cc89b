"""The service under test: its lives from start to stop or kill, and what Linux shows of it meanwhile."""

import asyncio
import os
import signal
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

from service.rehearsal.cluster import free_port
from tests.endurance.processes import resident_mb
from tests.service.running import COMMAND

ROOT = Path(__file__).parents[3]
STARTED_WITHIN_S, STOPPED_WITHIN_S, AWAY_S = 300.0, 30.0, 1.0
DATABASE = "tipdatum.sqlite"


@dataclass(frozen=True, slots=True)
class Sample:
    """What was seen of it: when (s), in which life and how old that was, memory (MB), files, threads, bytes on disk,
    entries acknowledged."""

    at_s: float
    life: int
    age_s: float
    resident_mb: float
    files: int
    threads: int
    database_bytes: int
    wal_bytes: int
    entries: int


class Served:
    """One after the other at the same address. `ends`: how each life ended, `stopped` or `killed`."""

    def __init__(self, folder: Path) -> None:
        self.data, self._said = folder / "data", folder / "service.log"
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.ends: list[str] = []
        self.faults: list[str] = []
        self.away_s = self.stopped_in_s = 0.0
        self._process: subprocess.Popen[str] | None = None
        self._began = 0.0

    async def start(self) -> None:
        """Until it says that it serves."""
        environment = {name: value for name, value in os.environ.items() if not name.startswith("TIPDATUM_")}
        with self._said.open("a", encoding="utf-8") as said:
            process = subprocess.Popen(
                [*COMMAND, "serve", "--data", str(self.data), "--port", str(self.port)], stdout=subprocess.PIPE,
                stderr=said, text=True, cwd=self._said.parent, env=environment | {"PYTHONPATH": str(ROOT)},
            )  # fmt: skip
        assert process.stdout is not None
        self._process, began = process, time.monotonic()
        line = await asyncio.wait_for(asyncio.to_thread(process.stdout.readline), STARTED_WITHIN_S)
        if self.address not in line:
            raise RuntimeError(f"expected the service to say that it serves, found {line!r}: {self._said}")
        self._began = time.monotonic()
        self.away_s = max(self.away_s, self._began - began)

    async def end(self, how: str) -> None:
        """Stop it in order, or kill it."""
        process = self._process
        assert process is not None
        if process.poll() is not None:
            self.faults.append(
                f"life {len(self.ends) + 1} had ended by itself, exit code {process.returncode}"
            )
        began = time.monotonic()
        process.send_signal(signal.SIGTERM if how == "stopped" else signal.SIGKILL)
        try:
            code = await asyncio.to_thread(process.wait, STOPPED_WITHIN_S)
            if how == "stopped":
                self.stopped_in_s = max(self.stopped_in_s, time.monotonic() - began)
                if code not in {0, -signal.SIGTERM}:
                    self.faults.append(
                        f"life {len(self.ends) + 1} was stopped in order, with exit code {code}"
                    )
        except subprocess.TimeoutExpired:
            self.faults.append(f"life {len(self.ends) + 1} did not stop within {STOPPED_WITHIN_S:g} s")
            process.kill()
            await asyncio.to_thread(process.wait)
        assert process.stdout is not None
        process.stdout.close()
        self._process, self._began = None, 0.0
        self.ends.append(how)

    async def again(self, how: str) -> None:
        """End it, be away for a second, and start again."""
        await self.end(how)
        await asyncio.sleep(AWAY_S)
        await self.start()

    @property
    def running(self) -> bool:
        """Whether there is a process, or what is left of one."""
        return self._process is not None

    def sample(self, since: float, entries: int) -> Sample | None:
        """What is seen of it now; None while it is away."""
        process = self._process
        if process is None or process.poll() is not None or not self._began:
            return None
        now, about = time.monotonic(), Path(f"/proc/{process.pid}")
        try:
            threads = next(
                int(line.split()[1])
                for line in (about / "status").read_text().splitlines()
                if line.startswith("Threads")
            )
            files, resident = len(list((about / "fd").iterdir())), resident_mb(process.pid)
        except (OSError, StopIteration):
            return None
        return Sample(
            now - since, len(self.ends) + 1, now - self._began, resident, files, threads,
            _size(self.data / DATABASE), _size(self.data / f"{DATABASE}-wal"), entries,
        )  # fmt: skip


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
