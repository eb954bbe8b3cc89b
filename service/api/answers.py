"""Response models of the job routes, and how a state becomes one. Every length is in metres and as people write it."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Annotated, Any, Literal

from pydantic import Field
from typing_extensions import TypedDict

from kinematics.arm import Pose
from kinematics.grade import Target
from kinematics.levelling import Known
from kinematics.sensitivity import coupler_play
from kinematics.stations import Anchor
from kinematics.units import LengthUnit, percent_from_ratio, show
from service.book import payloads as p
from service.book.keeper import Recorded
from service.book.requests import Units
from service.book.state import Entry, JobState, Named, taking_effect, target_of, void_of
from service.strict import Strict

from .entry_words import words

ADVISORY = (
    "Advisory only: check against a rod at the start of the shift, after any knock and before concrete. "
    "Local codes, the engineer and the competent person decide. See /guide/cautions."
)


class Length(TypedDict):
    """A length or an elevation. A plain dictionary: an answer has many, and a model for each would double its cost."""

    m: Annotated[float, Field(description="Metres, unrounded.", examples=[-1.4224])]
    shown: Annotated[
        str, Field(description="In the units asked for, rounded as people write it.", examples=["-4.67 ft"])
    ]


class Reference(Strict):
    """A profile revision."""

    id: str
    revision: str = Field(description="Content hash; a revision never changes.")


class PointOut(Strict):
    """A benchmark or turning point."""

    name: str
    elevation: Length
    uncertainty: Length | None = Field(
        description="Standard uncertainty that a benchmark was given; null where the job's estimates hold, and for "
        "turning points."
    )
    hangs_on: list[int] = Field(description="Entries of the log it hangs on.")


class KnownOut(Strict):
    """An elevation that the log gives."""

    elevation: Length
    hangs_on: list[int]


class PlaneOut(KnownOut):
    """The laser plane."""

    from_strike: int = Field(
        description="The strike at whose receiver place this elevation holds; on a plane with a fall, `along_fall` "
        "counts from there."
    )


class LaserOut(Strict):
    """The laser as set up."""

    revolutions_per_s: float
    fall_percent: float


class WaitingOut(Strict):
    """An entry of somebody else, which takes effect once the seat acknowledges it."""

    seq: int
    type: str
    actor: str
    observed_utc: str
    words: str = Field(description="What would change, in a sentence.")


class JobOut(Strict):
    """What a job's log says now."""

    id: str
    name: str
    units: Units
    datum: str
    seq: int = Field(description="The latest entry; the job's ETag.")
    setup: int = Field(description="Stands so far; 0 before a machine was put on the job.")
    machine: Reference | None
    attachment: Reference | None
    laser: LaserOut | None
    rules: p.Rules
    estimates: p.Estimates
    height: KnownOut | None = Field(
        description="Elevation of the body origin (swing axis at boom foot height)."
    )
    plane: PlaneOut | None = Field(description="Elevation of the laser plane.")
    how_to_know_height: str | None = Field(description="Where there is no height: what would give it.")
    points: list[PointOut]
    targets: list[str]
    withdrawn: list[int] = Field(description="Entries that no longer count.")
    seat: str | None = Field(description="Who sits at the machine; null while none stands on the job.")
    waiting: list[WaitingOut] = Field(
        description="What the seat has still to acknowledge; none of it is in the rest."
    )


class RecordedOut(Strict):
    """A recorded entry: it is on disk."""

    seq: int
    type: str
    uuid: str
    actor: str
    observed_utc: str
    recorded_utc: str
    replayed: bool = Field(description="True where this key had been recorded before; nothing was added.")
    units: Units
    waits: bool = Field(
        description="True where it was recorded but takes effect once the seat acknowledges it."
    )
    voids: list[str] = Field(description="What this entry made void, in words; nothing while it waits.")
    hangs_on: list[int]


class ReadingOut(RecordedOut):
    """A touch, turning point or strike in the book."""

    role: str = Field(description="What it did: sets the height, sets the laser plane, checks, ...")
    elevation: Length | None = Field(
        description="Of the origin (touch, carried strike), the plane (strike) or the new point; computed, for a check."
    )
    misclosure: Length | None = Field(description="Computed minus known, where something was known before.")


class ReasonOut(Strict):
    """A reason why a strike was turned down."""

    code: str
    found: str
    expected: str
    advice: str
    numbers: dict[str, float]


class StrikeOut(ReadingOut):
    """A strike: taken, or turned down because."""

    verdict: Literal["taken", "turned down"]
    because: list[ReasonOut]
    receiver_height: Length = Field(description="Over the body origin, mean of the crossings.")
    half_difference: Length | None = Field(description="Half of up minus down: lag and dead band.")


