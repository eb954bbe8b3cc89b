"""A PostgreSQL server that is there: a database of our own on it, a schema of its own for each who asks.

TIPDATUM_TESTS_POSTGRESQL names one by URL; else one of this machine is tried, as `.ci/run` sets it up.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from typing import Any

import pytest

from tests.need import need

_TRIED = ("postgresql:///postgres", "postgresql://postgres@127.0.0.1/postgres")
_NUMBERS = count(1)


def connected(url: str) -> Any:
    """A connection of the driver; whatever is executed in it is committed."""
    return need("psycopg", "psycopg[binary]").connect(url, autocommit=True, connect_timeout=3)


def server() -> str:
    """The address of a server where we may make databases; skips naming it, or fails where everything is wanted."""
    named = os.environ.get("TIPDATUM_TESTS_POSTGRESQL")
    psycopg = need("psycopg", "psycopg[binary]")
    said = []
    for url in (named,) if named else _TRIED:
        try:
            connected(url).close()
        except psycopg.OperationalError as error:
            said.append(" ".join(str(error).split()))
        else:
            return url
    reason = f"needs a PostgreSQL server: {'; '.join(said)}"
    if os.environ.get("TIPDATUM_TESTS_NEED") == "all":
        pytest.fail(reason)
    pytest.skip(reason)


@contextmanager
def own_database(at: str, how: str = "") -> Iterator[str]:
    """The address of a new, empty database, dropped at the end whoever is still in it. `how`: more of its making."""
    name = f"tipdatum_{os.getpid()}_{next(_NUMBERS)}"
    with connected(at) as raw:
        raw.execute(f"CREATE DATABASE {name} TEMPLATE template0 {how}")
    try:
        yield at.rpartition("/")[0] + f"/{name}"
    finally:
        with connected(at) as raw:
            raw.execute(f"DROP DATABASE {name} WITH (FORCE)")


def own_schema(database: str) -> str:
    """The address of a new schema, for `open_database` and the driver alike; it goes with its database."""
    name = f"s{next(_NUMBERS)}"
    with connected(database) as raw:
        raw.execute(f"CREATE SCHEMA {name}")
    return f"{database}?options=-csearch_path%3D{name}"
