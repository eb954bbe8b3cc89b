"""Commands as processes of their own, forked from one that has imported all of it and has its machine code at hand.

Tests start more than a hundred services, and each would take seconds for the same imports. That the command starts from
nothing is for the tests that run it as `running.COMMAND`.
"""

from __future__ import annotations

import atexit
import gc
import json
import os
import select
import signal
import socket
import subprocess
import sys
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import IO

_ROOT = Path(__file__).parents[2]


class Forked:
    """As much of `subprocess.Popen` as tests of a service need; in a `with` its output is closed at the end."""

    def __init__(self, words: list[str]) -> None:
        told, out = os.pipe()
        self._ends, alive = os.pipe()  # the end of file of this pipe is the end of the process
        request = {"words": words, "environment": dict(os.environ), "folder": str(Path.cwd())}
        asking = _origin()
        socket.send_fds(asking, [json.dumps(request).encode() + b"\n"], [out, alive])
        os.close(out)
        os.close(alive)
        self.pid = int(_line(asking))
        self.stdout: IO[str] = os.fdopen(told)

    def __enter__(self) -> Forked:
        return self

    def __exit__(self, *_: object) -> None:
        self.wait()
        self.stdout.close()
        os.close(self._ends)

    def send_signal(self, number: int) -> None:
        """Nothing where it has ended."""
        if not self._ended(0.0):
            # It may end meanwhile, or have done so just now, so that its pipe does not say it yet.
            with suppress(ProcessLookupError):
                os.kill(self.pid, number)

    def terminate(self) -> None:
        self.send_signal(signal.SIGTERM)

    def wait(self, timeout: float | None = None) -> None:
        """Until it has ended; TimeoutExpired after so many seconds."""
        if not self._ended(timeout):
            raise subprocess.TimeoutExpired(str(self.pid), timeout or 0.0)

    def _ended(self, within: float | None) -> bool:
        return bool(select.select([self._ends], [], [], within)[0])


@cache
def _origin() -> socket.socket:
    """The way to the process that forks, one for each process that tests; it ends with this one."""
    ours, its = socket.socketpair()
    with its:
        command = [sys.executable, "-m", "tests.service.forked", str(its.fileno())]
        process = subprocess.Popen(command, pass_fds=[its.fileno()], cwd=_ROOT)

    def ended() -> None:
        ours.close()
        process.wait()

    atexit.register(ended)
    return ours


def _line(asking: socket.socket, begun: bytes = b"") -> str:
    """What is said up to the end of a line; nothing where the other has ended."""
    while not begun.endswith(b"\n"):
        more = asking.recv(65_536)
        if not more:
            return ""
        begun += more
    return begun.decode()


def _fork(asking: socket.socket) -> None:
    """Fork whenever asked to; returns in the new process, as what was asked for, and where nobody asks any more."""
    while True:
        begun, given, _, _ = socket.recv_fds(asking, 65_536, 2)
        text = _line(asking, begun) if begun else ""
        if not text:
            sys.exit()
        pid = os.fork()
        if pid == 0:
            break
        for each in given:
            os.close(each)
        asking.sendall(f"{pid}\n".encode())
    asking.close()
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.dup2(given[0], sys.stdout.fileno())
    os.close(given[0])  # the other stays open for as long as this process lives
    request = json.loads(text)
    os.environ.clear()
    os.environ.update(request["environment"])
    os.chdir(request["folder"])
    sys.argv = ["tipdatum", *request["words"]]


if __name__ == "__main__":
    from service import cli, serving  # noqa: F401 ready for whoever is forked
    from service.api import calibrations, error_budgets
    from service.live.warm import warm_shipped

    for warm in (warm_shipped, error_budgets.warm, calibrations.warm):
        warm()
    gc.collect()
    gc.freeze()  # whoever is forked has it without a copy of its own
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # whoever has ended is nobody's to wait for
    _fork(socket.socket(fileno=int(sys.argv[1])))
    cli.main()
