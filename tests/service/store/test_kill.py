"""Acknowledged means on disk: a writer killed with SIGKILL at any moment loses nothing it acknowledged."""

import os
import random
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session

from service.store import Database, StoredEvent, events, open_database, verify_chain
from tests.amounts import several
from tests.service.postgres import own_schema

from .writer import COMMON

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="the writer needs os.fork")
ROOT = Path(__file__).parents[3]
KILLS, KILLS_ON_A_SERVER = 200, 50
PATIENCE_S = 30.0

Acknowledged = dict[tuple[str, int], str]


@dataclass
class Spawner:
    """The warm process of writer.py, and what its children acknowledged."""

    process: "subprocess.Popen[bytes]"
    acknowledged: Acknowledged = field(default_factory=dict)
    _rest: bytes = b""
    _pid: int | None = None
    _status: int | None = None

    def start(self, address: str, name: str) -> None:
        """Fork a writer and wait until it runs."""
        assert self.process.stdin is not None
        self._pid = self._status = None
        self.process.stdin.write(f"run\t{address}\t{name}\n".encode())
        self.process.stdin.flush()
        self._until(lambda: self._pid is not None)

    def wait_s(self, seconds: float) -> None:
        """Take what comes down the pipe until this much time has passed."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            self._take(left)

    def wait_for(self, more: int) -> None:
        """Wait until so many more events are acknowledged."""
        enough = len(self.acknowledged) + more
        self._until(lambda: len(self.acknowledged) >= enough)

    def kill(self) -> None:
        """SIGKILL, and the end of the pipe: what was acknowledged before death is known."""
        assert self._pid is not None
        assert self._status is None, "the writer ended by itself"
        os.kill(self._pid, signal.SIGKILL)  # the spawner has not reaped it unless _status is on its way
        self._until(lambda: self._status is not None)
        assert self._status == -signal.SIGKILL

    def _until(self, done: Callable[[], bool]) -> None:
        end = time.monotonic() + PATIENCE_S
        while not done():
            assert time.monotonic() < end, "the writer is silent"
            self._take(0.5)

    def _take(self, seconds: float) -> None:
        assert self.process.stdout is not None
        ready, _, _ = select.select([self.process.stdout], [], [], seconds)
        if not ready:
            return
        fresh = os.read(self.process.stdout.fileno(), 65536)
        assert fresh, "the spawner is gone"
        *lines, self._rest = (self._rest + fresh).split(b"\n")
        for line in lines:
            match line.decode().split():
                case ["start", pid]:
                    self._pid = int(pid)
                case ["ack", job_id, seq, uuid]:
                    assert (job_id, int(seq)) not in self.acknowledged
                    self.acknowledged[job_id, int(seq)] = uuid
                case ["end", _, status]:
                    self._status = int(status)
                case other:
                    raise AssertionError(other)


@pytest.fixture
def spawner() -> Iterator[Spawner]:
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.service.store.writer"],
        cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    yield Spawner(process)
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.close()
    process.stdout.close()  # a writer left over ends at its next line
    process.wait(timeout=PATIENCE_S)


def whole(database: Database) -> None:
    """The file itself is sound."""

    def sound(session: Session) -> None:
        assert session.scalars(text("PRAGMA integrity_check")).all() == ["ok"]
        assert session.execute(text("PRAGMA foreign_key_check")).all() == []

    database.read(sound)


def whole_log(log: list[StoredEvent]) -> None:
    """The chain holds, nothing is missing, and every transaction is there in full or not at all."""
    assert verify_chain(log) is None
    assert [event.seq for event in log] == list(range(1, len(log) + 1))
    parts = iter(log)
    for event in parts:
        assert event.payload["part"] == 1
        for number in range(2, event.payload["of"] + 1):
            following = next(parts, None)
            assert following is not None
            assert (following.payload["part"], following.payload["by"]) == (number, event.payload["by"])


def verify(address: str, acknowledged: Acknowledged, only: set[str] | None = None) -> int:
    """Reopen and look at every job, or some of them; how many events there are."""
    with open_database(address) as database:
        if address.startswith("sqlite"):
            whole(database)
        there = {job.id for job in database.read(lambda s: events.list_jobs(s, limit=1000))}
        looked_at = there if only is None else there & only
        logs = {job: database.read(lambda s, job=job: events.read_events(s, job)) for job in looked_at}  # type: ignore[misc]
    found = {}
    for job, log in logs.items():
        assert len(log) >= 2, "a job is written with its first two events"
        whole_log(log)
        found.update({(job, event.seq): str(event.uuid) for event in log})
    expected = {key: uuid for key, uuid in acknowledged.items() if only is None or key[0] in only}
    assert {key: found.get(key) for key in expected} == expected
    return len(found)


def as_left(file: Path, folder: Path) -> Path:
    """A copy of the files as the kill left them, so that looking does not tidy up for the next writer."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for ending in ("", "-wal"):
        if Path(f"{file}{ending}").exists():
            shutil.copy2(f"{file}{ending}", folder / f"{file.name}{ending}")
    return folder / file.name


def test_killed_again_and_again(spawner: Spawner, file: Path, tmp_path: Path) -> None:
    """Each writer recovers the log that the one killed before it left; each state is verified on a copy."""
    chance = random.Random(20260504)  # noqa: S311
    for kill in range(KILLS):
        name = f"writer-{kill:03}"
        spawner.start(f"sqlite:///{file}", name)
        if kill % 2:
            spawner.wait_for(chance.randint(1, 25))
            spawner.wait_s(chance.uniform(0.0, 0.002))  # anywhere in the transaction that follows
        else:
            spawner.wait_s(chance.uniform(0.0, 0.03))  # forked, opening, recovering, or writing
        spawner.kill()
        verify(f"sqlite:///{as_left(file, tmp_path / 'copy')}", spawner.acknowledged, {COMMON, name})
    assert len(spawner.acknowledged) >= KILLS // 2
    assert verify(f"sqlite:///{file}", spawner.acknowledged) >= len(spawner.acknowledged)


def test_killed_while_the_file_is_made(spawner: Spawner, tmp_path: Path) -> None:
    """A new file each time, killed within the first moments: WAL switch, migration, first job."""
    chance = random.Random(14)  # noqa: S311
    for kill in range(several(30)):
        address = f"sqlite:///{tmp_path}/new-{kill}.sqlite"
        spawner.acknowledged.clear()
        spawner.start(address, "writer")
        spawner.wait_s(chance.uniform(0.0, 0.025))
        spawner.kill()
        verify(address, spawner.acknowledged)


def test_killed_on_a_server(spawner: Spawner, own_postgres: str) -> None:
    """The server undoes what a writer left open, and the next one goes on after what was committed."""
    chance = random.Random(18)  # noqa: S311
    address = own_schema(own_postgres)
    for kill in range(KILLS_ON_A_SERVER):
        name = f"writer-{kill:03}"
        spawner.start(address, name)
        if kill % 2:
            spawner.wait_for(chance.randint(1, 6))
        else:
            spawner.wait_s(chance.uniform(0.0, 0.08))  # connecting, looking, or writing
        spawner.wait_s(chance.uniform(0.0, 0.005))
        spawner.kill()
        verify(address, spawner.acknowledged, {COMMON, name})
    assert len(spawner.acknowledged) >= KILLS_ON_A_SERVER
    assert verify(address, spawner.acknowledged) >= len(spawner.acknowledged)
