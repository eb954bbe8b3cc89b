"""Simulated digs of classes. They are added and read; nothing changes or removes one.

Every function takes the session of `Database.write` or `Database.read` and leaves the transaction to it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, defer

from .canonical import canonical_json, read_canonical, text_faults
from .errors import NotStorable
from .tables import ClassDig
from .times import utc_text, utc_time


@dataclass(frozen=True, slots=True)
class NewDig:
    """One to be recorded. `machine`, `attachment`: id and content hash; `score` stands in `document` too."""

    class_id: str
    learner: str
    exercise: str
    machine: tuple[str, str]
    attachment: tuple[str, str]
    score: Mapping[str, Any]
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class StoredDig:
    """One on record, without its document, which is long."""

    class_id: str
    seq: int
    learner: str
    exercise: str
    machine: tuple[str, str]
    attachment: tuple[str, str]
    score: Mapping[str, Any]
    document_hash: str
    actor: str
    recorded_utc: datetime
    idempotency_key: str | None
    request_hash: str | None


def put_dig(
    session: Session, new: NewDig, *, actor: str, recorded_utc: datetime, idempotency_key: str | None = None,
    request_hash: str | None = None,
) -> StoredDig:  # fmt: skip
    """Record one as the next of its class. Raises `NotStorable` with every fault of its texts; of score and document as
    `canonical_json`."""
    texts = {
        "class_id": new.class_id, "learner": new.learner, "exercise": new.exercise, "machine_id": new.machine[0],
        "machine_hash": new.machine[1], "attachment_id": new.attachment[0], "attachment_hash": new.attachment[1],
        "actor": actor, "idempotency_key": idempotency_key, "request_hash": request_hash,
    }  # fmt: skip
    faults = [
        fault for place, value in texts.items() if value is not None for fault in text_faults(place, value)
    ]
    if faults:
        raise NotStorable(faults)
    text = canonical_json(new.document)
    last = select(func.coalesce(func.max(ClassDig.seq), 0) + 1).where(ClassDig.class_id == new.class_id)
    row = ClassDig(
        **texts, seq=session.scalar(last), score=canonical_json(new.score), document=text,
        document_hash=sha256(text.encode()).hexdigest(), recorded_utc=utc_text(recorded_utc),
    )  # fmt: skip
    session.add(row)
    session.flush()
    return _stored(row)


def get_dig(session: Session, class_id: str, seq: int) -> tuple[StoredDig, Mapping[str, Any]] | None:
    """One of a class with its document, None if there is none."""
    row = session.get(ClassDig, (class_id, seq))
    return None if row is None else (_stored(row), read_canonical(row.document))


def by_key(session: Session, idempotency_key: str) -> StoredDig | None:
    """The one recorded under a key, None if there is none."""
    row = session.scalars(_short().where(ClassDig.idempotency_key == idempotency_key)).one_or_none()
    return None if row is None else _stored(row)


def list_digs(
    session: Session, class_id: str, exercise: str | None, after: int, limit: int
) -> list[StoredDig]:
    """Those of a class in the order recorded, from above a number on; of one exercise, or of all."""
    wanted = _short().where(ClassDig.class_id == class_id, ClassDig.seq > after)
    if exercise is not None:
        wanted = wanted.where(ClassDig.exercise == exercise)
    return [_stored(row) for row in session.scalars(wanted.order_by(ClassDig.seq).limit(limit))]


def count_classes(session: Session) -> list[tuple[str, int]]:
    """(class, number of its digs), by name."""
    counted = select(ClassDig.class_id, func.count()).group_by(ClassDig.class_id).order_by(ClassDig.class_id)
    return [(name, count) for name, count in session.execute(counted)]


def _short() -> Any:
    return select(ClassDig).options(defer(ClassDig.document))


def _stored(row: ClassDig) -> StoredDig:
    return StoredDig(
        row.class_id, row.seq, row.learner, row.exercise, (row.machine_id, row.machine_hash),
        (row.attachment_id, row.attachment_hash), read_canonical(row.score), row.document_hash, row.actor,
        utc_time(row.recorded_utc), row.idempotency_key, row.request_hash,
    )  # fmt: skip
