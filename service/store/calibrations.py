"""Calibrations that were applied, and their roll-backs. They are added and read; nothing changes or removes one.

Every function takes the session of `Database.write` or `Database.read` and leaves the transaction to it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from .canonical import canonical_json, read_canonical, text_faults
from .errors import NotStorable
from .tables import Calibration
from .times import utc_text, utc_time

Hashes = tuple[str, str]
"""Content hash of a half before and after; the same twice where it stayed."""


@dataclass(frozen=True, slots=True)
class StoredCalibration:
    """One on record. `document`: what was asked and answered; `rolls_back`: of a roll-back, the calibration it undoes."""

    id: str
    ordinal: int
    machine_id: str
    machine: Hashes
    attachment_id: str
    attachment: Hashes
    document: Mapping[str, Any]
    document_hash: str
    rolls_back: str | None
    actor: str
    recorded_utc: datetime
    idempotency_key: str | None
    request_hash: str | None


def put_calibration(
    session: Session, calibration_id: str, *, machine_id: str, machine: Hashes, attachment_id: str, attachment: Hashes,
    document: Mapping[str, Any], actor: str, recorded_utc: datetime, rolls_back: str | None = None,
    idempotency_key: str | None = None, request_hash: str | None = None,
) -> StoredCalibration:  # fmt: skip
    """Record one. Raises `NotStorable` with every fault of its texts; of its document as `canonical_json`."""
    texts = {
        "id": calibration_id, "machine_id": machine_id, "attachment_id": attachment_id, "actor": actor,
        "machine_before": machine[0], "machine_after": machine[1], "attachment_before": attachment[0],
        "attachment_after": attachment[1], "rolls_back": rolls_back, "idempotency_key": idempotency_key,
        "request_hash": request_hash,
    }  # fmt: skip
    faults = [
        fault for place, value in texts.items() if value is not None for fault in text_faults(place, value)
    ]
    if faults:
        raise NotStorable(faults)
    text = canonical_json(document)
    row = Calibration(
        **texts, ordinal=session.scalar(select(func.coalesce(func.max(Calibration.ordinal), 0) + 1)), document=text,
        document_hash=sha256(text.encode()).hexdigest(), recorded_utc=utc_text(recorded_utc),
    )  # fmt: skip
    session.add(row)
    session.flush()
    return _stored(row)


def get_calibration(session: Session, calibration_id: str) -> StoredCalibration | None:
    """The one of this id, None if there is none."""
    row = session.get(Calibration, calibration_id)
    return None if row is None else _stored(row)


def by_key(session: Session, idempotency_key: str) -> StoredCalibration | None:
    """The one recorded under a key, None if there is none."""
    return _one(session, Calibration.idempotency_key == idempotency_key)


def rolled_back_by(session: Session, calibration_id: str) -> StoredCalibration | None:
    """The roll-back of one, None while it stands."""
    return _one(session, Calibration.rolls_back == calibration_id)


def list_calibrations(session: Session, before: int | None, limit: int) -> list[StoredCalibration]:
    """The latest first, from below an ordinal."""
    wanted = select(Calibration).order_by(Calibration.ordinal.desc()).limit(limit)
    if before is not None:
        wanted = wanted.where(Calibration.ordinal < before)
    return [_stored(row) for row in session.scalars(wanted)]


def _one(session: Session, which: Any) -> StoredCalibration | None:
    row = session.scalars(select(Calibration).where(which)).one_or_none()
    return None if row is None else _stored(row)


def _stored(row: Calibration) -> StoredCalibration:
    return StoredCalibration(
        row.id, row.ordinal, row.machine_id, (row.machine_before, row.machine_after), row.attachment_id,
        (row.attachment_before, row.attachment_after), read_canonical(row.document), row.document_hash, row.rolls_back,
        row.actor, utc_time(row.recorded_utc), row.idempotency_key, row.request_hash,
    )  # fmt: skip
