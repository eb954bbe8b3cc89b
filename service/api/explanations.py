"""Why a number changed: two or more poses or readouts, and each factor's share of every difference between them."""

import math
from collections.abc import Mapping, Sequence
from functools import partial
from itertools import pairwise
from typing import Annotated

from fastapi import APIRouter
from pydantic import ConfigDict, Field
from typing_extensions import TypedDict

from kinematics.errors import Fault, Refused
from kinematics.explain import Change, Explanation, explain, explain_series
from kinematics.units import RESOLUTION_M, LengthUnit, percent_from_ratio, show
from service.book import decide
from service.book import requests as q
from service.strict import Strict, example

from .answers import ADVISORY, Length, Reference, length, reference, reference_to
from .door import KeeperDep, ProfilesDep
from .explanation_sides import PosedIn, Told, all_of, asides, of_poses, of_readout
from .explanation_words import FACTOR, change_words, reasons, slope_words, steps_of, tenths_of
from .jobs import JobId

router = APIRouter(tags=["explanations"])
MOST_SIDES = 200
_OF_POSES = {"point": "edge_point", "origin": "origin_elevation", "target": "target_elevation"}
_OF_READOUTS = {"point": "edge_point", "target": "target"}
_LEAN = {"attitude_deg": {"pitch": 0.4, "roll": -0.2}}
_FIRST, _SECOND = (
    {"angles_deg": {"boom": 30.0, "stick": -100.0, "bucket": bucket}} | _LEAN for bucket in (60.0, 40.0)
)
_READ, _LATER = (
    {"angles_deg": {"boom": 14.0, "stick": -70.0, "bucket": bucket}} | _LEAN for bucket in (17.4, 5.0)
)


class ExplanationsIn(Strict):
    """Poses of one machine in the order of time."""

    model_config = ConfigDict(json_schema_extra=example({
        "machine": "crawler-14t", "attachment": "digging-1500", "units": "m",
        "sides": [_FIRST | {"origin_elevation": 101.5}, _SECOND | {"origin_elevation": 101.5}],
    }))  # fmt: skip
    machine: q.MachineId
    attachment: q.AttachmentId
    units: Annotated[q.Units, Field(description=q.UNITS_TEXT)]
    sides: list[PosedIn] = Field(min_length=2, max_length=MOST_SIDES, description="In the order of time.")


class ReadIn(Strict):
    """One readout of a job: a pose, and what it is read against."""

    pose: q.PoseField
    edge_point: q.EdgePoint = "centre"
    target: q.Name | None = Field(None, description="A target of the depth sheet.")
    station: q.Length | None = Field(
        None, description="Station of the edge centre off a tape, on a sloping target."
    )
    seq: int | None = Field(
        None, ge=1, description="Read against the log as it was after this entry; left out: as it is."
    )


class JobExplanationsIn(Strict):
    """Readouts of one job's machine in the order of time."""

    model_config = ConfigDict(json_schema_extra=example({
        "units": "m",
        "sides": [{"pose": each, "target": "bottom of footing"} for each in (_READ, _LATER)],
    }))  # fmt: skip
    units: q.UnitsField
    sides: list[ReadIn] = Field(min_length=2, max_length=MOST_SIDES, description="In the order of time.")


class ShareOut(TypedDict):
    """What one factor did."""

    factor: Annotated[str, Field(description="A joint, pitch, roll, edge_point, reference or target.")]
    words: str
    share: Annotated[
        Length,
        Field(description="Of the change. As shown they add up to the change as shown: to the last digit."),
    ]


class ChangeOut(Strict):
    """One length on both sides."""

    quantity: str = Field(
        description="height (over the body origin), elevation, reach, lateral, or above_target: positive to cut."
    )
    before: Length
    after: Length
    change: Length = Field(description="After less before, as shown too.")
    shares: list[ShareOut] = Field(
        description="In the order of lean, joints from the body out, edge point, reference, target."
    )
    words: str


class SlopeShareOut(TypedDict):
    """What one factor did to the cross-slope."""

    factor: str
    words: str
    share_percent: float
    shown: Annotated[str, Field(description="In tenths of a percent; they add up as shown.")]


class SlopeChangeOut(Strict):
    """The cross-slope on both sides, in percent."""

    before_percent: float
    after_percent: float
    change_percent: float
    shares: list[SlopeShareOut]
    words: str


class TurnOut(Strict):
    """What one joint alone turned the bucket about."""

    axis_at_m: tuple[float, float, float] = Field(
        description="The place on the axis nearest the point, level frame: ahead, left, up."
    )
    axis: tuple[float, float, float] = Field(description="Its direction, unit; the turn by the right hand.")
    angle_deg: float
    radius: Length
    arc: Length


class ExplainedOut(Strict):
    """One side against another."""

    changed: list[str] = Field(description="What differs; nothing else has a share.")
    changes: list[ChangeOut]
    cross_slope: SlopeChangeOut
    turn: TurnOut | None = Field(
        description="Where one joint changed and nothing else, the tracks and the swing included; else null."
    )
    words: list[str] = Field(description="In sentences made from these numbers.")


class ExplanationsOut(Strict):
    """Why the numbers changed."""

    units: q.Units
    machine: Reference | None
    attachment: Reference | None
    whole: ExplainedOut = Field(description="The last side against the first, whatever lies between.")
    steps: list[ExplainedOut] = Field(
        description="Each side against the one before. Their shares, added up, are the shares along this way; of more "
        "than two sides they may differ from those of the whole, which know no way."
    )
    advisory: str


