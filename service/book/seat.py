"""The seat: who sits at the machine, and what somebody else recorded, which waits until the seat acknowledges it.

A target, profile, rule or estimate does not change under the one who digs by it. What waits is on the log with `waits`
written in it, so that the fold needs nobody's name to leave it out; an acknowledgement names it and puts it into effect
there.
"""

from collections.abc import Sequence

from kinematics.errors import Fault, Refused, refuse

from . import payloads as p
from . import requests as q
from .decide import Fit, free_target, needs_receiver, not_withdrawable, together, withdrawable
from .state import Entry, JobState, acknowledged, extend, places, taking_effect, void_of

# A receiver's place is part of the profile. Readings, moves and laser are facts of the site and count at once.
# A withdrawal of any of them may bring an earlier height or target back, so it is held, whatever it names.
HELD = frozenset({
    "target-set", "setup-begun", "attachment-changed", "receiver-clamped", "rules-set", "estimates-set", "withdrawn",
})  # fmt: skip

# What somebody at the seat can still look through; each costs every readout a sentence.
MOST_WAITING = 50


def is_away(state: JobState, actor: str) -> bool:
    """Whether somebody else than `actor` sits at the machine."""
    return state.seat not in {None, actor}


def weighed(state: JobState, payload: p.Payload, actor: str) -> p.Payload:
    """The payload as it is to be recorded: with `waits` where an actor away from the seat changes what is held.

    Declining what waits is the one withdrawal that does not wait. Raises `Refused` "not-at-seat" for declining what
    another recorded, "not-withdrawable" for a second withdrawal that would wait, "too-many-waiting".
    """
    if not is_away(state, actor) or p.NAMES[type(payload)] not in HELD:
        return payload
    if isinstance(payload, p.Withdrawn):
        if payload.seq in state.waiting:
            _may_decline(state, payload.seq, actor)
            return payload
        for seq in state.waiting:
            earlier = state.entries[seq - 1].payload
            if isinstance(earlier, p.Withdrawn) and earlier.seq == payload.seq:
                raise not_withdrawable(
                    f"entry {payload.seq}, whose withdrawal waits already (entry {seq})",
                    "an entry whose withdrawal does not wait", "the seat has to acknowledge that one",
                )  # fmt: skip
    if len(state.waiting) >= MOST_WAITING:
        raise Refused([
            Fault("too-many-waiting", "", f"{len(state.waiting)} entries that wait already", f"at most {MOST_WAITING}",
                  "the seat has to acknowledge or withdraw some first")
        ])  # fmt: skip
    return payload.model_copy(update={"waits": True})


def _may_decline(state: JobState, seq: int, actor: str) -> None:
    entry = state.entries[seq - 1]
    if entry.actor != actor:
        found = f"{actor!r}, declining entry {seq}, which {entry.actor!r} recorded"
        raise Refused([_not_at_seat(state, found, "seq", f"{state.seat!r} at the seat, or {entry.actor!r}")])


def _not_at_seat(state: JobState, found: str, where: str, expected: str) -> Fault:
    who = "nobody sits there" if state.seat is None else f"{state.seat!r} sits there"
    advice = f"{who}: whoever sits at the machine takes the seat first (POST seats)"
    return Fault("not-at-seat", where, found, expected, advice)


def withdrawing(state: JobState, seq: int) -> tuple[frozenset[int], frozenset[int]]:
    """Entries that would go out of effect, and that would come back, if entry `seq` were withdrawn now."""
    last = state.entries[-1]
    asked = p.Withdrawn(seq=seq, reason="")
    new = Entry(last.seq + 1, "withdrawn", asked, "", "", last.observed_utc, last.recorded_utc)
    given = acknowledged(state.entries)
    changed = frozenset(
        each
        for each in void_of((*state.entries, new)) ^ state.void
        if each in given or not state.entries[each - 1].payload.waits
    )
    return changed - state.void, changed & state.void


def names_taken(state: JobState, actor: str) -> frozenset[str]:
    """Names that a new target of this actor must not have.

    Away from the seat a name may be that of a target whose withdrawal waits, so that a change can be proposed, but
    not that of another target that waits.
    """
    if not is_away(state, actor):
        return frozenset(state.targets)
    going = void_of(state.entries, also=state.waiting)
    staying = {name for name, hung in state.targets.items() if hung.seq not in going}
    coming = (state.entries[seq - 1].payload for seq in state.waiting)
    return frozenset(staying | {wanted.name for wanted in coming if isinstance(wanted, p.TargetSet)})


