"""A job's log: append one event, read events, and prove that nobody changed them.

Every function takes the session of `Database.write` or `Database.read` and leaves the transaction to it.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from typing import Any
from uuid import UUID, uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from .canonical import canonical_json, read_canonical, text_faults
from .errors import IdempotencyConflict, JobExists, JobUnknown, LogDamaged, NotStorable, SequenceMismatch
from .tables import Event, Job
from .times import utc_text, utc_time

Clock = Callable[[], datetime]
NO_PREVIOUS = "0" * 64
"""The previous hash of a job's first event."""


@dataclass(frozen=True, slots=True)
class NewEvent:
    """An event still to be recorded. Raises `NotStorable` with every fault of its fields."""

    type: str
    payload_version: int
    payload: Mapping[str, Any]
    actor: str
    observed_utc: datetime

    def __post_init__(self) -> None:
        faults = [*text_faults("type", self.type), *text_faults("actor", self.actor)]
        if type(self.payload_version) is not int or self.payload_version < 1:
            faults.append(("payload_version", repr(self.payload_version), "a whole number from 1"))
        if self.observed_utc.utcoffset() is None:
            faults.append(("observed_utc", repr(self.observed_utc), "a time with its zone"))
        if not isinstance(self.payload, Mapping):
            faults.append(("payload", f"a {type(self.payload).__name__}", "an object"))
        if faults:
            raise NotStorable(faults)


@dataclass(frozen=True, slots=True)
class StoredEvent:
    """An event on record. `hash` covers every other field, `previous_hash` ties it to the event before."""

    job_id: str
    seq: int
    uuid: UUID
    type: str
    payload_version: int
    payload: Mapping[str, Any]
    actor: str
    observed_utc: datetime
    recorded_utc: datetime
    idempotency_key: str | None
    request_hash: str | None
    previous_hash: str
    hash: str


@dataclass(frozen=True, slots=True)
class StoredJob:
    """A job on record."""

    id: str
    name: str
    opened_utc: datetime


def create_job(
    session: Session,
    job_id: str,
    name: str,
    first: NewEvent,
    *,
    idempotency_key: str | None = None,
    request_hash: str | None = None,
    now: Clock,
) -> tuple[StoredEvent, bool]:
    """Open a job with its first event (seq 1); the event, and whether it is a replay of one recorded before.

    A job that is there already replays only for the key that opened it, with the same request hash.
    Raises `JobExists`, `IdempotencyConflict`, `NotStorable`.
    """
    _check_texts(job_id=job_id, name=name)
    _check_request(idempotency_key, request_hash)
    if session.get(Job, job_id) is not None:
        earlier = _replayed(session, job_id, idempotency_key, request_hash)
        if earlier is None or earlier.seq != 1:
            raise JobExists(job_id)
        return earlier, True
    recorded = now()
    session.add(Job(id=job_id, name=name, opened_utc=utc_text(recorded)))
    session.flush()  # the event's foreign key wants the job on record
    return _append(session, job_id, 1, NO_PREVIOUS, first, idempotency_key, request_hash, recorded), False


def record(
    session: Session,
    job_id: str,
    decide: Callable[[int], NewEvent],
    *,
    idempotency_key: str | None,
    request_hash: str | None,
    expected_seq: int | None,
    now: Clock,
) -> tuple[StoredEvent, bool]:
    """Append what `decide(last seq)` returns; the event, and whether it is a replay of one recorded before.

    In this order: `JobUnknown`; a key used before returns its event without asking `decide`, or raises
    `IdempotencyConflict` if the request hash differs; `SequenceMismatch` if `expected_seq` is not the job's last
    seq; what `decide` raises; `NotStorable`. A key needs a request hash (ValueError): without one a repeat
    cannot be told from another request.
    """
    _check_request(idempotency_key, request_hash)
    last, previous_hash = _last(session, job_id)
    earlier = _replayed(session, job_id, idempotency_key, request_hash)
    if earlier is not None:
        return earlier, True
    if expected_seq is not None and expected_seq != last:
        raise SequenceMismatch(job_id, expected_seq, last)
    new = decide(last)
    return _append(session, job_id, last + 1, previous_hash, new, idempotency_key, request_hash, now()), False


