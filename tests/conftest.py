"""Tests run a file a worker (pytest-xdist); what measures ages in real time has the machine for itself meanwhile."""

import fcntl
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def room(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Shared by all tests but those marked `alone`, which wait for the others and keep them out.

    Through a gate, or a worker that goes from test to test would never let one in that waits alone.
    """
    if not hasattr(request.config, "workerinput"):  # no workers: every test is alone
        yield
        return
    shared = tmp_path_factory.getbasetemp().parent  # of all workers
    with (shared / "gate").open("w") as gate, (shared / "room").open("w") as inside:
        fcntl.flock(gate, fcntl.LOCK_EX)
        fcntl.flock(inside, fcntl.LOCK_EX if request.node.get_closest_marker("alone") else fcntl.LOCK_SH)
        fcntl.flock(gate, fcntl.LOCK_UN)
        yield
