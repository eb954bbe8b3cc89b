"""A fresh database and a clock that needs no waiting."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from service.store import Database, open_database
from tests.service.postgres import own_schema


class Clock:
    """Each call is 1.000 001 s after the one before."""

    def __init__(self) -> None:
        self.time = datetime(2026, 5, 4, 7, 31, 12, 250, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.time += timedelta(seconds=1, microseconds=1)
        return self.time


@pytest.fixture
def now() -> Clock:
    return Clock()


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "jobs.sqlite"


@pytest.fixture
def address(store_kind: str, request: pytest.FixtureRequest) -> str:
    """Of a fresh database of the kind under test."""
    if store_kind == "postgresql":
        return own_schema(request.getfixturevalue("own_postgres"))
    return f"sqlite:///{request.getfixturevalue('file')}"


@pytest.fixture
def database(address: str) -> Iterator[Database]:
    with open_database(address) as opened:
        yield opened
