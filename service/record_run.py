"""What `tipdatum record` does, apart from flags and printing: chains held against themselves, records written."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from kinematics.errors import Fault, Refused

from .book.holding import Damage
from .book.keeper import Keeper
from .book.profiles import Profiles
from .book.record_file import Head, Progress, broken, broken_record, read_record
from .settings import DATABASE, database_file, database_url, shared_database
from .store import (
    Database,
    JobUnknown,
    LogDamaged,
    Misfit,
    StoredEvent,
    StoreError,
    events,
    look_into_database,
    utc_now,
)
from .terminal import DATA

_PAGE = 1000


@dataclass(frozen=True, slots=True)
class Verdict:
    """On one job's chain: its head where it holds, else where it breaks."""

    job: str
    head: Head | None
    broken: Misfit | None


def verify_file(path: Path, noted: Sequence[Head], progress: Progress | None = None) -> Verdict:
    """The verdict on an exported record. `Refused` "unreadable", "unreadable-record"."""
    try:
        text = path.read_bytes().decode()
    except (OSError, UnicodeDecodeError) as error:
        why = f"{path}: {getattr(error, 'strerror', None) or error}"
        raise Refused([Fault("unreadable", "FILE", why, "an exported record")]) from None
    try:
        record = read_record(text)
    except Refused as refused:
        raise Refused(fault.at(str(path)) for fault in refused.faults) from None
    found, head = broken_record(record, noted, progress)
    return Verdict(record.job, head, found)


def verify_data(
    data: Path, job: str | None, noted: Sequence[Head], progress: Progress | None = None
) -> list[Verdict]:
    """The verdict on every job of a data folder, or on one. `Refused` "no-database", "database", "unknown-job"."""
    with _looked_into(data) as database:
        return database.read(lambda session: [
            _verdict(session, each, noted, progress) for each in ([job] if job is not None else list(_jobs(session)))
        ])  # fmt: skip


def export(
    data: Path, job: str, wanted: Literal["json", "csv", "html", "pdf"]
) -> tuple[bytes, Damage | None]:
    """A record out of a data folder, and why it ends where it does if the log is not whole. `Refused` as `verify_data`,
    and "log-damaged" where not even the first entry can be read."""
    from .api.record import written  # noqa: PLC0415  # all routes come with it

    with _looked_into(data) as database:
        keeper = Keeper(database, Profiles(database, utc_now))
        return written(keeper, job, wanted, utc_now())[0], keeper.damage(job)


@contextmanager
def _looked_into(data: Path) -> Iterator[Database]:
    shared = shared_database(data, DATA)
    if shared is None and not database_file(data).is_file():
        raise Refused([
            Fault("no-database", "--data", f"no database in {data}", "the data folder of a service",
                  "the folder that tipdatum serve names")
        ])  # fmt: skip
    try:
        with look_into_database(shared or database_url(data)) as database:
            yield database
    except JobUnknown as error:
        raise Refused([Fault("unknown-job", "JOB", repr(error.job_id), "a job on record here")]) from None
    except LogDamaged as error:
        raise Refused([
            Fault("log-damaged", f"entry {error.seq}", error.found, "an entry as it was written",
                  "no record is made of it; tipdatum record verify tells more")
        ]) from None  # fmt: skip
    except (StoreError, SQLAlchemyError) as error:
        where = "--data" if shared is None else DATABASE
        raise Refused([Fault("database", where, str(error), "a database of this release")]) from None


def _verdict(session: Session, job: str, noted: Sequence[Head], progress: Progress | None) -> Verdict:
    try:
        found, head = broken(job, _entries(session, job), noted, progress=progress)
    except LogDamaged as error:
        found, head = Misfit(error.seq, "changed-entry", error.found, "an entry as it was recorded"), None
    return Verdict(job, head, found)


def _jobs(session: Session) -> Iterator[str]:
    after: str | None = None
    while page := events.list_jobs(session, after, _PAGE):
        yield from (each.id for each in page)
        after = page[-1].id


def _entries(session: Session, job: str) -> Iterator[StoredEvent]:
    """A job's events, page by page; one by one where a page has one that cannot be read, so that all before it come."""
    after, size = 0, _PAGE
    while True:
        try:
            page = events.read_events(session, job, after, size)
        except LogDamaged:
            if size == 1:
                raise
            size = 1
            continue
        if not page:
            return
        yield from page
        after = page[-1].seq
        session.expunge_all()
