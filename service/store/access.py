"""Holders and their credentials. A name is given once, and a token that ended says when; only old sessions go.

Every function takes the session of `Database.write` or `Database.read` and leaves the transaction to it.
"""

import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from .canonical import canonical_json, text_faults
from .errors import NotStorable
from .tables import AccessCredential, AccessHolder
from .times import utc_text, utc_time


@dataclass(frozen=True, slots=True)
class StoredCredential:
    """A token or session on record; `digest` is the SHA-256 of its secret."""

    id: str
    holder: str
    kind: str
    parent_id: str | None
    digest: str
    issued_utc: datetime
    expires_utc: datetime | None
    ended_utc: datetime | None


@dataclass(frozen=True, slots=True)
class StoredHolder:
    """A holder on record. `machines`: ids of assigned machines, None for every machine."""

    name: str
    roles: tuple[str, ...]
    machines: tuple[str, ...] | None
    created_utc: datetime
    revoked_utc: datetime | None


@dataclass(frozen=True, slots=True)
class Known:
    """A credential with its holder and, of a session, the token it was begun with."""

    credential: StoredCredential
    holder: StoredHolder
    parent: StoredCredential | None


def find(session: Session, credential_id: str) -> Known | None:
    """What is on record under a credential's public id, None for nothing."""
    parent = aliased(AccessCredential)
    row = session.execute(
        select(AccessCredential, AccessHolder, parent)
        .join(AccessHolder, AccessHolder.name == AccessCredential.holder)
        .outerjoin(parent, parent.id == AccessCredential.parent_id)
        .where(AccessCredential.id == credential_id)
    ).one_or_none()
    if row is None:
        return None
    own, holder, begun_with = row
    return Known(_credential(own), _holder(holder), None if begun_with is None else _credential(begun_with))


def holders(session: Session) -> list[StoredHolder]:
    """Every holder there ever was, in order of name."""
    return [_holder(row) for row in session.scalars(select(AccessHolder).order_by(AccessHolder.name))]


def holder(session: Session, name: str) -> StoredHolder | None:
    """One holder, None if the name was never given."""
    row = session.get(AccessHolder, name)
    return None if row is None else _holder(row)


def tokens(session: Session, name: str) -> list[StoredCredential]:
    """A holder's tokens, oldest first, ended ones too."""
    of = select(AccessCredential).where(AccessCredential.holder == name, AccessCredential.kind == "token")
    return [
        _credential(row)
        for row in session.scalars(of.order_by(AccessCredential.issued_utc, AccessCredential.id))
    ]


def add_holder(
    session: Session, name: str, roles: Collection[str], machines: Collection[str] | None, now: datetime
) -> None:
    """A new holder. Raises `NotStorable` for a name that no database returns as given."""
    faults = text_faults("name", name)
    if faults:
        raise NotStorable(faults)
    session.add(
        AccessHolder(
            name=name, roles=_listed(roles), machines=_maybe_listed(machines), created_utc=utc_text(now)
        )
    )
    session.flush()  # a credential's foreign key wants it on record


def assign(session: Session, name: str, roles: Collection[str], machines: Collection[str] | None) -> None:
    """Give a holder other roles and machines."""
    row = session.get_one(AccessHolder, name)
    row.roles, row.machines = _listed(roles), _maybe_listed(machines)


def add_credential(
    session: Session, credential_id: str, name: str, digest: str, now: datetime, expires: datetime | None,
    parent_id: str | None = None,
) -> None:  # fmt: skip
    """A new token of a holder, or a session begun with the token `parent_id`."""
    session.add(
        AccessCredential(
            id=credential_id, holder=name, kind="token" if parent_id is None else "session", parent_id=parent_id,
            digest=digest, issued_utc=utc_text(now), expires_utc=None if expires is None else utc_text(expires),
        )
    )  # fmt: skip
    session.flush()


def make_room(session: Session, name: str, now: datetime, most: int) -> None:
    """Drop a holder's sessions that are over, and of the others all but the latest `most`. Sessions are no record."""
    of = select(AccessCredential).where(AccessCredential.holder == name, AccessCredential.kind == "session")
    latest = session.scalars(of.order_by(AccessCredential.issued_utc.desc(), AccessCredential.id)).all()
    live = [row for row in latest if row.ended_utc is None and (row.expires_utc or "") > utc_text(now)]
    for row in latest:
        if row not in live[:most]:
            session.delete(row)


def expire(session: Session, credential_ids: Iterable[str], when: datetime | None) -> None:
    """Let credentials expire at another time, None for never."""
    for each in credential_ids:
        session.get_one(AccessCredential, each).expires_utc = None if when is None else utc_text(when)


def end(session: Session, credential_ids: Iterable[str], now: datetime) -> None:
    """End credentials at once; one that has ended keeps its time."""
    for each in credential_ids:
        row = session.get_one(AccessCredential, each)
        row.ended_utc = row.ended_utc or utc_text(now)


def revoke(session: Session, name: str, now: datetime) -> None:
    """Revoke a holder for good, and so whatever it holds."""
    row = session.get_one(AccessHolder, name)
    row.revoked_utc = row.revoked_utc or utc_text(now)


def _listed(names: Collection[str]) -> str:
    return canonical_json(sorted(set(names)))


def _maybe_listed(names: Collection[str] | None) -> str | None:
    return None if names is None else _listed(names)


def _maybe_time(text: str | None) -> datetime | None:
    return None if text is None else utc_time(text)


def _credential(row: AccessCredential) -> StoredCredential:
    return StoredCredential(
        row.id, row.holder, row.kind, row.parent_id, row.digest, utc_time(row.issued_utc),
        _maybe_time(row.expires_utc), _maybe_time(row.ended_utc),
    )  # fmt: skip


def _holder(row: AccessHolder) -> StoredHolder:
    machines = None if row.machines is None else tuple(json.loads(row.machines))
    return StoredHolder(
        row.name,
        tuple(json.loads(row.roles)),
        machines,
        utc_time(row.created_utc),
        _maybe_time(row.revoked_utc),
    )
