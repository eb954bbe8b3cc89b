"""The names of topics, and what both sides of them hold to. See /guide/broker."""

import re
from dataclasses import dataclass

VERSION = 1
WINDOW = 1600
"""So many frames of a feeder at most may be under way beyond the last that was told as taken.

Of a hundred a second what a keeper holds back, and 4 s more.
"""
HERE_EVERY_S = 5.0
"""So often a feeder says that it is there."""
MOST_BYTES = 65_536
"""Of one payload that a feeder sends."""
KEEP_ALIVE_S = 5
"""Of a service's connection: one that is halted is gone for the broker after half as much again."""

FEEDER = r"[a-z0-9-]{1,40}"
STREAM = r"[0-9a-f]{4,32}"
_JOB = r"[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?"
_SERVICE = r"[0-9a-f]{8}"
_OF_JOB = re.compile(rf"jobs/({_JOB})/(?:(here|readings|told)/({FEEDER})|(keeper|readout))")
_OF_SERVICE = re.compile(rf"services/({_SERVICE})(?:/(here|asked|answers))?")


@dataclass(frozen=True, slots=True)
class Place:
    """What a topic is.

    `what`: here, readings, told, keeper or readout of a job; service, here, asked or answers of a service.
    """

    what: str
    job: str = ""
    feeder: str = ""
    service: str = ""


class Topics:
    """Every topic of one installation, below `prefix` where there is one: "tipdatum/1/jobs/pump-house/here/cab"."""

    def __init__(self, prefix: str = "") -> None:
        self.root = f"{prefix}/tipdatum/{VERSION}" if prefix else f"tipdatum/{VERSION}"
        self._start = len(self.root) + 1

    def here(self, job: str, feeder: str) -> str:
        """Where a feeder says that it is there: one of the services hears it."""
        return f"{self.root}/jobs/{job}/here/{feeder}"

    def readings(self, job: str, feeder: str = "+") -> str:
        """A feeder's frames; of every feeder where none is named."""
        return f"{self.root}/jobs/{job}/readings/{feeder}"

    def told(self, job: str, feeder: str = "+") -> str:
        """What a feeder is asked and told."""
        return f"{self.root}/jobs/{job}/told/{feeder}"

    def keeper(self, job: str = "+") -> str:
        """Which service keeps a job, retained."""
        return f"{self.root}/jobs/{job}/keeper"

    def readout(self, job: str) -> str:
        """The newest readout, retained."""
        return f"{self.root}/jobs/{job}/readout"

    def service(self, service: str = "+") -> str:
        """A service's presence, retained; empty once it has gone."""
        return f"{self.root}/services/{service}"

    def of_service(self, service: str, what: str) -> str:
        """What one service sends another: here, asked or answers."""
        return f"{self.root}/services/{service}/{what}"

    @property
    def shared_here(self) -> str:
        """All that feeders say, each to one of the services."""
        return f"$share/tipdatum/{self.root}/jobs/+/here/+"

    def place(self, topic: str) -> Place | None:
        """What a topic is; None for one that is none of ours."""
        if not topic.startswith(f"{self.root}/"):
            return None
        rest = topic[self._start :]
        found = _OF_JOB.fullmatch(rest)
        if found is not None:
            job, what, feeder, alone = found.groups()
            return Place(what or alone, job=job, feeder=feeder or "")
        found = _OF_SERVICE.fullmatch(rest)
        return None if found is None else Place(found[2] or "service", service=found[1])
