"""A Mosquitto of our own, by the program that is installed: it may be stopped, and may want passwords."""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

UP_WITHIN_S = 20.0
_LASTING = ("persistence true", "autosave_on_changes true", "autosave_interval 1")


def program(name: str = "mosquitto") -> str:
    """The path of one of its programs; skips, or fails where everything is wanted."""
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin:/opt/homebrew/sbin")
    if found is None:
        reason = f"needs the program {name} (Debian: mosquitto)"
        if os.environ.get("TIPDATUM_TESTS_NEED") == "all":
            pytest.fail(reason)
        pytest.skip(reason)
    return found


class Broker:
    """A broker in a folder of its own, at a free port of this machine."""

    def __init__(
        self, folder: Path, users: Mapping[str, str] | None = None, acl: str = "", more: Sequence[str] = (), *,
        lasting: bool = False,
    ) -> None:  # fmt: skip
        """`users`: passwords by name, else it lets everybody in. `acl`: its access control file; `more` settings.
        `lasting`: what is retained it keeps on disk, each change at once."""
        self._program = program()
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        lines = [
            f"listener {self.port} 127.0.0.1",
            *more,
            *(_LASTING if lasting else ("persistence false",)),
            *((f"persistence_location {folder}/",) if lasting else ()),
            f"log_dest file {folder / 'log'}",
        ]
        if users is None:
            lines.append("allow_anonymous true")
        else:
            secrets = folder / "passwords"
            secrets.touch(mode=0o600)
            for name, password in users.items():
                subprocess.run([program("mosquitto_passwd"), "-b", str(secrets), name, password], check=True)
            lines += ["allow_anonymous false", f"password_file {secrets}"]
        if acl:
            (folder / "acl").write_text(acl)
            lines.append(f"acl_file {folder / 'acl'}")
        if os.geteuid() == 0:  # it would become somebody who cannot read the folder
            lines.append("user root")
        self._config = folder / "mosquitto.conf"
        self._config.write_text("\n".join([*lines, ""]))
        self._process: subprocess.Popen[bytes] | None = None

    def url(self, user: str = "", password: str = "", prefix: str = "") -> str:
        """An address on it."""
        who = f"{user}:{password}@" if user else ""
        return f"mqtt://{who}127.0.0.1:{self.port}{f'/{prefix}' if prefix else ''}"

    def start(self) -> None:
        """Until it answers."""
        self._process = subprocess.Popen([self._program, "-c", str(self._config)], stderr=subprocess.DEVNULL)
        until = time.monotonic() + UP_WITHIN_S
        while True:
            assert self._process.poll() is None, (self._config.parent / "log").read_text()
            try:
                socket.create_connection(("127.0.0.1", self.port), 1.0).close()
            except ConnectionRefusedError:
                assert time.monotonic() < until, "the broker did not start"
                time.sleep(0.02)
            else:
                return

    def stop(self, how: signal.Signals = signal.SIGKILL) -> None:
        """With whoever is connected; what was retained is gone, unless it is `lasting`."""
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(10)
            self._process = None


@contextmanager
def own_broker(
    users: Mapping[str, str] | None = None, acl: str = "", more: Sequence[str] = (), *, lasting: bool = False
) -> Iterator[Broker]:  # fmt: skip
    """A broker that runs, and is gone at the end."""
    with tempfile.TemporaryDirectory(prefix="tipdatum-broker-") as folder:
        broker = Broker(Path(folder), users, acl, more, lasting=lasting)
        broker.start()
        try:
            yield broker
        finally:
            broker.stop()
