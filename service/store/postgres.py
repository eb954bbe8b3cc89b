"""A database on a PostgreSQL server that several services share.

A write reads one moment (REPEATABLE READ) and decides on it; what another wrote since shows as a key that is taken or a
row that was changed, and the write is decided anew. No lock is held while one decides.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from threading import Lock
from typing import Any

from alembic.util import CommandError
from sqlalchemy import URL, Connection, Engine, create_engine, event, text
from sqlalchemy.exc import SQLAlchemyError

from .errors import DatabaseUnreadable

WRITERS = 4
READERS = 16
SCHEMES = ("postgresql", "postgresql+psycopg")
# SQLSTATE: serialization failure, deadlock, unique violation, a lock not had in time.
_TAKEN = "23505"
_LOST = {"40001", "40P01", "55P03", _TAKEN}
_LOCK = 0x7469_7064  # advisory locks of ours: "tipd" as a number, and which
_MIGRATING, _TURN = 1, 2
# What a server that has vanished without a word costs, where the address does not say otherwise (libpq's own names).
_PATIENCE = {
    "connect_timeout": "5", "keepalives_idle": "5", "keepalives_interval": "3", "keepalives_count": "3",
    "tcp_user_timeout": "15000", "application_name": "tipdatum",
}  # fmt: skip
# No lock is waited for without end; a service that was halted in a write is cut off before the others give up. Who only
# reads may take its time.
LOCK_MS, HALTED_MS = 10_000, 8_000
# Acknowledged means on disk; a server that waits for more than its own disk goes on doing so.
_SESSION = (
    "SELECT set_config('lock_timeout', %s, false), set_config('idle_in_transaction_session_timeout', %s, false), "
    "CASE current_setting('synchronous_commit') WHEN 'off' THEN set_config('synchronous_commit', 'on', false) END"
)
_SAYS = (
    ("password authentication failed", "correct user or password"),
    ("no password supplied", "give a password, in the address or in a password file of the user (PGPASSFILE)"),
    ("no pg_hba.conf entry", "let this user in from here (pg_hba.conf)"),
    ("role ", "correct the user, or make the role (createuser)"),
    ("does not exist", "correct the name, or make the database (createdb)"),
    ("permission denied", "give this user the right to create tables in its schema, or make it the owner"),
    ("read-only", "name the server that takes writes"),
    ("invalid connection option", "correct what stands after the ?"),
    ("onnection refused", "start the server, or correct host and port"),
    ("resolve host", "correct the host"),
    ("timeout", "start the server, or correct host and port"),
)  # fmt: skip


class PostgresServer:
    """The database of an address such as "postgresql://tipdatum@host/tipdatum". `DatabaseUnreadable` without driver.

    `backed_up`: the revision of which there is a backup, as whoever starts the service says.
    """

    shared = True
    writers = WRITERS
    errors: tuple[type[Exception], ...] = (SQLAlchemyError, CommandError, OSError)

    def __init__(self, url: URL, backed_up: str | None) -> None:
        shown = URL.create("postgresql", url.username, None, url.host, url.port, url.database)
        self.name = shown.render_as_string()  # nothing of what stands after the ?: a password may
        self._backed_up = backed_up
        self._secrets = [each for each in (url.password, url.query.get("password")) if isinstance(each, str)]
        try:
            import_module("psycopg")  # an extra: the embedded database does without it
        except ImportError as error:
            raise DatabaseUnreadable(
                self.name, "the driver of PostgreSQL", f'"{error}"', "install tipdatum with its extra: tipdatum[fleet]"
            ) from None  # fmt: skip
        self._url = url.set(drivername="postgresql+psycopg")
        self._waiting = Lock()

    def look(self) -> str | None:
        """The revision in the user's schema, None where there is no table yet."""
        engine = self._engine(1, read_only=True)
        try:
            with engine.connect() as connection:
                named = text("SELECT tablename FROM pg_tables WHERE schemaname = current_schema()")
                tables = set(connection.scalars(named))
                if not tables:
                    return None
                if "alembic_version" not in tables:
                    raise DatabaseUnreadable(
                        self.name, "a database of this service", f"a database with tables {', '.join(sorted(tables))}",
                        "name a database of its own",
                    )  # fmt: skip
                rows = connection.scalars(text("SELECT version_num FROM alembic_version")).all()
        finally:
            engine.dispose()
        return ", ".join(sorted(map(str, rows))) or None

    def make(self) -> None:
        """A database is made by whoever administers the server."""

    def writer(self) -> Engine:
        """A connection for each thread that writes, and one to wait for its turn with."""
        return self._engine(WRITERS + 1, read_only=False)

    def reader(self) -> Engine:
        """Few enough for several services on a server of a hundred connections; the rest wait."""
        return self._engine(READERS, read_only=True)

    def prepare(self, writer: Engine) -> None:
        """`DatabaseUnreadable` on a server that does not wait for its disk."""
        with writer.connect() as connection:
            if connection.scalar(text("SHOW fsync")) != "on":
                raise DatabaseUnreadable(
                    self.name, "a server that keeps what it has acknowledged", "fsync off", "set fsync = on"
                )

    def room(self) -> None:
        """The server's disk is watched over with the server."""

    @contextmanager
    def migrating(self, writer: Engine) -> Iterator[Connection]:
        """Under an advisory lock; what another has migrated meanwhile is seen."""
        with writer.connect() as plain:
            connection = plain.execution_options(isolation_level="READ COMMITTED")
            with connection.begin():
                connection.execute(text("SET LOCAL lock_timeout = '10min'"))
                connection.execute(text(f"SELECT pg_advisory_xact_lock({_LOCK}, {_MIGRATING})"))
                yield connection

    def back_up(self, found: str, expected: str) -> None:
        """A dump of a server is its administrator's: refused until told that there is one, of this very revision."""
        if self._backed_up != found:
            raise DatabaseUnreadable(
                self.name, f"a backup before revision {found} becomes {expected}",
                f"backed up: {self._backed_up}" if self._backed_up else "nobody to say that there is one",
                f"back it up (pg_dump), then start with TIPDATUM_DATABASE_BACKED_UP={found}; nothing was changed",
            )  # fmt: skip

    def lost(self, error: Exception, before: Exception | None) -> bool:
        """By the server's own code. A key found taken twice was there to be seen when it was decided anew: a fault."""
        code, said = _said(error)
        return code in _LOST and not (code == _TAKEN and before is not None and _said(before) == (code, said))

    @contextmanager
    def turn(self, writer: Engine) -> Iterator[None]:
        """An advisory lock of the session, had before the transaction begins: its moment comes after the wait."""
        with self._waiting, writer.connect() as plain:
            connection = plain.execution_options(isolation_level="AUTOCOMMIT")
            connection.execute(text(f"SELECT pg_advisory_lock({_LOCK}, {_TURN})"))
            try:
                yield
            finally:
                connection.execute(text(f"SELECT pg_advisory_unlock({_LOCK}, {_TURN})"))

    def failed(self, error: Exception) -> DatabaseUnreadable:
        """What server or driver says, in one line and without a password, and what to do."""
        said = " ".join(str(getattr(error, "orig", None) or error).split())
        for secret in filter(None, self._secrets):
            said = said.replace(secret, "***")
        advice = next((what for words, what in _SAYS if words in said), "see what the server says")
        return DatabaseUnreadable(
            self.name, "a PostgreSQL database that this user may write", f'"{said}"', advice
        )

    def _engine(self, size: int, *, read_only: bool) -> Engine:
        engine = create_engine(
            self._url, pool_size=size, max_overflow=0, pool_timeout=10, hide_parameters=True,
            isolation_level="REPEATABLE READ",  # here, since a connection that had another goes back to this one
            connect_args={name: value for name, value in _PATIENCE.items() if name not in self._url.query},
        )  # fmt: skip

        def ready(connection: Any, _record: object) -> None:
            connection.autocommit = True
            connection.execute(_SESSION, (str(LOCK_MS), str(0 if read_only else HALTED_MS)))
            connection.autocommit = False
            connection.read_only = read_only

        event.listen(engine, "connect", ready)
        return engine


def _said(error: Exception) -> tuple[str | None, str]:
    cause = getattr(error, "orig", None)
    return getattr(cause, "sqlstate", None), str(cause)
