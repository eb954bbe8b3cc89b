"""What a log says now: a fold over its entries, leaving out what was withdrawn and what hung on it."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType
from typing import Any

from kinematics.errors import Fault, refuse
from kinematics.estimates import Estimates
from kinematics.grade import Layer, Target
from kinematics.levelling import Book, Laser, void_entries
from kinematics.machine import Point
from kinematics.stations import Anchor
from kinematics.strikes import StrikeRules
from kinematics.units import LengthUnit, ratio_from_percent, to_metres

from . import payloads as p

# Far beyond any site and any datum, far within what lengths are written for.
HIGHEST_M = 100_000.0


@dataclass(frozen=True, slots=True)
class Entry:
    """One event of a job, read."""

    seq: int
    type: str
    payload: p.Payload
    uuid: str
    actor: str
    observed_utc: datetime
    recorded_utc: datetime


@dataclass(frozen=True, slots=True)
class Hung:
    """A target and the entries it hangs on."""

    target: Target
    seq: int
    hangs_on: frozenset[int]


@dataclass(frozen=True, slots=True)
class Named:
    """A profile revision by id and content hash."""

    id: str
    hash: str


@dataclass(frozen=True, slots=True)
class Stand:
    """What stands on a job: profile revisions, and the receiver's place (m) where that is not the profile's."""

    machine: Named
    attachment: Named
    receiver_place: Point | None


@dataclass(frozen=True, slots=True)
class Observation:
    """A touch or strike that something known rests on: what it was measured with, the stand's number, point and poses."""

    stand: Stand
    setup: int
    point: str
    poses: tuple[p.PoseRecord, ...]


def _empty() -> Mapping[Any, Any]:
    return MappingProxyType({})


@dataclass(frozen=True, slots=True)
class JobState:
    """Everything a readout needs to know of a job, and the entries it was folded from.

    `seat`: who sits at the machine, None without one. `waiting`: entries that the seat has still to
    acknowledge, in order; nothing of them is in the other fields. `benchmark_uncertainty`: standard (m), by the entry
    of a benchmark that was given its own. `observations`: by entry, what heights, plane and points rest on.
    """

    name: str = ""
    units: LengthUnit = LengthUnit.M
    datum: str = ""
    rules: p.Rules = field(default_factory=p.Rules)
    estimates: p.Estimates = field(default_factory=p.Estimates)
    book: Book = field(default_factory=Book)
    machine: Named | None = None
    attachment: Named | None = None
    receiver_place: Point | None = None
    benchmark_uncertainty: Mapping[int, float] = field(default_factory=_empty)
    observations: Mapping[int, Observation] = field(default_factory=_empty)
    targets: Mapping[str, Hung] = field(default_factory=_empty)
    anchors: Mapping[str, tuple[int, Anchor]] = field(default_factory=_empty)
    last_swing: int = 0
    lean: float | None = None
    seat: str | None = None
    waiting: tuple[int, ...] = ()
    entries: tuple[Entry, ...] = ()
    void: frozenset[int] = frozenset()

    @property
    def seq(self) -> int:
        """The number of the latest entry; the job's ETag."""
        return self.entries[-1].seq if self.entries else 0

    @property
    def stand(self) -> Stand | None:
        """What stands on it now."""
        if self.machine is None or self.attachment is None:
            return None
        return Stand(self.machine, self.attachment, self.receiver_place)

    @property
    def strike_rules(self) -> StrikeRules:
        """The rules in metres and radians."""
        r = self.rules
        speed, surprise, up_down = (
            to_metres(value, LengthUnit.MM)
            for value in (r.speed_mm_per_revolution, r.surprise_mm, r.up_down_mm)
        )
        return StrikeRules(
            speed, math.radians(r.mast_deg), math.radians(r.steady_deg), r.steady_s, surprise, up_down
        )

    @property
    def surroundings(self) -> Estimates:
        """The estimates in metres, radians and kelvins."""
        e = self.estimates
        contact, benchmark, receiver, distance = (
            to_metres(value, LengthUnit.MM)
            for value in (e.contact_mm, e.benchmark_mm, e.receiver_mm, e.distance_mm)
        )
        return Estimates(
            contact, benchmark, receiver, math.radians(e.laser_level_arcsec / 3600.0), e.places_apart_m,
            e.laser_distance_m, e.temperature_k, distance,
        )  # fmt: skip


def fold(entries: Sequence[Entry]) -> JobState:
    """The state after these entries, in order of seq."""
    state = JobState()
    for _, state in steps(entries):  # noqa: B007
        pass
    return replace(state, entries=tuple(entries), void=void_of(entries))


