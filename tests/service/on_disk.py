"""A data folder with jobs in it, made without a service."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from service.book import payloads as p
from service.book.keeper import Keeper
from service.book.profiles import Profiles
from service.book.requests import BenchmarkIn, JobIn
from service.book.state import JobState
from service.store import open_database, utc_now

FILE = "tipdatum.sqlite"


def two_jobs(folder: Path, benchmarks: Sequence[str]) -> Path:
    """A new folder with pump-house, a benchmark of 100 m for each name, and well, with nothing."""
    folder.mkdir()
    with open_database(f"sqlite:///{folder / FILE}") as database:
        keeper = Keeper(database, Profiles(database, utc_now))
        for job in ("pump-house", "well"):
            asked = JobIn(id=job, name=f"The {job}", units="m")
            first = p.JobOpened(name=asked.name, units="m", datum="", rules=asked.rules)
            keeper.open_job(job, asked, first, "local", key=None, request_hash="x")
        for name in benchmarks:
            point = BenchmarkIn(name=name, elevation=100.0, units="m")
            made = p.BenchmarkDeclared(name=name, elevation_m=100.0, entered="100 m")
            keeper.record(
                "pump-house", point, partial(_always, made), "local", after=lambda _s: None, key=None,
                request_hash="x", expected_seq=None,
            )  # fmt: skip
    return folder


def _always(made: p.BenchmarkDeclared, _state: JobState, _seq: int) -> p.BenchmarkDeclared:
    return made
