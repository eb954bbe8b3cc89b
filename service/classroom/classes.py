"""Classes: simulated digs recorded for good, each with the revisions it was dug with and its score of then."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from kinematics.errors import Fault, Refused
from service.book.keyed import Key, repeated
from service.store import Database, NewDig, StoredDig, class_digs


class Classes:
    """The classes in a database. A class is the name that its digs have in common: it is there with its first."""

    def __init__(self, database: Database, now: Callable[[], datetime]) -> None:
        self._database, self._now = database, now

    def repeated(self, key: Key) -> StoredDig | None:
        """What the same request recorded before, None for nothing. `Refused` "idempotency-conflict" for another one."""
        return self._database.read(lambda session: _repeated(session, key))

    def record(self, new: NewDig, actor: str, key: Key) -> StoredDig:
        """Record one; sent again with its key, the same one is answered. `Refused` as `repeated`."""

        def work(session: Session) -> StoredDig:
            return _repeated(session, key) or class_digs.put_dig(
                session, new, actor=actor, recorded_utc=self._now(), idempotency_key=key.key,
                request_hash=None if key.key is None else key.request_hash,
            )  # fmt: skip

        return self._database.write(work)

    def get(self, class_id: str, seq: int) -> tuple[StoredDig, Mapping[str, Any]]:
        """One of a class with its document. `Refused` "unknown-dig"."""
        found = self._database.read(lambda session: class_digs.get_dig(session, class_id, seq))
        if found is None:
            raise Refused([
                Fault("unknown-dig", "", f"dig {seq} of class {class_id[:60]!r}", "a dig on record",
                      f"GET /v1/classes/{class_id[:60]}/digs lists them")
            ])  # fmt: skip
        return found

    def digs(self, class_id: str, exercise: str | None, after: int, limit: int) -> list[StoredDig]:
        """Those of a class in the order recorded."""
        return self._database.read(
            lambda session: class_digs.list_digs(session, class_id, exercise, after, limit)
        )

    def names(self) -> list[tuple[str, int]]:
        """(class, number of its digs), by name."""
        return self._database.read(class_digs.count_classes)


def _repeated(session: Session, key: Key) -> StoredDig | None:
    return repeated(
        session, key, class_digs.by_key, lambda found: f"dig {found.seq} of class {found.class_id}"
    )
