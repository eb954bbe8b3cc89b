"""The tables. Rows are added and, but for how long access lasts, never changed.

Times are text (times.py), hashes lower-case hex.
"""

from sqlalchemy import CheckConstraint, ForeignKey, Integer, MetaData, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from .migrations.spelling import TEXT


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

    id: Mapped[str] = mapped_column(TEXT, primary_key=True)
    name: Mapped[str] = mapped_column(TEXT)
    opened_utc: Mapped[str] = mapped_column(TEXT)


class Event(Base):
    """One entry of a job's log."""

    __tablename__ = "event"
    __table_args__ = (
        UniqueConstraint("uuid"),
        # A null key is no key: any number of events may have none, on SQLite and PostgreSQL alike.
        UniqueConstraint("job_id", "idempotency_key"),
        CheckConstraint("seq >= 1", name="seq_from_one"),
    )

    job_id: Mapped[str] = mapped_column(TEXT, ForeignKey("job.id"), primary_key=True)
    seq: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    uuid: Mapped[str] = mapped_column(TEXT)
    type: Mapped[str] = mapped_column(TEXT)
    payload_version: Mapped[int] = mapped_column(Integer)
    actor: Mapped[str] = mapped_column(TEXT)
    observed_utc: Mapped[str] = mapped_column(TEXT)
    recorded_utc: Mapped[str] = mapped_column(TEXT)
    idempotency_key: Mapped[str | None] = mapped_column(TEXT)
    request_hash: Mapped[str | None] = mapped_column(TEXT)
    payload: Mapped[str] = mapped_column(TEXT)
    previous_hash: Mapped[str] = mapped_column(TEXT)
    hash: Mapped[str] = mapped_column(TEXT)


class ProfileRevision(Base):
    """One revision of a machine or an attachment; `ordinal` counts all revisions in the order they came."""

    __tablename__ = "profile_revision"
    __table_args__ = (
        UniqueConstraint("ordinal"),
        UniqueConstraint("kind", "profile_id", "ordinal"),  # serves as the index of "the latest of this id"
        CheckConstraint("kind IN ('machine', 'attachment')", name="kind"),
        CheckConstraint("origin IN ('shipped', 'uploaded', 'calibrated', 'restored')", name="origin"),
    )

    kind: Mapped[str] = mapped_column(TEXT, primary_key=True)
    content_hash: Mapped[str] = mapped_column(TEXT, primary_key=True)
    profile_id: Mapped[str] = mapped_column(TEXT)
    document: Mapped[str] = mapped_column(TEXT)
    source_text: Mapped[str] = mapped_column(TEXT)
    origin: Mapped[str] = mapped_column(TEXT)
    recorded_utc: Mapped[str] = mapped_column(TEXT)
    ordinal: Mapped[int] = mapped_column(Integer)
    actor: Mapped[str | None] = mapped_column(TEXT)


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

    id: Mapped[str] = mapped_column(TEXT, primary_key=True)
    ordinal: Mapped[int] = mapped_column(Integer)
    machine_id: Mapped[str] = mapped_column(TEXT)
    machine_before: Mapped[str] = mapped_column(TEXT)
    machine_after: Mapped[str] = mapped_column(TEXT)
    attachment_id: Mapped[str] = mapped_column(TEXT)
    attachment_before: Mapped[str] = mapped_column(TEXT)
    attachment_after: Mapped[str] = mapped_column(TEXT)
    document: Mapped[str] = mapped_column(TEXT)
    document_hash: Mapped[str] = mapped_column(TEXT)
    rolls_back: Mapped[str | None] = mapped_column(TEXT, ForeignKey("calibration.id"))
    actor: Mapped[str] = mapped_column(TEXT)
    recorded_utc: Mapped[str] = mapped_column(TEXT)
    idempotency_key: Mapped[str | None] = mapped_column(TEXT)
    request_hash: Mapped[str | None] = mapped_column(TEXT)


