"""Studies that were submitted. They are added and read; what has become of one stands in its folder.

Every function takes the session of `Database.write` or `Database.read` and leaves the transaction to it.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from .canonical import text_faults
from .errors import NotStorable
from .tables import Study
from .times import utc_text, utc_time


@dataclass(frozen=True, slots=True)
class NewStudy:
    """One to be recorded. `machine`, `attachment`: id and content hash; `identity` of all that its numbers hang on."""

    id: str
    name: str
    machine: tuple[str, str]
    attachment: tuple[str, str]
    identity: str
    source_text: str


@dataclass(frozen=True, slots=True)
class StoredStudy(NewStudy):
    """One on record; `ordinal` counts them."""

    ordinal: int
    actor: str
    recorded_utc: datetime
    idempotency_key: str | None
    request_hash: str | None


def put_study(
    session: Session, new: NewStudy, *, actor: str, recorded_utc: datetime, idempotency_key: str | None = None,
    request_hash: str | None = None,
) -> StoredStudy:  # fmt: skip
    """Record one. Raises `NotStorable` with every fault of its texts."""
    texts = {
        "id": new.id, "name": new.name, "machine_id": new.machine[0], "machine_hash": new.machine[1],
        "attachment_id": new.attachment[0], "attachment_hash": new.attachment[1], "identity": new.identity,
        "source_text": new.source_text, "actor": actor, "idempotency_key": idempotency_key, "request_hash": request_hash,
    }  # fmt: skip
    faults = [
        fault for place, value in texts.items() if value is not None for fault in text_faults(place, value)
    ]
    if faults:
        raise NotStorable(faults)
    ordinal = session.scalar(select(func.coalesce(func.max(Study.ordinal), 0) + 1))
    row = Study(**texts, ordinal=ordinal, recorded_utc=utc_text(recorded_utc))
    session.add(row)
    session.flush()
    return _stored(row)


def get_study(session: Session, study_id: str) -> StoredStudy | None:
    """One by id, None if there is none."""
    row = session.get(Study, study_id)
    return None if row is None else _stored(row)


def by_key(session: Session, idempotency_key: str) -> StoredStudy | None:
    """The one recorded under a key, None if there is none."""
    row = session.scalars(select(Study).where(Study.idempotency_key == idempotency_key)).one_or_none()
    return None if row is None else _stored(row)


def list_studies(session: Session, before: int | None = None, limit: int | None = None) -> list[StoredStudy]:
    """The newest first, from below a number on."""
    wanted = select(Study).order_by(Study.ordinal.desc()).limit(limit)
    if before is not None:
        wanted = wanted.where(Study.ordinal < before)
    return [_stored(row) for row in session.scalars(wanted)]


def _stored(row: Study) -> StoredStudy:
    return StoredStudy(
        row.id, row.name, (row.machine_id, row.machine_hash), (row.attachment_id, row.attachment_hash), row.identity,
        row.source_text, row.ordinal, row.actor, utc_time(row.recorded_utc), row.idempotency_key, row.request_hash,
    )  # fmt: skip
