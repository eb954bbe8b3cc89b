"""When a reading was observed: not too old, not in the future, and not from before what changed since."""

from datetime import datetime, timedelta

from kinematics.errors import Fault, Refused

from . import payloads as p
from .state import Entry, JobState, taking_effect

CLOCK_SLACK = timedelta(seconds=1)


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
