"""Nobody can change a recorded event unseen."""

from dataclasses import replace
from hashlib import sha256
from typing import Any

import pytest

from service.store import Database, LogDamaged, open_database, verify_chain
from service.store.tables import Event

from .conftest import Clock
from .making import append, behind, log, open_job, touched

ON_EVERY_DATABASE = True

TAMPERED: dict[str, Any] = {
    "job_id": "other",
    "seq": 40,
    "uuid": "00000000-0000-4000-8000-000000000000",
    "type": "struck",
    "payload_version": 2,
    "actor": "somebody else",
    "observed_utc": "2026-05-04T07:30:00.000018Z",
    "recorded_utc": "2026-05-04T07:30:00.000018Z",
    "idempotency_key": None,
    "request_hash": "r9",
    "payload": '{"z_m":-1.4225}',
    "previous_hash": "f" * 64,
    "hash": "f" * 64,
}


def first_wrong(address: str, job_id: str = "pump-house") -> int | None:
    """The first event that reading or the chain finds wrong."""
    with open_database(address) as database:
        try:
            return verify_chain(log(database, job_id))
        except LogDamaged as damaged:
            return damaged.seq


def written(address: str, now: Clock) -> None:
    """A log of four events, and a job beside it."""
    with open_database(address) as database:
        open_job(database, now)
        open_job(database, now, "other")
        for number in range(3):
            append(database, now, touched(z_m=-1.4224), key=f"k{number}", request_hash=f"r{number}")


def alter(address: str, column: str, value: object) -> None:
    """Change a column of event 3 behind the store's back."""
    assert column in Event.__table__.columns
    changed = f"UPDATE event SET {column} = ? WHERE job_id = 'pump-house' AND seq = 3 RETURNING seq"  # noqa: S608
    assert len(behind(address, changed, value)) == 1


def test_every_column_is_tried() -> None:
    assert set(TAMPERED) == {column.name for column in Event.__table__.columns}


def test_an_untouched_log_holds(address: str, now: Clock) -> None:
    written(address, now)
    assert first_wrong(address) is None


@pytest.mark.parametrize("column", TAMPERED)
def test_tampering_is_found(address: str, now: Clock, column: str) -> None:
    written(address, now)
    alter(address, column, TAMPERED[column])
    # An event that left the job, or jumped in seq, is missed at the next one that is still in its place.
    assert first_wrong(address) == {"job_id": 4, "seq": 4}.get(column, 3)
    assert first_wrong(address, "other") == (3 if column == "job_id" else None)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("payload", '{"z_m": -1.4224}'),  # the same value in another spelling
        ("payload", '{"z_m":1,"z_m":-1.4224}'),
        ("payload", '{"z_m":NaN}'),
        ("payload", '{"z_m":'),
        ("payload", "[]"),
        ("payload", b"\xff\x00"),
        ("observed_utc", "2026-05-04T07:30:00.000017+00:00"),
        ("recorded_utc", "yesterday"),
        ("uuid", "no uuid"),
        ("uuid", "{00000000-0000-4000-8000-000000000000}"),
    ],
)
def test_a_row_we_cannot_have_written(
    store_kind: str, address: str, now: Clock, column: str, value: object
) -> None:
    if store_kind == "postgresql" and isinstance(value, bytes):
        pytest.skip("PostgreSQL takes no bytes into a text")
    written(address, now)
    alter(address, column, value)
    with open_database(address) as database, pytest.raises(LogDamaged) as damaged:
        log(database)
    assert (damaged.value.job_id, damaged.value.seq) == ("pump-house", 3)


def test_a_removed_event_is_found(address: str, now: Clock) -> None:
    written(address, now)
    behind(address, "DELETE FROM event WHERE job_id = 'pump-house' AND seq = 2")
    assert first_wrong(address) == 3


def test_a_rewritten_event_breaks_the_next_link(database: Database, now: Clock) -> None:
    open_job(database, now)
    for _ in range(3):
        append(database, now, touched())
    events = log(database)
    other, _ = append(database, now, touched(z_m=9.0))
    assert verify_chain([events[0], replace(other, seq=2), *events[2:]]) == 2  # its hash covers its seq
    assert verify_chain([events[0], events[2], events[1], events[3]]) == 3
    assert verify_chain(events[1:]) is None  # a page of the log: its first link is taken as given
    assert verify_chain([]) is None


def test_the_hash_is_over_this_text(database: Database, now: Clock) -> None:
    """The envelope written out by hand: a change of form would orphan every hash on record."""
    first = open_job(database, now)
    event, _ = append(database, now, touched(z_m=-1.4224, note="1½ m – dug"), key="k", request_hash="r")
    envelope = (
        '{"actor":"operator","idempotency_key":"k","job_id":"pump-house","observed_utc":"2026-05-04T07:30:00.000017Z",'
        '"payload":{"note":"1½ m – dug","z_m":-1.4224},"payload_version":1,"previous_hash":"'
        f'{first.hash}","recorded_utc":"2026-05-04T07:31:14.000252Z","request_hash":"r","seq":2,"type":"touched",'
        f'"uuid":"{event.uuid}"}}'
    )
    assert event.hash == sha256(envelope.encode()).hexdigest()
