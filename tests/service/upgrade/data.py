"""The data folder of an earlier release, as it was kept here in text."""

import json
import re
import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any

Json = dict[str, Any]
R0003 = Path(__file__).parent / "r0003"
FILE = "tipdatum.sqlite"


def rows() -> str:
    """The database of revision 0003 as SQL text."""
    return (R0003 / "rows.sql").read_text(encoding="utf-8")


@cache
def answers() -> Json:
    """What was asked of it then, and what that release answered; a token that it let in."""
    found: Json = json.loads((R0003 / "answers.json").read_text(encoding="utf-8"))
    return found


def folder(at: Path) -> Path:
    """A data folder with it."""
    at.mkdir()
    with closing(sqlite3.connect(at / FILE)) as database:
        database.executescript(rows())
        assert database.execute("PRAGMA journal_mode=WAL").fetchone() == ("wal",)  # as a service leaves it
    return at


def inserts() -> list[str]:
    """Its rows, a statement each, in an order in which what is referred to comes first."""
    order = ("profile_revision", "job", "event", "calibration", "access_holder", "access_credential")
    found = re.findall(r'^INSERT INTO "?(\w+)"? (VALUES\(.*?\));$', rows(), re.MULTILINE | re.DOTALL)
    return [f"INSERT INTO {table} {values}" for name in order for table, values in found if table == name]


def tables_of(database: sqlite3.Connection) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table."""
    names = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    return {name: sorted(database.execute(f'SELECT * FROM "{name}"'), key=repr) for name in names}  # noqa: S608
