"""Where things are kept, for tests that hold on every kind of database."""

from collections.abc import Iterator

import pytest

from .postgres import own_database, server

KINDS = ("sqlite", "postgresql")


@pytest.fixture(scope="session")
def own_postgres() -> Iterator[str]:
    """A database of our own on a PostgreSQL server, for schemas; one for each process that tests."""
    with own_database(server()) as url:
        yield url


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A module with ON_EVERY_DATABASE runs on all of them; others on the embedded one."""
    if "store_kind" in metafunc.fixturenames:
        every = getattr(metafunc.module, "ON_EVERY_DATABASE", False)
        metafunc.parametrize("store_kind", KINDS if every else KINDS[:1], scope="module")
