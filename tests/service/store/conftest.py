"""A fresh database and a clock that needs no waiting."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from service.store import Database, open_database


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
def database(file: Path) -> Iterator[Database]:
    with open_database(f"sqlite:///{file}") as opened:
        yield opened