def read_events(
    session: Session, job_id: str, after_seq: int = 0, limit: int | None = None
) -> list[StoredEvent]:
    """Events after `after_seq` in order, at most `limit`.

    Raises `JobUnknown`, and `LogDamaged` for a row that this store cannot have written.
    """
    wanted = select(Event).where(Event.job_id == job_id, Event.seq > after_seq).order_by(Event.seq)
    rows = session.scalars(wanted if limit is None else wanted.limit(_positive(limit))).all()
    if not rows and session.get(Job, job_id) is None:
        raise JobUnknown(job_id)
    return [_stored(row) for row in rows]


def last_seq(session: Session, job_id: str) -> int:
    """The seq of the job's latest event. Raises `JobUnknown`."""
    return _last(session, job_id)[0]


def latest_of(session: Session, job_ids: Collection[str]) -> dict[str, UUID]:
    """The uuid of the latest event of each of these jobs that is on record, in one question."""
    latest = (
        select(Event.uuid).where(Event.job_id == Job.id).order_by(Event.seq.desc()).limit(1).scalar_subquery()
    )
    found = session.execute(select(Job.id, latest).where(Job.id.in_(job_ids)))
    return {job_id: UUID(uuid) for job_id, uuid in found if uuid is not None}


def list_jobs(session: Session, after: str | None = None, limit: int = 100) -> list[StoredJob]:
    """Jobs in the order of their ids, at most `limit`; `after` is the last id of the page before."""
    wanted = select(Job).order_by(Job.id).limit(_positive(limit))
    rows = session.scalars(wanted if after is None else wanted.where(Job.id > after))
    return [StoredJob(row.id, row.name, utc_time(row.opened_utc)) for row in rows]


