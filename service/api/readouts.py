"""Readouts: cut or fill at three edge points, what it hangs on, and why there is no number when there is none."""

import math
from collections.abc import Iterable, Iterator
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field
from typing_extensions import TypedDict

from kinematics.arm import Pose
from kinematics.corrections import Correction, TiltCorrection
from kinematics.errors import Fault, Refused
from kinematics.parameters import EDGE_POINTS
from kinematics.readout import LINES, Advised, Aim, PointReadout, Readout, fall_of, readout
from kinematics.units import LengthUnit, percent_from_ratio
from service.access.caller import LOCAL, Caller, Right
from service.book import decide, seat
from service.book import requests as q
from service.book.keeper import Keeper
from service.book.posing import swing_of
from service.book.seen import observed, taken_since
from service.book.state import JobState
from service.book.trusting import Chain, chain_of, sets_of
from service.strict import Strict

from .answers import ADVISORY, Length, Reference, length, maybe, play_out, reference, waiting_out
from .corrections import CorrectionOut, TiltOut, correction_out, part, size, tilt_out
from .door import CallerDep, KeeperDep
from .entry_words import revision
from .jobs import JobId
from .trust import Floats, Judged, TrustOut, judge
from .warning_words import worded

router = APIRouter(prefix="/v1/jobs/{job}", tags=["readouts"])
Line = Literal["edge", "teeth"]
EdgePoint = Literal["left", "centre", "right"]


class CutFillOut(Strict):
    """Against the target, in words first."""

    word: str = Field(description="cut (edge above target, must go down), fill (below it), or on grade.")
    amount: Length = Field(description="Never negative.")
    above_target: Length = Field(description="Edge minus target: positive to cut, negative to fill.")
    within: Length | None = Field(description="Half its 95 % coverage interval, either way; see `trust`.")
    below_floor_limit: bool


class EdgeOut(Strict):
    """One edge point; null where it cannot be said."""

    elevation: Length | None
    elevation_within: Length | None = Field(
        description="Half its 95 % coverage interval, either way: in the job's datum, the benchmark's own included."
    )
    below_plane: Length | None = Field(description="Depth under the struck laser plane.")
    target_elevation: Length | None
    cut_fill: CutFillOut | None
    station: Length | None = Field(description="Along a sloping target.")


class WhyOut(Strict):
    """A reason or a warning."""

    code: str
    found: str
    expected: str
    advice: str


class ThenOut(TypedDict):
    """What would be too deep once a correction is made."""

    code: Annotated[str, Field(description="past-target or below-floor-limit.")]
    words: str


class AdvisedOut(CorrectionOut):
    """A correction to the target."""

    warnings: Annotated[
        list[ThenOut],
        Field(
            description="What would stand more than the tolerance below the target, or below the floor limit."
        ),
    ]


class AdvisedTiltOut(TiltOut):
    """The tilt for the target's cross-slope."""

    lowest_point: str
    lowest_below: Annotated[
        Length, Field(description="Of the target where it then stands; above it: negative.")
    ]
    warnings: list[ThenOut]


class ReadoutOut(Strict):
    """What the operator is told."""

    job: str
    seq: int = Field(description="The state of the log it was computed from.")
    units: q.Units
    machine: Reference | None
    attachment: Reference | None
    seat: str | None = Field(description="Who sits at the machine; what others change waits for them.")
    target: str | None
    line: str
    points: dict[str, EdgeOut] = Field(description="left, centre and right; the bucket's own left and right.")
    lowest_point: str
    lowest_elevation: Length | None
    below_floor_limit: bool
    heel_clearance: Length = Field(
        description="Heel over edge on the side where it is least; negative: it rubs."
    )
    edge_play: dict[str, Length] | None = Field(
        description="Half the range of height that the coupler's play leaves left, centre and right of the line read, "
        "so that each elevation is that much uncertain either way; null where no play was measured."
    )
    cross_slope_percent: float = Field(description="Positive with the bucket's own right corner higher.")
    cross_slope_within_percent: float | None = Field(
        description="Half its 95 % coverage interval, either way."
    )
    target_cross_slope_percent: float | None = Field(description="The target's along this edge.")
    floor_angle_deg: float = Field(description="0 flat, positive with the heel above the edge.")
    reach: Length = Field(description="Level distance of the edge centre ahead of the swing axis.")
    lateral: Length = Field(description="Level distance of the edge centre to the left.")
    past_square: bool
    edge_point: EdgePoint = Field(
        description="As asked for: which point of the line the corrections are for."
    )
    corrections: list[AdvisedOut] = Field(
        description="Advice for the person at the levers, never a command: how far one joint alone would have to move to "
        "bring the point `edge_point` of the line to the target. Empty where there is no cut or fill there."
    )
    tilt_for_cross_slope: AdvisedTiltOut | None = Field(
        description="What the tilt alone would do for the target's cross-slope; null without a tilt axis or cut and fill."
    )
    trust: TrustOut | None = Field(
        description="How far to trust the middle of the line; null without a height, and where a linkage stands at its "
        "dead centre: `no_number_because` then says so."
    )
    no_number_because: list[WhyOut]
    warnings: list[WhyOut]
    hangs_on: list[int] = Field(description="Entries of the log the elevations hang on.")
    advisory: str


