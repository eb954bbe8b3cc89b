"""A small writer to be killed: ``python -m tests.service.store.writer``.

One warm process imports the store, then forks a child for each line "run<TAB>ADDRESS<TAB>NAME" on stdin; the child opens
the database and appends until it is killed. A kill so costs a fork and not an import of SQLAlchemy (0.3 s), and
200 of them take seconds. The warm process has one thread and never opens the database: nothing of SQLite, no
lock and no thread, crosses the fork; nor of PostgreSQL.

Lines on stdout, each one short write to the pipe and so never torn: "start PID", "ack JOB SEQ UUID" once
`Database.write` has returned, "end PID STATUS".
"""

import os
import sys
import traceback
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial

from sqlalchemy import text
from sqlalchemy.orm import Session

from service.store import Database, NewEvent, StoredEvent, events, open_database

COMMON = "common"
ENOUGH = 5_000  # transactions; a child that nobody kills comes to an end


def say(line: str) -> None:
    """One line, at once."""
    os.write(1, f"{line}\n".encode())


def now() -> datetime:
    """The wall clock."""
    return datetime.now(UTC)


def part(name: str, number: int, of: int) -> NewEvent:
    """Event `number` of the `of` that one transaction writes."""
    return NewEvent("touched", 1, {"by": name, "part": number, "of": of, "note": "ü" * 150}, "writer", now())


def batch(session: Session, job_id: str, name: str, numbers: range, of: int) -> list[StoredEvent]:
    """Events `numbers` of the `of` that one transaction writes."""

    def append(new: NewEvent) -> StoredEvent:
        return events.record(
            session,
            job_id,
            lambda _: new,
            idempotency_key=None,
            request_hash=None,
            expected_seq=None,
            now=now,
        )[0]

    return [append(part(name, number, of)) for number in numbers]


def opened(session: Session, job_id: str) -> list[StoredEvent]:
    """A job with its first two events, in one transaction."""
    first, replayed = events.create_job(session, job_id, job_id, part(job_id, 1, 2), now=now)
    assert not replayed
    return [first, *batch(session, job_id, job_id, range(2, 3), 2)]


def acknowledge(database: Database, work: Callable[[Session], list[StoredEvent]]) -> None:
    """Write one transaction, then say so."""
    for event in database.write(work):
        say(f"ack {event.job_id} {event.seq} {event.uuid}")


def run(address: str, name: str) -> None:
    """Append until killed: a job of one's own, then batches of one to three to the common job."""
    database = open_database(address)
    if address.startswith("sqlite"):
        # Few pages to a checkpoint, so that kills fall into checkpoints too.
        database.write(lambda session: session.execute(text("PRAGMA wal_autocheckpoint=16")).all())
    if not any(job.id == COMMON for job in database.read(lambda s: events.list_jobs(s, limit=1000))):
        acknowledge(database, lambda session: opened(session, COMMON))
    acknowledge(database, lambda session: opened(session, name))
    for count in range(ENOUGH):
        of = count % 3 + 1
        by = f"{name}-{count}"
        acknowledge(database, partial(batch, job_id=COMMON, name=by, numbers=range(1, of + 1), of=of))


def main() -> None:
    """Fork a writer for each line."""
    for line in sys.stdin:
        word, address, name = line.rstrip("\n").split("\t")
        assert word == "run"
        child = os.fork()
        if child == 0:
            try:
                say(f"start {os.getpid()}")
                run(address, name)
            except BaseException:  # a forked child must not return into its parent's loop
                traceback.print_exc()
                sys.stderr.flush()
            os._exit(1)
        _, status = os.waitpid(child, 0)
        say(f"end {child} {os.waitstatus_to_exitcode(status)}")


if __name__ == "__main__":
    main()
