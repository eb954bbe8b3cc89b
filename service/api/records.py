"""What is recorded on a job: benchmarks, setups, touches, strikes, moves, targets, withdrawals.

Each is answered only when it is on disk. Send an Idempotency-Key to make a repeat harmless.
"""

from fastapi import APIRouter

from service.book import decide, seat
from service.book import payloads as p
from service.book import requests as q
from service.book.keeper import Recorded
from service.book.state import JobState

from . import answers as a
from .door import ProfilesDep, RecorderDep
from .jobs import JobId
from .still import StreamDep

router = APIRouter(prefix="/v1/jobs/{job}", tags=["records"])


def _plain(done: Recorded) -> a.RecordedOut:
    return a.RecordedOut(**a.recorded(done))


@router.post("/benchmarks", status_code=201)
def declare_benchmark(job: JobId, asked: q.BenchmarkIn, record: RecorderDep) -> a.RecordedOut:
    """Declare a point of known elevation, and how well it is known. Its name must be free."""
    return _plain(record(job, asked, lambda state, _seq: decide.benchmark(state, asked)))


@router.post("/setups", status_code=201)
def begin_setup(job: JobId, asked: q.SetupIn, record: RecorderDep, profiles: ProfilesDep) -> a.RecordedOut:
    """Put a machine with its attachment on the job. The pair must assemble over its whole stroke."""
    record.caller.needs_machine(asked.machine, "machine")
    machine, attachment, _ = profiles.pair(asked.machine, asked.attachment)
    begun = p.SetupBegun(
        machine=machine.id, machine_hash=machine.hash, attachment=attachment.id,
        attachment_hash=attachment.hash, note=asked.note,
    )  # fmt: skip
    return _plain(record(job, asked, lambda _state, _seq: begun))


@router.post("/attachment-changes", status_code=201)
def change_attachment(
    job: JobId, asked: q.AttachmentChangeIn, record: RecorderDep, profiles: ProfilesDep
) -> a.RecordedOut:
    """Change the attachment: keeps the height, readouts are the new edge's."""
    attachment = profiles.latest("attachment", asked.attachment)

    def change(state: JobState, _seq: int) -> p.AttachmentChanged:
        state.book.needs_setup()
        profiles.fitted(state.machine, attachment)
        return p.AttachmentChanged(attachment=attachment.id, attachment_hash=attachment.hash, note=asked.note)

    return _plain(record(job, asked, change))


@router.post("/moves", status_code=201, summary="The tracks moved")
def move(job: JobId, asked: q.MoveIn, record: RecorderDep) -> a.RecordedOut:
    """The tracks moved: no elevation until the next strike or touch."""

    def moved(state: JobState, _seq: int) -> p.Moved:
        state.book.needs_setup()
        return p.Moved(note=asked.note)

    return _plain(record(job, asked, moved))


@router.post("/swings", status_code=201, summary="The body swung")
def swing(job: JobId, asked: q.SwingIn, record: RecorderDep) -> a.RecordedOut:
    """The body swung: stations lapse where swing is not sensed; the height stays."""

    def swung(state: JobState, _seq: int) -> p.Swung:
        state.book.needs_setup()
        return p.Swung(note=asked.note)

    return _plain(record(job, asked, swung))


@router.post("/laser-setups", status_code=201)
def set_up_laser(job: JobId, asked: q.LaserIn, record: RecorderDep) -> a.RecordedOut:
    """The laser was set up, reset or knocked: the plane is void, the height stays."""
    laser = p.LaserSetUp(
        revolutions_per_s=asked.revolutions_per_s, fall_percent=asked.fall_percent, note=asked.note
    )
    return _plain(record(job, asked, lambda _state, _seq: laser))


@router.post("/receiver-clamps", status_code=201)
def clamp_receiver(job: JobId, asked: q.ReceiverIn, record: RecorderDep) -> a.RecordedOut:
    """The receiver was clamped elsewhere on the stick: the plane is void."""
    return _plain(record(job, asked, lambda state, _seq: decide.receiver(state, asked, record.keeper.fit)))


