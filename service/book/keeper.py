"""The one door to a job's log: read its state, or decide and append in one transaction.

States are kept in memory by seq and only ever extended from the log, so that what is kept can be thrown away. Others may
write the same log: before anything is decided or answered, what came since is read.
"""

import threading
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from kinematics.assembly import Assembly
from kinematics.errors import Fault, Refused
from kinematics.sensor_set import SensorSet
from service.store import Database, NewEvent, StoredEvent, events, utc_now

from . import payloads as p
from . import seat
from .dug_requests import CheckIn
from .profiles import Profiles
from .requests import Recording, StationIn, StrikeIn, TouchIn, TurningPointIn
from .staff_requests import RodCheckIn, WearCheckIn
from .state import Entry, JobState, Named, Stand, believable, extend, fold, taking_effect

Clock = Callable[[], datetime]
Decide = Callable[[JobState, int], p.Payload]
CLOCK_SLACK = timedelta(seconds=1)
READINGS = (TouchIn, TurningPointIn, StrikeIn, StationIn, CheckIn, RodCheckIn, WearCheckIn)


@dataclass(frozen=True, slots=True)
class Recorded:
    """A recorded entry, the state after it, and whether it had been recorded before under the same key."""

    entry: Entry
    state: JobState
    replayed: bool


def read(stored: StoredEvent) -> Entry:
    """A stored event in today's shape."""
    return Entry(
        stored.seq, stored.type, p.read_payload(stored.type, stored.payload_version, dict(stored.payload)),
        str(stored.uuid), stored.actor, stored.observed_utc, stored.recorded_utc,
    )  # fmt: skip


class Keeper:
    """Job states over a database."""

    def __init__(self, database: Database, profiles: Profiles, now: Clock = utc_now) -> None:
        self._database = database
        self._profiles = profiles
        self._states: dict[str, JobState] = {}
        self._lock = threading.Lock()
        self.now = now

    def state(self, job: str) -> JobState:
        """The job's state now. Raises the store's `JobUnknown`."""
        known = self._states.get(job)
        return self._database.read(lambda session: self._current(session, job, known))

    def latest(self, job: str) -> JobState | None:
        """The job's state as far as this process has read it, without asking the database; None if it never has."""
        return self._states.get(job)  # one step: no lock, thousands of times a second

    def catch_up(self, jobs: Collection[str]) -> None:
        """Read what others recorded on these jobs; one small question where they recorded nothing."""
        for job, uuid in self._database.read(lambda session: events.latest_of(session, jobs)).items():
            known = self._states.get(job)
            if known is None or known.entries[-1].uuid != str(uuid):
                self.state(job)

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

    def _current(self, session: Session, job: str, known: JobState | None) -> JobState:
        """The state in a transaction. `known`: what was kept before it began, and so is on record in it."""
        # Where others write, the last event known is read again: a server set back to a backup, or replaced by one that
        # lagged behind, has lost events, and what is kept of them must go.
        again = known is not None and self._database.shared
        after = 0 if known is None else known.seq - again
        rows = events.read_events(session, job, after_seq=after)
        lost = False
        if known is not None and again:
            lost = not rows or str(rows[0].uuid) != known.entries[-1].uuid
            if lost:
                known, rows = None, events.read_events(session, job)
            else:
                rows = rows[1:]
        fresh = [read(stored) for stored in rows]
        if known is None:
            known = fold(fresh)
        elif fresh:
            known = extend(known, fresh)
        with self._lock:
            kept = self._states.get(job)
            if lost or kept is None or kept.seq < known.seq:
                self._states[job] = known
        return known

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

    def later_revisions(self, state: JobState) -> list[tuple[str, Named, Named]]:
        """(kind, revision in use, latest) of the job's machine and attachment, where a later one is on record."""
        used = (("machine", state.machine), ("attachment", state.attachment))
        latest = [
            (kind, named, self._profiles.latest(kind, named.id)) for kind, named in used if named is not None
        ]
        return [each for each in latest if each[1] != each[2]]

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
        before = self._states.get(job) or self.state(job)

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

        stored, replayed = self._database.write(work)
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


def taken_since(
    state: JobState, when: datetime, now: datetime, before: JobState | None = None, *, by_stream: bool = False
) -> None:
    """Raise `Refused` "observed-before" for a reading older than the last move, swing, laser or other such entry.

    What was acknowledged counts from its acknowledgement. `before`: the log as it was known when a reading came that is
    dated by its coming; whatever the clock was set to since, it is no older than that. A reading with a time of its own
    cannot be held against an entry that is dated later than `now`: "clock-set-back". `by_stream`: by the live door, which
    has held it against the log by a clock that nobody sets.
    """
    for entry in reversed(state.entries):
        if (
            when < entry.observed_utc
            and not _is_in(before, entry)
            and any(
                each.type in p.STAND and each.seq not in state.void
                for each in taking_effect(entry, state.entries)
            )
        ):
            back = (entry.recorded_utc - now).total_seconds()
            if before is None and back > CLOCK_SLACK.total_seconds():
                if by_stream:
                    continue
                raise Refused([
                    Fault("clock-set-back", "observed_at",
                          f"a clock {back:.0f} s before entry {entry.seq} ({entry.type}) as it is dated",
                          "a clock that goes on from there", "set the clock, or leave observed_at out: what is read on "
                          "arrival comes after all that was recorded before", {"back_s": back})
                ])  # fmt: skip
            raise Refused([
                Fault("observed-before", "observed_at", f"a reading from before entry {entry.seq} ({entry.type})",
                      "a reading taken after it", "read the sensors again")
            ])  # fmt: skip


def _is_in(before: JobState | None, entry: Entry) -> bool:
    if before is None or entry.seq > before.seq:
        return False
    return before.entries[entry.seq - 1].uuid == entry.uuid  # seqs count from 1 without a gap


def observed(given: str | None, arrived: datetime, age_limit_s: float) -> datetime:
    """When a reading was observed. Raises `Refused` "stale-reading", "clock-ahead", "not-a-time"."""
    if given is None:
        return arrived
    try:
        when = datetime.fromisoformat(given)
    except ValueError:
        when = None
    if when is None or when.tzinfo is None:
        raise Refused(
            [
                Fault(
                    "not-a-time",
                    "observed_at",
                    repr(given),
                    "an ISO 8601 time with its zone, 2026-05-04T07:31:12Z",
                )
            ]
        )
    age = (arrived - when).total_seconds()
    if age > age_limit_s:
        raise Refused([
            Fault("stale-reading", "observed_at", f"a reading {age:.1f} s old", f"at most {age_limit_s:g} s",
                  "read the sensors again", {"age_s": age, "limit_s": age_limit_s})
        ])  # fmt: skip
    if when - arrived > CLOCK_SLACK:
        raise Refused([
            Fault("clock-ahead", "observed_at", f"a reading {-age:.1f} s in the future", "a time that has passed",
                  "set the clocks", {"age_s": age})
        ])  # fmt: skip
    return when