@router.post("/readouts", summary="Elevation and cut or fill of a pose")
def read(job: JobId, asked: q.ReadoutIn, keeper: KeeperDep, caller: CallerDep) -> ReadoutOut:
    """Elevation, cut or fill for a pose. Computed, not recorded."""
    state = keeper.state(job)
    now = keeper.now()
    when = observed(asked.observed_at, now, state.rules.age_limit_s)
    taken_since(state, when, now, state if asked.observed_at is None else None)
    decide.same_units(state, asked.units)
    found = decide.posed(keeper.fit(state), asked.pose, "pose")
    aim = aim_of(state, asked.target, asked.station)
    more = (*elsewhere(state, caller), *changes(job, state, keeper))
    chain = chain_of(state, sets_of(keeper, state), aim)
    return readout_out(
        job,
        state,
        found,
        aim,
        line=asked.line,
        point=asked.edge_point,
        target=asked.target,
        swing=swing_of(asked.pose),
        more=more,
        chain=chain,
    )


def readout_out(
    job: str, state: JobState, found: Pose, aim: Aim | None, *, line: Line, point: EdgePoint,
    target: str | None, chain: Chain, said: Floats | None = None, swing: float | None = None, more: Iterable[Fault] = (),
) -> ReadoutOut:  # fmt: skip
    """The readout of a solved pose, with `more` to be warned of; `point`: of the line, which the corrections are for;
    `chain`: what it rests on, `said` what the sensors said, where they did. `Refused` "no-such-point" at `line`."""
    told = read_line(found, state, aim, line, swing, point)
    units = state.units
    judged, why_not = judge(
        chain,
        found,
        line,
        fall_of(found, state.book, aim, swing),
        said,
        cut=told.points["centre"].cut_fill is not None,
    )
    return ReadoutOut(
        job=job, seq=state.seq, units=units.value, machine=reference(state.machine),
        attachment=reference(state.attachment), seat=state.seat, target=target, line=line,
        points={name: _edge(name, point, state, judged) for name, point in told.points.items()},
        lowest_point=told.lowest[0], lowest_elevation=maybe(told.lowest[1], units),
        below_floor_limit=told.below_floor_limit, **_shape(found, state),
        cross_slope_within_percent=None if judged is None else judged.slope_within,
        trust=None if judged is None else judged.out(units),
        edge_play=play_out(found, dict(zip(EDGE_POINTS, LINES[line], strict=True)), units),
        target_cross_slope_percent=_percent(told.target_cross_slope),
        edge_point=point,
        corrections=[
            _advised(each, LINES[line][EDGE_POINTS.index(point)], units) for each in told.corrections
        ],
        tilt_for_cross_slope=None if told.tilt is None else _tilt(told.tilt, units),
        no_number_because=[why(f) for f in (*told.why_not, *why_not)],
        warnings=[why(f) for f in (*(worded(each, units) for each in told.warnings), *more)],
        hangs_on=sorted(told.hangs_on), advisory=ADVISORY,
    )  # fmt: skip


def read_line(
    found: Pose, state: JobState, aim: Aim | None, line: Line, swing: float | None, point: EdgePoint = "centre"
) -> Readout:  # fmt: skip
    """What is told of a line of the bucket, corrections of its `point`. `Refused` "no-such-point" at `line`."""
    try:
        return readout(found, state.book, aim, line=line, point=point, swing=swing, lean=state.lean)
    except Refused as refused:
        raise Refused(
            Fault(f.code, "line", "teeth on a bucket without them", f.expected, f.advice)
            for f in refused.faults
        ) from None


def elsewhere(state: JobState, caller: Caller) -> Iterator[Fault]:
    """Whoever may record reads while somebody else sits at the machine: nothing would wait for them."""
    if caller is LOCAL or state.seat in {None, caller.name} or not caller.may(Right.RECORD):
        return
    yield Fault(
        "not-at-the-seat", "", f"{state.seat!r} sits at the machine since entry {seat.since(state)}",
        "the one who digs by this readout at the seat", "take the seat (POST seats) if it is you at the levers",
    )  # fmt: skip


