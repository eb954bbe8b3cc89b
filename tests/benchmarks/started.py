"""A process of servers for a benchmark: its ports or a sentence in bounded time, and its end in any case."""

import json
import select
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection

# From a cold start, with formulas to compile, on a machine several times as slow as a usual one.
READY_WITHIN_S = 120.0
ENDED_WITHIN_S = 10.0


class BenchmarkFailed(Exception):
    """A part that cannot give its numbers: what was expected and what was found, in a sentence."""


@contextmanager
def started(module: str, *arguments: str) -> Iterator[list[int]]:
    """Run `python -m module`, which prints its ports as one line of JSON, until all answer.

    Raises `BenchmarkFailed` where they do not in time.
    """
    process = subprocess.Popen([sys.executable, "-m", module, *arguments], stdout=subprocess.PIPE, text=True)
    try:
        ports = _ports(process, module)
        for port in ports:
            _answers(port, module)
        yield ports
    finally:
        process.terminate()
        try:
            process.wait(ENDED_WITHIN_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(ENDED_WITHIN_S)
        assert process.stdout is not None
        process.stdout.close()


def _ports(process: subprocess.Popen[str], module: str) -> list[int]:
    assert process.stdout is not None
    ready, _, _ = select.select([process.stdout], [], [], READY_WITHIN_S)
    line = process.stdout.readline() if ready else None
    if not line:
        found = f"none in {READY_WITHIN_S:g} s" if line is None else "it ended; what it wrote stands above"
        raise BenchmarkFailed(f"expected the ports of {module}, found {found}")
    ports: list[int] = json.loads(line)
    return ports


def _answers(port: int, module: str) -> None:
    connection = HTTPConnection("127.0.0.1", port, timeout=READY_WITHIN_S)
    try:
        connection.request("GET", "/")  # any answer will do
        connection.getresponse().read()
    except OSError as error:
        raise BenchmarkFailed(
            f"expected {module} to answer within {READY_WITHIN_S:g} s, found: {error}"
        ) from None
    finally:
        connection.close()
