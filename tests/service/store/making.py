"""Events for the tests, and short ways to record them."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import make_url

from service.store import Database, NewEvent, StoredEvent, events
from tests.service.postgres import connected

OBSERVED = datetime(2026, 5, 4, 7, 30, 0, 17, tzinfo=UTC)
Clock = Callable[[], datetime]


def behind(address: str, statement: str, *values: object) -> list[Any]:
    """Do something behind the store's back and commit it; each ? is a value. The rows, if it asks."""
    if address.startswith("sqlite"):
        with closing(sqlite3.connect(str(make_url(address).database))) as raw, raw:
            return raw.execute(statement, values).fetchall()
    with connected(address) as raw:
        done = raw.execute(statement.replace("?", "%s"), values)
        return done.fetchall() if done.description else []


def touched(**payload: Any) -> NewEvent:
    """A touch with this payload."""
    return NewEvent("touched", 1, payload, "operator", OBSERVED)


def open_job(database: Database, now: Clock, job_id: str = "pump-house") -> StoredEvent:
    """A job of one event."""
    opened = NewEvent("job-opened", 1, {"name": "Pump house"}, "operator", OBSERVED)
    event, replayed = database.write(lambda s: events.create_job(s, job_id, "Pump house", opened, now=now))
    assert not replayed
    return event


def append(
    database: Database,
    now: Clock,
    new: NewEvent,
    *,
    job_id: str = "pump-house",
    key: str | None = None,
    request_hash: str | None = None,
    expected_seq: int | None = None,
) -> tuple[StoredEvent, bool]:
    """One event more."""
    return database.write(
        lambda s: events.record(
            s,
            job_id,
            lambda _: new,
            idempotency_key=key,
            request_hash=request_hash,
            expected_seq=expected_seq,
            now=now,
        )
    )


def log(database: Database, job_id: str = "pump-house") -> list[StoredEvent]:
    """The whole log of a job."""
    return database.read(lambda s: events.read_events(s, job_id))
