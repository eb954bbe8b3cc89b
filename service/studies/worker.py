"""A study of the service, in a process of its own: ``python -m service.studies.worker FOLDER``.

Live readouts lose nothing to it: it has an interpreter of its own, gives way to whatever else wants to run, and leaves
one core alone. It ends with the service, after the parts under way: its standard input then comes to an end.
"""

import argparse
import json
import os
import signal
import sys
import threading
from pathlib import Path
from typing import Any

from kinematics.errors import Refused
from machine_profiles import Profile, parse_profile

from .folder import OUTCOME, SEARCHED, Folder, put
from .plan import Plan
from .reading import Find, kind_of
from .results import summary
from .runner import Makers, Threads, run
from .study_file import read_study
from .synthesis_file import read_synthesis, search_into

_NICER = 10


def kept_in(folder: Path) -> Find:
    """The profiles that a study's folder keeps."""

    def look(kind: str, _name: str) -> Profile:
        return parse_profile((folder / f"{kind}.toml").read_text(encoding="utf-8"))

    return look


def plan_of(folder: Path) -> Plan:
    """The plan of a study's folder, from the file and the profiles that it keeps."""
    return read_study((folder / "study.toml").read_text(encoding="utf-8"), "study.toml", kept_in(folder))


def work(path: Path, makers: Makers, ended: threading.Event) -> dict[str, Any] | None:
    """Run a study to its end: what is told of it, None where `ended` came before it."""
    try:
        if kind_of((path / "study.toml").read_text(encoding="utf-8"), "study.toml") == "synthesis":
            whole, told = _searched(path, ended)
        else:
            plan, folder = plan_of(path), Folder(path)
            outcome = run(plan, path, makers, resume=True, stop=ended.is_set)
            whole, told = outcome.done, summary(plan, folder, outcome)
    except Refused as refused:
        if ended.is_set():  # a search may have been ended before it found anything: it is taken up again
            return None
        faults = [
            {"code": f.code, "found": f.found, "expected": f.expected, "advice": f.advice}
            for f in refused.faults
        ]
        return {"state": "failed", "faults": faults, "summary": None}
    if not whole and ended.is_set():
        return None
    return {"state": "finished" if whole else "stopped", "faults": [], "summary": told}


def _searched(path: Path, ended: threading.Event) -> tuple[bool, dict[str, Any]]:
    """A synthesis, from where it stood: it comes to the same as without a break."""
    asked, folder = (
        read_synthesis((path / "study.toml").read_text(encoding="utf-8"), "study.toml", kept_in(path)),
        Folder(path),
    )

    seen = -1

    def tell(done: int, _of: int) -> None:
        nonlocal seen
        if done != seen:  # asked after every generation
            seen = done
            put(path / SEARCHED, json.dumps(done).encode())

    told = search_into(asked, path, tell=tell, stop=lambda: ended.is_set() or folder.asked_to_stop)
    return bool(told["finished"]), told


def main() -> None:
    """Run the study of a folder and leave `outcome.json` in it."""
    parser = argparse.ArgumentParser(prog="python -m service.studies.worker", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--dask")
    asked = parser.parse_args()
    if hasattr(os, "nice"):
        os.nice(_NICER)
    ended = threading.Event()
    signal.signal(signal.SIGTERM, lambda _number, _frame: ended.set())

    def until_the_service_ends() -> None:
        sys.stdin.read()
        ended.set()

    threading.Thread(target=until_the_service_ends, daemon=True).start()
    makers: Makers = Threads(asked.workers)
    if asked.dask is not None:
        from .cluster import Cluster  # noqa: PLC0415 - an extra that need not be installed

        makers = Cluster(asked.dask)
    told = work(asked.folder, makers, ended)
    if told is not None:
        put(asked.folder / OUTCOME, json.dumps(told, allow_nan=False).encode())


if __name__ == "__main__":
    main()
