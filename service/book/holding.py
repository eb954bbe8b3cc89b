"""Logs held against themselves: as they are read, and all of them once a service has started.

A log that does not hold gives no number from then on: what cannot be read may be a move or a withdrawal.
"""

import asyncio
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from time import perf_counter

from fastapi.concurrency import run_in_threadpool
from pydantic import ValidationError
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from service.store import Database, LogDamaged, Misfit, StoredEvent, StoreError, events, misfit

from . import payloads as p
from .state import Entry

PAGE = 200
BEFORE_READY_S = 1.0  # a start waits so long for it; no job gives a number before its own log was held
AGAIN_S = 1.0
_log = logging.getLogger("tipdatum")


@dataclass(frozen=True, slots=True)
class Damage:
    """Where a job's log ends that can be relied on: the first entry that is wrong or not there, and what is wrong."""

    job: str
    at: Misfit

    @property
    def seq(self) -> int:
        """The entry."""
        return self.at.seq

    @property
    def later(self) -> bool:
        """Whether a later release wrote that entry: then nothing is damaged, and that release reads on."""
        return self.at.code == "later-release"

    @property
    def code(self) -> str:
        """The problem that requests are refused with."""
        return "database-from-the-future" if self.later else "log-damaged"

    @property
    def why(self) -> str:
        """What was found, of the entry alone."""
        return f"expected {self.at.expected}, found {self.at.found}"

    @property
    def words(self) -> str:
        """Why what is shown of the log ends where it does, for whoever reads it."""
        there = f"up to entry {self.seq - 1} only" if self.seq > 1 else "not at all"
        return (
            f"The log of this job can be read {there}. At entry {self.seq}: {self.why}. What was recorded from there on, "
            "a move, a withdrawal or a check among it, is not in here: do not take this for how the job stands."
        )

    @property
    def error(self) -> LogDamaged | p.EventFromTheFutureError:
        """What everything is refused with that would compute from the log, or add to it."""
        if self.later:
            return p.EventFromTheFutureError(f"job {self.job!r}, entry {self.seq}: {self.why}")
        return LogDamaged(self.job, self.seq, self.at.found)


def read(stored: StoredEvent) -> Entry:
    """A stored event in today's shape. Raises `LogDamaged`, `EventFromTheFutureError`."""
    try:
        payload = p.read_payload(stored.type, stored.payload_version, dict(stored.payload))
    except (ValidationError, KeyError) as error:
        raise LogDamaged(stored.job_id, stored.seq, f"content that no {stored.type} has") from error
    return Entry(
        stored.seq, stored.type, payload, str(stored.uuid), stored.actor, stored.observed_utc, stored.recorded_utc
    )  # fmt: skip


def holding(job: str, before: StoredEvent | None, stored: Sequence[StoredEvent]) -> list[Entry]:
    """Events as entries, each held against the one before it; `before`: the one before the first, None for a log from
    its beginning. Raises `LogDamaged` for the first that does not fit, `EventFromTheFutureError`."""
    entries = []
    for event in stored:
        found = _unfit(before, event)
        if found is not None:
            raise LogDamaged(job, found.seq, found.found)
        entries.append(read(event))
        before = event
    return entries


def _unfit(before: StoredEvent | None, event: StoredEvent) -> Misfit | None:
    if before is None and event.seq != 1:  # `misfit` takes the first link of a page as given
        return Misfit(1, "missing-entry", f"entry {event.seq} as the first", "entry 1")
    return misfit(before, event)


@dataclass(frozen=True, slots=True)
class Part:
    """Events of a log that hold, in order, and what is wrong with the one after them, if anything; `ended`: whether there
    is none after them that could be held."""

    events: list[StoredEvent]
    wrong: Misfit | None = None
    ended: bool = True


def holds(session: Session, job: str, before: StoredEvent | None) -> Part:
    """The next events of a log that hold, a page of them, from after `before`. Raises `JobUnknown`."""
    good: list[StoredEvent] = []
    limit = PAGE
    while len(good) < PAGE:
        try:
            rows = events.read_events(session, job, 0 if before is None else before.seq, limit)
        except LogDamaged as error:
            if limit > 1:  # one by one, so that all before it are had
                limit = 1
                continue
            _log.warning("entry %d of job %r: %s", error.seq, job, error.found)
            return Part(good, _unreadable(error.seq, "what cannot be read as an entry"))
        if not rows:
            nothing = before is None
            return Part(good, Misfit(1, "missing-entry", "no entry at all", "entry 1") if nothing else None)
        for event in rows:
            wrong = _unfit(before, event) or _illegible(event)
            if wrong is not None:
                return Part(good, wrong)
            good.append(event)
            before = event
    return Part(good, ended=False)


def _illegible(event: StoredEvent) -> Misfit | None:
    try:
        read(event)
    except LogDamaged as error:
        return _unreadable(event.seq, error.found)
    except p.EventFromTheFutureError:
        told = f"{event.type!r} in version {event.payload_version}"
        return Misfit(event.seq, "later-release", told, f"what this release knows, up to version {p.VERSION}")
    return None


def _unreadable(seq: int, found: str) -> Misfit:
    return Misfit(seq, "changed-entry", found, "an entry as it was recorded")


class Holding:
    """All logs of a database, held against themselves once, a page at a time; what does not hold is told to `damaged`."""

    def __init__(self, database: Database, damaged: Callable[[Damage], None]) -> None:
        self._database, self._damaged = database, damaged
        self._after: str | None = None
        self._job: str | None = None
        self._before: StoredEvent | None = None
        self.jobs = self.entries = 0
        self.done = False

    def run(self, seconds: float) -> None:
        """For at most about so long; it goes on where it was."""
        end = perf_counter() + seconds
        while self.step() and perf_counter() < end:
            pass

    async def go_on(self) -> None:
        """The rest, for as long as it takes: half of the time is left to whoever else works."""
        while not self.done:
            begun = perf_counter()
            going = await run_in_threadpool(self.step)
            await asyncio.sleep(perf_counter() - begun if going else AGAIN_S)

    def step(self) -> bool:
        """One page more; whether there is more to do, and the database lets it."""
        if self.done:
            return False
        try:
            self._database.read(self._next)
        except (SQLAlchemyError, StoreError) as error:
            _log.warning("logs cannot be read to be held against themselves: %s", type(error).__name__)
            return False
        return not self.done

    def _next(self, session: Session) -> None:
        if self._job is None:
            listed = events.list_jobs(session, self._after, 1)
            if not listed:
                self.done = True
                return
            self._job = listed[0].id
        part = holds(session, self._job, self._before)
        if part.wrong is not None:
            self._damaged(Damage(self._job, part.wrong))
        self.entries += len(part.events)
        if part.ended:
            self.jobs += 1
            self._after, self._job, self._before = self._job, None, None
        else:
            self._before = part.events[-1]
