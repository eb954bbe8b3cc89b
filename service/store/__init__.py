"""What is kept on disk: the database, the log of every job, profile revisions, who has access."""

from . import access, calibrations, events, profiles
from .calibrations import StoredCalibration
from .canonical import canonical_json
from .database import Database, look_into_database, open_database
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
from .events import Misfit, NewEvent, StoredEvent, StoredJob, misfit, verify_chain
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
    "Misfit",
    "NewEvent",
    "NotStorable",
    "RevisionConflict",
    "SequenceMismatch",
    "StoreError",
    "StoredCalibration",
    "StoredEvent",
    "StoredJob",
    "StoredRevision",
    "access",
    "calibrations",
    "canonical_json",
    "events",
    "look_into_database",
    "misfit",
    "open_database",
    "profiles",
    "utc_now",
    "utc_text",
    "utc_time",
    "verify_chain",
]
