"""A migration killed at any of its statements, or while it copies the file: the old revision whole, or the new one."""

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any, Protocol

import pytest
from alembic import command
from sqlalchemy import create_engine

from service.store import database as databases
from service.store import open_database
from tests.service.postgres import connected, own_schema

from .data import FILE, folder, inserts, tables_of

ROOT = Path(__file__).parents[3]
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="the kill needs os.fork")
NEW = {"class_dig", "study"}
Tables = dict[str, list[tuple[Any, ...]]]


class Migrator(Protocol):
    """See the fixture."""

    def __call__(self, address: str, at: int, seconds: float = 0.0) -> int: ...


@pytest.fixture(scope="module")
def migrator() -> Iterator[Migrator]:
    """Opens an address in a process that is killed before its statement of a number, or after some seconds; how it
    ended."""
    with subprocess.Popen(
        [sys.executable, "-m", "tests.service.upgrade.migrator"], cwd=ROOT, text=True, stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as process:  # fmt: skip
        assert process.stdin is not None
        assert process.stdout is not None
        asking, told = process.stdin, process.stdout

        def open_killed(address: str, at: int, seconds: float = 0.0) -> int:
            asking.write(f"{address}\t{at}\t{seconds}\n")
            asking.flush()
            return int(told.readline())

        yield open_killed
        asking.close()
        process.wait(timeout=60)


def through(
    migrator: Migrator, address: str, seen: Callable[[], Tables], afresh: Callable[[], None], step: int = 1
) -> tuple[int, set[str]]:
    """Kill it at each statement in turn, or each so many, until one run comes to its end; before which statement none
    was killed any more, and the revisions that the kills left."""
    before, left = seen(), set[str]()
    for at in range(0, 200, step):
        ended = migrator(address, at)
        assert ended in (-signal.SIGKILL, 0)
        left.add(revision := one_or_the_other(before, seen(), f"killed at statement {at}"))
        if ended == 0:
            assert revision != "0003"
            return at, left
        open_database(address, backed_up="0003").close()  # run again
        assert one_or_the_other(before, seen(), f"run again after statement {at}") != "0003"
        afresh()
    raise AssertionError("it never came to its end")


def one_or_the_other(before: Tables, found: Tables, when: str) -> str:
    """The revision that is there, whole, with every row of before."""
    [(revision,)] = found["alembic_version"]
    wanted = before.keys() if revision == "0003" else before.keys() | NEW
    assert found.keys() == wanted, when
    for name in before.keys() - {"alembic_version"}:
        assert found[name] == before[name], f"{name}, {when}"
    return str(revision)


def test_a_file(migrator: Migrator, tmp_path: Path) -> None:
    data = folder(tmp_path / "data")
    kept = {each.name: each.read_bytes() for each in data.iterdir()}

    def seen() -> Tables:
        """Of a copy, so that looking does not tidy up for whoever runs it again."""
        looked = tmp_path / "looked"
        shutil.rmtree(looked, ignore_errors=True)
        shutil.copytree(data, looked)
        with closing(sqlite3.connect(looked / FILE)) as raw:
            assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            return tables_of(raw)

    def afresh() -> None:
        for each in data.iterdir():
            each.unlink()
        for name, content in kept.items():
            (data / name).write_bytes(content)

    address = f"sqlite:///{data / FILE}"
    kills, left = through(migrator, address, seen, afresh)
    assert kills >= 5
    assert "0003" in left
    afresh()
    before, chance = seen(), random.Random(3)  # noqa: S311
    for _ in range(20):  # between statements too, while the copy beside the file is made
        seconds = chance.uniform(0.001, 0.06)
        assert migrator(address, 1000, seconds) in (-signal.SIGALRM, 0)
        one_or_the_other(before, seen(), f"killed after {seconds} s")
        open_database(address).close()
        assert one_or_the_other(before, seen(), "run again") != "0003"
        for copy in data.glob(f"{FILE}.0003-*Z"):
            with closing(sqlite3.connect(copy)) as raw:
                assert tables_of(raw) == before, "a copy that has its name is whole"
        afresh()


@pytest.fixture
def server(own_postgres: str) -> tuple[str, Callable[[], None]]:
    """A schema at revision 0003 with the rows of that release, and how to make it anew."""
    address = own_schema(own_postgres)
    name = address.rpartition("%3D")[2]

    def afresh() -> None:
        with connected(own_postgres) as raw:
            raw.execute(f"DROP SCHEMA {name} CASCADE")
            raw.execute(f"CREATE SCHEMA {name}")
        engine = create_engine(address.replace("postgresql:", "postgresql+psycopg:"))
        with engine.begin() as connection:
            config = databases._config()
            config.attributes["connection"] = connection
            command.upgrade(config, "0003")
            for each in inserts():
                connection.exec_driver_sql(each.replace("%", "%%"))
        engine.dispose()

    afresh()
    return address, afresh


def test_a_server(migrator: Migrator, server: tuple[str, Callable[[], None]]) -> None:
    address, afresh = server

    def seen() -> Tables:
        with connected(address) as raw:
            listed = raw.execute("SELECT tablename FROM pg_tables WHERE schemaname = current_schema()")
            names = [name for (name,) in listed.fetchall()]
            return {name: sorted(raw.execute(f"SELECT * FROM {name}").fetchall(), key=repr) for name in names}  # noqa: S608

    kills, left = through(migrator, address, seen, afresh, 3)
    assert kills >= 5
    assert "0003" in left
