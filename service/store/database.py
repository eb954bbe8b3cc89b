"""The database: writers on threads of their own, readers on theirs, and what is checked before either starts.

Acknowledged means on disk: `Database.write` returns after a commit that waited for it. What SQLite and PostgreSQL do
differently stands in `sqlite.py` and `postgres.py`.
"""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from itertools import count
from pathlib import Path
from threading import local
from time import monotonic
from types import TracebackType
from typing import Self, TypeVar

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.orm import Session

from .errors import (
    DatabaseClosed,
    DatabaseFromTheFuture,
    DatabaseUnreadable,
    WriteContended,
    WriteInDoubt,
)
from .keeping import Keeping
from .postgres import SCHEMES, PostgresServer
from .sqlite import SqliteFile

T = TypeVar("T")
# Writes that lost go on one at a time: this many means that others, who have not lost yet, win without end.
MOST_TRIES, MOST_S = 20, 20.0
_MIGRATIONS = Path(__file__).parent / "migrations"


class Database:
    """An open database. `open_database` makes one; `close` it, or use it in a with statement."""

    def __init__(self, keeping: Keeping, revisions: "Revisions") -> None:
        self.name, self.shared = keeping.name, keeping.shared
        self._keeping = keeping
        self._revisions = revisions
        self._closed = False
        self._writer_engine = keeping.writer()
        self._reader_engine = keeping.reader()
        self._here = local()
        self._writer = ThreadPoolExecutor(
            max_workers=keeping.writers, thread_name_prefix="store-writer", initializer=self._mark
        )

    def write(self, work: Callable[[Session], T]) -> T:
        """Run `work` in one transaction on a writer's thread; returns its result once that is on disk.

        Whatever `work` or the commit raises undoes all of it and is raised here. Where services share the database,
        `work` runs again when another wrote what it had read or wanted to write: it decides anew, on what is there by
        then. Call it from a thread of a pool: on an event loop, or inside another write, it would wait for itself and
        raises RuntimeError. `DatabaseClosed` after `close`, `WriteContended` where others won again and again,
        `WriteInDoubt` where the connection was lost at the commit.
        """
        self._refuse_to_wait_here()
        return self._on_writer(lambda: self._committed(work))

    def read(self, work: Callable[[Session], T]) -> T:
        """Run `work` on this thread over one unchanging view of the database; a write in it is refused."""
        if self._closed:
            raise DatabaseClosed(self.name)
        try:
            return self._looked(work)
        except DBAPIError as error:
            if not (self.shared and error.connection_invalidated):
                raise
        return self._looked(work)  # the server was away and may be back

    def check(self) -> None:
        """Return if reading and writing work; for health.

        Raises `DatabaseUnreadable`, `DatabaseClosed`, `DiskFull`. It waits for the writes that came before it.
        """
        try:
            self._keeping.room()
            found = self.read(lambda session: session.scalar(text("SELECT version_num FROM alembic_version")))
            self._on_writer(lambda: self._patient(self._begin_and_undo))
        except self._keeping.errors as error:
            raise self._keeping.failed(error) from error
        if found != self._revisions.latest:
            raise DatabaseUnreadable(
                self.name, f"revision {self._revisions.latest}", f"{found}", "start the service again"
            )

    def close(self) -> None:
        """Finish the writes already handed over, then close. Closing twice is harmless."""
        self._closed = True
        self._writer.shutdown(wait=True)
        self._reader_engine.dispose()
        self._writer_engine.dispose()  # last: with SQLite it folds the write-ahead log into the file

    def __enter__(self) -> Self:
        """The open database itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def _prepare(self, found: str | None) -> None:
        """Migrate. Runs on a writer's thread, after `look` found nothing against it."""
        self._keeping.prepare(self._writer_engine)
        if found == self._revisions.latest:
            self._begin_and_undo()  # what may only be read is found now, not at the first touch
            return
        # One transaction: a kill half-way leaves the revision before; a second process waits, then finds it done.
        with self._keeping.migrating(self._writer_engine) as connection:
            here = ", ".join(sorted(MigrationContext.configure(connection).get_current_heads())) or None
            self._revisions.refuse_unknown(self.name, here)
            if here == self._revisions.latest:
                return
            if here is not None:
                self._keeping.back_up(here, self._revisions.latest)
            config = _config()
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def _committed(self, work: Callable[[Session], T]) -> T:
        lost, before, end = False, None, monotonic() + MOST_S
        for attempt in count(1):
            try:
                with self._keeping.turn(self._writer_engine) if lost else nullcontext():
                    return self._once(work)
            except DBAPIError as error:
                lost, before = self._keeping.lost(error, before), error
                if lost and (attempt >= MOST_TRIES or monotonic() > end):
                    raise WriteContended(self.name, attempt) from error
                # Before the commit a lost connection has undone all: once more, on a new one.
                away = attempt == 1 and error.connection_invalidated
                if not self.shared or not (lost or away):
                    raise
        raise AssertionError

    def _once(self, work: Callable[[Session], T]) -> T:
        with Session(self._writer_engine, expire_on_commit=False) as session:
            done = work(session)
            session.flush()
            try:
                session.commit()
            except DBAPIError as error:
                if error.connection_invalidated:
                    raise WriteInDoubt(self.name) from error
                raise
            return done

    def _looked(self, work: Callable[[Session], T]) -> T:
        with Session(self._reader_engine, expire_on_commit=False) as session:
            return work(session)

    def _patient(self, work: Callable[[], None]) -> None:
        try:
            work()
        except DBAPIError as error:
            if not (self.shared and error.connection_invalidated):
                raise
            work()

    def _begin_and_undo(self) -> None:
        # BEGIN IMMEDIATE alone succeeds on a file that may only be read; a write, even of no row, does not.
        with self._writer_engine.connect() as connection, connection.begin() as transaction:
            connection.execute(text("UPDATE alembic_version SET version_num = version_num WHERE 1 = 0"))
            transaction.rollback()

    def _on_writer(self, work: Callable[[], T]) -> T:
        try:
            future = self._writer.submit(work)
        except RuntimeError as error:  # shut down: by `close`, or with the interpreter
            raise DatabaseClosed(self.name) from error
        return future.result()

    def _mark(self) -> None:
        self._here.writes = True

    def _refuse_to_wait_here(self) -> None:
        if getattr(self._here, "writes", False):
            raise RuntimeError("expected a write from outside, found one inside another write")
        try:
            asyncio.get_running_loop()
        except RuntimeError:
            return
        raise RuntimeError("expected a write from a thread of a pool, found one on an event loop")