def steps(entries: Sequence[Entry]) -> Iterator[tuple[Entry, JobState]]:
    """Each entry with the state after it; one that no longer counts leaves the state as it was."""
    void = void_of(entries)
    state = JobState()
    for entry in entries:
        if entry.seq not in void:
            state = _happen(state, entry, taking_effect(entry, entries), void)
        yield entry, state


def extend(state: JobState, entries: Iterable[Entry]) -> JobState:
    """The state after further entries; a withdrawal that takes effect folds the whole log again."""
    for entry in entries:
        acting = taking_effect(entry, state.entries)
        if any(isinstance(each.payload, p.Withdrawn) for each in acting):
            state = fold((*state.entries, entry))
        else:
            state = replace(_happen(state, entry, acting, state.void), entries=(*state.entries, entry))
    return state


def taking_effect(entry: Entry, entries: Sequence[Entry]) -> tuple[Entry, ...]:
    """What takes effect at an entry of the log `entries`, void or not: itself, nothing where it waits, or what it
    acknowledges, as if its own actor had recorded that here."""
    if entry.payload.waits:
        return ()
    if isinstance(entry.payload, p.Acknowledged):
        # Seqs count from 1 without a gap.
        return tuple(replace(entries[seq - 1], actor=entry.actor) for seq in entry.payload.seqs)
    return (entry,)


def _happen(state: JobState, entry: Entry, acting: tuple[Entry, ...], void: frozenset[int]) -> JobState:
    if entry.payload.waits:
        return replace(state, waiting=(*state.waiting, entry.seq))
    for each in acting:
        if each.seq not in void:
            state = _apply(state, each)
    if isinstance(entry.payload, p.Acknowledged):
        seqs = entry.payload.seqs
        state = replace(state, waiting=tuple(seq for seq in state.waiting if seq not in seqs))
    return state


def acknowledged(entries: Sequence[Entry]) -> dict[int, tuple[int, int]]:
    """Acknowledged entries, and where they took effect: (acknowledgement, position in it)."""
    return {
        seq: (e.seq, i)
        for e in entries
        if e.type == "acknowledged" and isinstance(e.payload, p.Acknowledged)
        for i, seq in enumerate(e.payload.seqs)
    }


def places(entries: Sequence[Entry]) -> dict[int, tuple[int, int]]:
    """Where each entry took effect, to be compared: (entry, position in it), its own place or an acknowledgement's.

    What waits, was declined, or did no more than decline, or undo that, is not there: it never took effect.
    """
    found = acknowledged(entries)
    for e in entries:
        undone = _undone_by(e)
        if undone is not None and undone not in found:
            found.pop(e.seq, None)
        elif not e.payload.waits:
            found[e.seq] = (e.seq, 0)
    return found


def _undone_by(entry: Entry) -> int | None:
    # The type first: isinstance of a pydantic model takes half a microsecond to say no, and a log is long.
    return entry.payload.seq if entry.type == "withdrawn" and isinstance(entry.payload, p.Withdrawn) else None


def void_of(entries: Sequence[Entry], but: int = 0, also: Iterable[int] = ()) -> frozenset[int]:
    """Entries that no longer count: withdrawn, or hung on one that was.

    `but`: a withdrawal to leave out; `also`: withdrawals that wait, to be taken as acknowledged.
    """
    given = {*acknowledged(entries), *also}
    withdrawals = [
        (e.seq, undone)
        for e in entries
        if (undone := _undone_by(e)) is not None and e.seq != but and (not e.payload.waits or e.seq in given)
    ]
    if not withdrawals:
        return frozenset()
    return void_entries(withdrawals, {e.seq: e.payload.hangs_on for e in entries})


def believable(state: JobState) -> None:
    """Raise `Refused` "length-absurd" where the log would give an elevation that no site has."""
    book = state.book
    named = [("the machine", book.height), ("the laser plane", book.plane), *book.points.items()]
    refuse(
        Fault("length-absurd", "", f"{known.elevation:.0f} m for {name}", f"within {HIGHEST_M / 1000:.0f} km of zero",
              "check the unit and the decimal point")
        for name, known in named
        if known is not None and not abs(known.elevation) <= HIGHEST_M
    )  # fmt: skip