@router.post("/touches", status_code=201, summary="The edge touched a known point")
def touch(job: JobId, asked: q.TouchIn, record: RecorderDep, stream: StreamDep) -> a.ReadingOut:
    """The chosen edge point rests on a benchmark or turning point."""
    fit, read = record.keeper.fit, stream.complete(job, asked)
    return a.reading_out(
        record(job, asked, lambda state, seq: decide.touch(state, seq, read.on(state), fit), read.asked)
    )


@router.post("/turning-points", status_code=201)
def take_turning_point(
    job: JobId, asked: q.TurningPointIn, record: RecorderDep, stream: StreamDep
) -> a.ReadingOut:
    """The chosen edge point rests on a firm new point: it gets an elevation that survives a move."""
    fit, read = record.keeper.fit, stream.complete(job, asked)
    return a.reading_out(
        record(
            job, asked, lambda state, seq: decide.turning_point(state, seq, read.on(state), fit), read.asked
        )
    )


@router.post("/strikes", status_code=201, summary="The receiver struck the laser plane")
def strike(job: JobId, asked: q.StrikeIn, record: RecorderDep) -> a.StrikeOut:
    """The receiver crossed the laser plane. Taken or turned down because; either way it is on record."""
    fit = record.keeper.fit
    return a.strike_out(record(job, asked, lambda state, seq: decide.strike(state, seq, asked, fit)))


@router.post("/targets", status_code=201)
def set_target(job: JobId, asked: q.TargetIn, record: RecorderDep) -> a.TargetRecordedOut:
    """Add a line to the depth sheet: layers below a benchmark, overdig, tolerance, grade, floor limit."""
    name = record.caller.name
    return a.target_recorded(
        record(job, asked, lambda state, _seq: decide.target(state, asked, seat.names_taken(state, name)))
    )


@router.post("/stations", status_code=201)
def touch_station(job: JobId, asked: q.StationIn, record: RecorderDep, stream: StreamDep) -> a.RecordedOut:
    """Touch a known station of a sloping target: its zero and direction hold until a move or unsensed swing."""
    fit, read = record.keeper.fit, stream.complete(job, asked)
    return _plain(
        record(job, asked, lambda state, _seq: decide.station(state, read.on(state), fit), read.asked)
    )


@router.post("/rules", status_code=201)
def set_rules(job: JobId, asked: q.RulesIn, record: RecorderDep) -> a.RecordedOut:
    """New rules for strikes and freshness; they judge what comes after them."""
    return _plain(record(job, asked, lambda _state, _seq: p.RulesSet(rules=asked.rules, note=asked.note)))


@router.post("/estimates", status_code=201)
def set_estimates(job: JobId, asked: q.EstimatesIn, record: RecorderDep) -> a.RecordedOut:
    """New estimates of the surroundings: they say how far readouts are to be trusted, and change no elevation."""
    made = p.EstimatesSet(estimates=asked.estimates, note=asked.note)
    return _plain(record(job, asked, lambda _state, _seq: made))


@router.post("/withdrawals", status_code=201, summary="Undo an entry and what hangs on it")
def withdraw(job: JobId, asked: q.WithdrawalIn, record: RecorderDep) -> a.RecordedOut:
    """Undo an entry: it and what hangs on it are marked; nothing is deleted. A withdrawal can be withdrawn."""
    return _plain(record(job, asked, lambda state, _seq: decide.withdrawal(state, asked)))


@router.post("/seats", status_code=201)
def take_seat(job: JobId, asked: q.SeatIn, record: RecorderDep) -> a.RecordedOut:
    """Sit at the machine: what others withdraw, or change of targets, profiles, rules and estimates, waits for you."""
    return _plain(record(job, asked, lambda state, _seq: seat.take(state, asked)))


@router.post("/acknowledgements", status_code=201, summary="Put into effect what waits for the seat")
def acknowledge(job: JobId, asked: q.AcknowledgementIn, record: RecorderDep) -> a.RecordedOut:
    """What others recorded takes effect here, in the order given, all of it or nothing. Only the seat may."""

    def acknowledged(state: JobState, _seq: int) -> p.Acknowledged:
        found = seat.acknowledgement(state, asked, record.caller.name, record.keeper.fit)
        for i, seq in enumerate(found.seqs):
            begun = state.entries[seq - 1].payload
            if isinstance(begun, p.SetupBegun):
                record.caller.needs_machine(begun.machine, f"seqs.{i}")
        return found

    return _plain(record(job, asked, acknowledged))