@router.post("/v1/explanations", summary="Why height, reach and cross-slope differ between poses")
def explain_poses(asked: ExplanationsIn, profiles: ProfilesDep) -> ExplanationsOut:
    """The share of every joint and of the lean in what changed from one pose to the next; no job needed.

    curl -s localhost:8311/v1/explanations -H 'content-type: application/json' -d @explanations.json
    """
    machine, attachment, fitted = profiles.pair(asked.machine, asked.attachment)
    sides = of_poses(fitted, asked.sides, asked.units)
    return _answer(sides, LengthUnit(asked.units), reference_to(machine), reference_to(attachment), _OF_POSES)


@router.post("/v1/jobs/{job}/explanations", summary="Why readouts of a job differ")
def explain_readouts(job: JobId, asked: JobExplanationsIn, keeper: KeeperDep) -> ExplanationsOut:
    """The share of every joint, of the lean, of the reference and of the target in what changed between readouts.

    `seq` reads one against an earlier state of the log: before a strike and after it, the strike's share is the
    reference's.
    """
    now = keeper.state(job)
    decide.same_units(now, asked.units)
    seqs = [now.seq if each.seq is None else each.seq for each in asked.sides]
    # Folded once each, from the first on; a seq that the log has not got is refused at its side.
    states = keeper.states_at(job, sorted({seq for seq in seqs if seq < now.seq})) | {now.seq: now}
    sides = all_of(
        partial(
            of_readout, keeper, states, each.pose, each.edge_point, each.target, each.station, seq,
            f"sides.{i}",
        )
        for i, (each, seq) in enumerate(zip(asked.sides, seqs, strict=True))
    )  # fmt: skip
    return _answer(
        sides, LengthUnit(now.units), reference(now.machine), reference(now.attachment), _OF_READOUTS
    )


def _answer(
    given: list[Told], units: LengthUnit, machine: Reference | None, attachment: Reference | None,
    fields: Mapping[str, str],
) -> ExplanationsOut:  # fmt: skip
    """`fields`: what of a side's `point`, `origin` and `target` the request calls how."""
    sides = [each.side for each in given]
    try:
        steps = explain_series(sides)
    except Refused as refused:
        placed = [_placed(each, fields) for each in refused.faults]
        # A side between two others is looked at twice.
        raise Refused({(each.code, each.where): each for each in placed}.values()) from None
    try:
        whole = steps[0] if len(steps) == 1 else explain(sides[0], sides[-1])
    except Refused as refused:
        last = str(len(sides) - 1)
        raise Refused(_placed(each.at(last), fields) for each in refused.faults) from None
    told = [_explained(each, *pair, units) for each, pair in zip(steps, pairwise(given), strict=True)]
    return ExplanationsOut(
        units=units.value, machine=machine, attachment=attachment,
        whole=told[0] if len(told) == 1 else _explained(whole, given[0], given[-1], units), steps=told,
        advisory=ADVISORY,
    )  # fmt: skip


def _placed(fault: Fault, fields: Mapping[str, str]) -> Fault:
    """A fault of a step at the side, and the field, that it is of."""
    step, side, *more = fault.where.split(".")
    which = int(step) - (side == "before")
    name = ".".join(fields.get(each, "") for each in more)
    where = f"sides.{which}.{name}" if name else f"sides.{which}"
    found = "no height: no touch or strike counts" if more == ["origin"] and not name else fault.found
    return Fault(fault.code, where, found, fault.expected, fault.advice, fault.numbers)


def _explained(told: Explanation, before: Told, after: Told, units: LengthUnit) -> ExplainedOut:
    lengths = {name: change for name, change in told.changes.items() if name != "cross_slope"}
    main = next(name for name in ("above_target", "elevation", "height") if name in lengths)
    turn, points = told.turn, (before.side.point, after.side.point)
    aside = list(asides(told, before, after))
    return ExplainedOut(
        changed=list(told.changed),
        changes=[_change(name, points, change, units) for name, change in lengths.items()],
        cross_slope=_slope(told.changes["cross_slope"]),
        turn=None if turn is None else TurnOut(
            axis_at_m=turn.at, axis=turn.axis, angle_deg=math.degrees(turn.angle), radius=length(turn.radius, units),
            arc=length(turn.arc, units),
        ),
        words=[
            change_words(main, points, lengths[main], units), *reasons(told, before.side, after.side, units, aside)
        ],
    )  # fmt: skip


def _slope(change: Change) -> SlopeChangeOut:
    _, _, counts = tenths_of(change)
    shares: list[SlopeShareOut] = [
        {"factor": name, "words": FACTOR[name], "share_percent": percent_from_ratio(change.shares[name]),
         "shown": f"{count / 10:+.1f} %"}
        for name, count in counts.items()
    ]  # fmt: skip
    return SlopeChangeOut(
        before_percent=percent_from_ratio(change.before), after_percent=percent_from_ratio(change.after),
        change_percent=percent_from_ratio(change.total), shares=shares, words=slope_words(change),
    )  # fmt: skip


def _change(quantity: str, points: Sequence[str], change: Change, units: LengthUnit) -> ChangeOut:
    step = RESOLUTION_M[units]
    before, after, counts = steps_of(change, units)
    shares: list[ShareOut] = [
        {"factor": name, "words": FACTOR[name],
         "share": {"m": change.shares[name], "shown": show(count * step, units)}}
        for name, count in counts.items()
    ]  # fmt: skip
    return ChangeOut(
        quantity=quantity, before=length(change.before, units), after=length(change.after, units),
        change={"m": change.total, "shown": show((after - before) * step, units)}, shares=shares,
        words=change_words(quantity, points, change, units),
    )  # fmt: skip
