"""The database: one writer thread, readers on their own threads, and what is checked before either starts.

Acknowledged means on disk: `Database.write` returns after a commit under WAL and synchronous FULL.
"""

import asyncio
import os
import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import get_ident
from time import monotonic, sleep
from types import TracebackType
from typing import Any, Self, TypeVar

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, Engine, QueuePool, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.orm import Session

from .errors import DatabaseClosed, DatabaseFromTheFuture, DatabaseUnreadable

T = TypeVar("T")
BUSY_MS = 10_000  # how long to wait for another process that writes the same file
_MIGRATIONS = Path(__file__).parent / "migrations"
_OTHER_PATH = "name another file, or move this one away"


class Database:
    """An open database. `open_database` makes one; `close` it, or use it in a with statement."""

    def __init__(self, path: Path, expected: str) -> None:
        self.path = path
        self._expected = expected
        self._closed = False
        # mode=rw for readers: a file removed under the service must not come back empty.
        self._writer_engine = _engine(path, "rwc", "BEGIN IMMEDIATE", pool_size=1, max_overflow=0)
        self._reader_engine = _engine(path, "rw", "BEGIN", pool_size=4, max_overflow=-1)
        event.listen(self._reader_engine, "connect", _query_only)
        self._writer = ThreadPoolExecutor(max_workers=1, thread_name_prefix="store-writer")
        self._writer_ident = self._writer.submit(get_ident).result()

    def write(self, work: Callable[[Session], T]) -> T:
        """Run `work` in one transaction on the writer thread; returns its result once that is on disk.

        Whatever `work` or the commit raises undoes all of it and is raised here. Call it from a thread of a pool:
        on an event loop, or inside another write, it would wait for itself and raises RuntimeError.
        `DatabaseClosed` after `close`.
        """
        self._refuse_to_wait_here()
        return self._on_writer(lambda: self._committed(work))

    def read(self, work: Callable[[Session], T]) -> T:
        """Run `work` on this thread over one unchanging view of the database; a write in it is refused."""
        if self._closed:
            raise DatabaseClosed(str(self.path))
        with Session(self._reader_engine, expire_on_commit=False) as session:
            return work(session)

    def check(self) -> None:
        """Return if reading and writing work; for health.

        Raises `DatabaseUnreadable`, `DatabaseClosed`. It waits for the writes that came before it.
        """
        try:
            found = self.read(lambda session: session.scalar(text("SELECT version_num FROM alembic_version")))
            self._on_writer(self._begin_and_undo)
        except (DBAPIError, sqlite3.Error) as error:
            raise _unreadable(self.path, error) from error
        if found != self._expected:
            raise DatabaseUnreadable(
                str(self.path), f"revision {self._expected}", f"{found}", "start the service again"
            )

    def close(self) -> None:
        """Finish the writes already handed over, then close the file. Closing twice is harmless."""
        self._closed = True
        self._writer.shutdown(wait=True)
        self._reader_engine.dispose()
        self._writer_engine.dispose()  # last: it folds the write-ahead log into the file

    def __enter__(self) -> Self:
        """The open database itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def _prepare(self, found: str | None) -> None:
        """Switch to WAL and migrate. Runs on the writer thread, after `_look` found nothing against it."""
        mode = self._switch_to_wal()
        if mode != "wal":  # a network share, say: a commit there would not survive as promised
            raise DatabaseUnreadable(
                str(self.path), "a place that can keep a write-ahead log", f"journal mode {mode}",
                "put the data folder on a local disk",
            )  # fmt: skip
        if found == self._expected:
            self._begin_and_undo()  # a file that may only be read is found now, not at the first touch
            return
        # One transaction: a kill half-way leaves the revision before; a second process waits, then finds it done.
        with self._writer_engine.begin() as connection:
            config = _config()
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def _switch_to_wal(self) -> str:
        """The journal mode after asking for WAL, "wal" if all is well."""
        # Where two processes open a new file at once, SQLite tells one "locked" here without its usual wait.
        patience = monotonic() + BUSY_MS / 1000
        raw = self._writer_engine.raw_connection()
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

    def _committed(self, work: Callable[[Session], T]) -> T:
        with Session(self._writer_engine, expire_on_commit=False) as session, session.begin():
            return work(session)

    def _begin_and_undo(self) -> None:
        # BEGIN IMMEDIATE alone succeeds on a file that may only be read; a write, even of no row, does not.
        with self._writer_engine.connect() as connection, connection.begin() as transaction:
            connection.execute(text("UPDATE alembic_version SET version_num = version_num WHERE 1 = 0"))
            transaction.rollback()

    def _on_writer(self, work: Callable[[], T]) -> T:
        try:
            future = self._writer.submit(work)
        except RuntimeError as error:  # shut down: by `close`, or with the interpreter
            raise DatabaseClosed(str(self.path)) from error
        return future.result()

    def _refuse_to_wait_here(self) -> None:
        if get_ident() == self._writer_ident:
            raise RuntimeError("expected a write from outside, found one inside another write")
        try:
            asyncio.get_running_loop()
        except RuntimeError:
            return
        raise RuntimeError("expected a write from a thread of a pool, found one on an event loop")


def open_database(url: str) -> Database:
    """Open the SQLite file of `url` ("sqlite:////data/jobs.sqlite"), create or migrate it as needed.

    Raises `DatabaseFromTheFuture` with not a byte of the file changed, and `DatabaseUnreadable`.
    """
    path = _path(url)
    script = ScriptDirectory.from_config(_config())
    expected = script.get_current_head()
    if expected is None:
        raise RuntimeError("expected migrations in the package, found none; install it again")
    try:
        found = _look(path)
        if found is not None and found not in {revision.revision for revision in script.walk_revisions()}:
            raise DatabaseFromTheFuture(str(path), expected, found)
        if (
            found is None
        ):  # a new file is for its owner alone; SQLite gives what stands beside it the same rights
            os.close(os.open(path, os.O_CREAT | os.O_WRONLY, 0o600))
        database = Database(path, expected)
        try:
            database._on_writer(lambda: database._prepare(found))
        except BaseException:
            database.close()
            raise
    except (DBAPIError, sqlite3.Error, CommandError, OSError) as error:
        raise _unreadable(path, error) from error
    return database


def look_into_database(url: str) -> Database:
    """Open a file that is there, of this release, to read in it: nothing is made and nothing migrated.

    Raises `DatabaseFromTheFuture`, `DatabaseUnreadable`.
    """
    path = _path(url)
    expected = ScriptDirectory.from_config(_config()).get_current_head()
    try:
        found = _look(path)
    except (sqlite3.Error, OSError) as error:
        raise _unreadable(path, error) from error
    if found is None:
        raise DatabaseUnreadable(
            str(path), "a database of this service", "none", "name the folder that it serves"
        )
    if expected is None or found != expected:
        raise DatabaseUnreadable(
            str(path),
            f"revision {expected}",
            f"revision {found}",
            "start the service of this release on it once",
        )
    return Database(path, expected)


def _path(url: str) -> Path:
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise DatabaseUnreadable(
            url, "an address such as sqlite:///jobs.sqlite", "no address", "correct it"
        ) from error
    shown = parsed.render_as_string(hide_password=True)
    name = parsed.database
    if parsed.get_backend_name() != "sqlite" or parsed.query or not name or name.startswith((":", "file:")):
        raise DatabaseUnreadable(
            shown, "the address of an SQLite file, such as sqlite:///jobs.sqlite", "another kind of address",
            "what is acknowledged must be on disk: name a file",
        )  # fmt: skip
    path = Path(name).resolve()
    if not path.parent.is_dir():
        raise DatabaseUnreadable(
            str(path), "a file in a folder that is there", "no such folder", "make the folder"
        )
    if path.exists() and not path.is_file():
        raise DatabaseUnreadable(str(path), "a file", "something else of that name", _OTHER_PATH)
    return path


def _look(path: Path) -> str | None:
    """The revision of the file, None for a new one, without changing a byte of it."""
    if not path.exists():
        return None
    # Without a log beside it the file is all there is, and "immutable" keeps SQLite from making one. With a log
    # (another process, or a kill) the revision may stand in the log: read both, write neither.
    how = "mode=ro" if Path(f"{path}-wal").exists() else "immutable=1"
    connection = sqlite3.connect(f"{path.as_uri()}?{how}", uri=True, timeout=BUSY_MS / 1000)
    try:
        tables = {
            name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        }
        if not tables:
            return None
        if "alembic_version" not in tables:
            raise DatabaseUnreadable(
                str(path), "a database of this service", f"a database with tables {', '.join(sorted(tables))}",
                _OTHER_PATH,
            )  # fmt: skip
        rows = connection.execute("SELECT version_num FROM alembic_version").fetchall()
    finally:
        connection.close()
    return ", ".join(sorted(str(row[0]) for row in rows)) or None


def _engine(path: Path, mode: str, begin: str, *, pool_size: int, max_overflow: int) -> Engine:
    def connect() -> sqlite3.Connection:
        # isolation_level None: the driver starts no transaction of its own; `_begin` below says which kind.
        connection = sqlite3.connect(
            f"{path.as_uri()}?mode={mode}", uri=True, check_same_thread=False, isolation_level=None
        )
        for pragma in (f"busy_timeout={BUSY_MS}", "synchronous=FULL", "fullfsync=ON", "foreign_keys=ON"):
            connection.execute(f"PRAGMA {pragma}").close()
        return connection

    engine = create_engine(
        "sqlite://", creator=connect, poolclass=QueuePool, pool_size=pool_size, max_overflow=max_overflow
    )

    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    event.listen(engine, "begin", _begin)
    return engine


def _query_only(connection: Any, _record: object) -> None:
    connection.execute("PRAGMA query_only=ON").close()


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    return config


def _is_busy(error: object) -> bool:
    code = getattr(error, "sqlite_errorcode", None)
    return isinstance(code, int) and code & 0xFF == sqlite3.SQLITE_BUSY  # the upper bits say busy with what


def _unreadable(path: Path, error: Exception) -> DatabaseUnreadable:
    cause = getattr(error, "orig", None) or error
    advice = "stop the other program that writes this file" if _is_busy(cause) else _OTHER_PATH
    return DatabaseUnreadable(str(path), "an SQLite database that this user may write", f'"{cause}"', advice)
