"""The power goes at any moment: images of the files as a disk may hold them then, each with all that was acknowledged.

What was brought to the disk is there; of what was being written each sector is there, not there, or rubbish. SQLite's own
account of it: "Atomic Commit In SQLite" and "Write-Ahead Logging", the SQLite documentation.
"""

import random
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from service.store import Database, events, open_database, verify_chain
from service.store.sqlite import flaws
from tests.amounts import several

from .making import OBSERVED, Clock, append, open_job, touched

SECTOR = 512
ENTRIES = 40


@dataclass(frozen=True, slots=True)
class Written:
    """A database with its log of writes: `before` the file without that log, `after` with all of it moved there, `log`
    the write-ahead log, `sizes` of it after each acknowledged entry, whose `uuids` these are."""

    before: bytes
    after: bytes
    log: bytes
    sizes: list[int]
    uuids: list[str]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    def now() -> datetime:
        return OBSERVED

    file = tmp_path_factory.mktemp("made") / "jobs.sqlite"
    log = Path(f"{file}-wal")
    sizes, uuids = [], []
    with open_database(f"sqlite:///{file}") as database:
        open_job(database, now)
    with open_database(f"sqlite:///{file}") as database:
        database.write(lambda session: session.execute(text("PRAGMA wal_autocheckpoint=0")).all())
        before = file.read_bytes()
        for each in _entries(database, now):
            sizes.append(log.stat().st_size)
            uuids.append(each)
        ended = log.read_bytes()
        assert file.read_bytes() == before, "nothing is moved out of the log meanwhile"
    return Written(before, file.read_bytes(), ended, sizes, uuids)


def _entries(database: Database, now: Clock) -> Iterator[str]:
    for number in range(ENTRIES):
        event, _ = append(database, now, touched(number=number, note="ü" * (17 * number % 900)))
        yield str(event.uuid)


def holds(folder: Path, file: bytes, log: bytes, acknowledged: list[str]) -> None:
    """The image opens, is sound, its chain holds, and nothing that was acknowledged is missing."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    path = folder / "jobs.sqlite"
    path.write_bytes(file)
    Path(f"{path}-wal").write_bytes(log)
    with open_database(f"sqlite:///{path}") as database:
        found = database.read(lambda session: events.read_events(session, "pump-house"))
    assert verify_chain(found) is None
    assert [str(each.uuid) for each in found[1:]][: len(acknowledged)] == acknowledged
    assert flaws(path) == []


@settings(
    max_examples=several(60), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(where=st.floats(0.0, 1.0), seed=st.integers(0, 2**32))
def test_while_the_log_was_written(written: Written, tmp_path: Path, where: float, seed: int) -> None:
    """Up to here the log was brought to the disk; beyond, as it happened."""
    cut = int(where * len(written.log))
    synced = max((size for size in written.sizes if size <= cut), default=0)
    chance = random.Random(seed)  # noqa: S311
    log = bytearray(written.log)
    for at in range(synced - synced % SECTOR, len(log), SECTOR):
        first, end = max(at, synced), min(at + SECTOR, len(log))
        fate = chance.random()
        if fate < 0.4:
            log[first:end] = bytes(end - first)
        elif fate < 0.6:
            log[first:end] = chance.randbytes(end - first)
    if chance.random() < 0.5:
        del log[max(cut, synced) :]
    holds(
        tmp_path / "image", written.before, bytes(log), written.uuids[: sum(s <= cut for s in written.sizes)]
    )


@settings(
    max_examples=several(60), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(seed=st.integers(0, 2**32))
def test_while_the_log_was_moved_into_the_file(written: Written, tmp_path: Path, seed: int) -> None:
    """The log is on the disk whole; of the file each sector is old, new or rubbish where it was being written."""
    chance = random.Random(seed)  # noqa: S311
    file = bytearray(written.after[: chance.choice((len(written.before), len(written.after)))])
    for at in range(0, len(file), SECTOR):
        old = written.before[at : at + SECTOR]
        if old == written.after[at : at + SECTOR]:
            continue
        fate = chance.random()
        if fate < 0.5 and old:
            file[at : at + SECTOR] = old
        elif fate < 0.6:
            file[at : at + SECTOR] = chance.randbytes(SECTOR)
    holds(tmp_path / "image", bytes(file), written.log, written.uuids)
