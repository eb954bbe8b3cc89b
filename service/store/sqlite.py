"""A database in a file: one writer, a write-ahead log, and a copy beside it before it is migrated."""

import os
import sqlite3
from contextlib import AbstractContextManager, closing, nullcontext
from pathlib import Path
from time import monotonic, sleep
from typing import Any

from alembic.util import CommandError
from sqlalchemy import URL, Connection, Engine, QueuePool, create_engine, event
from sqlalchemy.exc import DBAPIError

from .errors import DatabaseUnreadable, DiskFull
from .times import utc_now

BUSY_MS = 10_000  # how long to wait for another process that writes the same file
LEAST_FREE = 1 << 20
_OTHER_PATH = "name another file, or move this one away"


class SqliteFile:
    """The file of an address such as "sqlite:////data/jobs.sqlite". `DatabaseUnreadable` where none can be there."""

    shared = False
    writers = 1
    errors: tuple[type[Exception], ...] = (DBAPIError, sqlite3.Error, CommandError, OSError)

    def __init__(self, url: URL) -> None:
        name = url.database
        if url.query or not name or name.startswith((":", "file:")):
            raise DatabaseUnreadable(
                url.render_as_string(hide_password=True), "the address of an SQLite file, such as sqlite:///jobs.sqlite",
                "another kind of address", "what is acknowledged must be on disk: name a file",
            )  # fmt: skip
        self.path = Path(name).resolve()
        self.name = str(self.path)
        if not self.path.parent.is_dir():
            raise DatabaseUnreadable(
                self.name, "a file in a folder that is there", "no such folder", "make the folder"
            )
        if self.path.exists() and not self.path.is_file():
            raise DatabaseUnreadable(self.name, "a file", "something else of that name", _OTHER_PATH)

    def look(self) -> str | None:
        """The revision of the file, None for a new one, without changing a byte of it."""
        if not self.path.exists():
            return None
        # Without a log beside it the file is all there is, and "immutable" keeps SQLite from making one. With a log
        # (another process, or a kill) the revision may stand in the log: read both, write neither.
        how = "mode=ro" if Path(f"{self.path}-wal").exists() else "immutable=1"
        connection = sqlite3.connect(f"{self.path.as_uri()}?{how}", uri=True, timeout=BUSY_MS / 1000)
        try:
            tables = {
                name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            }
            if not tables:
                return None
            if "alembic_version" not in tables:
                raise DatabaseUnreadable(
                    self.name, "a database of this service", f"a database with tables {', '.join(sorted(tables))}",
                    _OTHER_PATH,
                )  # fmt: skip
            rows = connection.execute("SELECT version_num FROM alembic_version").fetchall()
        finally:
            connection.close()
        return ", ".join(sorted(str(row[0]) for row in rows)) or None

    def make(self) -> None:
        """A new file is for its owner alone; SQLite gives what stands beside it the same rights."""
        os.close(os.open(self.path, os.O_CREAT | os.O_WRONLY, 0o600))

    def writer(self) -> Engine:
        """One connection; a transaction has the lock before it reads."""
        return self._engine("rwc", "BEGIN IMMEDIATE", pool_size=1, max_overflow=0)

    def reader(self) -> Engine:
        """As many as ask. mode=rw: a file removed under the service must not come back empty."""
        engine = self._engine("rw", "BEGIN", pool_size=4, max_overflow=-1)
        event.listen(engine, "connect", _query_only)
        return engine

    def prepare(self, writer: Engine) -> None:
        """Switch to a write-ahead log; `DatabaseUnreadable` where the place cannot keep one."""
        mode = _switch_to_wal(writer)
        if mode != "wal":  # a network share, say: a commit there would not survive as promised
            raise DatabaseUnreadable(
                self.name, "a place that can keep a write-ahead log", f"journal mode {mode}",
                "put the data folder on a local disk",
            )  # fmt: skip

    def room(self) -> None:
        """A write of no row, which is how writing is tried, needs none."""
        found = os.statvfs(self.path)
        free = found.f_bavail * found.f_frsize
        if free < LEAST_FREE:
            raise DiskFull(self.name, free, LEAST_FREE)

    def migrating(self, writer: Engine) -> AbstractContextManager[Connection]:
        """BEGIN IMMEDIATE is the lock: a second process waits, then finds it done."""
        return writer.begin()

    def back_up(self, found: str, expected: str) -> None:  # noqa: ARG002  # the name tells what it is of
        """A copy beside the file, whole or not there: "jobs.sqlite.0003-20260504T073112Z"."""
        copy_file(self.path, Path(f"{self.path}.{found}-{utc_now():%Y%m%dT%H%M%S%fZ}"))

    def lost(self, error: Exception, before: Exception | None) -> bool:  # noqa: ARG002
        """Never: whoever writes has the lock from the beginning."""
        return False

    def turn(self, writer: Engine) -> AbstractContextManager[None]:  # noqa: ARG002
        """Nobody loses."""
        return nullcontext()

    def failed(self, error: Exception) -> DatabaseUnreadable:
        """What SQLite says, with whom to blame where another program holds the file."""
        cause = getattr(error, "orig", None) or error
        advice = "stop the other program that writes this file" if _is_busy(cause) else _OTHER_PATH
        return DatabaseUnreadable(
            self.name, "an SQLite database that this user may write", f'"{cause}"', advice
        )

    def _engine(self, mode: str, begin: str, *, pool_size: int, max_overflow: int) -> Engine:
        def connect() -> sqlite3.Connection:
            # isolation_level None: the driver starts no transaction of its own; `_begin` below says which kind.
            connection = sqlite3.connect(
                f"{self.path.as_uri()}?mode={mode}", uri=True, check_same_thread=False, isolation_level=None
            )
            for pragma in (
                f"busy_timeout={BUSY_MS}",
                "synchronous=FULL",
                "fullfsync=ON",
                "foreign_keys=ON",
            ):
                connection.execute(f"PRAGMA {pragma}").close()
            return connection

        engine = create_engine(
            "sqlite://", creator=connect, poolclass=QueuePool, pool_size=pool_size, max_overflow=max_overflow
        )

        def _begin(connection: Connection) -> None:
            connection.exec_driver_sql(begin)

        event.listen(engine, "begin", _begin)
        return engine


