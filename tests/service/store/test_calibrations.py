"""Calibrations on record: as given, once rolled back; and the migration that made room for them keeps every revision."""

import sqlite3
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from sqlalchemy import create_engine
from sqlalchemy.exc import IntegrityError

from service.store import Database, NotStorable, StoredCalibration, calibrations, open_database, profiles
from service.store.database import _config

from .conftest import Clock

ON_EVERY_DATABASE = True
DOCUMENT = {"asked": {"unknowns": ["boom.zero"]}, "answer": {"rms": 0.1 + 0.2, "name": "Schnüre 1½"}}


def put(database: Database, now: Clock, name: str, **more: Any) -> StoredCalibration:
    fields: dict[str, Any] = {
        "machine_id": "our-digger", "machine": ("m1", "m2"), "attachment_id": "our-bucket", "attachment": ("a1", "a1"),
        "document": DOCUMENT, "actor": "bea", "recorded_utc": now(),
    } | more  # fmt: skip
    return database.write(lambda session: calibrations.put_calibration(session, name, **fields))


def test_one_comes_back_as_given(database: Database, now: Clock) -> None:
    made = put(database, now, "c1", idempotency_key="k", request_hash="h")
    assert made.document == DOCUMENT
    assert (made.machine, made.attachment, made.ordinal) == (("m1", "m2"), ("a1", "a1"), 1)
    assert database.read(lambda s: calibrations.get_calibration(s, "c1")) == made
    assert database.read(lambda s: calibrations.by_key(s, "k")) == made
    assert database.read(lambda s: calibrations.get_calibration(s, "c2")) is None
    assert database.read(lambda s: calibrations.rolled_back_by(s, "c1")) is None


def test_it_is_rolled_back_once(database: Database, now: Clock) -> None:
    put(database, now, "c1")
    back = put(database, now, "c2", rolls_back="c1")
    assert database.read(lambda s: calibrations.rolled_back_by(s, "c1")) == back
    for more in ({"rolls_back": "c1"}, {"rolls_back": "nothing"}):
        with pytest.raises(IntegrityError):
            put(database, now, "c3", **more)
    listed = database.read(lambda s: calibrations.list_calibrations(s, None, 10))
    assert [each.id for each in listed] == ["c2", "c1"]
    assert [each.id for each in database.read(lambda s: calibrations.list_calibrations(s, 2, 10))] == ["c1"]


def test_a_key_stands_for_one(database: Database, now: Clock) -> None:
    put(database, now, "c1", idempotency_key="k", request_hash="h")
    with pytest.raises(IntegrityError):
        put(database, now, "c2", idempotency_key="k", request_hash="h")


def test_what_cannot_be_read_back_is_refused(database: Database, now: Clock) -> None:
    for more in ({"actor": ""}, {"document": {"x": float("nan")}}, {"machine": ("m1", "\x00")}):
        with pytest.raises(NotStorable):
            put(database, now, "c1", **more)
    assert database.read(lambda s: calibrations.list_calibrations(s, None, 10)) == []


def test_older_files_keep_their_revisions(file: Path) -> None:
    """A database as the release before wrote it: its rows are carried over, to the letter."""
    engine = create_engine(f"sqlite:///{file}")
    with engine.begin() as connection:
        config = _config()
        config.attributes["connection"] = connection
        command.upgrade(config, "0002")
        rows = [
            ("machine", "h1", "our-digger", "{}", "# ½\r\n", "shipped", "2026-05-04T07:31:12.000250Z", 1, None),
            ("attachment", "h1", "our-bucket", "{}", "x", "uploaded", "2026-05-04T07:31:13.000250Z", 2, "bea"),
        ]  # fmt: skip
        for row in rows:
            connection.exec_driver_sql("INSERT INTO profile_revision VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
    engine.dispose()
    with open_database(f"sqlite:///{file}") as database:
        found = database.read(lambda s: profiles.current_revision(s, "machine", "our-digger"))
        assert found is not None
        assert found.source_text == "# ½\r\n"
        database.write(lambda s: profiles.put_revision(
            s, "machine", "h2", "our-digger", "{}", "x", "calibrated", found.recorded_utc, "bea"))  # fmt: skip
    raw = sqlite3.connect(file)
    try:
        assert raw.execute("SELECT * FROM profile_revision ORDER BY ordinal").fetchall()[:2] == rows
        assert raw.execute("SELECT name FROM sqlite_master WHERE name LIKE '%before'").fetchall() == []
    finally:
        raw.close()
