"""The one door to a job's log: read its state, or decide and append in one transaction.

States are kept in memory by seq and only ever extended from the log, so that what is kept can be thrown away. Others may
write the same log: before anything is decided or answered, what came since is read.
"""

import logging
import threading
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from kinematics.assembly import Assembly
from kinematics.errors import Refused
from kinematics.sensor_set import SensorSet
from service.store import Database, LogDamaged, Misfit, NewEvent, StoredEvent, events, utc_now

from . import payloads as p
from . import seat
from .dug_requests import CheckIn
from .holding import Damage, holding, holds, read
from .profiles import Profiles
from .requests import Recording, StationIn, StrikeIn, TouchIn, TurningPointIn
from .seen import observed, taken_since
from .staff_requests import RodCheckIn, WearCheckIn
from .state import Entry, JobState, Named, Stand, believable, extend, fold

_log = logging.getLogger("tipdatum")
Clock = Callable[[], datetime]
Decide = Callable[[JobState, int], p.Payload]
READINGS = (TouchIn, TurningPointIn, StrikeIn, StationIn, CheckIn, RodCheckIn, WearCheckIn)


@dataclass(frozen=True, slots=True)
class Recorded:
    """A recorded entry, the state after it, and whether it had been recorded before under the same key."""

    entry: Entry
    state: JobState
    replayed: bool


@dataclass(frozen=True, slots=True)
class Legible:
    """A job's log as far as it holds, off the disk, the state that it says then, and why it ends there if not whole."""

    events: list[StoredEvent]
    state: JobState
    damage: Damage | None


@dataclass(frozen=True, slots=True)
class _Kept:
    """A state in memory, and the event that it ends with: what comes next must fit it."""

    state: JobState
    last: StoredEvent