def _apply(state: JobState, entry: Entry) -> JobState:
    seq, book = entry.seq, state.book
    match entry.payload:
        case p.JobOpened(name=name, units=units, datum=datum) as first:
            return replace(
                state, name=name, units=LengthUnit(units), datum=datum, rules=first.rules,
                estimates=first.estimates,
            )  # fmt: skip
        case p.RulesSet(rules=rules):
            return replace(state, rules=rules)
        case p.EstimatesSet(estimates=estimates):
            return replace(state, estimates=estimates)
        case p.BenchmarkDeclared(name=name, elevation_m=elevation, uncertainty_m=uncertainty):
            given = {} if uncertainty is None else {seq: uncertainty}
            own = MappingProxyType({**state.benchmark_uncertainty, **given})
            return replace(state, book=book.declared(seq, name, elevation), benchmark_uncertainty=own)
        case p.SetupBegun() as begun:
            return replace(
                state, book=book.placed(), receiver_place=None, seat=state.seat or entry.actor,
                machine=Named(begun.machine, begun.machine_hash),
                attachment=Named(begun.attachment, begun.attachment_hash),
            )  # fmt: skip
        case p.AttachmentChanged(attachment=attachment, attachment_hash=digest):
            return replace(state, attachment=Named(attachment, digest))
        case p.Moved():
            return replace(state, book=book.moved())
        case p.Swung():
            return replace(state, book=book.swung(), last_swing=seq)
        case p.LaserSetUp(revolutions_per_s=turns, fall_percent=fall):
            return replace(state, book=book.laser_set_up(Laser(turns, ratio_from_percent(fall))))
        case p.ReceiverClamped(place_m=place):
            return replace(state, book=book.receiver_clamped(), receiver_place=place)
        case p.SeatTaken():
            # Without a machine there is no seat: the setup it was taken under was withdrawn.
            return state if state.machine is None else replace(state, seat=entry.actor)
        case _:
            return _apply_reading(state, entry)


def _apply_reading(state: JobState, entry: Entry) -> JobState:
    seq, book = entry.seq, state.book
    match entry.payload:
        case p.Touched(
            point=point,
            edge_height_m=height,
            purpose=purpose,
            gives_plane=gives_plane,
            pose=pose,
            edge_point=edge,
        ):
            touched, _ = book.touched(seq, point, height, check=purpose == "check", gives_plane=gives_plane)
            lean = _lean(pose) if purpose == "reference" else state.lean
            return _observed(replace(state, book=touched, lean=lean), seq, edge, (pose,))
        case p.TurningPointTaken(name=name, edge_height_m=height, edge_point=edge, pose=pose):
            taken = book.turning_point(seq, name, height)[0]
            return _observed(replace(state, book=taken), seq, edge, (pose,))
        case p.Struck(taken=True, receiver_height_m=height, along_fall_m=along, poses=poses):
            struck, _ = book.struck_by_laser(seq, height, along)
            carried = poses and struck.height != book.height
            lean = _lean(poses[0]) if carried else state.lean
            return _observed(replace(state, book=struck, lean=lean), seq, "receiver", poses)
        case p.TargetSet() as wanted:
            hung = Hung(target_of(wanted), seq, frozenset(wanted.hangs_on) | {seq})
            return replace(state, targets=MappingProxyType({**state.targets, wanted.name: hung}))
        case p.StationTouched() as touched:
            anchor = Anchor(
                touched.setup, touched.x_m, touched.y_m, touched.direction_rad, touched.station_m,
                touched.plumb, touched.pose.swing_deg is not None,
            )  # fmt: skip
            return replace(state, anchors=MappingProxyType({**state.anchors, touched.target: (seq, anchor)}))
        case _:
            return state


def _observed(state: JobState, seq: int, point: str, poses: tuple[p.PoseRecord, ...]) -> JobState:
    """The state with one more observation, and without those that nothing rests on any more."""
    stand, book = state.stand, state.book
    if stand is None or not poses:
        return state
    every = {**state.observations, seq: Observation(stand, book.setup, point, poses)}
    known = (book.height, book.plane, *book.points.values())
    rests = {entry for each in known if each is not None for entry, _ in each.terms}
    rests |= {strike.seq for strike in (book.waiting, book.struck) if strike is not None}
    kept = {entry: one for entry, one in every.items() if entry in rests}
    return replace(state, observations=MappingProxyType(kept))


def _lean(pose: p.PoseRecord) -> float:
    """Total tilt (rad) of the body; constant while it only swings."""
    return math.acos(math.cos(math.radians(pose.pitch_deg)) * math.cos(math.radians(pose.roll_deg)))


def target_of(wanted: p.TargetSet) -> Target:
    """The target a payload describes."""
    return Target(
        name=wanted.name,
        benchmark=wanted.benchmark,
        layers=tuple(Layer(layer.name, layer.thickness_m) for layer in wanted.layers),
        overdig_m=wanted.overdig_m,
        tolerance_m=wanted.tolerance_m,
        floor_limit_below_m=wanted.floor_limit_below_m,
        along_percent=wanted.along_percent,
        across_percent=wanted.across_percent,
    )
