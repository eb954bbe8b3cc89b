"""What the store refuses, with its facts as attributes. Nothing here knows HTTP."""

from collections.abc import Iterable
from typing import Literal


class StoreError(Exception):
    """Base of everything the store raises on purpose."""


class DatabaseUnreadable(StoreError):
    """What stands at the address cannot serve as a database, or no longer can."""

    def __init__(self, path: str, expected: str, found: str, advice: str) -> None:
        self.path, self.expected, self.found, self.advice = path, expected, found, advice
        super().__init__(f"{path}: expected {expected}, found {found}; {advice}")


class DatabaseFromTheFuture(StoreError):
    """A database at a revision this version does not know. It was not touched.

    `expected` is the newest revision known here, `found` the one in it.
    """

    def __init__(self, path: str, expected: str, found: str) -> None:
        self.path, self.expected, self.found = path, expected, found
        self.advice = "open it with the release that wrote it, or a later one; nothing was changed"
        super().__init__(
            f"{path}: expected a database at revision {expected} or before, found revision {found}; {self.advice}"
        )


class DiskFull(StoreError):
    """There is no room left where the database lies. What is on record can be read."""

    def __init__(self, path: str, free: int, least: int) -> None:
        self.path, self.free, self.least = path, free, least
        super().__init__(
            f"{path}: expected {least} bytes free on its disk, found {free}; make room, nothing acknowledged is lost"
        )


class DatabaseClosed(StoreError):
    """Work was handed to a database that is closed; it was not done."""

    def __init__(self, path: str) -> None:
        self.path = path
        super().__init__(f"{path}: expected an open database, found it closed; nothing was done")


class WriteContended(StoreError):
    """Others wrote the same again and again; nothing of this write is on record."""

    def __init__(self, name: str, tries: int) -> None:
        super().__init__(
            f"{name}: expected to write undisturbed once, found others first {tries} times; nothing was written, "
            "send it again"
        )


class WriteInDoubt(StoreError):
    """The connection was lost at the commit: it may be on record or not. Its idempotency key decides."""

    def __init__(self, name: str) -> None:
        super().__init__(
            f"{name}: expected the commit to be answered, found the connection lost; read what is on record, or send "
            "it again with the same idempotency key"
        )


class NotStorable(StoreError, ValueError):
    """A value that could not be read back exactly as given; `faults` names each as (place, found, expected)."""

    def __init__(self, faults: Iterable[tuple[str, str, str]]) -> None:
        self.faults = tuple(faults)
        super().__init__(
            "; ".join(
                f"{place or 'value'}: expected {expected}, found {found}"
                for place, found, expected in self.faults
            )
        )


class JobExists(StoreError):
    """The id is taken by another job."""

    def __init__(self, job_id: str) -> None:
        self.job_id = job_id
        super().__init__(f"expected a new job id, found a job {job_id!r} already; choose another id")


class JobUnknown(StoreError):
    """There is no such job."""

    def __init__(self, job_id: str) -> None:
        self.job_id = job_id
        super().__init__(f"expected a job on record, found none named {job_id!r}; open it first")


class IdempotencyConflict(StoreError):
    """The key was used in this job for another request; `seq` is the event recorded then."""

    def __init__(self, job_id: str, key: str, seq: int) -> None:
        self.job_id, self.key, self.seq = job_id, key, seq
        super().__init__(
            f"expected the request that key {key!r} stands for in job {job_id!r} (event {seq}), "
            "found a different one; use a new key"
        )


class SequenceMismatch(StoreError):
    """The job has moved on: `expected` is the caller's last seq, `found` the job's."""

    def __init__(self, job_id: str, expected: int, found: int) -> None:
        self.job_id, self.expected, self.found = job_id, expected, found
        super().__init__(
            f"expected job {job_id!r} at event {expected}, found it at {found}; read it again and decide anew"
        )


class LogDamaged(StoreError):
    """A stored event that this store cannot have written: the file was altered from outside."""

    def __init__(self, job_id: str, seq: int, found: str) -> None:
        self.job_id, self.seq, self.found = job_id, seq, found
        super().__init__(
            f"job {job_id!r}, event {seq}: expected an event as it was written, found {found}; "
            "restore the database from a copy"
        )


class RevisionConflict(StoreError):
    """A content hash on record for another profile or another document."""

    def __init__(self, kind: str, content_hash: str, found: str) -> None:
        self.kind, self.content_hash, self.found = kind, content_hash, found
        super().__init__(
            f"expected {kind} revision {content_hash} to be the one on record, found {found}; "
            "check how the hash was formed"
        )


_FULL, _READ_ONLY = 13, 8  # SQLITE_FULL, SQLITE_READONLY; the upper bits of a code say more
_STATES: dict[object, Literal["disk-full", "read-only"]] = {
    "53100": "disk-full",
    "25006": "read-only",
}  # SQLSTATE


def disk_says(error: BaseException | None) -> Literal["disk-full", "read-only"] | None:
    """Why a database did not take a write, where its disk is to blame: then nothing of that write is on record."""
    while error is not None:
        if isinstance(error, DiskFull):
            return "disk-full"
        code = getattr(error, "sqlite_errorcode", None)
        if isinstance(code, int) and code & 0xFF in {_FULL, _READ_ONLY}:
            return "disk-full" if code & 0xFF == _FULL else "read-only"
        state = _STATES.get(getattr(error, "sqlstate", None))
        if state is not None:
            return state
        error = getattr(error, "orig", None) or error.__cause__
    return None
