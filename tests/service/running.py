"""A real service in a process of its own, for tests that stand outside it."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

COMMAND = (sys.executable, "-m", "service.cli")


@contextmanager
def service(data: Path, *words: str) -> Iterator[str]:
    """Serve `data` on a free port, with further words of the command; yields the address."""
    command = [*COMMAND, "serve", "--data", str(data), "--port", "0", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            addresses = [word for word in line.split() if word.startswith(("http://", "https://"))]
            assert addresses, line
            yield addresses[0]
        finally:
            process.terminate()
            process.wait(timeout=30)
