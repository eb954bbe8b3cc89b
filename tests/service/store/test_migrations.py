"""The migrations give the tables of tables.py, on SQLite here and as PostgreSQL would be told."""

import io
import os
import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.operations import Operations
from sqlalchemy import create_engine

from service.store import open_database
from service.store.migrations.versions import r0001_jobs_events_profiles as r0001
from service.store.migrations.versions import r0002_access as r0002
from service.store.migrations.versions import r0003_calibrations as r0003
from service.store.migrations.versions import r0004_class_digs as r0004
from service.store.migrations.versions import r0005_studies as r0005
from service.store.tables import Base
from tests.amounts import several
from tests.service.postgres import connected, own_schema

ROOT = Path(__file__).parents[3]


TABLES = {
    "job", "event", "profile_revision", "access_holder", "access_credential", "calibration", "class_dig",
    "study",
}  # fmt: skip


def statements(file: Path) -> dict[str, list[str]]:
    """Each table's statement as its columns and constraints, order and spacing aside."""
    raw = sqlite3.connect(file)
    rows = raw.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'table' AND name != 'alembic_version'"
    )
    found = {name: sorted(parts(sql)) for name, sql in rows}
    raw.close()
    return found


def parts(sql: str) -> list[str]:
    """What stands between the outer brackets of a CREATE TABLE, apart at its outer commas."""
    found, depth = [""], 0
    for letter in sql[sql.index("(") + 1 : sql.rindex(")")]:
        depth += {"(": 1, ")": -1}.get(letter, 0)
        if letter == "," and depth == 0:
            found.append("")
        else:
            found[-1] += letter
    return [" ".join(part.split()) for part in found]


def test_migrated_equals_mapped(file: Path) -> None:
    open_database(f"sqlite:///{file}").close()
    engine = create_engine(f"sqlite:///{file}")
    with engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "compare_server_default": True}
        )
        assert compare_metadata(context, Base.metadata) == []
    engine.dispose()


def test_check_constraints_too(file: Path, tmp_path: Path) -> None:
    """What Alembic does not compare: the statements themselves, constraint for constraint."""
    open_database(f"sqlite:///{file}").close()
    mapped = tmp_path / "mapped.sqlite"
    engine = create_engine(f"sqlite:///{mapped}")
    Base.metadata.create_all(engine)
    engine.dispose()
    found = statements(file)
    assert set(found) == TABLES
    assert any("CHECK (kind IN" in part for part in found["profile_revision"])
    assert found == statements(mapped)


def test_postgresql_is_told_the_same() -> None:
    """Offline, so that it is seen where there is no server too."""
    told = io.StringIO()
    context = MigrationContext.configure(
        dialect_name="postgresql", opts={"as_sql": True, "output_buffer": told}
    )
    with Operations.context(context):
        r0001.upgrade()
        r0002.upgrade()
        r0003.upgrade()
        r0004.upgrade()
        r0005.upgrade()
    assert set(re.findall(r"CREATE TABLE (\w+)", told.getvalue())) == TABLES
    assert "SERIAL" not in told.getvalue()  # no number is handed out by the database


def constraints(database: str, schema: str) -> set[tuple[str, ...]]:
    """Columns with type, nullability and order of letters, and constraints, of a schema."""
    with connected(database) as raw:
        columns = raw.execute(
            "SELECT table_name, column_name, data_type, is_nullable, collation_name FROM information_schema.columns "
            "WHERE table_schema = %s AND table_name != 'alembic_version'", (schema,)
        ).fetchall()  # fmt: skip
        kept = raw.execute(
            "SELECT conrelid::regclass::text, conname, replace(pg_get_constraintdef(oid), %s || '.', '') "
            "FROM pg_constraint WHERE connamespace = %s::regnamespace", (schema, schema)
        ).fetchall()  # fmt: skip
    bare = [(table.removeprefix(f"{schema}."), *more) for table, *more in kept]
    return {*columns, *(each for each in bare if each[0] != "alembic_version")}


def test_a_server_has_the_tables_that_are_mapped(own_postgres: str) -> None:
    migrated, mapped = own_schema(own_postgres), own_schema(own_postgres)
    open_database(migrated).close()
    engine = create_engine(mapped.replace("postgresql:", "postgresql+psycopg:"))
    Base.metadata.create_all(engine)
    engine.dispose()
    found, wanted = (constraints(own_postgres, each.rpartition("%3D")[2]) for each in (migrated, mapped))
    assert found == wanted
    assert {each[0] for each in found} == TABLES
    assert {each[4] for each in found if len(each) == 5 and each[2] == "text"} == {"C"}


def test_neither_logging_nor_the_working_directory(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stray alembic.ini and migrations folder where the service happens to be started."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "alembic.ini").write_text("[alembic]\nscript_location = nowhere\n")
    (tmp_path / "migrations").mkdir()
    script = (
        "import logging; from service.store import open_database\n"
        f"open_database('sqlite:///{file}').close()\n"
        "root, alembic = logging.getLogger(), logging.getLogger('alembic')\n"
        "print(root.handlers, root.level, alembic.level, alembic.disabled, alembic.propagate)\n"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", script],
        env={"PYTHONPATH": str(ROOT)}, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.stdout, done.stderr, done.returncode) == ("[] 30 0 False True\n", "", 0)


# Forked, so that three processes reach the same instruction within microseconds of each other.
AT_ONCE = """
import os, sys, time
from service.store import open_database

for number in range(int(sys.argv[2])):
    start, crew = time.monotonic() + 0.005, []
    for _ in range(3):
        crew.append(os.fork())
        if crew[-1] == 0:
            while time.monotonic() < start:
                pass
            open_database(f"sqlite:///{sys.argv[1]}/{number}.sqlite").close()
            os._exit(0)
    assert [os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) for pid in crew] == [0, 0, 0]
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs os.fork")
def test_processes_may_open_a_new_file_at_once(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", AT_ONCE, str(tmp_path), str(several(40))],
        env={"PYTHONPATH": str(ROOT)}, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.stdout, done.stderr, done.returncode) == ("", "", 0)
    for number in range(several(40)):
        assert set(statements(tmp_path / f"{number}.sqlite")) == TABLES
