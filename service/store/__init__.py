"""What is kept on disk: the database, the log of every job, profile revisions, who has access."""

from . import access, events, profiles
from .canonical import canonical_json
from .database import Database, open_database
from .errors import (
    DatabaseClosed,
    DatabaseFromTheFuture,
    DatabaseUnreadable,
    IdempotencyConflict,
    JobExists,
    JobUnknown,
    LogDamaged,
    NotStorable,
    RevisionConflict,
    SequenceMismatch,
    StoreError,
)
from .events import NewEvent, StoredEvent, StoredJob, verify_chain
from .profiles import StoredRevision
from .times import utc_now, utc_text, utc_time

__all__ = [
    "Database",
    "DatabaseClosed",
    "DatabaseFromTheFuture",
    "DatabaseUnreadable",
    "IdempotencyConflict",
    "JobExists",
    "JobUnknown",
    "LogDamaged",
    "NewEvent",
    "NotStorable",
    "RevisionConflict",
    "SequenceMismatch",
    "StoreError",
    "StoredEvent",
    "StoredJob",
    "StoredRevision",
    "access",
    "canonical_json",
    "events",
    "open_database",
    "profiles",
    "utc_now",
    "utc_text",
    "utc_time",
    "verify_chain",
]
