"""A PostgreSQL server for tests, by the programs that are installed: it may be stopped, and wants a password."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

import pytest

from kinematics.errors import Refused
from service.rehearsal.cluster import Cluster
from service.rehearsal.programs import postgresql

PASSWORD = "gravel and 5% sand"  # noqa: S105  # with what an address has to spell otherwise
SPELLED = "gravel%20and%205%25%20sand"

__all__ = ["PASSWORD", "SPELLED", "Cluster", "own_cluster"]


@contextmanager
def own_cluster() -> Iterator[Cluster]:
    """A server that runs, and is gone at the end; skips, or fails where everything is wanted, without its programs.

    Not under pytest's folders, which are closed to others.
    """
    programs = postgresql()
    if programs is None:
        _without("needs the programs of a PostgreSQL server: initdb, pg_ctl")
    with tempfile.TemporaryDirectory(prefix="tipdatum-server-") as folder:
        try:
            cluster = Cluster(Path(folder), programs, PASSWORD)
        except Refused as refused:
            if refused.code != "not-installed":
                raise
            _without(str(refused))
        cluster.start()
        try:
            yield cluster
        finally:
            cluster.stop()


def _without(reason: str) -> NoReturn:
    if os.environ.get("TIPDATUM_TESTS_NEED") == "all":
        pytest.fail(reason)
    pytest.skip(reason)