def changes(job: str, state: JobState, keeper: Keeper, *, seen: bool = False) -> Iterator[Fault]:
    """What may change under whoever reads this: what waits for the seat, profiles measured anew.

    `seen`: as it was last looked at, for streams, which wait for no database.
    """
    who = "whoever takes the seat" if state.seat is None else f"{state.seat!r} at the seat"
    for each in waiting_out(state):
        yield Fault(
            "waits-for-the-seat", "", f"{each.words}, by {each.actor!r}", f"an acknowledgement by {who}",
            f"look at it, then POST /v1/jobs/{job}/acknowledgements for entry {each.seq}, together with "
            "what belongs to it (a withdrawal and what is set anew: both, in this order); until then nothing changes",
        )  # fmt: skip
    for kind, used, latest in keeper.later_revisions(state, seen=seen):
        yield Fault(
            "later-revision", "", f"{kind} {used.id!r} in {revision(used.hash)}, as it was put on the job",
            f"{revision(latest.hash)}, the latest on record",
            "the job stays with what it was set up with: see what was measured anew, then record a setup or an "
            "attachment change at the seat",
        )  # fmt: skip


def aim_of(state: JobState, target: str | None, station: float | str | None) -> Aim | None:
    """The target a readout is to be held against, `station` in the job's units; None without one.

    Raises `Refused` "unknown-target"; at `station` "distance-useless", and what `decide.metres` refuses.
    """
    if target is None:
        if station is not None:
            raise Refused([
                Fault("distance-useless", "station", str(station), "no station without a target",
                      "name the target, or leave it out")
            ])  # fmt: skip
        return None
    hung = state.targets.get(target)
    if hung is None:
        raise Refused([decide.unknown_target(state, target)])
    seq, known = state.anchors.get(target, (0, None))
    entered = None
    if station is not None:
        if not hung.target.sloping:
            raise Refused([
                Fault("distance-useless", "station", str(station), "no station for a level target",
                      "leave it out")
            ])  # fmt: skip
        entered = decide.metres(state, station, state.units, "station")
    return Aim(
        hung.target, state.book.points[hung.target.benchmark], hung.hangs_on | ({seq} if known else frozenset()),
        known, state.last_swing > seq, entered,
    )  # fmt: skip


def _shape(found: Pose, state: JobState) -> dict[str, Any]:
    return {
        "heel_clearance": length(found.heel_clearance, state.units),
        "cross_slope_percent": percent_from_ratio(found.cross_slope),
        "floor_angle_deg": math.degrees(found.floor_angle),
        "reach": length(found.reach, state.units),
        "lateral": length(found.lateral, state.units),
        "past_square": found.past_square,
    }


def _edge(name: str, point: PointReadout, state: JobState, judged: Judged | None) -> EdgeOut:
    units = state.units
    told = point.cut_fill
    return EdgeOut(
        elevation=maybe(point.elevation, units),
        elevation_within=None if judged is None else judged.within(f"{name}_elevation_u", units),
        below_plane=maybe(point.below_plane, units),
        target_elevation=maybe(point.target, units), station=maybe(point.station, units),
        cut_fill=None if told is None else CutFillOut(
            word=told.word, amount=length(told.amount_m, units), above_target=length(told.value_m, units),
            within=None if judged is None else judged.within(f"{name}_cut_u", units),
            below_floor_limit=told.below_floor_limit),
    )  # fmt: skip


def _advised(told: Advised[Correction], point: str, units: LengthUnit) -> AdvisedOut:
    deepest = told.deepest, told.below_target
    return {
        **correction_out(told.move, point, "target", deepest, units),
        "warnings": [_then(each, units) for each in told.then],
    }


def _tilt(told: Advised[TiltCorrection], units: LengthUnit) -> AdvisedTiltOut:
    return {
        **tilt_out(told.move),
        "lowest_point": told.deepest,
        "lowest_below": length(told.below_target, units),
        "warnings": [_then(each, units) for each in told.then],
    }


def _then(warning: Fault, units: LengthUnit) -> ThenOut:
    past = warning.code == "past-target"
    below = warning.numbers["below_target_m" if past else "below_floor_limit_m"]
    goal = "target" if past else "floor limit"
    words = f"the {part(warning.where)} would then be {size(below, units)} below the {goal}"
    return {"code": warning.code, "words": words}


def _percent(ratio: float | None) -> float | None:
    return None if ratio is None else percent_from_ratio(ratio)


def why(fault: Fault) -> WhyOut:
    """A reason for an answer."""
    return WhyOut(code=fault.code, found=fault.found, expected=fault.expected, advice=fault.advice)
