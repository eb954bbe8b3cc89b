"""What is kept on disk: the database, the log of every job, profile revisions, who has access."""

from . import access, calibrations, class_digs, events, profiles, studies
from .calibrations import StoredCalibration
from .canonical import canonical_json
from .class_digs import NewDig, StoredDig
from .database import Database, look_into_database, open_database
from .errors import (
    DatabaseClosed,
    DatabaseFromTheFuture,
    DatabaseUnreadable,
    DiskFull,
    IdempotencyConflict,
    JobExists,
    JobUnknown,
    LogDamaged,
    NotStorable,
    RevisionConflict,
    SequenceMismatch,
    StoreError,
    WriteContended,
    WriteInDoubt,
    disk_says,
)
from .events import Misfit, NewEvent, StoredEvent, StoredJob, misfit, verify_chain
from .profiles import StoredRevision
from .studies import NewStudy, StoredStudy
from .times import utc_now, utc_text, utc_time

__all__ = [
    "Database",
    "DatabaseClosed",
    "DatabaseFromTheFuture",
    "DatabaseUnreadable",
    "DiskFull",
    "IdempotencyConflict",
    "JobExists",
    "JobUnknown",
    "LogDamaged",
    "Misfit",
    "NewDig",
    "NewEvent",
    "NewStudy",
    "NotStorable",
    "RevisionConflict",
    "SequenceMismatch",
    "StoreError",
    "StoredCalibration",
    "StoredDig",
    "StoredEvent",
    "StoredJob",
    "StoredRevision",
    "StoredStudy",
    "WriteContended",
    "WriteInDoubt",
    "access",
    "calibrations",
    "canonical_json",
    "class_digs",
    "disk_says",
    "events",
    "look_into_database",
    "misfit",
    "open_database",
    "profiles",
    "studies",
    "utc_now",
    "utc_text",
    "utc_time",
    "verify_chain",
]
