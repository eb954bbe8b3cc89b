"""A service in a process of its own over a shared database, to be stopped or killed."""

import os
import subprocess
from pathlib import Path
from typing import Any

import httpx

from .running import COMMAND

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0


class Replica:
    """A service in a process of its own; what it says is kept in a file."""

    def __init__(self, url: str, said: Path, *words: str, **settings: str) -> None:
        """`words`: more of its command; `settings`: more of its environment, by name."""
        self._said = said
        environment = {name: value for name, value in os.environ.items() if not name.startswith("TIPDATUM_")}
        environment |= {"TIPDATUM_DATABASE": url, "PYTHONPATH": str(ROOT)} | settings
        with said.open("w") as err:
            self.process = subprocess.Popen(
                [*COMMAND, "serve", "--port", "0", *words], stdout=subprocess.PIPE, stderr=err, text=True,
                env=environment, cwd=said.parent,
            )  # fmt: skip

    def ready(self) -> None:
        """Once it has said where it is."""
        assert self.process.stdout is not None
        self.line = self.process.stdout.readline()
        [address] = [word for word in self.line.split() if word.startswith("http://")]
        self.port = int(address.rpartition(":")[2])
        self.http = httpx.Client(base_url=address, timeout=PATIENCE_S, trust_env=False)

    def said(self) -> str:
        """All it has said so far."""
        return self.line + self._said.read_text()

    def post(self, path: str, body: object, status: int = 201, **headers: str) -> Any:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        answer = self.http.post(path, json=body, headers=named)
        assert answer.status_code == status, answer.text
        return answer.json()

    def get(self, path: str, status: int = 200) -> Any:
        answer = self.http.get(path)
        assert answer.status_code == status, answer.text
        return answer.json()

    def stop(self) -> None:
        """Until it has ended."""
        self.process.terminate()
        self.process.wait(30)
        assert self.process.stdout is not None
        self.process.stdout.close()
        if hasattr(self, "http"):
            self.http.close()