class LayerOut(Strict):
    """A layer with the depth down to its underside."""

    name: str
    thickness: Length
    depth_below: Length


class TargetOut(Strict):
    """A line of the depth sheet."""

    name: str
    benchmark: str
    layers: list[LayerOut]
    overdig: Length
    depth_below: Length = Field(description="Sum of layers and overdig, positive down from the benchmark.")
    elevation: Length = Field(description="At station 0.")
    tolerance: Length
    floor_limit: Length | None = Field(
        description="Elevation never to be passed. No protection for utilities."
    )
    along_percent: float
    across_percent: float
    station_known: bool = Field(
        description="False where the target slopes and has no zero point here: none yet, or lapsed on a move or swing."
    )


class TargetRecordedOut(RecordedOut):
    """A target as recorded."""

    target: TargetOut


def length(metres: float, units: LengthUnit) -> Length:
    """A length for an answer."""
    return {"m": metres, "shown": show(metres, units)}


def maybe(metres: float | None, units: LengthUnit) -> Length | None:
    """A length that may not be known."""
    return None if metres is None else length(metres, units)


def play_out(found: Pose, points: Mapping[str, str], units: LengthUnit) -> dict[str, Length] | None:
    """Half the range of height that a coupler's play leaves `points` (name told -> point), None without a measure."""
    if found.assembly.attachment.coupler_play is None:
        return None
    return {name: length(coupler_play(found, point), units) for name, point in points.items()}


@lru_cache(maxsize=256)
def reference_to(named: Named) -> Reference:
    """A profile revision for an answer; frozen, so that answers may share it."""
    return Reference(id=named.id, revision=named.hash)


def reference(named: Named | None) -> Reference | None:
    """A profile revision that may not be there yet."""
    return None if named is None else reference_to(named)


def job_out(job: str, state: JobState) -> JobOut:
    """The state of a job."""
    book, units = state.book, state.units
    return JobOut(
        id=job, name=state.name, units=units.value, datum=state.datum, seq=state.seq, setup=book.setup,
        machine=reference(state.machine), attachment=reference(state.attachment),
        laser=None if book.laser is None else LaserOut(
            revolutions_per_s=book.laser.revolutions_per_s, fall_percent=percent_from_ratio(book.laser.fall)),
        rules=state.rules, estimates=state.estimates,
        height=None if book.height is None else KnownOut(
            elevation=length(book.height.elevation, units), hangs_on=sorted(book.height.hangs_on)),
        plane=None if book.plane is None else PlaneOut(
            elevation=length(book.plane.elevation, units), hangs_on=sorted(book.plane.hangs_on),
            from_strike=book.plane.at),
        how_to_know_height=None if book.height is not None else (
            "record a setup first" if book.setup == 0 else book.how_to_know_height()),
        points=[_point(state, name, known) for name, known in book.points.items()],
        targets=list(state.targets), withdrawn=sorted(state.void),
        seat=state.seat, waiting=waiting_out(state),
    )  # fmt: skip


def _point(state: JobState, name: str, known: Known) -> PointOut:
    hangs_on = sorted(known.hangs_on)
    # A benchmark hangs on its own entry alone, a turning point on a height besides.
    own = state.benchmark_uncertainty.get(hangs_on[0]) if len(hangs_on) == 1 else None
    return PointOut(
        name=name, elevation=length(known.elevation, state.units), uncertainty=maybe(own, state.units),
        hangs_on=hangs_on,
    )  # fmt: skip


def waiting_out(state: JobState) -> list[WaitingOut]:
    """What waits for the seat, in the order of the log."""
    return [
        WaitingOut(
            seq=seq, type=entry.type, actor=entry.actor, observed_utc=stamp(entry.observed_utc.isoformat()),
            words=words(state, entry),
        )
        for seq in state.waiting for entry in [state.entries[seq - 1]]
    ]  # fmt: skip


_VOIDS: dict[str, list[str]] = {
    "setup-begun": ["height", "laser plane", "strikes that wait", "stations of sloping targets"],
    "moved": ["height until the next strike or touch", "strikes that wait", "stations of sloping targets"],
    "swung": ["stations of sloping targets, where swing is not sensed", "depth below a plane with a fall"],
    "laser-set-up": ["laser plane", "strikes that wait", "depth below the plane"],
    "receiver-clamped": ["laser plane", "strikes that wait", "depth below the plane"],
    "attachment-changed": ["the choice of edge point: readouts are the new edge's"],
}


