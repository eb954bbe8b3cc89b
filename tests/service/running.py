"""A real service in a process of its own, for tests that stand outside it."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from .forked import Forked

COMMAND = (sys.executable, "-m", "service.cli")


def started(*words: str) -> subprocess.Popen[str] | Forked:
    """The command as a process of its own; its output is a pipe."""
    if hasattr(os, "fork"):
        return Forked(list(words))
    return subprocess.Popen([*COMMAND, *words], stdout=subprocess.PIPE, text=True)


@contextmanager
def service(data: Path, *words: str) -> Iterator[str]:
    """Serve `data` on a free port, with further words of the command; yields the address."""
    with started("serve", "--data", str(data), "--port", "0", *words) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            addresses = [word for word in line.split() if word.startswith(("http://", "https://"))]
            assert addresses, line
            yield addresses[0]
        finally:
            process.terminate()
            process.wait(timeout=30)


class Restarted:
    """A service that is stopped, and started again at the same address."""

    def __init__(self, data: Path) -> None:
        self._data = data
        self.port = "0"
        self.start()

    def start(self) -> None:
        """On the port that it had before, if it had one."""
        self.process = started("serve", "--data", str(self._data), "--port", self.port)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        [self.address] = [word for word in line.split() if word.startswith("http://")]
        self.port = self.address.rpartition(":")[2]

    def stop(self) -> None:
        """Until it has ended."""
        with self.process:
            self.process.terminate()
            self.process.wait(30)