def since(state: JobState) -> int:
    """The entry by which whoever sits at the machine came to sit there; 0 without a seat."""
    who, found = None, 0
    for entry in state.entries:
        if entry.seq in state.void or entry.actor == who:
            continue
        if who is None:  # nobody takes a seat before a setup that counts
            gives = any(
                each.type == "setup-begun" and each.seq not in state.void
                for each in taking_effect(entry, state.entries)
            )
        else:
            gives = entry.type == "seat-taken"
        if gives:
            who, found = entry.actor, entry.seq
    return found


def take(state: JobState, asked: q.SeatIn) -> p.SeatTaken:
    """The seat taken. `Refused` "no-setup"."""
    state.book.needs_setup()
    return p.SeatTaken(note=asked.note)


def acknowledgement(state: JobState, asked: q.AcknowledgementIn, actor: str, fit: Fit) -> p.Acknowledged:
    """What waits put into effect, one after the other, each weighed against the job as those before leave it.

    Raises `Refused` "not-at-seat"; at `seqs.i` "not-waiting", and what recording it at the seat now would raise.
    """
    if actor != state.seat:
        wanted = "whoever sits at the machine" if state.seat is None else repr(state.seat)
        raise Refused([_not_at_seat(state, repr(actor), "", wanted)])
    refuse(fault for i, seq in enumerate(asked.seqs) for fault in _waits_not(state, i, seq))
    running = state
    for i, seq in enumerate(asked.seqs):
        refuse(_waits_not(running, i, seq))
        try:
            running = _after(running, running.entries[seq - 1], actor, fit)
        except Refused as refused:
            raise Refused(
                Fault(f.code, f"seqs.{i}", f"entry {seq}: {f.found}", f.expected, f.advice, f.numbers)
                for f in refused.faults
            ) from None
    return p.Acknowledged(seqs=tuple(asked.seqs), note=asked.note)


def _waits_not(state: JobState, i: int, seq: int) -> list[Fault]:
    if seq in state.waiting:
        return []
    waiting = ", ".join(map(str, state.waiting)) or "none waits"
    return [
        Fault(
            "not-waiting",
            f"seqs.{i}",
            f"entry {seq}{_why_not(state, seq)}",
            f"an entry that waits: {waiting}",
        )
    ]


def _why_not(state: JobState, seq: int) -> str:
    if seq > state.seq:
        return ", which is not on the log"
    entry = state.entries[seq - 1]
    if not entry.payload.waits:
        return f" ({entry.type}), which took effect when it was recorded"
    if seq in acknowledged(state.entries):
        return f" ({entry.type}), which is acknowledged already"
    if any(isinstance(e.payload, p.Withdrawn) and e.payload.seq == seq and e.seq not in state.void
           for e in state.entries):  # fmt: skip
        return f" ({entry.type}), which is withdrawn"
    return f" ({entry.type}), which is void: what it hangs on is withdrawn"


def _after(state: JobState, entry: Entry, actor: str, fit: Fit) -> JobState:
    """The job with one entry acknowledged, if that entry is still allowed."""
    match entry.payload:
        case p.TargetSet(name=name, benchmark=benchmark):
            together(lambda: free_target(state.targets, name), lambda: state.book.point(benchmark))
        case p.AttachmentChanged() | p.ReceiverClamped():
            state.book.needs_setup()
            _not_overtaken(state, entry)
        case p.Withdrawn(seq=seq):
            withdrawable(state, seq)
        case _:
            pass
    one = p.Acknowledged(seqs=(entry.seq,))
    after = extend(state, [
        Entry(state.seq + 1, "acknowledged", one, "", actor, entry.observed_utc, entry.recorded_utc)
    ])  # fmt: skip
    if after.machine is not None:
        machine = fit(after)  # machine and attachment must assemble
        if isinstance(entry.payload, p.ReceiverClamped):
            needs_receiver(machine)
    return after


def _not_overtaken(state: JobState, entry: Entry) -> None:
    """Raise `Refused` "overtaken" for a change of a setup other than the one in effect: perhaps another machine's."""
    then, now = _setup_of(state.entries[: entry.seq]), _setup_of(state.entries)
    if then != now:
        raise Refused([
            Fault("overtaken", "", f"{entry.type}, recorded on the setup of entry {then}",
                  f"a change to the setup of entry {now}, which is in effect", "record it anew")
        ])  # fmt: skip


def _setup_of(entries: Sequence[Entry]) -> int:
    """The setup in effect after these entries, 0 without one."""
    placed, void = places(entries), void_of(entries)
    setups = [
        (placed[e.seq], e.seq)
        for e in entries
        if e.type == "setup-begun" and e.seq in placed and e.seq not in void
    ]
    return max(setups)[1] if setups else 0