def event_hash(event: StoredEvent) -> str:
    """SHA-256, in hex, over the canonical JSON of every field but `hash`."""
    envelope = {
        "job_id": event.job_id,
        "seq": event.seq,
        "uuid": str(event.uuid),
        "type": event.type,
        "payload_version": event.payload_version,
        "payload": event.payload,
        "actor": event.actor,
        "observed_utc": utc_text(event.observed_utc),
        "recorded_utc": utc_text(event.recorded_utc),
        "idempotency_key": event.idempotency_key,
        "request_hash": event.request_hash,
        "previous_hash": event.previous_hash,
    }
    return sha256(canonical_json(envelope).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Misfit:
    """Where a chain breaks: the entry, what was found there and what was expected, in words."""

    seq: int
    code: str
    found: str
    expected: str


def misfit(before: StoredEvent | None, event: StoredEvent) -> Misfit | None:
    """What does not fit of an event after the one `before`, None where all does; see `verify_chain`.

    Codes: "other-job", "missing-entry", "out-of-order", "changed-entry", "broken-link".
    """
    seq = event.seq
    if before is not None and event.job_id != before.job_id:
        return Misfit(seq, "other-job", f"an entry of job {event.job_id!r}", f"one of {before.job_id!r}")
    if before is not None and seq != before.seq + 1:
        if seq > before.seq + 1:
            return Misfit(
                before.seq + 1, "missing-entry", f"entry {seq} after {before.seq}", f"entry {before.seq + 1}"
            )
        return Misfit(seq, "out-of-order", f"entry {seq} after {before.seq}", f"entry {before.seq + 1}")
    if event_hash(event) != event.hash:
        return Misfit(
            seq, "changed-entry", "content that its hash does not stand for", "the content as it was recorded"
        )
    linked = event.previous_hash == (NO_PREVIOUS if before is None else before.hash) or (
        before is None and seq > 1
    )
    if not linked:
        return Misfit(
            seq,
            "broken-link",
            "a previous hash that is not that of the entry before",
            "the hash of the entry before",
        )
    return None


def verify_chain(events: Iterable[StoredEvent]) -> int | None:
    """The seq of the first event whose hash or link is wrong; None if all hold.

    `events` are consecutive events of one job. If they begin later than seq 1, the first one's link to the event
    before it is taken as given. Events cut off at the end leave no trace in the chain: compare the last seq or
    hash with one noted elsewhere.
    """
    before: StoredEvent | None = None
    for event in events:
        if misfit(before, event) is not None:
            return event.seq
        before = event
    return None


def _append(
    session: Session,
    job_id: str,
    seq: int,
    previous_hash: str,
    new: NewEvent,
    idempotency_key: str | None,
    request_hash: str | None,
    recorded: datetime,
) -> StoredEvent:
    # Through the stored spelling and back, so that the event returned and the same event read are equal.
    unsealed = StoredEvent(
        job_id=job_id,
        seq=seq,
        uuid=uuid4(),
        type=new.type,
        payload_version=new.payload_version,
        payload=read_canonical(canonical_json(new.payload)),
        actor=new.actor,
        observed_utc=utc_time(utc_text(new.observed_utc)),
        recorded_utc=utc_time(utc_text(recorded)),
        idempotency_key=idempotency_key,
        request_hash=request_hash,
        previous_hash=previous_hash,
        hash="",
    )
    sealed = replace(unsealed, hash=event_hash(unsealed))
    session.add(_row(sealed))
    session.flush()
    return sealed


def _row(event: StoredEvent) -> Event:
    return Event(
        job_id=event.job_id,
        seq=event.seq,
        uuid=str(event.uuid),
        type=event.type,
        payload_version=event.payload_version,
        actor=event.actor,
        observed_utc=utc_text(event.observed_utc),
        recorded_utc=utc_text(event.recorded_utc),
        idempotency_key=event.idempotency_key,
        request_hash=event.request_hash,
        payload=canonical_json(event.payload),
        previous_hash=event.previous_hash,
        hash=event.hash,
    )


def _stored(row: Event) -> StoredEvent:
    try:
        payload = read_canonical(row.payload)
        uuid = UUID(row.uuid)
        if str(uuid) != row.uuid or not isinstance(payload, dict):
            raise ValueError("another spelling of its uuid, or a payload that is no object")
        return StoredEvent(
            row.job_id, row.seq, uuid, row.type, row.payload_version, payload, row.actor,
            utc_time(row.observed_utc), utc_time(row.recorded_utc), row.idempotency_key, row.request_hash,
            row.previous_hash, row.hash,
        )  # fmt: skip
    except (ValueError, TypeError, AttributeError) as error:  # wrong text, or no text at all
        raise LogDamaged(row.job_id, row.seq, str(error)) from error


def _last(session: Session, job_id: str) -> tuple[int, str]:
    latest = select(Event.seq, Event.hash).where(Event.job_id == job_id).order_by(Event.seq.desc()).limit(1)
    row = session.execute(latest).one_or_none()
    if row is None:  # a job and its first event are written together
        raise JobUnknown(job_id)
    return row.seq, row.hash


def _replayed(session: Session, job_id: str, key: str | None, request_hash: str | None) -> StoredEvent | None:
    """The event recorded under the key, if there is one and it answered the same request."""
    if key is None:
        return None
    row = session.scalars(
        select(Event).where(Event.job_id == job_id, Event.idempotency_key == key)
    ).one_or_none()
    if row is None:
        return None
    if row.request_hash != request_hash:
        raise IdempotencyConflict(job_id, key, row.seq)
    return _stored(row)


def _check_request(key: str | None, request_hash: str | None) -> None:
    if key is not None and request_hash is None:
        raise ValueError(f"expected a request hash with idempotency key {key!r}, found none")
    given = {"idempotency_key": key, "request_hash": request_hash}
    _check_texts(**{name: value for name, value in given.items() if value is not None})


def _check_texts(**texts: str) -> None:
    faults = [fault for place, value in texts.items() for fault in text_faults(place, value)]
    if faults:
        raise NotStorable(faults)


def _positive(limit: int) -> int:
    if limit < 1:  # SQLite reads a negative limit as none at all
        raise ValueError(f"expected a limit of at least 1, found {limit}")
    return limit