def copy_file(path: Path, copy: Path) -> None:
    """A new file with all that is committed in a database, whoever writes to it meanwhile; whole, or not there."""
    making = Path(f"{copy}.part")
    os.close(os.open(making, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as source, closing(
            sqlite3.connect(making)
        ) as target:  # fmt: skip
            source.backup(target)
            target.execute("PRAGMA journal_mode=DELETE").close()  # one file that stands for itself
        with making.open("rb") as written:
            os.fsync(written.fileno())
        making.replace(copy)
    finally:
        making.unlink(missing_ok=True)


def flaws(path: Path) -> list[str]:
    """What SQLite finds wrong in a file's pages, indexes and references, at most ten; none where all is well."""
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as connection:
        try:
            found = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(10)")]
            found += [
                f"row {row[1]} of {row[0]} refers to {row[2]} that is not there"
                for row in connection.execute("PRAGMA foreign_key_check")
            ]
        except sqlite3.DatabaseError as error:
            return [str(error)]
    return [each for each in found if each != "ok"][:10]


def _switch_to_wal(writer: Engine) -> str:
    """The journal mode after asking for WAL, "wal" if all is well."""
    # Where two processes open a new file at once, SQLite tells one "locked" here without its usual wait.
    patience = monotonic() + BUSY_MS / 1000
    raw = writer.raw_connection()
    try:
        while True:
            try:
                return str(raw.cursor().execute("PRAGMA journal_mode=WAL").fetchone()[0])
            except sqlite3.OperationalError as error:
                if not _is_busy(error) or monotonic() > patience:
                    raise
                sleep(0.005)
    finally:
        raw.close()


def _query_only(connection: Any, _record: object) -> None:
    connection.execute("PRAGMA query_only=ON").close()


def _is_busy(error: object) -> bool:
    code = getattr(error, "sqlite_errorcode", None)
    return isinstance(code, int) and code & 0xFF == sqlite3.SQLITE_BUSY  # the upper bits say busy with what