def recorded(done: Recorded) -> dict[str, Any]:
    """The fields that every recorded answer has."""
    entry = done.entry
    acting = taking_effect(entry, done.state.entries)
    voids = list(dict.fromkeys(what for each in acting for what in _VOIDS.get(each.type, [])))
    if any(isinstance(each.payload, p.Withdrawn) for each in acting):
        before = void_of(done.state.entries[:-1])
        voids += [f"entry {seq}" for seq in sorted(done.state.void - before)]
    return {
        "seq": entry.seq, "type": entry.type, "uuid": entry.uuid, "actor": entry.actor,
        "observed_utc": stamp(entry.observed_utc.isoformat()), "recorded_utc": stamp(entry.recorded_utc.isoformat()),
        "replayed": done.replayed, "units": done.state.units.value, "waits": entry.payload.waits,
        "voids": voids, "hangs_on": sorted(entry.payload.hangs_on),
    }  # fmt: skip


def stamp(iso: str) -> str:
    """UTC written with Z."""
    return iso.replace("+00:00", "Z")


def reading_out(done: Recorded) -> ReadingOut:
    """The answer to a touch or turning point."""
    payload, units = done.entry.payload, done.state.units
    if isinstance(payload, p.TurningPointTaken):
        return ReadingOut(
            **recorded(done),
            role="sets a turning point",
            elevation=length(payload.elevation_m, units),
            misclosure=None,
        )
    assert isinstance(payload, p.Touched)  # noqa: S101
    return ReadingOut(
        **recorded(done), role=payload.role, elevation=maybe(payload.elevation_m, units),
        misclosure=maybe(payload.misclosure_m, units),
    )  # fmt: skip


def strike_out(done: Recorded) -> StrikeOut:
    """The answer to a strike."""
    payload, units = done.entry.payload, done.state.units
    assert isinstance(payload, p.Struck)  # noqa: S101
    return StrikeOut(
        **recorded(done), role=payload.role, elevation=maybe(payload.elevation_m, units),
        misclosure=maybe(payload.misclosure_m, units), verdict="taken" if payload.taken else "turned down",
        because=[ReasonOut(**reason.model_dump()) for reason in payload.because],
        receiver_height=length(payload.receiver_height_m, units),
        half_difference=maybe(payload.half_difference_m, units),
    )  # fmt: skip


def target_out(state: JobState, name: str) -> TargetOut:
    """A line of the depth sheet."""
    return _line(state, state.targets[name].target, state.anchors.get(name))


def target_recorded(done: Recorded) -> TargetRecordedOut:
    """The answer to a target; one that waits is not on the depth sheet, and nobody can have touched its zero point."""
    payload = done.entry.payload
    assert isinstance(payload, p.TargetSet)  # noqa: S101
    line = (
        _line(done.state, target_of(payload), None) if payload.waits else target_out(done.state, payload.name)
    )
    return TargetRecordedOut(**recorded(done), target=line)


def _line(state: JobState, target: Target, anchored: tuple[int, Anchor] | None) -> TargetOut:
    units = state.units
    benchmark = state.book.points[target.benchmark].elevation
    depth = 0.0
    layers = []
    for layer in target.layers:
        depth += layer.thickness_m
        layers.append(LayerOut(
            name=layer.name, thickness=length(layer.thickness_m, units), depth_below=length(depth, units)
        ))  # fmt: skip
    depth = target.depth_below_m
    below = target.floor_limit_below_m
    limit = None if below is None else benchmark - below
    return TargetOut(
        name=target.name, benchmark=target.benchmark, layers=layers, overdig=length(target.overdig_m, units),
        depth_below=length(depth, units), elevation=length(benchmark - depth, units),
        tolerance=length(target.tolerance_m, units), floor_limit=maybe(limit, units),
        along_percent=target.along_percent, across_percent=target.across_percent,
        station_known=not target.sloping or (anchored is not None and _holds(state, *anchored)),
    )  # fmt: skip


def _holds(state: JobState, seq: int, known: Anchor) -> bool:
    return known.setup == state.book.setup and (known.swing_sensed or state.last_swing < seq)


def entry_status(entry: Entry, state: JobState, withdrawn: frozenset[int]) -> str:
    """counts, waits, withdrawn, void (hung on a withdrawn entry) or turned down."""
    if entry.seq in withdrawn:
        return "withdrawn"
    if entry.seq in state.void:
        return "void"
    if entry.seq in state.waiting:
        return "waits"
    if isinstance(entry.payload, p.Struck) and not entry.payload.taken:
        return "turned down"
    return "counts"
