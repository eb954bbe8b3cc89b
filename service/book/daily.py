"""What a day's checks of a job are, out of its log: rod checks, misclosures with what was to be expected, wear,
laser."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from kinematics.agreement import Agreement, Check, agreement
from kinematics.errors import Refused
from kinematics.levelling import Enters, Terms, added
from kinematics.misclosures import Misclosure

from . import payloads as p
from .clock_steps import set_back, unrolled
from .keeper import Keeper
from .staff import expected_at
from .staff_payloads import LaserTested, RodChecked, WearChecked
from .state import Entry, JobState, Observation, steps


@dataclass(frozen=True, slots=True)
class Closing:
    """A misclosure of the log: entry, what closed ("check touch", "touch", "strike"), on which point, and how far."""

    entry: Entry
    what: str
    point: str
    misclosure: Misclosure


def of_day(state: JobState, day: date) -> list[Entry]:
    """Entries observed on a day (UTC) that still count, in the order of their times."""
    found = [e for e in state.entries if e.observed_utc.date() == day and e.seq not in state.void]
    times = unrolled(state.entries)
    return sorted(found, key=lambda e: (times[e.seq], e.seq))


def rod_checks(entries: list[Entry]) -> list[tuple[Entry, RodChecked]]:
    """The rod checks among entries."""
    return [(e, e.payload) for e in entries if isinstance(e.payload, RodChecked)]


def independent(checks: list[tuple[Entry, RodChecked]]) -> list[tuple[Entry, RodChecked]]:
    """Those whose staff's elevation did not come from the tool: what is wrong with its height is in the others too."""
    return [each for each in checks if each[1].independent]


def together(state: JobState, checks: list[tuple[Entry, RodChecked]]) -> Agreement | None:
    """What independent rod checks say together, in the order of their times; None with fewer than two. Nothing of drift
    where the clock was set back between the first and the last: how long they are apart nobody knows."""
    if len(checks) < 2:
        return None
    times = unrolled(state.entries)
    began = times[checks[0][0].seq]
    found = agreement([
        Check(c.difference_m, c.own_m, c.common_m, (times[e.seq] - began).total_seconds()) for e, c in checks
    ])  # fmt: skip
    seqs = [e.seq for e, _ in checks]
    unsure = any(min(seqs) < each.seq <= max(seqs) for each in set_back(state.entries))
    return replace(found, drift=None) if unsure else found


def closings(keeper: Keeper, state: JobState, day: date) -> Iterator[Closing]:
    """The misclosures of a day that still count, each against the height that was known before it."""
    before = JobState()
    for entry, after in steps(state.entries):
        if entry.observed_utc.date() == day and entry.seq not in state.void:
            match entry.payload:
                case p.Touched() as touched if touched.misclosure_m is not None:
                    yield from _touch(keeper, before, entry, touched)
                case p.Struck(taken=True) as struck if struck.misclosure_m is not None:
                    yield from _strike(keeper, before, entry, struck)
                case _:
                    pass
        before = after


def _touch(keeper: Keeper, before: JobState, entry: Entry, touched: p.Touched) -> Iterator[Closing]:
    height, known, stand = before.book.height, before.book.points.get(touched.point), before.stand
    if height is None or known is None or stand is None:
        return
    value = height.elevation + touched.edge_height_m - known.elevation
    seen = Observation(stand, before.book.setup, touched.edge_point, (touched.pose,))
    terms = added(height.terms, known.terms, -1.0)
    standard = _standard(keeper, before, entry.seq, Enters.EDGE, seen, terms)
    what = "check touch" if touched.purpose == "check" else "touch"
    yield Closing(entry, what, touched.point, Misclosure(value, standard))


def _strike(keeper: Keeper, before: JobState, entry: Entry, struck: p.Struck) -> Iterator[Closing]:
    height, plane, stand, laser = before.book.height, before.book.plane, before.stand, before.book.laser
    if struck.misclosure_m is None or stand is None:
        return
    standard = None
    if height is not None and plane is not None and laser is not None:
        seen = Observation(stand, before.book.setup, "receiver", struck.poses)
        terms = added(height.terms, plane.terms, -1.0)
        if laser.fall:
            terms = added(terms, {(entry.seq, Enters.DISTANCE): -laser.fall})
        standard = _standard(keeper, before, entry.seq, Enters.RECEIVER, seen, terms)
    yield Closing(entry, "strike", "laser", Misclosure(struck.misclosure_m, standard))


def _standard(
    keeper: Keeper, before: JobState, seq: int, what: Enters, seen: Observation, terms: Terms
) -> float | None:
    """Standard uncertainty (m) of a misclosure, None where a linkage stood at its dead centre."""
    try:
        return expected_at(keeper, before, seq, what, seen, terms).standard
    except Refused:
        return None


def latest_wear(state: JobState, until: date) -> dict[str, tuple[Entry, WearChecked]]:
    """The last wear check up to a day of each point of the attachment revision that stands on the job now."""
    now = state.attachment
    return {
        e.payload.edge_point: (e, e.payload)
        for e in _until(state, until)
        if isinstance(e.payload, WearChecked)
        and now is not None
        and e.payload.stood.attachment_hash == now.hash
    }


def latest_laser(state: JobState, until: date) -> dict[str, tuple[Entry, LaserTested]]:
    """The last test of each laser up to a day."""
    return {
        e.payload.laser: (e, e.payload) for e in _until(state, until) if isinstance(e.payload, LaserTested)
    }


def _until(state: JobState, day: date) -> list[Entry]:
    """Entries observed up to a day that still count, in the order of their times: one entered late is no later test. What
    stands before an entry of such a day is not later than it, whatever its date says."""
    times = unrolled(state.entries)
    last = max((e.seq for e in state.entries if e.observed_utc.date() <= day), default=0)
    found = [e for e in state.entries if e.seq not in state.void and e.seq <= last]
    return sorted(found, key=lambda e: (times[e.seq], e.seq))
