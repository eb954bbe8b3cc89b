"""The tables. Rows are added and, but for how long access lasts, never changed.

Times are text (times.py), hashes lower-case hex.
"""

from sqlalchemy import CheckConstraint, ForeignKey, Integer, MetaData, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class Base(DeclarativeBase):
    """Names every constraint, so that a later migration can speak of it on any database."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


class Job(Base):
    """A job; what it is stands in its events."""

    __tablename__ = "job"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    opened_utc: Mapped[str] = mapped_column(Text)


class Event(Base):
    """One entry of a job's log."""

    __tablename__ = "event"
    __table_args__ = (
        UniqueConstraint("uuid"),
        # A null key is no key: any number of events may have none, on SQLite and PostgreSQL alike.
        UniqueConstraint("job_id", "idempotency_key"),
        CheckConstraint("seq >= 1", name="seq_from_one"),
    )

    job_id: Mapped[str] = mapped_column(Text, ForeignKey("job.id"), primary_key=True)
    seq: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    uuid: Mapped[str] = mapped_column(Text)
    type: Mapped[str] = mapped_column(Text)
    payload_version: Mapped[int] = mapped_column(Integer)
    actor: Mapped[str] = mapped_column(Text)
    observed_utc: Mapped[str] = mapped_column(Text)
    recorded_utc: Mapped[str] = mapped_column(Text)
    idempotency_key: Mapped[str | None] = mapped_column(Text)
    request_hash: Mapped[str | None] = mapped_column(Text)
    payload: Mapped[str] = mapped_column(Text)
    previous_hash: Mapped[str] = mapped_column(Text)
    hash: Mapped[str] = mapped_column(Text)


class ProfileRevision(Base):
    """One revision of a machine or an attachment; `ordinal` counts all revisions in the order they came."""

    __tablename__ = "profile_revision"
    __table_args__ = (
        UniqueConstraint("ordinal"),
        UniqueConstraint("kind", "profile_id", "ordinal"),  # serves as the index of "the latest of this id"
        CheckConstraint("kind IN ('machine', 'attachment')", name="kind"),
        CheckConstraint("origin IN ('shipped', 'uploaded', 'calibrated', 'restored')", name="origin"),
    )

    kind: Mapped[str] = mapped_column(Text, primary_key=True)
    content_hash: Mapped[str] = mapped_column(Text, primary_key=True)
    profile_id: Mapped[str] = mapped_column(Text)
    document: Mapped[str] = mapped_column(Text)
    source_text: Mapped[str] = mapped_column(Text)
    origin: Mapped[str] = mapped_column(Text)
    recorded_utc: Mapped[str] = mapped_column(Text)
    ordinal: Mapped[int] = mapped_column(Integer)
    actor: Mapped[str | None] = mapped_column(Text)


class Calibration(Base):
    """A calibration that was applied, or the roll-back of one: the same hashes before and after where a half stayed.

    `document` is canonical JSON of what was asked and answered, `document_hash` its SHA-256; `ordinal` counts them.
    """

    __tablename__ = "calibration"
    __table_args__ = (
        UniqueConstraint("ordinal"),
        UniqueConstraint("idempotency_key"),
        UniqueConstraint("rolls_back"),  # once and no more
    )

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    ordinal: Mapped[int] = mapped_column(Integer)
    machine_id: Mapped[str] = mapped_column(Text)
    machine_before: Mapped[str] = mapped_column(Text)
    machine_after: Mapped[str] = mapped_column(Text)
    attachment_id: Mapped[str] = mapped_column(Text)
    attachment_before: Mapped[str] = mapped_column(Text)
    attachment_after: Mapped[str] = mapped_column(Text)
    document: Mapped[str] = mapped_column(Text)
    document_hash: Mapped[str] = mapped_column(Text)
    rolls_back: Mapped[str | None] = mapped_column(Text, ForeignKey("calibration.id"))
    actor: Mapped[str] = mapped_column(Text)
    recorded_utc: Mapped[str] = mapped_column(Text)
    idempotency_key: Mapped[str | None] = mapped_column(Text)
    request_hash: Mapped[str | None] = mapped_column(Text)


class AccessHolder(Base):
    """Who may hold credentials: a person, a tablet, a program. A name is given once and never again."""

    __tablename__ = "access_holder"

    name: Mapped[str] = mapped_column(Text, primary_key=True)
    roles: Mapped[str] = mapped_column(Text)
    machines: Mapped[str | None] = mapped_column(Text)
    created_utc: Mapped[str] = mapped_column(Text)
    revoked_utc: Mapped[str | None] = mapped_column(Text)


class AccessCredential(Base):
    """A token, or a session begun with one (its `parent`); what is secret in it is here as SHA-256 only."""

    __tablename__ = "access_credential"
    __table_args__ = (
        CheckConstraint("kind IN ('token', 'session')", name="kind"),
        CheckConstraint("(kind = 'session') = (parent_id IS NOT NULL)", name="parent"),
    )

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    holder: Mapped[str] = mapped_column(Text, ForeignKey("access_holder.name"), index=True)
    kind: Mapped[str] = mapped_column(Text)
    parent_id: Mapped[str | None] = mapped_column(Text, ForeignKey("access_credential.id"))
    digest: Mapped[str] = mapped_column(Text)
    issued_utc: Mapped[str] = mapped_column(Text)
    expires_utc: Mapped[str | None] = mapped_column(Text)
    ended_utc: Mapped[str | None] = mapped_column(Text)