class Revisions:
    """The revisions that this release knows. RuntimeError where the package has none."""

    def __init__(self) -> None:
        script = ScriptDirectory.from_config(_config())
        latest = script.get_current_head()
        if latest is None:
            raise RuntimeError("expected migrations in the package, found none; install it again")
        self.latest = latest
        self._known = {revision.revision for revision in script.walk_revisions()}

    def refuse_unknown(self, name: str, found: str | None) -> None:
        """Raise `DatabaseFromTheFuture` for a revision that a later release wrote."""
        if found is not None and found not in self._known:
            raise DatabaseFromTheFuture(name, self.latest, found)


def open_database(url: str, *, backed_up: str | None = None) -> Database:
    """Open the database of `url` ("sqlite:////data/jobs.sqlite", "postgresql://tipdatum@host/tipdatum"), make or
    migrate its tables as needed.

    Before it migrates, a file is copied; of a server, `backed_up` says which revision was. Raises
    `DatabaseFromTheFuture` with nothing changed, and `DatabaseUnreadable`.
    """
    keeping = _keeping(url, backed_up)
    revisions = Revisions()
    try:
        found = keeping.look()
        revisions.refuse_unknown(keeping.name, found)
        if found is None:
            keeping.make()
        database = Database(keeping, revisions)
        try:
            database._on_writer(lambda: database._prepare(found))
        except BaseException:
            database.close()
            raise
    except keeping.errors as error:
        raise keeping.failed(error) from error
    return database


def look_into_database(url: str) -> Database:
    """Open a database that is there, of this release, to read in it: nothing is made and nothing migrated.

    Raises `DatabaseFromTheFuture`, `DatabaseUnreadable`.
    """
    keeping = _keeping(url, None)
    revisions = Revisions()
    try:
        found = keeping.look()
    except keeping.errors as error:
        raise keeping.failed(error) from error
    if found is None:
        raise DatabaseUnreadable(
            keeping.name, "a database of this service", "none", "name the one that it serves"
        )
    revisions.refuse_unknown(keeping.name, found)
    if found != revisions.latest:
        raise DatabaseUnreadable(
            keeping.name,
            f"revision {revisions.latest}",
            f"revision {found}",
            "start the service of this release on it once",
        )
    return Database(keeping, revisions)


def _keeping(url: str, backed_up: str | None) -> Keeping:
    try:
        parsed = make_url(url)
    except (ArgumentError, ValueError):  # the latter for a port that is no number
        raise DatabaseUnreadable(  # what it is may have a password in it
            "the address of the database", "one such as sqlite:///jobs.sqlite or postgresql://user@host/name",
            "no address", "correct it",
        ) from None  # fmt: skip
    if parsed.drivername == "sqlite":
        return SqliteFile(parsed)
    if parsed.drivername in SCHEMES:
        return PostgresServer(parsed, backed_up)
    raise DatabaseUnreadable(
        f"{parsed.drivername}://...", "the address of an SQLite file or a PostgreSQL database", "another kind of address",
        "name one such as sqlite:///jobs.sqlite or postgresql://user@host/name",
    )  # fmt: skip


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    return config
