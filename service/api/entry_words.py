"""Entries of a log in words, for whoever has to look at one before it takes effect."""

from kinematics.units import LengthUnit, show
from service.book import payloads as p
from service.book.seat import withdrawing
from service.book.state import Entry, JobState, target_of

WHAT = {
    "job-opened": "job", "rules-set": "rules", "estimates-set": "estimates", "benchmark-declared": "benchmark",
    "setup-begun": "setup", "attachment-changed": "attachment", "moved": "move", "swung": "swing",
    "laser-set-up": "laser", "receiver-clamped": "receiver", "touched": "touch",
    "turning-point-taken": "turning point", "struck": "strike", "target-set": "target", "station-touched": "station",
    "withdrawn": "withdrawal", "seat-taken": "seat", "acknowledged": "acknowledgement",
    "check-taken": "check",
    "rod-checked": "rod check", "wear-checked": "wear check", "laser-tested": "laser test",
    "certificate-issued": "certificate",
}  # fmt: skip
MOST_NAMED = 10


def revision(content_hash: str) -> str:
    """A content hash for people: its first eight digits."""
    return f"revision {content_hash[:8]}"


def words(state: JobState, entry: Entry) -> str:
    """A waiting entry in one sentence with its numbers, in the job's units: what would change."""
    match entry.payload:
        case p.TargetSet() as wanted:
            return _target(wanted, state.units)
        case p.SetupBegun() as begun:
            return (
                f"setup: machine {begun.machine!r} ({revision(begun.machine_hash)}) with attachment "
                f"{begun.attachment!r} ({revision(begun.attachment_hash)})"
            )
        case p.AttachmentChanged(attachment=attachment, attachment_hash=digest):
            return f"attachment {attachment!r} ({revision(digest)})"
        case p.ReceiverClamped(place_m=None):
            return "receiver clamped where the profile says"
        case p.ReceiverClamped(place_m=(x, y, z)):
            return f"receiver clamped at {x * 1000:g}, {y * 1000:g}, {z * 1000:g} mm in the stick's frame"
        case p.RulesSet(rules=rules):
            return _changed("rules", rules, state.rules)
        case p.EstimatesSet(estimates=estimates):
            return _changed("estimates", estimates, state.estimates)
        case p.Withdrawn(seq=seq):
            return _withdrawal(state, seq)
        case _:
            return WHAT[entry.type]


def _target(wanted: p.TargetSet, units: LengthUnit) -> str:
    target = target_of(wanted)
    depth = target.depth_below_m
    parts = [
        f"{show(abs(depth), units)} {'above' if depth < 0 else 'below'} {wanted.benchmark}",
        f"tolerance {show(target.tolerance_m, units)}",
    ]
    if target.sloping:
        parts.append(f"grade {wanted.along_percent:g} % along, {wanted.across_percent:g} % across")
    if target.floor_limit_below_m is not None:
        parts.append(f"floor limit {show(target.floor_limit_below_m, units)} below")
    return f"target {wanted.name!r}: {', '.join(parts)}"


def _changed(what: str, wanted: p.Rules | p.Estimates, now: p.Rules | p.Estimates) -> str:
    used = now.model_dump()
    changed = [
        f"{name} {value:g} (now {used[name]:g})"
        for name, value in wanted.model_dump().items()
        if value != used[name]
    ]
    return f"{what}: " + (", ".join(changed) or "as they are")


def _withdrawal(state: JobState, seq: int) -> str:
    falls, returns = (_listed(state, sorted(found - {seq})) for found in withdrawing(state, seq))
    text = f"withdraws {_named(state, seq)}"
    if falls:
        text += f"; with it goes {falls}"
    if returns:
        text += f"; back comes {returns}"
    return text


def _listed(state: JobState, seqs: list[int]) -> str:
    """Entries by name; of more than `MOST_NAMED` the latest, which change the most."""
    more = len(seqs) - MOST_NAMED
    return ", ".join(_named(state, seq) for seq in seqs[-MOST_NAMED:]) + (
        f" and {more} earlier" if more > 0 else ""
    )


def _named(state: JobState, seq: int) -> str:
    entry = state.entries[seq - 1]
    match entry.payload:
        case p.TargetSet(name=name) | p.BenchmarkDeclared(name=name) | p.TurningPointTaken(name=name):
            what = f"{WHAT[entry.type]} {name!r}"
        case p.SetupBegun(machine=machine, attachment=attachment):
            what = f"setup of {machine!r} with {attachment!r}"
        case p.AttachmentChanged(attachment=attachment):
            what = f"attachment {attachment!r}"
        case _:
            what = WHAT[entry.type]
    return f"{what} (entry {seq})"
