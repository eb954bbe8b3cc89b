"""What the kinds of database do differently, and nothing else: how they are opened, locked, backed up and told of."""

from contextlib import AbstractContextManager
from typing import Protocol

from sqlalchemy import Connection, Engine

from .errors import DatabaseUnreadable


class Keeping(Protocol):
    """Where the rows lie: a file (`sqlite.py`) or a server (`postgres.py`)."""

    @property
    def name(self) -> str:
        """What it is called in messages; never with a password."""

    @property
    def shared(self) -> bool:
        """Whether other services may write it too, so that nothing read before may be taken for the latest."""

    @property
    def writers(self) -> int:
        """How many threads may write at once."""

    @property
    def errors(self) -> tuple[type[Exception], ...]:
        """What opening and asking it raises where it fails; `failed` puts it into words."""

    def look(self) -> str | None:
        """The revision found, None for one still to be made; changes nothing. `DatabaseUnreadable`."""

    def make(self) -> None:
        """Make what a new database needs before it can be opened."""

    def writer(self) -> Engine:
        """Connections that write; a transaction of theirs sees one moment."""

    def reader(self) -> Engine:
        """Connections that only read; a transaction of theirs sees one moment."""

    def prepare(self, writer: Engine) -> None:
        """See to it that what is committed is on disk. `DatabaseUnreadable` where it would not be."""

    def room(self) -> None:
        """Called when somebody asks how it does: `DiskFull` where there is hardly any room left."""

    def migrating(self, writer: Engine) -> AbstractContextManager[Connection]:
        """A transaction that keeps every other migration of this database waiting."""

    def back_up(self, found: str, expected: str) -> None:
        """Called while migrations are locked: keep the database as it is. `DatabaseUnreadable` where nobody has."""

    def lost(self, error: Exception, before: Exception | None) -> bool:
        """Whether a write undone with this error lost to another one, and may win if it decides anew.

        `before`: with what it was undone the time before.
        """

    def turn(self, writer: Engine) -> AbstractContextManager[None]:
        """Held by writes that lost: one after the other, over all who share the database."""

    def failed(self, error: Exception) -> DatabaseUnreadable:
        """In words what `errors` say."""