class Keeper:
    """Job states over a database."""

    def __init__(self, database: Database, profiles: Profiles, now: Clock = utc_now) -> None:
        self._database = database
        self._profiles = profiles
        self._states: dict[str, _Kept] = {}
        self._damages: dict[str, Damage] = {}
        self._lock = threading.Lock()
        self.now = now

    def state(self, job: str) -> JobState:
        """The job's state now. Raises the store's `JobUnknown`, `LogDamaged`; `EventFromTheFutureError`."""
        self._relies_on(job)
        known = self._states.get(job)
        try:
            return self._database.read(lambda session: self._current(session, job, known))
        except (LogDamaged, p.EventFromTheFutureError):
            self._find_damage(job)
            raise

    def latest(self, job: str) -> JobState | None:
        """The job's state as far as this process has read it, without asking the database; None if it never has."""
        kept = self._states.get(job)  # one step: no lock, thousands of times a second
        return None if kept is None else kept.state

    def catch_up(self, jobs: Collection[str]) -> None:
        """Read what others recorded on these jobs; one small question where they recorded nothing."""
        for job, uuid in self._database.read(lambda session: events.latest_of(session, jobs)).items():
            known = self._states.get(job)
            if job in self._damages or (known is not None and known.last.uuid == uuid):
                continue
            try:
                self.state(job)
            except (LogDamaged, p.EventFromTheFutureError):
                continue  # noted, and told by `damage`; the other jobs are none the worse for it
        states = [kept.state for job in jobs if (kept := self._states.get(job)) is not None]
        self._profiles.look_again({(kind, used.id) for state in states for kind, used in _in_use(state)})

    # Logs that do not hold.

    @property
    def damages(self) -> list[Damage]:
        """Of every log that was found not to hold, in order of jobs."""
        return [self._damages[job] for job in sorted(self._damages)]

    def damage(self, job: str) -> Damage | None:
        """Why nothing is computed from a job's log, or added to it, until the service is started again."""
        return self._damages.get(job)

    def withhold(self, damage: Damage) -> None:
        """From now on this log gives no number and takes no entry; said once in the log of the service."""
        with self._lock:
            first = self._damages.setdefault(damage.job, damage) is damage
            self._states.pop(damage.job, None)
        if first:
            _log.error(
                "%s: job %r at entry %d: %s; nothing is computed from it or added to it. "
                "tipdatum verify tells more; bring back the last good backup",
                damage.code, damage.job, damage.seq, damage.why,
            )  # fmt: skip

    def legible(self, job: str) -> Legible:
        """A job's log held against itself anew, as far as it holds. Raises `JobUnknown`; `LogDamaged` or
        `EventFromTheFutureError` where not even its first entry does."""
        damage = self.damage(job)
        if damage is None and self._database.shared:
            try:
                self.state(job)  # a server that was set back is noticed here, and believed
            except (LogDamaged, p.EventFromTheFutureError):
                damage = self.damage(job)
        kept = self._states.get(job)
        found, wrong = self._database.read(lambda session: _all_that_holds(session, job))
        if wrong is None and kept is not None and kept.last.seq > len(found):
            more = kept.last.seq
            wrong = Misfit(
                len(found) + 1,
                "cut-off",
                f"an end at entry {len(found)}",
                f"entry {more}, which was recorded",
            )
        if damage is None and wrong is not None:
            self.withhold(Damage(job, wrong))
            damage = self.damage(job)
        if damage is not None:
            found = found[: damage.seq - 1]
            if not found:
                raise damage.error
        if kept is not None and damage is None and kept.last == found[-1]:
            return Legible(found, kept.state, None)
        return Legible(found, fold([read(each) for each in found]), damage)

    def _relies_on(self, job: str) -> None:
        damage = self._damages.get(job)
        if damage is not None:
            raise damage.error

    def _find_damage(self, job: str) -> None:
        """Where a log that was just found wrong breaks first, from its beginning on."""
        _, wrong = self._database.read(lambda session: _all_that_holds(session, job))
        kept = self._states.get(job)
        if wrong is None and kept is not None:  # whole by itself, and not what it was
            wrong = Misfit(
                kept.last.seq, "changed-entry", "another entry than was read before", "the entry of then"
            )
        if wrong is not None:
            self.withhold(Damage(job, wrong))

    def jobs(self, after: str | None, limit: int) -> list[tuple[str, str]]:
        """(id, name) of jobs in order of id, after a cursor."""
        return self._database.read(
            lambda session: [
                (job.id, job.name) for job in events.list_jobs(session, after=after, limit=limit)
            ]
        )

    def stored(self, job: str, upto: int) -> list[StoredEvent]:
        """A job's events as they lie on disk, the first so many. Raises the store's `JobUnknown`, `LogDamaged`."""
        return self._database.read(lambda session: events.read_events(session, job, limit=upto))

    def _current(self, session: Session, job: str, known: _Kept | None) -> JobState:
        """The state in a transaction, every entry that is new held against the one before. `known`: what was kept before
        it began, and so is on record in it."""
        # Where others write, the last event known is read again: a server set back to a backup, or replaced by one that
        # lagged behind, has lost events, and what is kept of them must go.
        again = known is not None and self._database.shared
        after = 0 if known is None else known.last.seq - again
        rows = events.read_events(session, job, after_seq=after)
        lost = False
        if known is not None and again:
            lost = not rows or rows[0].uuid != known.last.uuid
            if lost:
                known, rows = None, events.read_events(session, job)
            elif rows[0] != known.last:
                raise LogDamaged(job, known.last.seq, "content that is not what it was")
            else:
                rows = rows[1:]
        fresh = holding(job, None if known is None else known.last, rows)
        if known is None:
            if not rows:
                raise LogDamaged(job, 1, "no entry at all")
            known = _Kept(fold(fresh), rows[-1])
        elif fresh:
            known = _Kept(extend(known.state, fresh), rows[-1])
        with self._lock:
            kept = self._states.get(job)
            if job in self._damages:
                raise self._damages[job].error
            if lost or kept is None or kept.last.seq < known.last.seq:
                self._states[job] = known
        return known.state

    def sensed(self, state: JobState) -> SensorSet | None:
        """The sensors of what stands on a job; None where its profiles have none. "no-setup", and as `sensor_set`."""
        state.book.needs_setup()
        return self._profiles.sensed(state.machine, state.attachment, state.receiver_place)

    def sensed_on(self, stand: Stand) -> SensorSet | None:
        """The sensors of what stood on a job at some time; None where its profiles have none. As `sensor_set`."""
        return self._profiles.sensed(stand.machine, stand.attachment, stand.receiver_place)

    def fitted(self, stand: Stand) -> Assembly:
        """What stood on a job at some time."""
        return self._profiles.fitted(stand.machine, stand.attachment, stand.receiver_place)

    def fit(self, state: JobState) -> Assembly:
        """Machine and attachment a job stands with, the receiver where it is clamped. `Refused` "no-setup"."""
        state.book.needs_setup()
        return self._profiles.fitted(state.machine, state.attachment, state.receiver_place)

    def later_revisions(self, state: JobState, *, seen: bool = False) -> list[tuple[str, Named, Named]]:
        """(kind, revision in use, latest) of the job's machine and attachment, where a later one is on record.

        `seen`: as it was last looked at, without waiting for a database that is shared.
        """
        ask = self._profiles.latest_seen if seen else self._profiles.latest
        latest = [(kind, named, ask(kind, named.id)) for kind, named in _in_use(state)]
        return [(kind, used, last) for kind, used, last in latest if last is not None and last != used]

    def open_job(
        self,
        job: str,
        asked: Recording,
        first: p.JobOpened,
        actor: str,
        *,
        key: str | None,
        request_hash: str,
    ) -> Recorded:
        """Open a job; its first entry says so. Raises `Refused` for its time, the store's `JobExists`."""
        arrived = self.now()

        def work(session: Session) -> tuple[StoredEvent, bool]:
            seen, late = arrived, None
            try:
                seen = observed(asked.observed_at, arrived, first.rules.age_limit_s)
            except Refused as refused:
                late = refused
            done = events.create_job(
                session, job, first.name, self._new(first, actor, seen),
                idempotency_key=key, request_hash=request_hash, now=self.now,
            )  # fmt: skip
            if late is not None and not done[1]:  # a repeat is answered, however late; a new job is undone
                raise late
            return done

        stored, replayed = self._database.write(work)
        return Recorded(read(stored), self._as_of(job, stored.seq), replayed)

    def record(
        self,
        job: str,
        asked: Recording,
        decide: Decide,
        actor: str,
        *,
        after: Callable[[JobState], object],
        key: str | None,
        request_hash: str,
        expected_seq: int | None,
        seen: datetime | None = None,
    ) -> Recorded:
        """Decide on the state of this moment and append; returns only when it is on disk.

        `after` looks at the state with the new entry and may refuse it. `seen`: when it was observed, by readings that
        the service dated itself, in place of what `asked` says; such may be late, and are not too old for it. Raises
        `Refused`, or the store's JobUnknown, SequenceMismatch, IdempotencyConflict; then nothing is written.
        """
        arrived = self.now()
        self._relies_on(job)
        before = self.latest(job) or self.state(job)

        def work(session: Session) -> tuple[StoredEvent, bool]:
            known = self._states.get(job)

            def event(last: int) -> NewEvent:
                state = self._current(session, job, known)
                when = seen or observed(asked.observed_at, arrived, state.rules.age_limit_s)
                if isinstance(asked, READINGS):
                    on_arrival = seen is None and asked.observed_at is None
                    known_then = before if on_arrival else None
                    taken_since(state, when, self.now(), known_then, by_stream=seen is not None)
                payload = seat.weighed(state, decide(state, last + 1), actor)
                entry = Entry(last + 1, p.NAMES[type(payload)], payload, "", actor, when, arrived)
                then = extend(state, [entry])
                after(then)
                believable(then)  # what cannot be read back is not written
                return self._new(payload, actor, when)

            return events.record(
                session, job, event, idempotency_key=key, request_hash=request_hash,
                expected_seq=expected_seq, now=self.now,
            )  # fmt: skip

        try:
            stored, replayed = self._database.write(work)
        except (LogDamaged, p.EventFromTheFutureError):
            self._find_damage(job)
            raise
        return Recorded(read(stored), self._as_of(job, stored.seq), replayed)

    def _as_of(self, job: str, seq: int) -> JobState:
        """The state right after an entry, whatever was recorded since."""
        state = self.state(job)
        return state if state.seq == seq else fold([e for e in state.entries if e.seq <= seq])

    def states_at(self, job: str, seqs: Sequence[int]) -> dict[int, JobState]:
        """The state right after each of these entries, which rise and are on the log."""
        entries = self.state(job).entries
        found: dict[int, JobState] = {}
        state: JobState | None = None
        for seq in seqs:
            upto = 0 if state is None else state.seq
            more = [e for e in entries if upto < e.seq <= seq]
            state = fold(more) if state is None else extend(state, more)
            found[seq] = state
        return found

    @staticmethod
    def _new(payload: p.Payload, actor: str, observed_utc: datetime) -> NewEvent:
        return NewEvent(
            p.NAMES[type(payload)], p.VERSION, payload.model_dump(mode="json"), actor, observed_utc
        )


def _in_use(state: JobState) -> list[tuple[str, Named]]:
    used = (("machine", state.machine), ("attachment", state.attachment))
    return [(kind, named) for kind, named in used if named is not None]


def _all_that_holds(session: Session, job: str) -> tuple[list[StoredEvent], Misfit | None]:
    found: list[StoredEvent] = []
    while True:
        part = holds(session, job, found[-1] if found else None)
        found += part.events
        if part.ended:
            return found, part.wrong
