"""Profile revisions by content hash. They are added and read; nothing changes or removes one."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from .canonical import text_faults
from .errors import NotStorable, RevisionConflict
from .tables import ProfileRevision
from .times import utc_text, utc_time

KINDS = ("machine", "attachment")
ORIGINS = ("shipped", "uploaded", "calibrated", "restored")


@dataclass(frozen=True, slots=True)
class StoredRevision:
    """A revision on record. `ordinal` grows in the order of recording, over all kinds and ids."""

    kind: str
    profile_id: str
    content_hash: str
    document: str
    source_text: str
    origin: str
    recorded_utc: datetime
    ordinal: int
    actor: str | None


def put_revision(
    session: Session,
    kind: str,
    profile_id: str,
    content_hash: str,
    document: str,
    source_text: str,
    origin: str,
    recorded_utc: datetime,
    actor: str | None = None,
) -> bool:
    """Record a revision; True if it is new, False if its hash is on record, which then stays as it is.

    `document` is the canonical JSON that the hash covers, `source_text` the TOML as given, `actor` who uploaded it.
    An older revision put again does not become the latest. Raises `NotStorable` with every fault,
    `RevisionConflict` if the hash is on record with another profile id or document.
    """
    _check(kind, profile_id, content_hash, document, source_text, origin)
    known = session.get(ProfileRevision, (kind, content_hash))
    if known is not None:
        if (known.profile_id, known.document) != (profile_id, document):
            raise RevisionConflict(kind, content_hash, f"{known.profile_id!r} on record with another content")
        return False
    ordinal = session.scalar(select(func.coalesce(func.max(ProfileRevision.ordinal), 0) + 1))
    session.add(
        ProfileRevision(
            kind=kind,
            profile_id=profile_id,
            content_hash=content_hash,
            document=document,
            source_text=source_text,
            origin=origin,
            recorded_utc=utc_text(recorded_utc),
            ordinal=ordinal,
            actor=actor,
        )
    )
    session.flush()
    return True


def get_revision(session: Session, kind: str, content_hash: str) -> StoredRevision | None:
    """The revision with this content hash, None if there is none."""
    row = session.get(ProfileRevision, (kind, content_hash))
    return None if row is None else _stored(row)


def current_revision(session: Session, kind: str, profile_id: str) -> StoredRevision | None:
    """The latest revision of an id, None if there is none."""
    of_id = select(ProfileRevision).where(
        ProfileRevision.kind == kind, ProfileRevision.profile_id == profile_id
    )
    row = session.scalars(of_id.order_by(ProfileRevision.ordinal.desc()).limit(1)).one_or_none()
    return None if row is None else _stored(row)


def list_current(session: Session, kind: str) -> list[StoredRevision]:
    """The latest revision of every id of a kind, in the order of the ids."""
    latest = (
        select(func.max(ProfileRevision.ordinal))
        .where(ProfileRevision.kind == kind)
        .group_by(ProfileRevision.profile_id)
    )
    rows = (
        select(ProfileRevision)
        .where(ProfileRevision.ordinal.in_(latest))
        .order_by(ProfileRevision.profile_id)
    )
    return [_stored(row) for row in session.scalars(rows)]


def list_revisions(session: Session, kind: str, profile_id: str) -> list[StoredRevision]:
    """Every revision of an id, oldest first; empty if there is none."""
    of_id = select(ProfileRevision).where(
        ProfileRevision.kind == kind, ProfileRevision.profile_id == profile_id
    )
    return [_stored(row) for row in session.scalars(of_id.order_by(ProfileRevision.ordinal))]


def _check(
    kind: str, profile_id: str, content_hash: str, document: str, source_text: str, origin: str
) -> None:
    faults = [
        fault
        for place, value in (
            ("profile_id", profile_id),
            ("content_hash", content_hash),
            ("document", document),
            ("source_text", source_text),
        )
        for fault in text_faults(place, value)
    ]
    for place, value, allowed in (("kind", kind, KINDS), ("origin", origin, ORIGINS)):
        if value not in allowed:
            faults.append((place, repr(value), " or ".join(allowed)))
    if faults:
        raise NotStorable(faults)


def _stored(row: ProfileRevision) -> StoredRevision:
    return StoredRevision(
        row.kind, row.profile_id, row.content_hash, row.document, row.source_text, row.origin,
        utc_time(row.recorded_utc), row.ordinal, row.actor,
    )  # fmt: skip
