"""Digs of classes on record: as given, numbered by class; and the migration that made room for them."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from sqlalchemy import create_engine
from sqlalchemy.exc import IntegrityError

from service.store import Database, NewDig, NotStorable, StoredDig, class_digs, open_database
from service.store.database import _config

from .conftest import Clock

ON_EVERY_DATABASE = True
DIG = NewDig(
    "monday", "Ada", "level-floor", ("our-digger", "m1"), ("our-bucket", "a1"), {"overcut_m": 0.1 + 0.2},
    {"course": {"t_s": [0.0, 0.05]}, "score": {"overcut_m": 0.1 + 0.2}, "title": "Schnüre 1½"},
)  # fmt: skip


def put(database: Database, now: Clock, new: NewDig = DIG, **more: Any) -> StoredDig:
    return database.write(
        lambda session: class_digs.put_dig(session, new, actor="bea", recorded_utc=now(), **more)
    )


def test_one_comes_back_as_given(database: Database, now: Clock) -> None:
    made = put(database, now, idempotency_key="k", request_hash="h")
    assert (made.seq, made.machine, made.attachment) == (1, DIG.machine, DIG.attachment)
    assert made.score == DIG.score
    assert database.read(lambda s: class_digs.get_dig(s, "monday", 1)) == (made, DIG.document)
    assert database.read(lambda s: class_digs.by_key(s, "k")) == made
    assert database.read(lambda s: class_digs.by_key(s, "l")) is None
    assert database.read(lambda s: class_digs.get_dig(s, "monday", 2)) is None
    assert database.read(lambda s: class_digs.get_dig(s, "tuesday", 1)) is None


def test_each_class_has_its_own_numbers(database: Database, now: Clock) -> None:
    order = [
        ("monday", "level-floor"),
        ("tuesday", "level-floor"),
        ("monday", "last-inch"),
        ("monday", "level-floor"),
    ]
    made = [put(database, now, replace(DIG, class_id=name, exercise=what)) for name, what in order]
    assert [each.seq for each in made] == [1, 1, 2, 3]
    assert database.read(class_digs.count_classes) == [("monday", 3), ("tuesday", 1)]

    def listed(exercise: str | None, after: int, limit: int) -> list[int]:
        found = database.read(lambda s: class_digs.list_digs(s, "monday", exercise, after, limit))
        return [each.seq for each in found]

    assert listed(None, 0, 10) == [1, 2, 3]
    assert listed(None, 1, 1) == [2]
    assert listed("level-floor", 0, 10) == [1, 3]
    assert listed("gold-mine", 0, 10) == []


def test_a_key_stands_for_one(database: Database, now: Clock) -> None:
    put(database, now, idempotency_key="k", request_hash="h")
    with pytest.raises(IntegrityError):
        put(database, now, replace(DIG, class_id="tuesday"), idempotency_key="k", request_hash="h")
    assert database.read(class_digs.count_classes) == [("monday", 1)]


def test_what_cannot_be_read_back_is_refused(database: Database, now: Clock) -> None:
    for changed in (
        {"learner": ""}, {"machine": ("m", "\x00")}, {"document": {"x": float("nan")}}, {"score": {"x": float("inf")}},
    ):  # fmt: skip
        with pytest.raises(NotStorable):
            put(database, now, replace(DIG, **changed))
    assert database.read(class_digs.count_classes) == []


def test_older_files_take_them_in(file: Path, now: Clock) -> None:
    """A database as the release before wrote it keeps what it has, and takes a dig."""
    engine = create_engine(f"sqlite:///{file}")
    row = ("machine", "h1", "our-digger", "{}", "# ½\r\n", "shipped", "2026-05-04T07:31:12.000250Z", 1, None)
    with engine.begin() as connection:
        config = _config()
        config.attributes["connection"] = connection
        command.upgrade(config, "0003")
        connection.exec_driver_sql("INSERT INTO profile_revision VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
    engine.dispose()
    with open_database(f"sqlite:///{file}") as database:
        assert put(database, now).seq == 1
        kept = database.read(
            lambda s: s.connection().exec_driver_sql("SELECT * FROM profile_revision").fetchall()
        )
    assert [tuple(each) for each in kept] == [row]