class ClassDig(Base):
    """A simulated dig of a learner in a class, by number in the class.

    `score` is canonical JSON of what it came to; `document` of exercise, course, that score and the ground at the end,
    `document_hash` its SHA-256.
    """

    __tablename__ = "class_dig"
    __table_args__ = (UniqueConstraint("idempotency_key"),)

    class_id: Mapped[str] = mapped_column(TEXT, primary_key=True)
    seq: Mapped[int] = mapped_column(Integer, primary_key=True)
    learner: Mapped[str] = mapped_column(TEXT)
    exercise: Mapped[str] = mapped_column(TEXT)
    machine_id: Mapped[str] = mapped_column(TEXT)
    machine_hash: Mapped[str] = mapped_column(TEXT)
    attachment_id: Mapped[str] = mapped_column(TEXT)
    attachment_hash: Mapped[str] = mapped_column(TEXT)
    score: Mapped[str] = mapped_column(TEXT)
    document: Mapped[str] = mapped_column(TEXT)
    document_hash: Mapped[str] = mapped_column(TEXT)
    actor: Mapped[str] = mapped_column(TEXT)
    recorded_utc: Mapped[str] = mapped_column(TEXT)
    idempotency_key: Mapped[str | None] = mapped_column(TEXT)
    request_hash: Mapped[str | None] = mapped_column(TEXT)


class Study(Base):
    """A study that was submitted: its file's text, and the revisions it is of; `ordinal` counts them."""

    __tablename__ = "study"
    __table_args__ = (UniqueConstraint("ordinal"), UniqueConstraint("idempotency_key"))

    id: Mapped[str] = mapped_column(TEXT, primary_key=True)
    ordinal: Mapped[int] = mapped_column(Integer)
    name: Mapped[str] = mapped_column(TEXT)
    machine_id: Mapped[str] = mapped_column(TEXT)
    machine_hash: Mapped[str] = mapped_column(TEXT)
    attachment_id: Mapped[str] = mapped_column(TEXT)
    attachment_hash: Mapped[str] = mapped_column(TEXT)
    identity: Mapped[str] = mapped_column(TEXT)
    source_text: Mapped[str] = mapped_column(TEXT)
    actor: Mapped[str] = mapped_column(TEXT)
    recorded_utc: Mapped[str] = mapped_column(TEXT)
    idempotency_key: Mapped[str | None] = mapped_column(TEXT)
    request_hash: Mapped[str | None] = mapped_column(TEXT)


class AccessHolder(Base):
    """Who may hold credentials: a person, a tablet, a program. A name is given once and never again."""

    __tablename__ = "access_holder"

    name: Mapped[str] = mapped_column(TEXT, primary_key=True)
    roles: Mapped[str] = mapped_column(TEXT)
    machines: Mapped[str | None] = mapped_column(TEXT)
    created_utc: Mapped[str] = mapped_column(TEXT)
    revoked_utc: Mapped[str | None] = mapped_column(TEXT)


class AccessCredential(Base):
    """A token, or a session begun with one (its `parent`); what is secret in it is here as SHA-256 only."""

    __tablename__ = "access_credential"
    __table_args__ = (
        CheckConstraint("kind IN ('token', 'session')", name="kind"),
        CheckConstraint("(kind = 'session') = (parent_id IS NOT NULL)", name="parent"),
    )

    id: Mapped[str] = mapped_column(TEXT, primary_key=True)
    holder: Mapped[str] = mapped_column(TEXT, ForeignKey("access_holder.name"), index=True)
    kind: Mapped[str] = mapped_column(TEXT)
    parent_id: Mapped[str | None] = mapped_column(TEXT, ForeignKey("access_credential.id"))
    digest: Mapped[str] = mapped_column(TEXT)
    issued_utc: Mapped[str] = mapped_column(TEXT)
    expires_utc: Mapped[str | None] = mapped_column(TEXT)
    ended_utc: Mapped[str | None] = mapped_column(TEXT)
